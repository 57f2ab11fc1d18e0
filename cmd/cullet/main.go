// Command cullet is the back office of a glass repair shop: the server, the nightly run, and
// everything that a clerk or a script does on a command line.
package main

import (
	"os"

	"cullet/cmd/cullet/internal/command"
)

func main() { os.Exit(command.Main(os.Args[1:], os.Stdout, os.Stderr)) }
