package hazards

import (
	"fmt"
	"math"
	"slices"

	"deltoid/stats/competing"
	"deltoid/stats/covariates"
	"deltoid/stats/dist"
	"deltoid/stats/numeric"
	"deltoid/stats/regression"
	"deltoid/stats/survival"
)

// scoring holds what is known of every row at the horizon.
type scoring struct {
	d       Data
	cause   uint8
	risk    []float64
	horizon float64
	order   []int32   // rows by risk
	outcome []float64 // 1 for an event of the cause by the horizon
	weight  []float64 // 1/G, 0 for those of whom nothing is known
	last    float64   // largest exit
}

func newScoring(d Data, cause uint8, risk []float64, horizon float64) (*scoring, error) {
	n := len(risk)
	s := &scoring{d: d, cause: cause, risk: risk, horizon: horizon, order: make([]int32, n), outcome: make([]float64, n), weight: make([]float64, n)}
	for at, r := range byValue(risk) {
		s.order[at] = r.row
	}
	return s, s.weigh()
}

// weigh sets the weights. Staying uncensored is estimated with events taken as gone before a
// censoring of the same time.
func (s *scoring) weigh() error {
	counts, err := survival.Count(survival.Data{Exit: s.d.Exit, Cause: anyCause(s.d.Cause)})
	if err != nil {
		return err
	}
	stay := stayIn(counts, 0)
	through := 0 // what was before it, everybody seen through the horizon went through
	for through < len(stay.ticks) && s.d.time(int32(stay.ticks[through])) < s.horizon {
		through++
	}
	for i, exit := range s.d.Exit {
		t := s.d.time(exit)
		s.last = max(s.last, t)
		switch {
		case t > s.horizon || t == s.horizon && s.d.Cause[i] == 0:
			s.weight[i] = 1 / stay.start[through]
		case s.d.Cause[i] != 0:
			s.weight[i] = 1 / stay.before(exit)
			if s.d.Cause[i] == s.cause {
				s.outcome[i] = 1
			}
		}
	}
	return nil
}

func anyCause(cause []uint8) []uint8 {
	out := make([]uint8, len(cause))
	for i, c := range cause {
		out[i] = min(c, 1)
	}
	return out
}

// count says what there is to compare with, and whether it is enough.
func (s *scoring) count(v *Validation) bool {
	for i, w := range s.weight {
		switch {
		case w == 0:
			v.Censored++
		case s.outcome[i] > 0:
			v.Events++
		case s.d.Cause[i] != 0 && s.d.time(s.d.Exit[i]) <= s.horizon:
			v.Others++
		}
	}
	switch {
	case v.N == 0:
		v.Status, v.Reason = covariates.NoRows, "there are no rows"
	case s.last < s.horizon:
		v.Status, v.Reason = covariates.NoRows, fmt.Sprintf("the horizon %v lies beyond the last exit at %v", s.horizon, s.last)
	case v.Events == 0:
		v.Status, v.Reason = covariates.NoEvents, fmt.Sprintf("none of %d rows has the event by %v", v.N, s.horizon)
	case v.Events == v.N-v.Censored:
		v.Status, v.Reason = covariates.NoEvents, fmt.Sprintf("all rows that are known have the event by %v", s.horizon)
	}
	return v.Status == covariates.Converged
}

// observe compares the risk of all with the mean of what was predicted. The interval of the ratio
// is that of log(observed).
func (s *scoring) observe(v *Validation, level float64) error {
	var err error
	if v.Observed, err = s.incidence(nil, level); err != nil {
		return err
	}
	var sum numeric.Sum
	for _, p := range s.risk {
		sum.Add(p)
	}
	v.Expected = sum.Value() / float64(v.N)
	v.Ratio = v.Observed.Value / v.Expected
	half := dist.NormalSpread(level) * v.Observed.SE / v.Observed.Value
	v.RatioLower, v.RatioUpper = v.Ratio*math.Exp(-half), v.Ratio*math.Exp(half)
	return nil
}

// incidence is the observed risk by the horizon of some rows, nil for all.
func (s *scoring) incidence(rows []int32, level float64) (survival.Point, error) {
	var d survival.Data
	if rows == nil {
		d.Exit, d.Cause = s.d.Exit, s.d.Cause
	}
	for _, i := range rows {
		d.Exit, d.Cause = append(d.Exit, s.d.Exit[i]), append(d.Cause, s.d.Cause[i])
	}
	d.Causes = int(s.cause)
	for _, c := range d.Cause {
		d.Causes = max(d.Causes, int(c))
	}
	counts, err := survival.Count(d)
	if err != nil {
		return survival.Point{}, err
	}
	p, err := competing.Incidence(counts, 0, int(s.cause)).Interval(s.tick(), level, survival.LogLog)
	p.T = s.horizon
	return p, err
}

// tick returns the horizon in ticks: the last one at or before it.
func (s *scoring) tick() float64 {
	if s.d.Times == nil {
		return s.horizon
	}
	at, exact := slices.BinarySearch(s.d.Times, s.horizon)
	if !exact {
		at--
	}
	return float64(at)
}

func (s *scoring) brier(v *Validation) {
	var own, null numeric.Sum
	for i, w := range s.weight {
		a, b := s.outcome[i]-s.risk[i], s.outcome[i]-v.Observed.Value
		own.Add(float64(w * a * a))
		null.Add(float64(w * b * b))
	}
	n := float64(v.N)
	v.Brier, v.Null = own.Value()/n, null.Value()/n
	v.Scaled = 1 - v.Brier/v.Null
}

// auc goes along the rows by risk. With N the sum over pairs of the products of weights, the
// influence of a row is (what its pairs are worth − AUC·what they could be)/N.
func (s *scoring) auc(v *Validation) {
	n := len(s.risk)
	worth, pairs := make([]float64, n), make([]float64, n)
	var sums [2]float64 // weights of controls and cases
	for i, w := range s.weight {
		sums[int(s.outcome[i])] += w
	}
	var below [2]float64
	for from := 0; from < n; {
		to := from
		var tied [2]float64
		for to < n && s.risk[s.order[to]] == s.risk[s.order[from]] {
			tied[int(s.outcome[s.order[to]])] += s.weight[s.order[to]]
			to++
		}
		for _, i := range s.order[from:to] {
			w := s.weight[i]
			if s.outcome[i] > 0 {
				worth[i], pairs[i] = w*(below[0]+tied[0]/2), w*sums[0]
			} else {
				worth[i], pairs[i] = w*(sums[1]-below[1]-tied[1]/2), w*sums[1]
			}
		}
		below[0], below[1] = below[0]+tied[0], below[1]+tied[1]
		from = to
	}
	all := sums[0] * sums[1]
	var total, variance numeric.Sum
	for i, x := range worth {
		if s.outcome[i] > 0 {
			total.Add(x)
		}
	}
	v.AUC = total.Value() / all
	for i := range worth {
		u := (worth[i] - float64(v.AUC*pairs[i])) / all
		variance.Add(float64(u * u))
	}
	v.AUCSE = math.Sqrt(variance.Value())
}

// recalibrate models the outcome on the log odds predicted.
func (s *scoring) recalibrate(v *Validation, level float64) error {
	odds := make([]float64, len(s.risk))
	for i, p := range s.risk {
		p = min(max(p, 1e-12), 1-1e-12)
		odds[i] = math.Log(p / (1 - p))
	}
	d := regression.Data{Outcome: s.outcome, Weight: s.weight, Offset: odds, Cluster: s.d.Cluster}
	shift, err := regression.Logistic(d, nil, regression.Options{Robust: true})
	if err != nil {
		return err
	}
	v.Intercept = shift.Effect(0, level)
	d.Offset = nil
	turn, err := regression.Logistic(d, []covariates.Column{{Name: "log odds of the predicted risk", Values: odds}}, regression.Options{Robust: true})
	if err != nil {
		return err
	}
	v.Slope = turn.Effect(0, level)
	return nil
}

// cut returns the data with everybody leaving by the horizon.
func (s *scoring) cut() Data {
	d := s.d
	d.Exit, d.Cause, d.Offset = slices.Clone(d.Exit), slices.Clone(d.Cause), nil
	end := int32(min(s.tick(), math.MaxInt32))
	for i, exit := range d.Exit {
		if exit > end {
			d.Exit[i], d.Cause[i] = end, 0
		}
	}
	return d
}

func (s *scoring) groups(v *Validation, o ValidationOptions) error {
	n := len(s.order)
	for g := range o.Groups {
		rows := s.order[n*g/o.Groups : n*(g+1)/o.Groups]
		if len(rows) == 0 {
			continue
		}
		group := CalibrationGroup{N: len(rows), Low: s.risk[rows[0]], High: s.risk[rows[len(rows)-1]]}
		for _, i := range rows {
			group.Predicted += s.risk[i] / float64(len(rows))
		}
		var err error
		if group.Observed, err = s.incidence(rows, o.Level); err != nil {
			return err
		}
		v.Groups = append(v.Groups, group)
	}
	return nil
}
