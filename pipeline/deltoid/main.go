// Command deltoid turns de-identified exports of a shoulder registry into a cohort, its analyses and a reproducible
// report. See README.md.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"deltoid/schemas"
)

// version is the program's version, printed in every report and record.
const version = "0.1.0"

// The exit codes. They are an interface: README.md lists them, and new ones are only added.
const (
	exitDone        = 0
	exitFault       = 1 // a fault of the program or the machine
	exitPlan        = 2 // the command line or the study plan is wrong
	exitExport      = 3 // an export cannot be read
	exitFindings    = 4 // check: rows were set aside or could not be linked
	exitNothing     = 5 // nothing is left to analyse
	exitIdentifiers = 6 // a column may identify people, and the plan says neither reviewed nor dropped
	exitInterrupted = 130
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // the first interrupt ends the run in good order, a second one at once
	code := execute(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// execute runs one command line and returns the exit code. No panic reaches the person at the keyboard: one that gets
// here is a fault of the program, and is said to be.
func execute(ctx context.Context, args []string, stdout, stderr io.Writer) (code int) {
	defer func() {
		if fault := recover(); fault != nil {
			fmt.Fprintf(stderr, "deltoid: a fault of the program, please report it with the study plan: %v\n", fault)
			code = exitFault
		}
	}()
	root := commands(stdout, stderr)
	root.SetArgs(args)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return exitDone
	}
	tell(ctx, args, err, stdout, stderr)
	return exitCode(ctx, err)
}

// errFindings makes check end with its own exit code. The findings were printed already.
var errFindings = errors.New("rows were set aside or could not be linked")

// usageError is a mistake on the command line.
type usageError struct{ error }

func exitCode(ctx context.Context, err error) int {
	var p *schemas.Problem
	var usage usageError
	switch {
	case ctx.Err() != nil:
		return exitInterrupted
	case errors.Is(err, errFindings):
		return exitFindings
	case errors.As(err, &usage):
		return exitPlan
	case !errors.As(err, &p):
		return exitFault
	case p.Kind == schemas.PlanProblem:
		return exitPlan
	case p.Kind == schemas.ExportProblem:
		return exitExport
	case p.Kind == schemas.CohortProblem:
		return exitNothing
	case p.Kind == schemas.IdentifierProblem:
		return exitIdentifiers
	default:
		return exitFault
	}
}

// commands builds the command line.
func commands(stdout, stderr io.Writer) *cobra.Command {
	var o options
	root := &cobra.Command{
		Use:   "deltoid",
		Short: "Cohort evidence for reverse shoulder replacement",
		Long: "deltoid reads de-identified exports, builds cohorts by indication, estimates implant survival, and writes\n" +
			"reproducible reports. A study is described in a plan; begin with \"deltoid demo\".\n\n" +
			"Its reports are summaries of cohorts for research and audit, not advice for one patient.",
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.ArbitraryArgs,
		RunE:          unknownCommand,
	}
	root.SetOut(stdout)
	root.SetErr(stderr)
	root.CompletionOptions.DisableDefaultCmd = true
	root.SetFlagErrorFunc(wrongFlag)
	flags := root.PersistentFlags()
	flags.StringVar(&o.out, "out", "", "folder for the results (default notebooks-out/<study>)")
	flags.BoolVar(&o.json, "json", false, "print the result as one JSON object, for machines")
	flags.BoolVar(&o.quiet, "quiet", false, "print nothing but errors")
	root.PersistentPreRun = func(*cobra.Command, []string) { o.stdout, o.stderr = stdout, stderr }
	root.AddCommand(demoCommand(&o), draftCommand(&o), checkCommand(&o), runCommand(&o), powerCommand(&o), versionCommand(&o))
	return root
}

// unknownCommand is reached when no command is named, or one that does not exist.
func unknownCommand(root *cobra.Command, args []string) error {
	if len(args) == 0 {
		return root.Help()
	}
	var names []string
	for _, c := range root.Commands() {
		if c.IsAvailableCommand() {
			names = append(names, c.Name())
		}
	}
	hint := ""
	if near, ok := schemas.Nearest(args[0], names); ok {
		hint = fmt.Sprintf("; did you mean %q?", near)
	}
	return usageError{fmt.Errorf("there is no command %q; there are: %s%s", args[0], strings.Join(names, ", "), hint)}
}

// onePlan accepts exactly one argument, the plan.
func onePlan(cmd *cobra.Command, args []string) error {
	if len(args) != 1 {
		return usageError{fmt.Errorf("%s takes one study plan; for example: deltoid %s plan.yaml", cmd.Name(), cmd.Name())}
	}
	return nil
}

func noArguments(cmd *cobra.Command, args []string) error {
	if len(args) > 0 {
		return usageError{fmt.Errorf("%s takes no argument, but got %q; see deltoid %s --help", cmd.Name(), args[0], cmd.Name())}
	}
	return nil
}

func versionCommand(o *options) *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Print the version",
		Args:  noArguments,
		RunE: func(*cobra.Command, []string) error {
			return o.print(struct {
				Program string `json:"program"`
				Version string `json:"version"`
			}{"deltoid", version}, func(w io.Writer) { fmt.Fprintln(w, "deltoid "+version) })
		},
	}
}
