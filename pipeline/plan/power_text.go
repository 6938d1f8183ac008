package plan

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"deltoid/stats/power"
)

// ForOne makes the plan of one design whose settings did not come from a file, as those of a command line do not. The error is
// [schemas.Problems], each with its place as where gives it for an assumption.
func ForOne(d Planned, study, title string, where func(power.Name) string) (*PowerPlan, error) {
	d, err := NewPlanned(d, where)
	if err != nil {
		return nil, err
	}
	if title == "" {
		title = "How large must the study be?"
		if _, given := d.Given[power.Size]; given {
			title = "What can the study find?"
		}
	}
	return &PowerPlan{Path: study, Study: study, Title: title, Designs: []Planned{d}, Outputs: []Output{HTML, Markdown, Notebook, Figures}}, nil
}

// Text writes the plan as a file that [ParsePower] reads back.
func (p *PowerPlan) Text() []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "power: %d\nstudy: %s\ntitle: %s\n", PowerVersion, p.Study, strconv.Quote(p.Title))
	b.WriteString("designs:\n")
	for _, d := range p.Designs {
		fmt.Fprintf(&b, "  - design: %s\n", d.Design.ID)
		if d.Outcome != defaultOutcome {
			fmt.Fprintf(&b, "    outcome: %s\n", strconv.Quote(d.Outcome))
		}
		if d.Measured != defaultMeasured {
			fmt.Fprintf(&b, "    measured: %s\n", strconv.Quote(d.Measured))
		}
		if d.Groups != defaultGroups {
			fmt.Fprintf(&b, "    groups: [%s, %s]\n", strconv.Quote(d.Groups[0]), strconv.Quote(d.Groups[1]))
		}
		for _, t := range d.Design.Takes {
			if s, ok := d.Given[t.Name]; ok {
				fmt.Fprintf(&b, "    %s: %s\n", t.Name, settingText(s))
			}
		}
	}
	return []byte(b.String())
}

// settingText writes a setting as a plan holds it.
func settingText(s power.Setting) string {
	if s.Word != "" {
		return s.Word
	}
	if s.Number == math.Trunc(s.Number) && math.Abs(s.Number) < 1e15 {
		return strconv.FormatFloat(s.Number, 'f', -1, 64)
	}
	return number(s.Number)
}

// Settings lists every setting that was in effect, for the run record.
func (p *PowerPlan) Settings() [][2]string {
	l := &settings{}
	l.add("title", p.Title)
	l.add("about", p.About)
	l.add("invented", strconv.FormatBool(p.Invented))
	for _, d := range p.Designs {
		key := "designs." + d.ID
		l.add(key+".design", d.Design.ID)
		for _, t := range d.Design.Takes {
			s, given := d.Given[t.Name]
			switch {
			case given:
				l.add(key+"."+string(t.Name), settingText(s))
			case t.Usual != nil:
				l.add(key+"."+string(t.Name), settingText(*t.Usual))
			}
		}
		if d.Simulations > 0 {
			l.add(key+".simulations", strconv.Itoa(d.Simulations))
			l.add(key+".seed", strconv.FormatUint(d.Seed, 10))
		}
	}
	for i := range p.Simulated {
		l.simulated(&p.Simulated[i])
	}
	l.add("outputs", join(words(p.Outputs)))
	return l.rows
}

// Drew says whether studies were made up, and the seed of the first design that was.
func (p *PowerPlan) Drew() (seed uint64, drew bool) {
	for _, d := range p.Designs {
		if d.Simulations > 0 {
			return d.Seed, true
		}
	}
	if len(p.Simulated) > 0 {
		return p.Simulated[0].Seed, true
	}
	return 0, false
}
