package survival

// Point is a curve at one time.
type Point struct {
	T     float64
	Value float64
	SE    float64 // standard error of Value
	// Lower and Upper are the limits of the interval at Level on Scale.
	Lower, Upper float64
	Level        float64
	Scale        Scale
	AtRisk       int64 // at T
	Events       int64 // up to and including T
	// Status is about Value; Limits is about SE, Lower and Upper. In any state but Estimated
	// there is nothing to show and the fields are 0, except that Value keeps the 1 (or, for an
	// incidence, the 0) at which the curve is drawn when Status is NoEvents.
	Status, Limits Status
}

// FollowUp is what decides whether a curve may be read at a time.
type FollowUp struct {
	N      int64   // rows
	Events int64   // events on the whole curve
	Last   float64 // largest exit
	// Over says that nobody can have an event any more: the probability of being free of all
	// events has reached 0, so the curve holds for good.
	Over bool
	// Variance is Estimated, or why the curve comes without a variance.
	Variance Status
	// NoWeight says that whoever is at risk at the time counts for nothing.
	NoWeight bool
}

// Judge sets the states of a point that holds T, Value, SE, Level, Scale, AtRisk and Events,
// works out its limits, and clears what must not be shown.
func (p Point) Judge(f FollowUp) Point {
	p.Status = p.status(f)
	p.Limits = p.limitsStatus(f)
	if p.Status != Estimated && p.Status != NoEvents {
		p.Value = 0
	}
	if p.Limits != Estimated {
		p.SE = 0
		return p
	}
	p.Lower, p.Upper = p.Scale.Limits(p.Value, p.SE, p.Level)
	return p
}

func (p Point) status(f FollowUp) Status {
	switch {
	case f.N == 0:
		return NoRows
	case !(p.T >= 0):
		return NobodyAtRisk
	case f.Over:
		return Estimated
	case p.T > f.Last:
		return BeyondFollowUp
	case p.AtRisk == 0:
		return NobodyAtRisk
	case f.NoWeight:
		return NoWeight
	case f.Events == 0:
		return NoEvents
	}
	return Estimated
}

func (p Point) limitsStatus(f FollowUp) Status {
	switch {
	case p.Status != Estimated:
		return p.Status
	case p.Events == 0:
		return NoEvents
	case f.Variance != Estimated:
		return f.Variance
	case p.Value <= 0 || p.Value >= 1 || p.SE == 0:
		return AtBound
	}
	return Estimated
}

// Complement returns the point of 1 − the curve: the same interval seen from the other side.
func (p Point) Complement() Point {
	if p.Status == Estimated || p.Status == NoEvents {
		p.Value = 1 - p.Value
	}
	if p.Limits == Estimated {
		p.Lower, p.Upper = 1-p.Upper, 1-p.Lower
	}
	return p
}
