// Command stop ends the PostgreSQL that the tests share. It does nothing when none runs.
package main

import (
	"context"
	"fmt"
	"os"
	"time"

	"cullet/services/internal/pg/pgtest"
)

func main() {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	if err := pgtest.Stop(ctx); err != nil {
		fmt.Fprintln(os.Stderr, "stop the test server:", err)
		os.Exit(1)
	}
}
