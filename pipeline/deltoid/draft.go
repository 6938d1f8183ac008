package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"deltoid/pipeline/draft"
	"deltoid/schemas"
)

// draftName is the file that draft writes.
const draftName = "plan.yaml"

func draftCommand(o *options) *cobra.Command {
	return &cobra.Command{
		Use:   "draft FILE...",
		Short: "Write a first study plan from the exports",
		Long: "draft looks at exports and writes a first plan for them, with what it saw and what is still to decide. The plan lands in\n" +
			"the folder that holds all of the files, or in the folder named with --out; a plan that is there already is left alone. The sheet of a\n" +
			"workbook with several stands behind its name: clinic.xlsx#Operations.",
		Args: someFiles,
		RunE: func(cmd *cobra.Command, args []string) error {
			bar := o.progress()
			defer bar.end()
			bar.step("Looking at the exports")
			result, err := writeDraft(cmd.Context(), o.out, args)
			if err != nil {
				return err
			}
			bar.end()
			return o.print(result, result.inWords)
		},
	}
}

func someFiles(_ *cobra.Command, args []string) error {
	if len(args) == 0 {
		return usageError{errors.New("draft takes the exports; for example: deltoid draft exports/*.csv")}
	}
	return nil
}

// drafted is what draft prints.
type drafted struct {
	Plan    string `json:"plan"`
	Waiting int    `json:"decisions"`
}

func (d drafted) inWords(w io.Writer) {
	fmt.Fprintf(w, "Plan: %s\nIt waits for %d decisions, on the lines that begin with #?. Then: deltoid check %s\n", d.Plan, d.Waiting, d.Plan)
}

func writeDraft(ctx context.Context, folder string, files []string) (drafted, error) {
	if folder == "" {
		folder = commonFolder(files)
	}
	target := filepath.Join(folder, draftName)
	if _, err := os.Lstat(target); !errors.Is(err, fs.ErrNotExist) {
		return drafted{}, &schemas.Problem{Kind: schemas.PlanProblem, Where: target, What: "there is a plan here already, or the place cannot be looked at",
			Remedy: "move it away, or name another folder above the exports with --out"}
	}
	d, err := draft.Look(ctx, folder, files)
	if err != nil {
		return drafted{}, err
	}
	text := d.Plan()
	f, err := os.OpenFile(target, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return drafted{}, &schemas.Problem{Kind: schemas.PlanProblem, Where: target, What: "the plan cannot be written: " + err.Error(),
			Remedy: "see that you may write there, or name another folder above the exports with --out", Cause: err}
	}
	_, err = f.Write(text)
	return drafted{target, draft.Waiting(text)}, errors.Join(err, f.Close())
}

// commonFolder returns the folder that holds all files, directly or below it.
func commonFolder(files []string) string {
	common := filepath.Dir(files[0])
	for _, f := range files[1:] {
		for !below(common, f) && common != filepath.Dir(common) {
			common = filepath.Dir(common)
		}
	}
	return common
}

func below(folder, file string) bool {
	rel, err := filepath.Rel(folder, file)
	return err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator))
}
