package schemas

import "math"

// ScaleOf returns the scale that the plan says the values of an instrument are on, its own when the plan says nothing. The
// scale of an instrument that nobody has described takes every value.
func (t *Table) ScaleOf(instrument string) Scale {
	if i, ok := InstrumentOf(instrument); ok {
		if s, ok := i.OnScale(t.source.Scales[instrument]); ok {
			return s
		}
	}
	return Scale{Minimum: math.Inf(-1), Maximum: math.Inf(1), Times: 1}
}

// Scales returns a function that tells on which scale the value of a row of scores is: the one that its version names, where
// that is a scale of the instrument, or else the one that the plan declares. It is nil when every value is on the usual scale.
func (t *Table) Scales() func(row int) Scale {
	instrument, version := t.Column("instrument"), t.Column("version")
	if instrument == nil || instrument.Codes() == nil {
		return nil
	}
	levels := instrument.Levels()
	declared, turned := make([]Scale, len(levels)), version != nil
	named := make([]map[string]Scale, len(levels))
	for i, code := range levels {
		declared[i] = t.ScaleOf(code)
		turned = turned || !declared[i].usual()
		known, _ := InstrumentOf(code)
		named[i] = map[string]Scale{}
		for _, name := range known.ScaleNames() {
			named[i][name], _ = known.OnScale(name)
		}
	}
	if !turned {
		return nil
	}
	return func(row int) Scale {
		code := instrument.Codes()[row]
		if code < 0 {
			return Scale{Minimum: math.Inf(-1), Maximum: math.Inf(1), Times: 1}
		}
		if version != nil && len(named[code]) > 0 {
			if s, ok := named[code][version.Text(row)]; ok {
				return s
			}
		}
		return declared[code]
	}
}
