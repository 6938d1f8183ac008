package plan

// Shape is the form of the hazard of a projection.
type Shape string

// The shapes: a power of time, or constant between cuts.
const (
	WeibullShape   Shape = "Weibull"
	PiecewiseShape Shape = "piecewise constant"
)

// projection reads the keys of a projection.
func (r *reader) projection(s section, a *Analysis) {
	if a.Kind != Projection {
		return
	}
	a.Shape = WeibullShape
	if v := s.values["shape"]; v != nil {
		word, _ := r.choice(v, "shape", words([]Shape{WeibullShape, PiecewiseShape}))
		a.Shape = Shape(word)
	}
	cuts := s.values["cuts"]
	switch {
	case cuts != nil && a.Shape == WeibullShape:
		r.wrong(cuts, "cuts stands with the shape Weibull", "cuts with the shape piecewise constant", "remove one of the two")
	case cuts == nil && a.Shape == PiecewiseShape:
		r.wrong(s.node, "the hazard is piecewise constant, but the plan does not say where it changes", "cuts", "add them, as in \"cuts: [1, 5]\"")
	case cuts != nil:
		for _, v := range r.entries(cuts, "cuts") {
			if x, ok := r.time(v, "a cut", a.Unit, true); ok {
				r.rises(v, x, a.Cuts)
				a.Cuts = append(a.Cuts, x)
			}
		}
	}
}

func (l *settings) projection(key string, a *Analysis) {
	l.add(key+".times", join(numbers(a.Times)))
	l.add(key+".unit", string(a.Unit))
	l.add(key+".until", number(a.Until))
	l.add(key+".shape", string(a.Shape))
	l.add(key+".cuts", join(numbers(a.Cuts)))
	l.add(key+".level", number(a.Level))
	l.add(key+".variance", string(a.Variance))
}
