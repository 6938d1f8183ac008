package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"deltoid/pipeline/analyses"
	"deltoid/pipeline/disclose"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/record"
	"deltoid/pipeline/render"
	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/power"
)

// powerPlanFile is the plan that a command line stands for, written beside its report so that it can be run again.
const powerPlanFile = "power-plan.yaml"

func powerCommand(o *options) *cobra.Command {
	c := &cobra.Command{
		Use:   "power PLAN | DESIGN",
		Short: "Say how large the next study must be",
		Long: "power works out the size of a study, its power, or the smallest effect that it can detect: of the three, the one that is\n" +
			"left out. It needs no data. Name a plan for power (see README.md), or a design with its assumptions as flags, as in\n\n" +
			"  deltoid power survival-of-two-groups --first 8% --at 5 --hazard-ratio 0.6 --recruitment 3 --follow-up 4 \\\n" +
			"      --loss 2% --deaths 4% --power 90%\n\n" +
			"deltoid power DESIGN --help explains each assumption of a design in a line.",
		Args: cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return cmd.Help()
			}
			if len(args) != 1 || !strings.Contains(args[0], ".") {
				return usageError{noDesign(args)}
			}
			p, err := plan.ReadPower(args[0])
			if err != nil {
				return err
			}
			return o.planPower(cmd.Context(), p, nil)
		},
	}
	for _, d := range power.Designs() {
		c.AddCommand(designCommand(o, d))
	}
	return c
}

// noDesign says that a word is neither a plan nor a design.
func noDesign(args []string) error {
	var names []string
	for _, d := range power.Designs() {
		names = append(names, hyphened(d.ID))
	}
	hint := ""
	if near, ok := schemas.Nearest(hyphened(strings.Join(args, " ")), names); ok {
		hint = fmt.Sprintf("; did you mean %q?", near)
	}
	return fmt.Errorf("%q is neither a plan for power (a YAML file) nor a design; there are: %s%s", strings.Join(args, " "), strings.Join(names, ", "), hint)
}

// hyphened makes one word of a name: "two means" → "two-means".
func hyphened(name string) string {
	return strings.ToLower(strings.NewReplacer(" ", "-", "_", "-").Replace(name))
}

// designCommand is one design with its assumptions as flags.
func designCommand(o *options, d *power.Design) *cobra.Command {
	var title, outcome, groups, measured string
	values := map[power.Name]*string{}
	c := &cobra.Command{
		Use:   hyphened(d.ID),
		Short: d.Question,
		Args:  noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			asked := plan.Planned{Design: d, Given: power.Given{}, Outcome: outcome, Measured: measured}
			if groups != "" {
				names := strings.Split(groups, ",")
				if len(names) != 2 {
					return usageError{fmt.Errorf("--groups takes two names with a comma between them, the group that is compared with first")}
				}
				asked.Groups = [2]string{strings.TrimSpace(names[0]), strings.TrimSpace(names[1])}
			}
			for _, t := range d.Takes {
				if !cmd.Flags().Changed(hyphened(string(t.Name))) {
					continue
				}
				setting, err := settingOf(t, *values[t.Name])
				if err != nil {
					return usageError{fmt.Errorf("--%s: %w", hyphened(string(t.Name)), err)}
				}
				asked.Given[t.Name] = setting
			}
			p, err := plan.ForOne(asked, hyphened(d.ID), title, func(n power.Name) string { return "--" + hyphened(string(n)) })
			if err != nil {
				return err
			}
			return o.planPower(cmd.Context(), p, p.Text())
		},
	}
	c.Long = d.Question + "\n\nOf " + strings.Join(lookedFor(d), ", ") + " leave one out: it is looked for. A share can be written as 0.05 or 5%."
	flags := c.Flags()
	flags.SortFlags = false
	for _, t := range d.Takes {
		values[t.Name] = flags.String(hyphened(string(t.Name)), "", explained(t))
	}
	flags.StringVar(&title, "title", "", "title of the report")
	flags.StringVar(&outcome, "outcome", "", "what happens to a shoulder, for the sentence: \"revision for any reason\"")
	flags.StringVar(&groups, "groups", "", "names of the two groups, for the sentence: \"standard stem, fracture stem\"")
	flags.StringVar(&measured, "measured", "", "what the means are in, for the sentence: \"points of the Constant score\"")
	return c
}

// settingOf reads a flag. A share may be written in percent.
func settingOf(t power.Assumption, text string) (power.Setting, error) {
	if t.Unit == power.Choice {
		return power.Says(text), nil
	}
	digits, percent := strings.CutSuffix(strings.TrimSpace(text), "%")
	x, err := strconv.ParseFloat(strings.TrimSpace(digits), 64)
	switch {
	case err != nil:
		return power.Setting{}, fmt.Errorf("%q is no number; write one %s", text, t.Range())
	case percent && t.Unit != power.Share:
		return power.Setting{}, fmt.Errorf("%q is in percent, but %s is no share; write the number", text, t.Words)
	case percent:
		x /= 100
	}
	return power.Is(x), nil
}

// lookedFor are the flags of which one is left out.
func lookedFor(d *power.Design) []string {
	list := []string{"--size", "--" + hyphened(string(d.Goal))}
	if d.Effect != "" {
		list = append(list, "--"+hyphened(string(d.Effect)))
	}
	return list
}

// explained is the line of help of an assumption.
func explained(t power.Assumption) string {
	text := t.Words + ": " + t.Help
	if t.Unit == power.Choice {
		text += " (" + strings.Join(t.Choices, ", ") + ")"
	}
	switch {
	case t.Usual != nil:
		text += "; usual: " + t.Usual.Describe()
	case t.Optional:
		text += "; left out: " + t.Absent
	}
	// Backquotes would name the value of a flag; the words hold none.
	return text
}

// powerOutcome is what power prints.
type powerOutcome struct {
	Study     string   `json:"study"`
	Report    string   `json:"report"`
	Sentences []string `json:"sentences"`
	Files     []string `json:"files"`
}

func (r powerOutcome) inWords(w io.Writer) {
	for _, s := range r.Sentences {
		fmt.Fprintf(w, "%s\n\n", s)
	}
	fmt.Fprintf(w, "Report: %s\n", r.Report)
}

// planPower takes a plan for power through the house: no export comes in, everything else is as for a study. A text is the plan
// where none was read from a file; it is written beside the report.
func (o *options) planPower(ctx context.Context, p *plan.PowerPlan, text []byte) error {
	out := o.out
	if out == "" {
		out = filepath.Join("notebooks-out", p.Study)
	}
	folder, err := record.Stage(out)
	if err != nil {
		return err
	}
	defer folder.Abandon()
	bar := o.progress()
	defer bar.end()
	bar.step("Working out the designs")
	doc, err := analyses.AssemblePower(p, version)
	if err != nil {
		return err
	}
	bar.step("Writing the report")
	cleared, err := disclose.Clear(doc, disclose.Policy{MaskBelow: disclose.DefaultMaskBelow})
	if err != nil {
		return err
	}
	files, err := render.Files(cleared)
	if err != nil {
		return err
	}
	var written []string
	for _, f := range chosen(files, p.Outputs) {
		if err := folder.Write(f.Name, f.Data); err != nil {
			return err
		}
		written = append(written, f.Name)
	}
	run, err := o.recordPower(ctx, p, text)
	if err != nil {
		return err
	}
	if text != nil {
		if err := folder.Write(powerPlanFile, text); err != nil {
			return err
		}
		written = append(written, powerPlanFile)
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := folder.Commit(run); err != nil {
		return err
	}
	bar.end()
	result := powerOutcome{Study: p.Study, Report: filepath.Join(out, first(written)), Sentences: answers(cleared.Document()), Files: written}
	return o.print(result, result.inWords)
}

// recordPower says what went into the run.
func (o *options) recordPower(ctx context.Context, p *plan.PowerPlan, text []byte) (record.Run, error) {
	run := record.New(version, p.Study)
	for _, pair := range p.Settings() {
		run.Settings = append(run.Settings, record.Setting{Key: pair[0], Value: pair[1]})
	}
	if seed, drew := p.Drew(); drew {
		run.Seed = &seed
	}
	if text != nil {
		sum := sha256.Sum256(text)
		run.Plan = record.File{Path: powerPlanFile, Bytes: int64(len(text)), SHA256: hex.EncodeToString(sum[:])}
		return run, nil
	}
	hashed, err := record.HashFiles(ctx, []string{p.Path})
	if err != nil {
		return run, err
	}
	run.Plan = hashed[0]
	run.Plan.Path = filepath.Base(p.Path)
	return run, nil
}

// answers writes the answer of every section as plain text: all that a protocol needs of it.
func answers(doc report.Document) []string {
	var all []report.Text
	for _, s := range doc.Sections {
		all = append(all, s.Answer...)
	}
	doc.Lead = all
	return sentences(doc)
}
