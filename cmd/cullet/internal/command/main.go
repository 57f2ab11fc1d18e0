// Package command is the command line: one file a verb. The clerk's verbs are gRPC clients and
// nothing else; what they cannot do through the public API, the API lacks.
package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"github.com/alecthomas/kong"

	"cullet/services/errs"
)

// Exit codes. They are part of the interface.
const (
	exitDone        = 0
	exitFailed      = 1
	exitUsage       = 2
	exitUnavailable = 3
	exitFindings    = 4
)

// cli is every verb.
type cli struct {
	Globals

	Serve      serveCommand      `cmd:"" help:"Run the server: gRPC, JSON over HTTP, the desk, the workers."`
	Migrate    migrateCommand    `cmd:"" help:"Bring the schema of an existing PostgreSQL up to date, and end."`
	Demo       demoCommand       `cmd:"" help:"Show the main job on an invented shop (needs a binary built for it: make demo)."`
	Submit     submitCommand     `cmd:"" help:"Start the nightly run and show how it goes."`
	Record     recordCommand     `cmd:"" help:"Record completed repairs from JSON files."`
	Import     importCommand     `cmd:"" help:"Record completed repairs from a file of a shop system, or preview what would become of it."`
	Mappings   mappingsCommand   `cmd:"" help:"List how files of shop systems are read, or save such a mapping."`
	Tasks      tasksCommand      `cmd:"" help:"List what needs a person."`
	Claims     claimsCommand     `cmd:"" help:"List claims, or show one."`
	Release    releaseCommand    `cmd:"" help:"Release ready claims."`
	Invoice    invoiceCommand    `cmd:"" help:"Save an invoice as PDF, UBL or JSON."`
	Copy       copyCommand       `cmd:"" help:"Save the driver's copy of a repair as PDF."`
	Remittance remittanceCommand `cmd:"" help:"Post a remittance file of a payer."`
	Deposit    depositCommand    `cmd:"" help:"Post a deposit that came without a file."`
	Suggest    suggestCommand    `cmd:"" help:"Say where money that waits may belong."`
	Allocate   allocateCommand   `cmd:"" help:"Place waiting money on an invoice by hand."`
	Bounced    bouncedCommand    `cmd:"" help:"Book that a deposit never truly came."`
	Trail      trailCommand      `cmd:"" help:"Show what was put on an invoice."`
	Undo       undoCommand       `cmd:"" help:"Take the allocation of a deposit, or a write-off, back."`
	Credit     creditCommand     `cmd:"" help:"Write a credit note."`
	Refund     refundCommand     `cmd:"" help:"Give money back, or book that a payment bounced."`
	MoveShare  moveShareCommand  `cmd:"" help:"Move what is open to the motorist, as after a denial, or back."`
	Dispute    disputeCommand    `cmd:"" help:"Write down that a debtor contests an invoice, or what came of it."`
	Webhook    webhookCommand    `cmd:"" help:"Endpoints of shop systems: add, rotate, test, replay; verify and hear events."`
	Statement  statementCommand  `cmd:"" help:"Save what a payer owes as PDF."`
	Balance    balanceCommand    `cmd:"" help:"Show the trial balance as of any day."`
	Journal    journalCommand    `cmd:"" help:"Save the journal of some days as CSV for an accountant's program."`
	Close      closeCommand      `cmd:"" help:"Close a month that is over."`
	Tax        taxCommand        `cmd:"" help:"Import tax rates and taxability."`
	TaxReturn  taxReturnCommand  `cmd:"" help:"Show a tax return with the documents behind it, or file it."`
	Doctor     doctorCommand     `cmd:"" help:"Check every invariant of the books on the live data."`
	Reseal     resealCommand     `cmd:"" help:"Seal the photos in the state folder under the newest master key, or make a new one."`
	Version    versionCommand    `cmd:"" help:"Say which version this is."`
}

// world is what a verb works with.
type world struct {
	context.Context
	out, err io.Writer
	globals  Globals
}

// failure is an error with the exit code that it ends the program with.
type failure struct {
	code  int
	cause error
}

func (f *failure) Error() string { return f.cause.Error() }
func (f *failure) Unwrap() error { return f.cause }

// Main runs the command line and gives the exit code: 0 done, 1 failed, 2 wrong usage, 3 the
// server cannot be reached, 4 done and something needs a person.
func Main(args []string, out, problems io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	var c cli
	hasHelped := false // kong prints the help, asks to exit, and would go on to run the verb
	parser, err := kong.New(&c, kong.Name("cullet"), kong.Writers(out, problems),
		kong.Exit(func(int) { hasHelped = true }),
		kong.Description("The back office that gets a small glass repair shop paid."), kong.UsageOnError())
	if err != nil {
		fmt.Fprintln(problems, "cullet:", err)
		return exitFailed
	}
	parsed, err := parser.Parse(args)
	if hasHelped {
		return exitDone
	}
	if err != nil {
		fmt.Fprintln(problems, "cullet:", err)
		fmt.Fprintln(problems, "cullet --help lists the verbs.")
		return exitUsage
	}
	w := &world{Context: ctx, out: out, err: problems, globals: c.Globals}
	return w.ended(parsed.Run(w))
}

// ended tells an error with every field that it names, and gives the exit code.
func (w *world) ended(err error) int {
	if err == nil {
		return exitDone
	}
	var known *failure
	if errors.As(err, &known) && known.code == exitFindings {
		fmt.Fprintln(w.err, err)
		return known.code
	}
	fmt.Fprintln(w.err, "cullet:", err)
	var detailed *errs.Error
	if errors.As(err, &detailed) {
		w.explain(detailed)
	}
	switch {
	case known != nil:
		return known.code
	case errs.Is(err, errs.Unavailable):
		return exitUnavailable
	}
	return exitFailed
}

// explain tells what one line has no room for.
func (w *world) explain(e *errs.Error) {
	if len(e.Fields) > 1 {
		for _, f := range e.Fields {
			fmt.Fprintf(w.err, "  %s: %s\n", f.Path, f.Message)
		}
	}
	if e.Reason == "NOT_REACHABLE" {
		fmt.Fprintf(w.err, "No server answers at %s: start one with cullet serve, or name another with --server.\n", w.globals.Server)
	}
}
