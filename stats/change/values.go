package change

import "math"

// values works out every wanted method on a tally; NaN where there is none.
func (s *sample) values(t *tally) (out [methods]float64) {
	for m := range out {
		out[m] = math.NaN()
	}
	sd, gain := t.base.sd(), t.gain.mean()+s.centre
	if t.minimal.n > 0 {
		out[MeanChange] = t.minimal.mean() + s.centre
		if t.unchanged.n > 0 {
			out[MeanDifference] = t.minimal.mean() - t.unchanged.mean()
		}
	}
	if s.wanted[HalfSD] {
		s.distribution(&out, sd, gain, t)
	}
	if s.wanted[ResponseMean] {
		out[ResponseMean] = gain / t.gain.sd()
	}
	if positives, all := int64(t.improved.n), int64(t.anchored.n); positives > 0 && positives < all {
		if s.wanted[Youden] || s.wanted[ClosestToCorner] {
			s.cuts(&out, t, positives, all-positives)
		}
		if s.wanted[Predictive] {
			s.predictive(&out, t)
		}
		if s.wanted[AcceptableQuartile] {
			out[AcceptableQuartile] = s.sign() * (s.quartile(t, positives) + s.centre)
		}
	}
	for m := range out {
		if !s.wanted[m] || math.IsInf(out[m], 0) {
			out[m] = math.NaN()
		}
	}
	return out
}

// distribution fills what is a multiple of the standard deviation of the baseline.
func (s *sample) distribution(out *[methods]float64, sd, gain float64, t *tally) {
	out[HalfSD], out[FifthSD] = sd/2, sd/5
	out[EffectSize] = gain / sd
	sem := sd * math.Sqrt(1-s.q.ScoreReliability)
	out[MeasurementError] = sem
	for i, z := range detectableAt {
		out[int(SmallestDetectable90)+i] = z * sem
		out[int(SmallestDetectableGroup90)+i] = z * sem / math.Sqrt(t.gain.n)
	}
}

func (s *sample) cuts(out *[methods]float64, t *tally, positives, negatives int64) {
	b := bestCuts(t.pos, t.neg, positives, negatives)
	at := func(before, k int) float64 {
		if before < 0 {
			return math.NaN()
		}
		return s.sign() * ((s.value[before]+s.value[k])/2 + s.centre)
	}
	out[Youden], out[ClosestToCorner] = at(b.beforeYouden, b.youden), at(b.beforeCorner, b.corner)
}

// predictive fills the three thresholds of the logistic regression.
func (s *sample) predictive(out *[methods]float64, t *tally) {
	constant, slope, ok := s.logistic(t)
	if !ok || !(slope > 0) {
		return
	}
	odds := math.Log(t.improved.n / (t.anchored.n - t.improved.n))
	r, sd := t.pointBiserial(), t.anchored.sd()
	at := (odds-constant)/slope + s.centre
	sign := s.sign()
	out[Predictive] = sign * at
	out[PredictiveAdjusted] = sign * (at - float64((0.090+float64(0.103*r))*sd*odds))
	if rel := s.q.AnchorReliability; rel > 0 {
		out[PredictiveReliable] = sign * (at - float64((0.8/rel-0.5)*sd*r*odds))
	}
}

// logisticSteps bounds Newton's method, which from the estimates of the whole sample takes three or four.
const logisticSteps = 30

// logistic fits the chance to be improved on the measure, by Newton's method from the estimates of the whole sample.
func (s *sample) logistic(t *tally) (constant, slope float64, ok bool) {
	if t.separated() {
		return 0, 0, false
	}
	c, b := s.start[0], s.start[1]
	spread := t.anchored.sd()
	for range logisticSteps {
		var u0, u1, h00, h01, h11 float64
		for k, x := range s.value {
			pos, n := float64(t.pos[k]), float64(t.pos[k]+t.neg[k])
			if n == 0 {
				continue
			}
			p := 1 / (1 + math.Exp(-c-float64(b*x)))
			r, w := pos-float64(n*p), float64(n*p)*(1-p)
			wx := float64(w * x)
			u0, u1 = u0+r, u1+float64(r*x)
			h00, h01, h11 = h00+w, h01+wx, h11+float64(wx*x)
		}
		det := float64(h00*h11) - float64(h01*h01)
		dc, db := (float64(h11*u0)-float64(h01*u1))/det, (float64(h00*u1)-float64(h01*u0))/det
		c, b = c+dc, b+db
		if size := math.Abs(dc) + float64(math.Abs(db)*spread); size < 1e-5 { // the next step would be of the order of its square
			return c, b, true
		} else if !(size < 1e3) {
			return 0, 0, false
		}
	}
	return 0, 0, false
}

// separated reports whether a value tells improved rows from the others without fail, so that there are no estimates.
func (t *tally) separated() bool {
	first, last := func(n []int32) int {
		for k, c := range n {
			if c > 0 {
				return k
			}
		}
		return len(n)
	}, func(n []int32) int {
		for k := len(n) - 1; k >= 0; k-- {
			if n[k] > 0 {
				return k
			}
		}
		return -1
	}
	return first(t.pos) >= last(t.neg) || first(t.neg) >= last(t.pos)
}

// quartile returns the value that a quarter of the improved rows lie below, at place (n − 1)/4 counted from 0.
func (s *sample) quartile(t *tally, positives int64) float64 {
	at := float64(positives-1) / 4
	below := int64(at)
	lower, upper, seen := math.NaN(), math.NaN(), int64(0)
	for k, c := range t.pos {
		seen += int64(c)
		if math.IsNaN(lower) && seen > below {
			lower = s.value[k]
		}
		if seen > below+1 || seen == positives {
			upper = s.value[k]
			break
		}
	}
	return lower + float64((at-float64(below))*(upper-lower))
}
