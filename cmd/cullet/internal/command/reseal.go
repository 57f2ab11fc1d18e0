package command

import (
	"encoding/json"
	"fmt"

	"cullet/cmd/cullet/internal/outside"
)

type resealCommand struct {
	NewKey bool `help:"Put a new master key in front and end; restart the server, then run reseal without this." name:"new-key"`
}

// Run works in the state folder itself, beside a running server.
func (c *resealCommand) Run(w *world) error {
	state, err := w.globals.stateFolder()
	if err != nil {
		return err
	}
	if c.NewKey {
		if err := outside.NewMasterKey(state); err != nil {
			return err
		}
		fmt.Fprintln(w.out, "A new master key stands in front in master-key; back it up. Restart the server so that it has it, then run cullet reseal.")
		return nil
	}
	done, err := outside.Reseal(w, state)
	if err != nil {
		return err
	}
	if w.globals.JSON {
		return json.NewEncoder(w.out).Encode(map[string]int{"files": done.Files, "sealed": done.Sealed})
	}
	fmt.Fprintf(w.out, "%d files of photos, %d of them sealed anew. An old key must stay in master-key all the same: uploads that broke off "+
		"need it for a day more, the credentials of payers and the secrets of endpoints until they are set anew, the places where "+
		"earlier photos were taken for good.\n", done.Files, done.Sealed)
	return nil
}
