package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"

	"deltoid/schemas"
)

// failed is what a command prints with --json when it ends in an error: the exit code, and everything that is wrong.
type failed struct {
	ExitCode int     `json:"exit_code"`
	Problems []fault `json:"problems"`
}

// fault is one thing that is wrong. Parts that are not known are left out.
type fault struct {
	Kind    string `json:"kind"`
	Where   string `json:"where,omitempty"`
	What    string `json:"what"`
	Allowed string `json:"allowed,omitempty"`
	Remedy  string `json:"remedy,omitempty"`
}

// kinds are the words for the kinds of problem. What is nobody's plan and no export is a fault of the program or the machine.
var kinds = map[schemas.Kind]string{schemas.PlanProblem: "plan", schemas.ExportProblem: "export", schemas.CohortProblem: "cohort",
	schemas.IdentifierProblem: "identifiers"}

// failure takes an error apart.
func failure(ctx context.Context, err error) failed {
	f := failed{ExitCode: exitCode(ctx, err)}
	var many schemas.Problems
	var one *schemas.Problem
	var usage usageError
	switch {
	case ctx.Err() != nil:
		f.Problems = []fault{{Kind: "interrupted", What: "no report was written, and an earlier one stands"}}
	case errors.As(err, &usage):
		f.Problems = []fault{{Kind: "command line", What: usage.Error()}}
	case errors.As(err, &many):
		for _, p := range many {
			f.Problems = append(f.Problems, faultOf(p))
		}
	case errors.As(err, &one):
		f.Problems = []fault{faultOf(one)}
	default:
		f.Problems = []fault{{Kind: "fault", What: err.Error()}}
	}
	return f
}

func faultOf(p *schemas.Problem) fault {
	kind, ok := kinds[p.Kind]
	if !ok {
		kind = "fault"
	}
	return fault{Kind: kind, Where: p.Where, What: p.What, Allowed: p.Allowed, Remedy: p.Remedy}
}

// tell says why a command failed: in words on stderr and, where JSON is asked for, as one object on stdout too. The findings
// of check were printed already.
func tell(ctx context.Context, args []string, err error, stdout, stderr io.Writer) {
	switch {
	case errors.Is(err, errFindings) && ctx.Err() == nil:
		return
	case ctx.Err() != nil:
		fmt.Fprintln(stderr, "deltoid: interrupted; no report was written, and an earlier one stands")
	default:
		fmt.Fprintf(stderr, "deltoid: %v\n", err)
	}
	if slices.Contains(args, "--json") || slices.Contains(args, "--json=true") {
		o := options{json: true, stdout: stdout}
		_ = o.print(failure(ctx, err), nil) // whoever cannot be told this has been told on stderr
	}
}

// keeper keeps the first error of a writer, after which it writes nothing more.
type keeper struct {
	w   io.Writer
	err error
}

func (k *keeper) Write(p []byte) (int, error) {
	if k.err != nil {
		return 0, k.err
	}
	n, err := k.w.Write(p)
	k.err = err
	return n, err
}

// unprinted says that a result could not be printed.
func unprinted(err error) error {
	if err == nil {
		return nil
	}
	return &schemas.Problem{Where: "stdout", What: "the result cannot be printed: " + cause(err),
		Remedy: "see that there is room, and that what reads the output is still there", Cause: err}
}

// cause returns the innermost message of an error.
func cause(err error) string {
	for inner := errors.Unwrap(err); inner != nil; inner = errors.Unwrap(err) {
		err = inner
	}
	return err.Error()
}
