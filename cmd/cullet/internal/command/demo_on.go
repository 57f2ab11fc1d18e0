//go:build demo

package command

import (
	"fmt"
	"os"
	"path/filepath"

	"cullet/cmd/cullet/internal/demo"
	"cullet/cmd/cullet/internal/outside"
)

type demoCommand struct {
	Once  bool   `help:"Run in a throw-away place, check the books, end with 0 or 1."`
	Reset bool   `help:"Forget what the demo keeps."`
	PGBin string `help:"Folder with the programs postgres and initdb." env:"CULLET_PG_BIN" name:"pg-bin" type:"path"`
}

// Run shows the main job.
func (c *demoCommand) Run(w *world) error {
	state, err := w.globals.stateFolder()
	if err != nil {
		return err
	}
	state = filepath.Join(state, "demo")
	if c.Reset {
		if err := demo.Reset(state); err != nil {
			return err
		}
		fmt.Fprintln(w.out, "The demo is forgotten.")
		return nil
	}
	fmt.Fprintln(w.out, outside.Warning())
	if c.Once {
		if state, err = os.MkdirTemp("", "cullet-demo-"); err != nil {
			return fmt.Errorf("make a throw-away place: %w", err)
		}
		defer func() { _ = os.RemoveAll(state) }()
		if err := os.Chmod(state, 0o755); err != nil { // PostgreSQL's user must enter it
			return fmt.Errorf("open the throw-away place: %w", err)
		}
	}
	return demo.Run(w, demo.Options{State: state, Once: c.Once, Out: w.out, IsTerminal: w.isTerminal(), PGBin: c.PGBin})
}
