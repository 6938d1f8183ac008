package analyses

import (
	"fmt"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/power"
)

// powerCautions close a report on what a study needs.
var powerCautions = []string{
	"A size is as good as what was assumed. The tables show what happens when that is wrong; have the assumptions looked at by somebody who knows the patients, and state in the protocol where each comes from.",
	"Local rules come first: research ethics, data protection, and the rules of the registry or hospital that will give the data.",
	"These are numbers for planning research. They say nothing about any patient.",
}

// planning is one design while its section is written.
type planning struct {
	*book
	asked  plan.Planned
	answer *power.Answer
}

// AssemblePower answers the designs of a plan for power and puts the report together. It needs no data.
func AssemblePower(p *plan.PowerPlan, version string) (report.Document, error) {
	doc := report.Document{Study: p.Study, Title: p.Title, About: p.About, Invented: p.Invented, Version: version, Cautions: powerCautions}
	b := newBook(&doc)
	for _, asked := range p.Designs {
		section, err := planSection(b, asked)
		if err != nil {
			return report.Document{}, err
		}
		doc.Sections = append(doc.Sections, section)
	}
	for _, asked := range p.Simulated {
		section, err := simulatedSection(b, asked)
		if err != nil {
			return report.Document{}, err
		}
		doc.Sections = append(doc.Sections, section)
	}
	doc.Lead = lead(b, nil, doc.Sections)
	return doc, nil
}

// planSection answers one design.
func planSection(b *book, asked plan.Planned) (report.Section, error) {
	answer, err := power.Solve(asked.Design, asked.Given)
	if err != nil {
		return report.Section{}, fmt.Errorf("%s: %w", asked.Place, err)
	}
	s := &planning{book: b, asked: asked, answer: answer}
	s.assumptions()
	s.results()
	section := report.Section{
		ID:       asked.ID,
		Heading:  s.heading(),
		Question: asked.Design.Question,
		Answer:   s.sentences(),
		Sheets:   []report.Sheet{s.neighbours(), s.assumptionSheet(), s.resultSheet()},
		Method:   s.methods(),
		Notes:    s.remarks(),
	}
	if section.Figures, err = s.figures(); err != nil {
		return section, err
	}
	if asked.Simulations > 0 {
		text, err := s.simulate()
		if err != nil {
			return section, err
		}
		section.Answer = append(section.Answer, text)
	}
	b.short[asked.ID] = section.Answer[0]
	return section, nil
}

func (s *planning) id(parts ...string) string {
	id := s.asked.ID
	for _, p := range parts {
		id += "." + p
	}
	return id
}

// heading says what was looked for.
func (s *planning) heading() string {
	what := map[power.Name]string{power.Size: "Size", power.Power: "Power", power.HalfWidth: "Precision"}[s.answer.Solved]
	if what == "" {
		what = "Smallest detectable effect"
	}
	h := what + " of a study: " + s.asked.Design.ID
	if s.asked.ID != slug(s.asked.Design.ID) {
		h += " (" + s.asked.ID + ")"
	}
	return h
}
