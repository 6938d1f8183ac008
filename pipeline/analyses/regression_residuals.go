package analyses

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/covariates"
	"deltoid/stats/dist"
	"deltoid/stats/hazards"
)

// mostTrends is how many coefficients get a picture of their residuals along the scale of the test, mostBins into how many bins
// their events are put.
const (
	mostTrends = 3
	mostBins   = 12
)

// residuals are those that a test of proportional hazards adds up, whatever the model.
type residuals struct {
	along    []float64 // where each stands on the scale of the test
	combined func(w []float64) []float64
	spread   func(w []float64) float64
	axis     string // what the scale is
	name     string
}

func (s *modelled) hazardResiduals(r *hazards.Schoenfeld) (*residuals, error) {
	along, err := s.fit.hazard.Along(r, hazards.FailedShare)
	return &residuals{along, r.Combined, s.fit.hazard.ResidualSpread, "1 − survival just before the event: the scale of the test, on which events are spread evenly",
		"scaled Schoenfeld residuals"}, err
}

func (s *modelled) incidenceResiduals() (*residuals, error) {
	r, err := s.fit.incidence.Residuals()
	if err != nil {
		return nil, err
	}
	return &residuals{r.Along, r.Combined, s.fit.incidence.ResidualSpread, "Share of the events before: the scale of the test", "scaled residuals of the subdistribution"}, nil
}

// trendFigures draw the scaled residuals of the test of proportional hazards along the very scale that the test uses: their means
// in bins of as many events each, since one residual is one shoulder, and a smooth curve through all of them.
func (s *modelled) trendFigures(p *plan.Plan, r *residuals) (figures []report.Figure, err error) {
	along := r.along
	order := make([]int, len(along))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(along[a], along[b]) })
	bins := min(mostBins, len(order)/max(leastInStretch, p.Disclosure.MaskBelow))
	if bins < 2 {
		return nil, nil
	}
	for _, one := range s.toPicture() {
		if len(figures) == mostTrends {
			break
		}
		trend, err := hazards.SmoothResiduals(along, r.combined(one.weights), r.spread(one.weights), 4, gridPoints, s.asked.Level)
		if err != nil {
			return nil, err
		}
		if trend.Status == covariates.Converged {
			figures = append(figures, s.trendFigure(one, r, order, bins, trend, len(figures)+1))
		}
	}
	return figures, nil
}

func (s *modelled) trendFigure(one pictured, r *residuals, order []int, bins int, trend *hazards.Trend, number int) report.Figure {
	what := one.t.title + ": " + spokenGroup(one.t, one.e)
	f := report.Figure{ID: s.asked.ID + "-residuals-" + strconv.Itoa(number), Title: "Residuals of the test of proportional hazards, " + inSentence(what),
		X: report.Axis{Label: r.axis, Unit: report.UnitProbability},
		Alt: "The log " + s.ratioWords() + " of " + inSentence(what) + " along follow-up: means of the " + r.name + " in bins, a smooth curve through all residuals with its band, " +
			"and the level line of the model. A curve that stays near the line speaks for a ratio that does not change."}
	low, high := math.Inf(1), math.Inf(-1)
	for k := range bins {
		rows := order[len(order)*k/bins : len(order)*(k+1)/bins]
		at, mean := s.bin(one, r, rows, k+1)
		f.Marks = append(f.Marks, report.Mark{At: at, Estimate: mean})
		e := s.get(mean)
		low, high = min(low, e.Lower.X), max(high, e.Upper.X)
	}
	c := report.Curve{Group: "Smooth curve", Measure: "log " + s.ratioWords(), Sloping: true, End: "last event", Estimates: []string{s.effectID("coefficient", one.t, one.e)}}
	for k, x := range trend.Along {
		step := report.Step{X: x, Y: trend.Value[k], Lower: report.Some(trend.Lower[k]), Upper: report.Some(trend.Upper[k])}
		c.Steps, c.EndX = append(c.Steps, step), x
		low, high = min(low, step.Y), max(high, step.Y)
	}
	f.X.Max, f.X.Ticks = upTo(trend.Along[len(trend.Along)-1])
	f.Y = levelAxis(sentence("log "+s.ratioWords()), low, high)
	model := s.fit.Combine(one.weights, s.asked.Level).Estimate
	f.Curves = []report.Curve{{Group: "The model", Measure: "log " + s.ratioWords(), Guide: true, Sloping: true, EndX: f.X.Max,
		Steps: []report.Step{{Y: model}, {X: f.X.Max, Y: model}}, Estimates: c.Estimates}, c}
	f.Notes = []report.Text{say("The test adds up these "+r.name+"; its p-value here is ", value(s.id("steady", one.t.slug)+".p"),
		". Dots are means of at least "+strconv.Itoa(len(order)/bins)+" residuals each, with "+plain(100*s.asked.Level)+"% intervals; the curve is a natural cubic spline through all of them.")}
	return f
}

// bin records the mean of some residuals, and where on the scale they lie.
func (s *modelled) bin(one pictured, r *residuals, rows []int, number int) (at, id string) {
	place, mean, n, combined := 0.0, 0.0, float64(len(rows)), r.combined(one.weights)
	for _, e := range rows {
		place += r.along[e] / n
		mean += combined[e] / n
	}
	half := float64(dist.NormalSpread(s.asked.Level) * r.spread(one.weights) / math.Sqrt(n))
	parts := []string{"residuals", one.t.slug}
	if one.e.slug != "" {
		parts = append(parts, one.e.slug)
	}
	parts = append(parts, "bin-"+strconv.Itoa(number))
	e := s.estimatedIn(s.id(parts...), groupOf(one.t, one.e), "mean of the "+r.name+", "+inSentence(one.t.title), report.UnitLogRatio)
	e.Events, e.Method = report.Some(n), s.modelName()+"; variance of the model × events / events of the bin"
	e.Value, e.Lower, e.Upper, e.Level = report.Some(mean), report.Some(mean-half), report.Some(mean+half), report.Some(s.asked.Level)
	where := s.estimatedIn(s.id(append(parts, "place")...), groupOf(one.t, one.e), "mean place of these events on the scale of the test", report.UnitProbability)
	where.N, where.Events, where.Value, where.Method = report.Optional{}, report.Optional{}, report.Some(place), "mean"
	s.derivedFrom(s.add(e), s.restsOn(one.t, one.e)...)
	s.derivedFrom(s.add(where), e.ID)
	return where.ID, e.ID
}

// upTo returns the end and the ticks of an axis from 0 to a little more than x.
func upTo(x float64) (end float64, ticks []float64) {
	step := niceStep(x / 6)
	end = math.Ceil(x/step-1e-9) * step
	for k := 0; float64(k)*step <= end*(1+1e-12); k++ {
		ticks = append(ticks, float64(k)*step)
	}
	return end, ticks
}

// levelAxis is an axis of log ratios from below the lowest to above the highest.
func levelAxis(label string, low, high float64) report.Axis {
	step := niceStep((high - low) / 6)
	a := report.Axis{Label: label, Unit: report.UnitLogRatio, Min: math.Floor(low/step) * step, Max: math.Ceil(high/step) * step}
	for k := math.Round(a.Min / step); k*step <= a.Max+step*1e-9; k++ {
		a.Ticks = append(a.Ticks, k*step)
	}
	return a
}
