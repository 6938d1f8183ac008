package analyses

import (
	"math"

	"deltoid/pipeline/report"
	"deltoid/stats/power"
)

// The number of points of a curve: fewer where each takes an enumeration.
const (
	curvePoints = 40
	exactPoints = 16
)

// line is one curve to be drawn.
type line struct {
	name string
	at   func(x float64) power.Given // the design at a place of the x axis, its goal left open
}

// figures draw the power, or the width, against the size, against the effect, and against the time of recruitment.
func (s *planning) figures() ([]report.Figure, error) {
	list := []report.Figure{s.sizeFigure()}
	if s.asked.Design.Effect != "" {
		list = append(list, s.effectFigure())
	}
	if s.answer.Given[power.Recruitment].Number > 0 {
		list = append(list, s.recruitmentFigure())
	}
	return list, nil
}

// draw makes a figure of lines from one end of the x axis to the other.
//
// A dot marks the design as planned, at its value of an assumption.
func (s *planning) draw(slug, title string, x report.Axis, from float64, at power.Name, lines []line) report.Figure {
	d := s.asked.Design
	f := report.Figure{ID: s.asked.ID + "-" + slug, Title: title, X: x, Marks: []report.Mark{{At: s.assumedID(at), Estimate: s.id("reached")}}}
	f.Y = report.Axis{Label: "Power", Unit: report.UnitProbability, Max: 1, Ticks: []float64{0, 0.2, 0.4, 0.6, 0.8, 1}}
	points := curvePoints
	if s.answer.Method.Exact && s.answer.Given[power.Test].Word != "" {
		points = exactPoints
	}
	top := 0.0
	for i, l := range lines {
		c := report.Curve{Group: l.name, Measure: "power", Sloping: true, Style: i, EndX: x.Max, End: "end of the drawing"}
		if d.Goal != power.Power {
			c.Measure = "half-width"
		}
		for k := range points + 1 {
			at := from + float64(float64(k)/float64(points)*(x.Max-from))
			answer, err := power.Solve(d, l.at(at))
			if err != nil {
				continue
			}
			c.Steps = append(c.Steps, report.Step{X: at, Y: answer.Reached})
			top = math.Max(top, answer.Reached)
		}
		if len(c.Steps) > 1 {
			f.Curves = append(f.Curves, c)
		}
	}
	if d.Goal != power.Power {
		t, _ := d.Taken(power.HalfWidth)
		ticks := ticksTo(math.Min(top, 3*s.answer.Reached))
		f.Y = report.Axis{Label: "Half the width of the interval", Unit: s.axisUnit(t), Max: top, Ticks: ticks}
	}
	f.Alt = title + ": one line for each of " + joinWords(namesOf(lines)) + ", and a dot for the design as planned. The table of changed assumptions gives values."
	return f
}

func namesOf(lines []line) []string {
	names := make([]string, len(lines))
	for i, l := range lines {
		names[i] = l.name
	}
	return names
}

// axisUnit is the unit of an axis, whose ticks are shown in percent where it counts shares.
func (s *planning) axisUnit(t power.Assumption) string {
	if t.Unit == power.Share {
		return report.UnitProbability
	}
	return s.unitOf(t)
}

// open is the answer's assumptions with the goal left open.
func (s *planning) open(name power.Name, to float64) power.Given {
	return s.changed(name, to, s.asked.Design.Goal)
}

// wholeSize rounds a size so that both groups are whole.
func (s *planning) wholeSize(size float64) float64 {
	if s.sizeUnit() != power.Persons {
		return size
	}
	return math.Max(float64(s.asked.Design.Groups), math.Round(size))
}

func (s *planning) sizeFigure() report.Figure {
	d, size := s.asked.Design, s.answer.Given[power.Size].Number
	lines := []line{{"as assumed", func(x float64) power.Given { return s.open(power.Size, s.wholeSize(x)) }}}
	for _, c := range s.changes() {
		if c.slug == "effect-two-thirds" || c.slug == "loss-double" || c.slug == "sd-larger" {
			name := map[string]string{"effect-two-thirds": "effect two thirds", "loss-double": "loss double", "sd-larger": "SD a quarter larger"}[c.slug]
			lines = append(lines, line{name, func(x float64) power.Given {
				given := s.open(power.Size, s.wholeSize(x))
				given[c.name] = power.Is(c.to)
				return given
			}})
		}
	}
	title := "Power against size"
	if d.Goal != power.Power {
		title = "Width against size"
	}
	x := report.Axis{Label: sentence(d.Counted) + " in all", Unit: d.Counted, Max: 2 * size, Ticks: ticksTo(2 * size)}
	return s.draw("by-size", title, x, size/10, power.Size, lines)
}

func (s *planning) effectFigure() report.Figure {
	d := s.asked.Design
	t, _ := d.Taken(d.Effect)
	null, far := s.answer.Null(), s.effectTimes(1.6)
	for t.Check(power.Is(far)) != nil {
		far = (far + s.answer.Given[d.Effect].Number) / 2
	}
	low, high := math.Min(null, far), math.Max(null, far)
	size := s.answer.Given[power.Size].Number
	with := func(size float64) func(float64) power.Given {
		return func(x float64) power.Given {
			given := s.open(d.Effect, x)
			given[power.Size] = power.Is(s.wholeSize(size))
			return given
		}
	}
	lines := []line{{"planned size", with(size)}, {"half the size", with(size / 2)}, {"twice the size", with(2 * size)}}
	x := report.Axis{Label: sentence(t.Words), Unit: s.axisUnit(t), Min: low, Max: high, Ticks: ticksBetween(low, high)}
	return s.draw("by-effect", "Power against effect", x, low, d.Effect, lines)
}

// recruitmentFigure keeps the number recruited in a year, so that a longer recruitment is a larger study, and, beside that,
// the size, so that it is one whose last shoulders are followed as long.
func (s *planning) recruitmentFigure() report.Figure {
	years, size := s.answer.Given[power.Recruitment].Number, s.answer.Given[power.Size].Number
	lines := []line{
		{"as many each year as planned", func(x float64) power.Given {
			given := s.open(power.Recruitment, x)
			given[power.Size] = power.Is(s.wholeSize(size * x / years))
			return given
		}},
		{"half as many each year", func(x float64) power.Given {
			given := s.open(power.Recruitment, x)
			given[power.Size] = power.Is(s.wholeSize(size * x / years / 2))
			return given
		}},
	}
	title := "Power against years of recruitment"
	if s.asked.Design.Goal != power.Power {
		title = "Width against years of recruitment"
	}
	x := report.Axis{Label: "Years of recruitment", Unit: report.UnitYears, Max: 2.5 * years, Ticks: ticksTo(2.5 * years)}
	return s.draw("by-recruitment", title, x, years/10, power.Recruitment, lines)
}

// ticksBetween are nice marks within two ends.
func ticksBetween(low, high float64) []float64 {
	step := niceStep((high - low) / 8)
	var ticks []float64
	for i := math.Ceil(low/step - 1e-9); float64(i*step) <= high+float64(1e-9*step); i++ {
		ticks = append(ticks, i*step)
	}
	return ticks
}
