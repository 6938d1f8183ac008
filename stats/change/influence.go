package change

import "math"

// influence returns how each row moves the value of a method: the derivative by its weight. Cut points and
// quartiles are not smooth, and 0 stands for theirs.
func (s *sample) influence(m Method) []float64 {
	t := s.whole()
	switch {
	case m == MeanChange:
		return s.ofMean(t.minimal, minimal)
	case m == MeanDifference:
		u := s.ofMean(t.minimal, minimal)
		for k, v := range s.ofMean(t.unchanged, unchanged) {
			u[k] -= v
		}
		return u
	case m == Predictive || m == PredictiveAdjusted || m == PredictiveReliable:
		return s.ofPredictive(m, t)
	case m == ResponseMean:
		return s.ofRatio(t.gain, t.gain, s.x, s.measures())
	case m == EffectSize:
		return s.ofRatio(t.gain, t.base, s.base, s.has)
	case m == SmallestDetectableGroup90 || m == SmallestDetectableGroup95:
		return s.ofGroup(t)
	case !m.FromAnchor():
		return ofSD(t.base, s.base, s.has)
	}
	return make([]float64, len(s.order))
}

// measures is 1 for rows with a measure.
func (s *sample) measures() []float64 {
	out := make([]float64, len(s.order))
	for k := range s.measured {
		out[k] = 1
	}
	return out
}

func (s *sample) ofMean(c sums, slot uint8) []float64 {
	u := make([]float64, len(s.order))
	for k, is := range s.slot {
		if is&^improved == slot {
			u[k] = (s.x[k] - c.mean()) / c.n
		}
	}
	return u
}

// ofSD is the influence on a standard deviation of x among the rows that have it.
func ofSD(c sums, x, has []float64) []float64 {
	u := make([]float64, len(x))
	m, sd := c.mean(), c.sd()
	for k, v := range x {
		d := v - m
		u[k] = has[k] * (float64(d*d) - float64(sd*sd)) / (2 * sd * c.n)
	}
	return u
}

// ofRatio is the influence on the mean gain over a standard deviation.
func (s *sample) ofRatio(gain, spread sums, x, has []float64) []float64 {
	u := ofSD(spread, x, has)
	m, sd := gain.mean()+s.centre, spread.sd()
	for k := range u {
		u[k] *= -m / float64(sd*sd)
		if k < s.measured {
			u[k] += (s.x[k] - gain.mean()) / (gain.n * sd)
		}
	}
	return u
}

// ofGroup is the influence on a standard deviation over √n, up to a factor.
func (s *sample) ofGroup(t *tally) []float64 {
	u := ofSD(t.base, s.base, s.has)
	for k := range s.measured {
		u[k] -= t.base.sd() * (1 - float64(len(s.order))/t.gain.n) / (2 * float64(len(s.order)))
	}
	return u
}

// ofPredictive is the influence on a threshold of the logistic regression, with the parts: log odds, coefficients, and for the
// adjustments correlation and standard deviation.
func (s *sample) ofPredictive(m Method, t *tally) []float64 {
	u := make([]float64, len(s.order))
	constant, slope, ok := s.logistic(t)
	if !ok {
		return u
	}
	n, share := t.anchored.n, t.improved.n/t.anchored.n
	odds, r, sd, mx := math.Log(share/(1-share)), t.pointBiserial(), t.anchored.sd(), t.anchored.mean()
	byOdds, bySD, byR := s.adjustment(m, odds, r, sd)
	at := (odds - constant) / slope
	inverse := s.inverseInformation(t, constant, slope)
	spread := math.Sqrt(share * (1 - share))
	for k := range s.answered {
		x, y := s.x[k], 0.0
		if s.slot[k]&improved != 0 {
			y = 1
		}
		rest := y - 1/(1+math.Exp(-constant-float64(slope*x)))
		dc := rest * (inverse[0] + float64(inverse[1]*x))
		db := rest * (inverse[1] + float64(inverse[2]*x))
		dOdds := (y - share) / (n * share * (1 - share))
		zx, zy := (x-mx)/sd, (y-share)/spread
		dSD := sd * (float64(zx*zx) - 1) / (2 * n)
		dR := (float64(zx*zy) - r*(float64(zx*zx)+float64(zy*zy))/2) / n
		u[k] = (dOdds-dc-float64(at*db))/slope - float64(byOdds*dOdds) - float64(bySD*dSD) - float64(byR*dR)
		u[k] *= s.sign()
	}
	return u
}

// adjustment returns the derivatives of what is taken off the threshold, by log odds, standard deviation and correlation.
func (s *sample) adjustment(m Method, odds, r, sd float64) (byOdds, bySD, byR float64) {
	switch m {
	case PredictiveAdjusted:
		f := 0.090 + float64(0.103*r)
		return f * sd, f * odds, 0.103 * sd * odds
	case PredictiveReliable:
		f := 0.8/s.q.AnchorReliability - 0.5
		return f * r * sd, f * r * odds, f * sd * odds
	}
	return 0, 0, 0
}

// inverseInformation is that of the logistic regression: of the constant, of both, of the slope.
func (s *sample) inverseInformation(t *tally, constant, slope float64) [3]float64 {
	var h00, h01, h11 float64
	for k, x := range s.value {
		p := 1 / (1 + math.Exp(-constant-float64(slope*x)))
		w := float64(float64(t.pos[k]+t.neg[k])*p) * (1 - p)
		h00, h01, h11 = h00+w, h01+float64(w*x), h11+float64(float64(w*x)*x)
	}
	det := float64(h00*h11) - float64(h01*h01)
	return [3]float64{h11 / det, -h01 / det, h00 / det}
}
