package analyses

import (
	"slices"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
)

// flowSection is the participant flow: every step from the rows read to the shoulders counted, in numbers that add up.
func flowSection(b *book, c *cohorts.Cohort, flow *cohorts.Flow) report.Section {
	f := flowEstimates(b, c, flow)
	last := f.steps[len(f.steps)-1]
	b.short["participants"] = say(value(last.kept), " shoulders of ", value(last.patients), " patients are counted.")
	return report.Section{
		ID:       "participants",
		Heading:  "Participant flow",
		Question: "Who is counted, and who was left out, why?",
		Answer: []report.Text{say("Of ", value(f.read), " rows read, ", value(last.kept), " shoulders of ",
			value(last.patients), " patients are counted. Every other row left at one of the steps below, and the steps add up.")},
		Figures: []report.Figure{f.figure()},
		Sheets:  []report.Sheet{f.sheet()},
		Method: []report.Text{report.Words("The steps are applied in the order shown. A shoulder with a missing value in a field " +
			"that a criterion needs does not meet it and is counted apart.")},
	}
}

// tieToFlow states that the shoulders an analysis of the whole cohort counts are those that the flow ends with. Hiding
// one of the two numbers would be in vain otherwise.
func tieToFlow(b *book, p *plan.Plan, flow *cohorts.Flow) {
	last := "flow." + flow.Steps[len(flow.Steps)-1].ID + ".kept"
	for _, asked := range p.Analyses {
		for _, id := range []string{asked.ID + ".shoulders", asked.ID + ".shoulders." + slug(cohorts.All)} {
			if _, there := b.seen[id]; there && b.get(id).Value == b.get(last).Value {
				b.total(last, id)
			}
		}
	}
}

// flowBook is a flow with the ids of its estimates.
type flowBook struct {
	read  string
	steps []flowIDs
}

type flowIDs struct {
	cohorts.FlowStep
	kept, patients, left, unknown string // ids; those of patients and unknown are empty where they do not apply
	patientsLeft                  string
	leftUnit                      string
}

func flowEstimates(b *book, c *cohorts.Cohort, flow *cohorts.Flow) flowBook {
	count := func(id, measure string, n int, unit string) string {
		e := report.Count("flow."+id, "flow", measure, n, unit)
		e.Cohort = c.Name
		return b.add(e)
	}
	f := flowBook{read: count("read", "rows read", flow.RowsRead, "rows")}
	before := flowIDs{FlowStep: cohorts.FlowStep{Unit: "rows"}, kept: f.read}
	for _, s := range flow.Steps {
		ids := flowIDs{FlowStep: s, leftUnit: before.Unit} // where rows become shoulders, it is rows that leave
		ids.kept = count(s.ID+".kept", s.Label, s.Kept, s.Unit)
		ids.left = count(s.ID+".left", s.Leaving, s.Left, ids.leftUnit)
		b.total(before.kept, ids.kept, ids.left)
		if s.Unit == "shoulders" {
			ids.patients = count(s.ID+".kept-patients", s.Label, s.KeptPatients, "patients")
		}
		if before.patients != "" {
			ids.patientsLeft = count(s.ID+".left-patients", s.Leaving, s.LeftPatients, "patients")
			b.total(before.patients, ids.patients, ids.patientsLeft)
		}
		if s.LeftUnknown > 0 {
			ids.unknown = count(s.ID+".left-unknown", s.Leaving+": value not recorded", s.LeftUnknown, ids.leftUnit)
			known := count(s.ID+".left-known", s.Leaving+": value recorded", s.Left-s.LeftUnknown, ids.leftUnit)
			b.total(ids.left, ids.unknown, known)
		}
		f.steps = append(f.steps, ids)
		before = ids
	}
	return f
}

// figure draws the flow; a step at which nobody left stands in the table only.
func (f flowBook) figure() report.Figure {
	fig := report.Figure{ID: "participant-flow", Title: "Participant flow",
		Alt:   "Boxes from top to bottom: what remains after each step, and beside the arrows who left and why. The table holds the same numbers.",
		Boxes: []report.Box{{Label: "Rows read", Kept: say(value(f.read), " rows")}}}
	for i, s := range f.steps {
		if s.Left == 0 && i < len(f.steps)-1 {
			continue
		}
		box := report.Box{Label: s.Label, Kept: say(value(s.kept), " "+s.Unit)}
		if s.patients != "" {
			box.Kept = say(box.Kept, " of ", value(s.patients), " patients")
		}
		if s.Left > 0 {
			count := say(value(s.left), " "+s.leftUnit)
			if s.unknown != "" {
				count = say(count, ", of these ", value(s.unknown), " with no value recorded")
			}
			above := &fig.Boxes[len(fig.Boxes)-1]
			above.Left = append(above.Left, report.Leave{Reason: s.Leaving, Count: count})
		}
		fig.Boxes = append(fig.Boxes, box)
	}
	return fig
}

func (f flowBook) sheet() report.Sheet {
	sheet := report.Sheet{ID: "participant-flow", Title: "Participant flow, step by step",
		Columns: []string{"Step", "Kept", "Patients kept", "Left", "Patients left"}}
	unknown := slices.ContainsFunc(f.steps, func(s flowIDs) bool { return s.unknown != "" })
	row := func(label string, strong bool, ids ...string) {
		r := report.SheetRow{Label: label, Strong: strong}
		if !unknown {
			ids = ids[:len(ids)-1]
		}
		for _, id := range ids {
			r.Cells = append(r.Cells, number(id))
		}
		sheet.Rows = append(sheet.Rows, r)
	}
	if unknown {
		sheet.Columns = append(sheet.Columns, "Left because a value is not recorded")
	}
	row("Rows read", false, f.read, "", "", "", "")
	for i, s := range f.steps {
		row(s.Label, i == len(f.steps)-1, s.kept, s.patients, s.left, s.patientsLeft, s.unknown)
	}
	sheet.Notes = []report.Text{report.Words("The first steps count rows of the export, the others shoulders. A patient has left when no shoulder of the patient is kept.")}
	return sheet
}

// number is a cell that shows the value of an estimate; an empty id gives an empty cell.
func number(id string) report.Cell {
	if id == "" {
		return nil
	}
	return report.Cell(say(value(id)))
}
