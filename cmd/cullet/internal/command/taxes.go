package command

import (
	"errors"
	"fmt"

	"cullet/cmd/cullet/internal/outside"
	"cullet/services/errs"
)

type taxCommand struct {
	Import taxImportCommand `cmd:"" help:"Add rates, or what is taxable, to what the server in this state folder works with from its next start on."`
}

type taxImportCommand struct {
	File     string `arg:"" help:"The file." type:"existingfile"`
	Form     string `help:"streamlined: a rate file of the Streamlined Sales Tax agreement; rates or taxability: CSV with the columns of services/tax/rates/README.md." enum:"streamlined,rates,taxability" default:"streamlined"`
	Citation string `help:"Where a Streamlined file is from; its name, OHR2026Q4SEP01 for example."`
	Posted   string `help:"Day on which a Streamlined file was posted, 2026-09-01."`
	Check    bool   `help:"Only read the file; keep nothing."`
}

// Run imports taxes.
func (c *taxImportCommand) Run(w *world) error {
	state, err := w.globals.stateFolder()
	if err != nil {
		return err
	}
	done, isKnown, err := outside.ImportTaxes(state, c.File, outside.TaxFile{Form: c.Form, Citation: c.Citation, Posted: c.Posted}, c.Check)
	var known *errs.Error
	if errors.As(err, &known) && known.Kind == errs.Invalid && known.Reason == "TAX_SOURCE" {
		return &failure{exitUsage, err}
	}
	if err != nil {
		return err
	}
	switch {
	case isKnown:
		fmt.Fprintln(w.out, "This file was imported before; nothing changes.")
	case c.Check:
		fmt.Fprintf(w.out, "%d rows can be imported.\n", done.Rows)
	default:
		fmt.Fprintf(w.out, "%d rows are imported; the server works with them from its next start on.\n", done.Rows)
	}
	fmt.Fprintln(w.out, "Confirm rates and taxability with a licensed tax adviser before you rely on them.")
	return nil
}
