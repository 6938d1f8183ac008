package schemas

// Published is a threshold that somebody has published. No threshold is ever taken unless a study plan names it: published
// values of one score differ by more than half of the commonest, since methods, anchors, patients and scales differ.
type Published struct {
	ID         string   `json:"id"`
	Instrument string   `json:"instrument"`
	Scale      string   `json:"scale"` // of the value, where the instrument has several; empty for its only one
	Kind       string   `json:"kind"`  // "mcid", "scb", "pass"
	Of         string   `json:"of"`    // "change" since before the operation, or "state" at the visit
	Value      float64  `json:"value"`
	To         *float64 `json:"to"` // upper end, where a range was published in place of one value
	Lower      *float64 `json:"lower"`
	Upper      *float64 `json:"upper"` // of the 95% interval, where published
	Author     string   `json:"author"`
	Year       int      `json:"year"`
	Where      string   `json:"where"`
	N          int      `json:"n"` // patients; 0 when not known
	Cohort     string   `json:"cohort"`
	Method     string   `json:"method"`
	Anchor     string   `json:"anchor"`
	FollowUp   string   `json:"follow_up"`
	Address    string   `json:"address"` // where the value was read
	Note       string   `json:"note"`
	// FromMemory says that the value was not read at its source: it is listed, and cannot be chosen.
	FromMemory bool `json:"from_memory"`
}

// Offered reports whether a plan may choose the value: one number, read at its source.
func (p Published) Offered() bool { return !p.FromMemory && p.To == nil && p.Address != "" }

// Ours returns the value on our scale of the instrument; a change keeps only the factor between the scales. A change is
// the number of points towards the better end, so it is positive on every scale.
func (p Published) Ours() float64 {
	i, _ := InstrumentOf(p.Instrument)
	s, ok := i.OnScale(p.Scale)
	switch {
	case !ok:
		return p.Value
	case p.Of == "change" && s.Times < 0:
		return -s.Times * p.Value
	case p.Of == "change":
		return s.Times * p.Value
	}
	return s.Ours(p.Value)
}

// PublishedFor returns the published thresholds of an instrument, in the order of the file.
func PublishedFor(instrument string) []Published {
	var list []Published
	for _, p := range instrumentList().Published {
		if p.Instrument == instrument {
			list = append(list, p)
		}
	}
	return list
}

// PublishedOf returns the published threshold with an id.
func PublishedOf(id string) (Published, bool) {
	for _, p := range instrumentList().Published {
		if p.ID == id {
			return p, true
		}
	}
	return Published{}, false
}
