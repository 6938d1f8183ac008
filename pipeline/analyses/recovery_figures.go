package analyses

import (
	"math"
	"strconv"
	"strings"

	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/change"
	"deltoid/stats/describe"
)

// mostCourses is how many groups the picture of the course keeps apart.
const mostCourses = 6

// trajectory draws the mean score of those assessed at each visit, as they are.
func (s *recovery) trajectory() []report.Figure {
	per, _ := schemas.DaysPer(schemas.Months)
	f := report.Figure{ID: s.asked.ID + "-course", Title: "Mean score at each visit" + s.byTitle(),
		X: report.Axis{Label: "Months since the operation", Unit: "months"}, Y: report.Axis{Label: sentence(s.instrument.Title) + ", " + s.points(), Unit: s.scoreUnit()}}
	for k, w := range s.visits.Windows {
		months := math.Round(float64(w.Target) / per)
		f.X.Ticks = append(f.X.Ticks, months)
		if k == 0 {
			f.X.Min = months
		}
		f.X.Max = months
	}
	if f.X.Max <= f.X.Min {
		return nil // one visit makes no course
	}
	low, high := s.instrument.Minimum, s.instrument.Maximum
	step := niceStep((high - low) / 8)
	for y := math.Ceil(low/step) * step; y <= high*(1+1e-12); y += step {
		f.Y.Ticks = append(f.Y.Ticks, y)
	}
	f.Y.Min, f.Y.Max = low, high
	columns := s.compared()
	if len(columns) == 0 || len(columns) > mostCourses {
		columns = []int{len(s.labels) - 1}
	}
	for at, column := range columns {
		if c, ok := s.course(column, at, f.X.Ticks); ok {
			f.Curves = append(f.Curves, c)
		}
	}
	if len(f.Curves) == 0 {
		return nil
	}
	f.Alt = f.Title + ", with intervals: " + s.instrument.Spoken + " against months since the operation. The table gives the values of those with both scores."
	f.Notes = []report.Text{report.Words("Raw means of all who were assessed at each visit, with their intervals. They are not the same shoulders at every visit, and those who do badly may stay away.")}
	return []report.Figure{f}
}

func (s *recovery) byTitle() string {
	if by := s.byWords(); by != "" && len(s.compared()) > 1 {
		return ", by " + by
	}
	return ""
}

// course is the means of one column over the visits at which it has scores.
func (s *recovery) course(column, style int, months []float64) (report.Curve, bool) {
	c := report.Curve{Group: s.labels[column], Measure: "mean score", Sloping: true, Style: style, End: "last visit"}
	for k, w := range s.visits.Windows {
		var x []float64
		for _, i := range s.members[column] {
			if v := s.visits.Value[k][i]; !math.IsNaN(v) {
				x = append(x, v)
			}
		}
		m := describe.MomentsOf(x)
		if m.Status != describe.Estimated {
			continue
		}
		e := s.estimate(w.ID+".all-mean", column, w.Label+": mean score of all assessed", s.scoreUnit())
		e.Value, e.N, e.Method = report.Some(m.Mean), report.Some(float64(len(x))), "mean, Student's interval"
		step := report.Step{X: months[k], Y: m.Mean}
		if t := describe.Paired(m, s.asked.Level); t.Status == describe.Estimated {
			e.Lower, e.Upper, e.Level = report.Some(t.Lower), report.Some(t.Upper), report.Some(s.asked.Level)
			step.Lower, step.Upper = e.Lower, e.Upper
		}
		c.Estimates = append(c.Estimates, s.add(e))
		c.Steps, c.EndX = append(c.Steps, step), months[k]
	}
	return c, len(c.Steps) > 0
}

// sensitivity draws the share of responders over every threshold at the last visit, with the thresholds of the plan and the
// published ones marked on it, and lists these.
func (s *recovery) sensitivity() ([]report.Figure, []report.Sheet, error) {
	if len(s.each) == 0 {
		return nil, nil, nil
	}
	v, last := s.each[len(s.each)-1], len(s.labels)-1
	if v.scored[last] == 0 {
		return nil, nil, nil
	}
	rows := v.rows[last]
	curve, err := change.ResponderCurve(s.pairOf(v.k, rows), s.scale, s.about, taken(v.complete, rows), s.asked.Level)
	if err != nil || !curve.OK() {
		return nil, nil, err
	}
	f := report.Figure{ID: s.asked.ID + "-curve", Title: "Share that " + s.reachesWords() + "each threshold, at " + s.visitWords(v.k),
		X: s.thresholdAxis(curve), Y: report.Axis{Label: "Share of shoulders", Unit: report.UnitProbability, Max: 1, Ticks: []float64{0, 0.2, 0.4, 0.6, 0.8, 1}}}
	f.Curves = []report.Curve{s.responderCurve(curve, f.X)}
	f.Curves[0].Estimates = []string{v.counted[last], v.answered[last]}
	for i, g := range s.goals {
		if g.known {
			f.Marks = append(f.Marks, report.Mark{At: g.id, Estimate: v.share[i][last], Style: 1})
			f.Curves[0].Estimates = append(f.Curves[0].Estimates, v.share[i][last])
		}
	}
	sheet, marks, err := s.publishedSheet(v, f.X)
	if err != nil {
		return nil, nil, err
	}
	f.Marks = append(f.Marks, marks...)
	f.Alt = f.Title + ". The curve falls as more is asked for. Marks stand at the thresholds of the plan and at published ones; the tables give their values."
	f.Notes = []report.Text{report.Words("Complete cases of the whole cohort. The band holds at each threshold by itself. Dots of one colour stand at the thresholds of the plan, of another at published ones; the tables name them.")}
	return []report.Figure{f}, sheet, nil
}

func (s *recovery) reachesWords() string {
	if s.about == change.OfChange {
		return "improved by at least "
	}
	return "reached "
}

// thresholdAxis is the range of thresholds worth a look: for change from none to the largest improvement, for a state the scale.
func (s *recovery) thresholdAxis(curve change.Responders) report.Axis {
	a := report.Axis{Label: sentence(s.points()) + " of improvement in " + s.instrument.Spoken, Unit: s.scoreUnit()}
	low, high := 0.0, curve.Points[len(curve.Points)-1].At
	if s.about == change.OfState {
		a.Label, low, high = sentence(s.instrument.Title)+", "+s.points(), s.instrument.Minimum, s.instrument.Maximum
	}
	high = max(high, low+1)
	step := niceStep((high - low) / 8)
	a.Min, a.Max = low, math.Ceil(high/step)*step
	for x := low; x <= a.Max*(1+1e-12); x += step {
		a.Ticks = append(a.Ticks, x)
	}
	return a
}

// responderCurve is the share as a step function. The share that improved by at least x falls just after each improvement seen; on
// a scale on which less is better, the share at x or better rises at it.
func (s *recovery) responderCurve(r change.Responders, x report.Axis) report.Curve {
	c := report.Curve{Group: s.labels[len(s.labels)-1], Measure: "share that reached the threshold", EndX: x.Max, End: "end of the axis"}
	step := func(at float64, p change.ResponderPoint) report.Step {
		return report.Step{X: at, Y: p.Share, Lower: report.Some(p.Lower), Upper: report.Some(p.Upper)}
	}
	rising := s.about == change.OfState && !s.scale.HigherIsBetter()
	for i, p := range r.Points {
		switch {
		case rising:
			c.Steps = append(c.Steps, step(max(p.At, x.Min), p))
		case p.At < x.Min:
		case len(c.Steps) == 0:
			c.Steps = append(c.Steps, step(x.Min, p))
			fallthrough
		default:
			if i+1 < len(r.Points) {
				c.Steps = append(c.Steps, step(p.At, r.Points[i+1]))
			} else {
				c.EndX = min(c.EndX, p.At)
			}
		}
	}
	return c
}

// publishedSheet lists the published thresholds of the instrument with the share that reaches each.
func (s *recovery) publishedSheet(v *visitCount, x report.Axis) ([]report.Sheet, []report.Mark, error) {
	sheet := report.Sheet{ID: s.asked.ID + "-published", Title: "Published thresholds of " + s.instrument.Spoken, Columns: []string{"Published by", "Kind", sentence(s.points()), "Share that reaches it here", "Patients", "Method", "Follow-up", "Read at"}}
	var marks []report.Mark
	last := len(s.labels) - 1
	for i, p := range schemas.PublishedFor(s.instrument.Code) {
		if (p.Of == "state") != (s.about == change.OfState) {
			continue
		}
		g := &goal{slug: "published-" + strconv.Itoa(i+1), value: p.Ours(), known: p.Offered(), reach: s.reachWords(), why: "not worked out: a range, or not read at its source"}
		e := report.Estimate{ID: s.id(g.slug), Analysis: s.asked.ID, Cohort: s.cohort.Name, Measure: "published threshold", Unit: s.scoreUnit(), Status: report.Estimated,
			Value: report.Some(g.value), Method: "published: " + p.ID, Note: publishedWords(p)}
		if p.To != nil {
			e.Lower, e.Upper = report.Some(p.Value), report.Some(*p.To)
		}
		g.id = s.add(e)
		share, err := s.publishedShare(v, g, last)
		if err != nil {
			return nil, nil, err
		}
		if g.known && g.value >= x.Min && g.value <= x.Max {
			marks = append(marks, report.Mark{At: g.id, Estimate: share, Style: 2})
		}
		sheet.Rows = append(sheet.Rows, publishedRow(p, g.id, share))
	}
	if len(sheet.Rows) == 0 {
		return nil, nil, nil
	}
	sheet.Notes = []report.Text{report.Words("None of these is a default. Methods, anchors, patients and scales differ, and for most scores the published values differ by more than half of the commonest. " +
		"A value from memory was not read at its source, is listed for completeness and cannot be chosen.")}
	return []report.Sheet{sheet}, marks, nil
}

// publishedShare records the share of a column that reaches a published threshold.
func (s *recovery) publishedShare(v *visitCount, g *goal, column int) (string, error) {
	w := s.visits.Windows[v.k]
	e := s.shareEstimate(v, g, column, "share", "share that "+g.reach+"the threshold, complete cases", "Wilson interval"+s.clusteredWords())
	if !g.known {
		s.settleShare(&e, v, g, column, change.Estimate{})
		return s.add(e), nil
	}
	responses, err := s.responses(v, column, g, v.complete)
	if err != nil {
		return "", err
	}
	share, err := change.ShareOf(responses, taken(s.patient, v.rows[column]), s.asked.Level)
	if err != nil {
		return "", err
	}
	count := func(what, measure string, n int64) string {
		c := s.estimate(w.ID+"."+g.slug+"."+what, column, w.Label+": "+measure, shoulders)
		c.Value, c.Method = report.Some(float64(n)), "count"
		return s.add(c)
	}
	reached := count("reached", g.reach+plain(rounded(g.value))+" "+s.points(), share.Reached)
	s.total(v.answered[column], reached, count("not-reached", "not "+g.reach+plain(rounded(g.value))+" "+s.points(), share.NotReached))
	s.settleShare(&e, v, g, column, share.Complete)
	s.derived(e.ID, reached, v.answered[column])
	return s.add(e), nil
}

func publishedRow(p schemas.Published, id, share string) report.SheetRow {
	read := p.Address
	if p.FromMemory {
		read = "from memory; not checked"
	}
	patients := "not known"
	if p.N > 0 {
		patients = strconv.Itoa(p.N) + ", " + p.Cohort
	}
	method := p.Method
	if p.Anchor != "" && p.Anchor != "none" && !strings.HasPrefix(p.Anchor, "not ") {
		method += ": " + p.Anchor
	}
	if p.Note != "" {
		method += "; " + p.Note
	}
	if i, _ := schemas.InstrumentOf(p.Instrument); p.Scale != i.Scale {
		method += "; printed as " + plain(p.Value) + " on the scale " + p.Scale
	}
	return report.SheetRow{Label: whoPublished(p), Cells: []report.Cell{words(kindWords[p.Kind]), report.Cell(say(inTable(id))), report.Cell(say(inTable(share))),
		words(patients), words(method), words(p.FollowUp), words(read)}}
}

// whoPublished names the authors and the place, once where one is the other.
func whoPublished(p schemas.Published) string {
	if strings.Contains(p.Author, p.Where) || p.Where == "abstract" || strings.HasPrefix(p.Author, p.Where) {
		return p.Author + ", " + strconv.Itoa(p.Year)
	}
	return p.Author + ", " + p.Where + ", " + strconv.Itoa(p.Year)
}

// kindWords name the kinds of published thresholds.
var kindWords = map[string]string{"mcid": "minimal difference (MCID)", "scb": "substantial benefit (SCB)", "pass": "acceptable state (PASS)"}
