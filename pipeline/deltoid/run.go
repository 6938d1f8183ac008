package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"deltoid/cohorts"
	"deltoid/pipeline/analyses"
	"deltoid/pipeline/disclose"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/record"
	"deltoid/pipeline/render"
	"deltoid/pipeline/report"
	"deltoid/schemas"
)

func runCommand(o *options) *cobra.Command {
	return &cobra.Command{
		Use:   "run PLAN",
		Short: "Run a study and write its report",
		Long: "run reads the exports that the plan names, checks and links every row, builds the cohort, runs the analyses and\n" +
			"writes the report. The report appears whole or not at all: a run that fails leaves the last good one alone.",
		Args: onePlan,
		RunE: func(cmd *cobra.Command, args []string) error {
			bar := o.progress()
			defer bar.end()
			result, err := runPlan(cmd.Context(), args[0], o.out, bar)
			if err != nil {
				return err
			}
			bar.end()
			return o.print(result, result.inWords)
		},
	}
}

// outcome is what a run prints.
type outcome struct {
	Study     string           `json:"study"`
	Report    string           `json:"report"`
	Sentences []string         `json:"sentences"`
	Ledgers   []schemas.Ledger `json:"rows"`
	Findings  int              `json:"findings"`
	Shoulders int              `json:"shoulders"`
	Files     []string         `json:"files"`
}

func (r outcome) inWords(w io.Writer) {
	for _, s := range r.Sentences {
		fmt.Fprintf(w, "%s\n\n", s)
	}
	fmt.Fprintln(w, "Rows:")
	printLedgers(w, r.Ledgers)
	fmt.Fprintf(w, "\nReport: %s\n", r.Report)
	if r.Findings > 0 {
		fmt.Fprintf(w, "Findings about rows: %d; see %s (private: it holds patient rows)\n", r.Findings,
			filepath.Join(filepath.Dir(r.Report), asideFolder))
	}
}

// asideFolder holds the rows that a rule set aside. It is private.
const asideFolder = "set-aside"

// runPlan takes a plan through the whole house. The place of the report is made ready first, so that a wrong --out is
// told before the long work and not after it.
func runPlan(ctx context.Context, path, out string, bar *progress) (outcome, error) {
	s, err := open(path)
	if err != nil {
		return outcome{}, err
	}
	if out == "" {
		out = filepath.Join("notebooks-out", s.plan.Study)
	}
	folder, err := record.Stage(out)
	if err != nil {
		return outcome{}, err
	}
	defer folder.Abandon()
	if err := cmp.Or(s.load(ctx, bar), ctx.Err()); err != nil {
		return outcome{}, err
	}
	bar.step("Analysing")
	doc, cohort, err := s.analyse()
	if err := cmp.Or(s.nothingLeft(err), ctx.Err()); err != nil {
		return outcome{}, err
	}
	bar.step("Writing the report")
	cleared, written, err := s.render(folder, doc)
	if err != nil {
		return outcome{}, err
	}
	return outcome{Study: s.plan.Study, Report: filepath.Join(out, first(written)), Sentences: sentences(cleared.Document()),
		Ledgers: s.registry.Ledgers, Findings: s.exports.Findings.Len(), Shoulders: len(cohort.Shoulders),
		Files: written}, s.finish(ctx, folder)
}

// render clears the report of small numbers, and writes the files that the plan asks for.
func (s *study) render(folder *record.Folder, doc report.Document) (disclose.Cleared, []string, error) {
	cleared, err := disclose.Clear(doc, disclose.Policy{MaskBelow: s.plan.Disclosure.MaskBelow, Reason: s.plan.Disclosure.Reason})
	if err != nil {
		return cleared, nil, err
	}
	files, err := render.Files(cleared)
	if err != nil {
		return cleared, nil, err
	}
	var names []string
	for _, f := range chosen(files, s.plan.Outputs) {
		if err := folder.Write(f.Name, f.Data); err != nil {
			return cleared, nil, err
		}
		names = append(names, f.Name)
	}
	return cleared, names, nil
}

// analyse builds the cohort and the report.
func (s *study) analyse() (report.Document, *cohorts.Cohort, error) {
	cohort, flow, err := s.define()
	if err != nil {
		return report.Document{}, nil, err
	}
	doc, err := analyses.Assemble(s.plan, s.exports, cohort, flow, version)
	return doc, cohort, err
}

// nothingLeft says of a cohort that nobody is in where to look, when rules were broken: rows that were set aside may be why.
func (s *study) nothingLeft(err error) error {
	var p *schemas.Problem
	if !errors.As(err, &p) || p.Kind != schemas.CohortProblem || s.exports.Findings.Len() == 0 {
		return err
	}
	most := s.exports.Findings.Summary().Counts[0]
	told := *p
	told.Cause = err
	told.Remedy += fmt.Sprintf("; say \"deltoid check %s\" to see what is wrong with the rows, first of all %s in %s, broken %s",
		s.plan.Path, most.Rule.ID, most.Table, times(most.N))
	return &told
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

func (s *study) define() (*cohorts.Cohort, *cohorts.Flow, error) {
	return cohorts.Define(s.registry, s.plan.Cohort, s.plan.FollowUp)
}

// first returns the file to open first.
func first(files []string) string {
	for _, name := range []string{"report.html", "report.md", "report.ipynb"} {
		for _, f := range files {
			if f == name {
				return f
			}
		}
	}
	return "tables/estimates.csv"
}

// chosen keeps the files that the plan asks for. Figures stay when words that show them stay.
func chosen(files []render.File, outputs []plan.Output) []render.File {
	want := map[plan.Output]bool{}
	for _, o := range outputs {
		want[o] = true
	}
	var kept []render.File
	for _, f := range files {
		keep := true
		switch {
		case f.Name == "report.html":
			keep = want[plan.HTML]
		case f.Name == "report.md":
			keep = want[plan.Markdown]
		case f.Name == "report.ipynb":
			keep = want[plan.Notebook]
		case strings.HasPrefix(f.Name, "figures/"):
			keep = want[plan.Figures] || want[plan.Markdown] && strings.HasSuffix(f.Name, ".svg")
		}
		if keep {
			kept = append(kept, f)
		}
	}
	return kept
}

// sentences writes the lead of a report as plain text.
func sentences(doc report.Document) []string {
	byID := map[string]report.Estimate{}
	for _, e := range doc.Estimates {
		byID[e.ID] = e
	}
	var all []string
	for _, t := range doc.Lead {
		var b strings.Builder
		for _, span := range t {
			if span.Estimate == "" {
				b.WriteString(span.Words)
			} else {
				b.WriteString(report.Format(byID[span.Estimate], span.Show))
			}
		}
		all = append(all, b.String())
	}
	return all
}

// finish adds the rows set aside and the run record, and puts the folder in place.
func (s *study) finish(ctx context.Context, folder *record.Folder) error {
	if err := s.writeAside(folder); err != nil {
		return err
	}
	if err := s.verify(ctx, "after reading"); err != nil {
		return err
	}
	run, err := s.record(ctx, s.registry.Ledgers)
	if err != nil {
		return err
	}
	return folder.Commit(run)
}

// record says what went into the run. The outputs are added as they were written.
func (s *study) record(ctx context.Context, rows []schemas.Ledger) (record.Run, error) {
	run := record.New(version, s.plan.Study)
	run.Rows = rows
	for _, pair := range s.plan.Settings() {
		run.Settings = append(run.Settings, record.Setting{Key: pair[0], Value: pair[1]})
	}
	paths, shown := []string{s.plan.Path}, []string{filepath.Base(s.plan.Path)}
	for _, source := range s.plan.Sources {
		paths, shown = append(paths, source.Files...), append(shown, source.Shown...)
	}
	files, err := record.HashFiles(ctx, paths)
	if err != nil {
		return run, err
	}
	for i := range files {
		files[i].Path = shown[i]
	}
	run.Plan, run.Inputs = files[0], files[1:]
	return run, nil
}

// writeAside writes, for each table with findings, the rows set aside and the warnings, and the recode log, for the owner's
// eyes only.
func (s *study) writeAside(folder *record.Folder) error {
	if err := s.writeRecodes(folder); err != nil {
		return err
	}
	with := map[string]bool{}
	for _, c := range s.exports.Findings.Counts() {
		with[c.Table] = true
	}
	for _, t := range s.exports.Tables {
		if !with[t.Schema.Name] {
			continue
		}
		err := writePrivate(folder, asideFolder+"/"+t.Schema.Name+".csv", func(w io.Writer) error {
			return schemas.WriteSetAside(w, t.Schema.Name, s.exports.Findings)
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// recodesFile is the recode log with its counts.
const recodesFile = asideFolder + "/recodes.csv"

// writeRecodes writes the recode log where the plan recodes anything.
func (s *study) writeRecodes(folder *record.Folder) error {
	for _, t := range s.exports.Tables {
		if len(t.Recoded) > 0 {
			return writePrivate(folder, recodesFile, func(w io.Writer) error { return schemas.WriteRecodes(w, s.exports.Tables) })
		}
	}
	return nil
}

// writePrivate writes a private file as it comes, since a list of findings can be longer than memory is large.
func writePrivate(folder *record.Folder, name string, write func(io.Writer) error) error {
	f, err := folder.CreatePrivate(name)
	if err != nil {
		return err
	}
	return errors.Join(write(f), f.Close())
}
