package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"deltoid/pipeline/analyses"
	"deltoid/pipeline/disclose"
	"deltoid/pipeline/record"
	"deltoid/pipeline/render"
	"deltoid/schemas"
)

func checkCommand(o *options) *cobra.Command {
	var inParts bool
	cmd := &cobra.Command{
		Use:   "check PLAN",
		Short: "Check the plan and every row of its exports, and analyse nothing",
		Long: "check reads the exports that the plan names and says what is wrong with them: how often each rule was broken, the first\n" +
			"three places, the values found in place of codes, and what to do first. With --out it writes to that folder, in set-aside,\n" +
			"which is private: findings.csv lists every finding, recodes.csv what became of each code, and quality.html is a page about the\n" +
			"exports: what is missing, ranges, codes, and how complete each year is; its numbers stand in tables too.\n" +
			"The exit code is 4 when a row would be set aside or could not be linked.\n\n" +
			"With --in-parts it goes through exports that are larger than memory: every rule about a cell or a row is applied, and what\n" +
			"needs all rows at hand (keys, links between tables, the page) is left out, and said to be.",
		Args: onePlan,
		RunE: func(cmd *cobra.Command, args []string) error {
			bar := o.progress()
			defer bar.end()
			result, err := checkPlan(cmd.Context(), args[0], o.out, inParts, bar)
			if err != nil {
				return err
			}
			bar.end()
			if err := o.print(result, result.inWords); err != nil || result.clean() {
				return err
			}
			return errFindings
		},
	}
	cmd.Flags().BoolVar(&inParts, "in-parts", false, "go through exports larger than memory, without what needs all rows at hand")
	return cmd
}

// checked is what check prints.
type checked struct {
	Study    string           `json:"study"`
	Ledgers  []schemas.Ledger `json:"rows"`
	Stated   []string         `json:"stated"` // for each file, what reading it found out
	Recodes  []recoded        `json:"recodes"`
	Findings []ruleCount      `json:"findings"`
	List     string           `json:"list,omitempty"`    // file with every finding
	Quality  string           `json:"quality,omitempty"` // page about the exports
	summary  schemas.Summary
}

// recoded is one line of the recode log.
type recoded struct {
	Table string `json:"table"`
	Field string `json:"field"`
	From  string `json:"from"`
	To    string `json:"to"`
	Cells int    `json:"cells"`
}

// ruleCount is one rule with how often it was broken.
type ruleCount struct {
	Rule     string   `json:"rule"`
	Table    string   `json:"table"`
	Count    int      `json:"count"`
	Sentence string   `json:"sentence"`
	Remedy   string   `json:"remedy"`
	First    []string `json:"first"`
	Values   []found  `json:"values,omitempty"` // what stood in place of a code: the ten most frequent of Distinct
	Distinct int      `json:"distinct,omitempty"`
}

// found is a value with how often it was found in a field.
type found struct {
	Field string `json:"field"`
	Value string `json:"value"`
	Count int    `json:"count"`
}

func checkPlan(ctx context.Context, path, out string, inParts bool, bar *progress) (checked, error) {
	s, err := open(path)
	if err != nil {
		return checked{}, err
	}
	check := s.check
	if inParts {
		check = s.checkParts
	}
	if out == "" {
		return check(ctx, bar)
	}
	folder, err := record.Stage(out)
	if err != nil {
		return checked{}, err
	}
	defer folder.Abandon()
	c, err := check(ctx, bar)
	if err != nil {
		return checked{}, err
	}
	if err := s.writeFindings(folder); err != nil {
		return checked{}, err
	}
	c.List = filepath.Join(out, findingsFile)
	if !inParts {
		if err := s.writeQuality(folder); err != nil {
			return checked{}, err
		}
		c.Quality = filepath.Join(out, qualityFile)
	}
	run, err := s.record(ctx, c.Ledgers)
	if err != nil {
		return checked{}, err
	}
	return c, folder.Commit(run)
}

// What check writes is private: the list of every finding holds patient rows, and the page about the exports, though cleared
// of small numbers like any report, shows counts that a report on the same rows hides.
const (
	findingsFile = asideFolder + "/findings.csv"
	qualityFile  = asideFolder + "/quality.html"
)

// writeFindings writes the list of findings and the recode log.
func (s *study) writeFindings(folder *record.Folder) error {
	err := writePrivate(folder, findingsFile, func(w io.Writer) error { return schemas.WriteFindings(w, s.exports.Findings) })
	return errors.Join(err, s.writeRecodes(folder))
}

// writeQuality writes the page about the exports.
func (s *study) writeQuality(folder *record.Folder) error {
	doc := analyses.Quality(s.plan, s.exports, s.registry.Ledgers, version)
	cleared, err := disclose.Clear(doc, disclose.Policy{MaskBelow: s.plan.Disclosure.MaskBelow, Reason: s.plan.Disclosure.Reason})
	if err != nil {
		return err
	}
	files, err := render.Files(cleared)
	if err != nil {
		return err
	}
	for _, f := range files {
		switch f.Name {
		case "report.html":
			err = errors.Join(err, folder.WritePrivate(qualityFile, f.Data))
		case "tables/estimates.csv", "tables/estimates.parquet": // as the page names them
			err = errors.Join(err, folder.WritePrivate(asideFolder+"/"+f.Name, f.Data))
		}
	}
	return err
}

// check loads the study and counts what is wrong with its rows.
func (s *study) check(ctx context.Context, bar *progress) (checked, error) {
	if err := s.load(ctx, bar); err != nil {
		return checked{}, err
	}
	c := checked{Study: s.plan.Study, Ledgers: s.registry.Ledgers, Stated: s.stated()}
	for _, t := range s.exports.Tables {
		for _, r := range t.Recoded {
			c.Recodes = append(c.Recodes, recoded{t.Schema.Name, r.Field, r.From, r.To, r.N})
		}
	}
	c.counts(s.exports.Findings)
	return c, nil
}

// counts counts the findings of each rule.
func (c *checked) counts(fs *schemas.Findings) {
	c.summary = fs.Summary()
	for _, n := range fs.Counts() {
		r := ruleCount{Rule: n.Rule.ID, Table: n.Table, Count: n.N, Sentence: n.Rule.Sentence, Remedy: n.Rule.Remedy, Distinct: n.Distinct}
		for _, v := range n.Values {
			r.Values = append(r.Values, found{v.Field, v.Value, v.N})
		}
		for _, f := range n.First {
			r.First = append(r.First, fmt.Sprintf("%s:%d:%d", f.File, f.Line, f.Column))
		}
		c.Findings = append(c.Findings, r)
	}
}

// stated lists what reading each file found out: its delimiter, its sheet, how many rows its scores in columns became.
func (s *study) stated() (list []string) {
	for _, t := range s.exports.Tables {
		for i := range t.Sources {
			if p := &t.Sources[i]; p.Note != "" {
				list = append(list, p.File+": "+p.Note)
			}
		}
	}
	return list
}

// shownFiles is how many files the screen tells about; --json tells about all.
const shownFiles = 12

// clean reports whether every row is used.
func (c checked) clean() bool {
	for _, l := range c.Ledgers {
		if l.Used != l.Read {
			return false
		}
	}
	return true
}

func (c checked) inWords(w io.Writer) {
	printLedgers(w, c.Ledgers)
	fmt.Fprintln(w)
	for _, line := range c.Stated[:min(shownFiles, len(c.Stated))] {
		fmt.Fprintln(w, line)
	}
	if more := len(c.Stated) - shownFiles; more > 0 {
		fmt.Fprintf(w, "and %d more files\n", more)
	}
	fmt.Fprintln(w)
	c.recodesInWords(w)
	if len(c.Findings) == 0 {
		fmt.Fprintln(w, "No rule is broken.")
		c.placesInWords(w)
		return
	}
	fmt.Fprint(w, c.summary.String())
	c.placesInWords(w)
}

// shownCodes is how many codes of a field the screen tells about.
const shownCodes = 10

// recodesInWords prints what became of the export's codes, one field a line.
func (c checked) recodesInWords(w io.Writer) {
	for from := 0; from < len(c.Recodes); {
		to, codes := from, []string(nil)
		for ; to < len(c.Recodes) && c.Recodes[to].Table == c.Recodes[from].Table && c.Recodes[to].Field == c.Recodes[from].Field; to++ {
			r := c.Recodes[to]
			codes = append(codes, fmt.Sprintf("%s → %s %d", r.From, cmp.Or(r.To, "missing"), r.Cells))
		}
		if more := len(codes) - shownCodes; more > 0 {
			codes = append(codes[:shownCodes], fmt.Sprintf("and %d more", more))
		}
		fmt.Fprintf(w, "recoded in %s, %s: %s\n", c.Recodes[from].Table, c.Recodes[from].Field, strings.Join(codes, "; "))
		from = to
	}
	if len(c.Recodes) > 0 {
		fmt.Fprintln(w)
	}
}

func (c checked) placesInWords(w io.Writer) {
	if c.List == "" {
		fmt.Fprintln(w, "\nWith --out DIR, check also lists every finding there and writes a page about the exports.")
		return
	}
	if c.Quality == "" {
		fmt.Fprintf(w, "\nEvery finding: %s (private: it tells of patients)\n", c.List)
		return
	}
	fmt.Fprintf(w, "\nAbout the exports: %s\nEvery finding: %s\nBoth are private: they tell of patients, and show counts that a report hides.\n", c.Quality, c.List)
}

// printLedgers prints the row ledger, one table a line, as an equation.
func printLedgers(w io.Writer, ledgers []schemas.Ledger) {
	t := tabwriter.NewWriter(w, 0, 0, 1, ' ', tabwriter.AlignRight)
	for _, l := range ledgers {
		fmt.Fprintf(t, "  %s:\t%d read\t=\t%d used\t+\t%d set aside\t+\t%d unlinked\t\n", l.Table, l.Read, l.Used, l.SetAside, l.Unlinked)
	}
	t.Flush()
}
