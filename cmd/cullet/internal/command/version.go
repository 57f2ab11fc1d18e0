package command

import (
	"fmt"
	"runtime/debug"

	"cullet/cmd/cullet/internal/outside"
)

type versionCommand struct{}

// Run says which version this is and how it was built.
func (versionCommand) Run(w *world) error {
	version, revision := "(development)", ""
	if info, ok := debug.ReadBuildInfo(); ok {
		if info.Main.Version != "" {
			version = info.Main.Version
		}
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" {
				revision = " " + s.Value
			}
		}
	}
	fmt.Fprintf(w.out, "cullet %s%s\n", version, revision)
	if warning := outside.Warning(); warning != "" {
		fmt.Fprintln(w.out, warning)
	}
	return nil
}
