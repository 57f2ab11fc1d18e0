//go:build !demo

package command

import "errors"

type demoCommand struct {
	Once  bool `help:"Run in a throw-away place, check the books, end with 0 or 1."`
	Reset bool `help:"Forget what the demo keeps."`
}

// Run says how to get a binary that can.
func (demoCommand) Run(*world) error {
	return &failure{exitUsage, errors.New("this binary reaches no loopback address, and the demo's payers live there: run make demo")}
}
