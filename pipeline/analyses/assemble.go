package analyses

import (
	"fmt"
	"time"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
)

// cautions close every report.
var cautions = []string{
	"This is a summary of a cohort for research and audit. It is not advice for one patient: decisions belong to licensed clinicians and their patients.",
	"Local rules come first: research ethics, data protection, and the reporting rules of the registry or hospital that gave the data.",
	"Groups were not formed by chance. A difference between them may come from the patients, the surgeons or the records as well as from the implant.",
}

// Assemble runs the analyses of a plan on a cohort and puts the report together: the answers first, then who is counted,
// then what came in.
func Assemble(p *plan.Plan, x Exports, c *cohorts.Cohort, flow *cohorts.Flow, version string) (report.Document, error) {
	doc := report.Document{Study: p.Study, Title: p.Title, About: p.About, Invented: p.Invented, Version: version, Cautions: cautions,
		DataCut: dataCut(p)}
	b := newBook(&doc)
	done := finished{}
	for _, asked := range p.Analyses {
		section, err := analyse(b, p, c, asked)
		if err != nil {
			return report.Document{}, err
		}
		done.add(asked, section)
		doc.Sections = append(doc.Sections, section)
	}
	if err := tieRestricted(b, p, c); err != nil {
		return report.Document{}, err
	}
	participants := flowSection(b, c, flow)
	tieToFlow(b, p, flow)
	answers := lead(b, p, append([]report.Section{participants}, doc.Sections...))
	if done.describes() {
		doc.Sections = append(doc.Sections, questionsSection(b, p, participants, done))
	}
	doc.Sections = append(doc.Sections, participants, accountsSection(b, x, c.Registry.Ledgers))
	doc.Lead = append(warnings(c), answers...)
	return doc, nil
}

// analyse runs one analysis.
func analyse(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	if err := unheardOf(p, c.Registry, asked); err != nil {
		return report.Section{}, err
	}
	c, err := within(c, asked)
	if err != nil {
		return report.Section{}, err
	}
	switch asked.Kind {
	case plan.ImplantSurvival:
		return implantSurvival(b, p, c, asked)
	case plan.Comparison:
		return compareGroups(b, p, c, asked)
	case plan.Reasons:
		return revisionReasons(b, p, c, asked)
	case plan.Regression:
		return regress(b, p, c, asked)
	case plan.Validation:
		return validateModel(b, p, c, asked)
	case plan.Projection:
		return project(b, p, c, asked)
	case plan.NextStudyKind:
		return planNext(b, p, c, asked)
	case plan.Baseline:
		return baselineCharacteristics(b, p, c, asked)
	case plan.BothShoulders:
		return bothSides(b, p, c, asked)
	case plan.Indication:
		return indicationDecided(b, p, c, asked)
	case plan.ProcedureAudit:
		return procedureAudit(b, p, c, asked)
	case plan.FollowUpKind:
		return followUpSection(b, p, c, asked)
	case plan.Recovery:
		return recoverySection(b, p, c, asked)
	case plan.RepeatedScores:
		return repeatedSection(b, p, c, asked)
	case plan.ThresholdsKind:
		return thresholdSection(b, p, c, asked)
	case plan.WithinPatient:
		return compareWithinPatients(b, p, c, asked)
	case plan.Agreement:
		return agreementSection(b, p, c, asked)
	case plan.Discrimination:
		return discriminationSection(b, p, c, asked)
	case plan.RevisionRates:
		return revisionRates(b, p, c, asked)
	default:
		return report.Section{}, fmt.Errorf("%s: no analysis of the kind %q exists", asked.Place, asked.Kind)
	}
}

// lead takes the short answers of the sections while there is room for three: one to each question that a reader comes with,
// in their order, before a second one to any. The sections give the answers in full.
func lead(b *book, p *plan.Plan, sections []report.Section) []report.Text {
	const room = 3
	question := map[string]string{}
	if p != nil {
		for _, asked := range p.Analyses {
			question[asked.ID] = questionOf(asked.Kind)
		}
	}
	var first, more []report.Text
	seen := map[string]bool{}
	for _, s := range sections {
		short, ok := b.short[s.ID]
		switch q := question[s.ID]; {
		case !ok:
		case q == later, q != "" && seen[q]:
			more = append(more, short)
		default:
			seen[q] = true
			first = append(first, short)
		}
	}
	texts := append(first, more...)
	return texts[:min(room, len(texts))]
}

// later is the question of analyses that serve another: their answers come after those of all others.
const later = "later"

// questionOf says what a kind of analysis tells of: how long implants last, how patients recover, or something of its own, for
// which any number of answers are different ones.
func questionOf(k plan.Kind) string {
	switch k {
	case plan.ImplantSurvival, plan.Comparison, plan.Reasons, plan.RevisionRates, plan.Regression:
		return "lasting"
	case plan.Recovery:
		return "recovery"
	case plan.ThresholdsKind, plan.RepeatedScores:
		return later
	}
	return ""
}

func dataCut(p *plan.Plan) string {
	switch {
	case p.FollowUp.DataCut == schemas.NoDay:
		return ""
	case p.Offsets:
		return fmt.Sprintf("day %d", p.FollowUp.DataCut)
	default:
		return inLetters(p.FollowUp.DataCut)
	}
}

// inLetters writes a day as people do: "31 December 2023".
func inLetters(day int32) string {
	t, err := time.Parse(time.DateOnly, schemas.FormatDay(day))
	if err != nil {
		return schemas.FormatDay(day)
	}
	return t.Format("2 January 2006")
}
