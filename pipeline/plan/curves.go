package plan

// weights reads the field whose numbers shoulders count for.
func (r *reader) weights(s section, a *Analysis) {
	v := s.values["weights"]
	if v == nil {
		return
	}
	if name, ok := r.code(v, "weights"); ok {
		a.Weights = name
		r.fieldOfRegistry(v, isMeasured, "cannot be weights, because it holds no numbers")
	}
}

// hazard reads over how long a time on either side the hazard is smoothed.
func (r *reader) hazard(s section, a *Analysis) {
	if v := s.values["hazard"]; v != nil {
		a.Hazard, _ = r.time(v, "hazard", a.Unit, true)
	}
}
