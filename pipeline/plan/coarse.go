package plan

import "deltoid/schemas"

// Coarse reports whether an export gives a length of time in months or years, which reading rounds to whole days.
func (p *Plan) Coarse() bool {
	for _, s := range p.Sources {
		for _, u := range s.Units {
			if u == schemas.Months || u == schemas.Years {
				return true
			}
		}
	}
	return false
}
