package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"deltoid/pipeline/demo"
	"deltoid/schemas"
)

// demoFolder is where the invented registry lands unless --out says otherwise.
const demoFolder = "notebooks-out/demo"

func demoCommand(o *options) *cobra.Command {
	d := demo.Options{Defects: true}
	c := &cobra.Command{
		Use:   "demo",
		Short: "Make up a registry and report on it",
		Long: "demo writes the exports of an invented registry (CSV and Parquet) and a study plan for them, and then runs the plan.\n" +
			"Place, people and codes are made up; the true revision risks are known and stated, so that the report can be held against\n" +
			"them. A few defects are planted, so that the row ledger has something to show.",
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			bar := o.progress()
			defer bar.end()
			result, err := runDemo(cmd.Context(), o.out, d, bar)
			if err != nil {
				return err
			}
			bar.end()
			return o.print(result, result.inWords)
		},
	}
	c.Flags().IntVar(&d.Shoulders, "shoulders", 20_000, "number of shoulders to make up, at most 1000000")
	c.Flags().Uint64Var(&d.Seed, "seed", 1, "seed of the invented records; equal seeds give equal records")
	return c
}

// demoOutcome is what demo prints.
type demoOutcome struct {
	outcome
	Plan string `json:"plan"`
}

func (d demoOutcome) inWords(w io.Writer) {
	fmt.Fprintf(w, "Invented data: nothing below says anything about a real implant or patient.\n\n")
	d.outcome.inWords(w)
	fmt.Fprintf(w, "Plan: %s (run it again with: go run ./pipeline/deltoid run %s)\n", d.Plan, d.Plan)
}

func runDemo(ctx context.Context, out string, d demo.Options, bar *progress) (demoOutcome, error) {
	if out == "" {
		out = filepath.FromSlash(demoFolder)
	}
	if err := freeForDemo(out); err != nil {
		return demoOutcome{}, err
	}
	bar.step("Making up a registry")
	path, err := demo.Write(out, d, bar.part)
	if err != nil {
		return demoOutcome{}, err
	}
	result, err := runPlan(ctx, path, filepath.Join(out, "report"), bar)
	return demoOutcome{result, path}, err
}

// freeForDemo refuses a folder with something else in it, so that a demo never writes among somebody's files.
func freeForDemo(dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) == 0 {
		return nil // absent, empty, or a fault that writing will name
	}
	if _, err := os.Stat(filepath.Join(dir, "plan-parquet.yaml")); err == nil {
		return nil // an earlier demo
	}
	return &schemas.Problem{Kind: schemas.PlanProblem, Where: dir, What: "the folder holds files that are not an earlier demo",
		Allowed: "a folder that is new, empty, or an earlier demo", Remedy: "name another folder with --out"}
}
