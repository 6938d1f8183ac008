package hazards

import (
	"fmt"
	"slices"

	"deltoid/stats/covariates"
)

// SplitTime cuts rows at the given ticks, so that effects may differ between the stretches: each
// column named in varying becomes one column for each stretch, 0 outside it, all of one term. A
// test of that term asks whether there is any effect; Fit.Compare against the model without the
// cut asks whether it changes. The events of a stretch are those up to and including its end.
//
// Memory is that of the new rows: as many as there are stretches with someone under observation.
func SplitTime(d Data, columns []covariates.Column, cuts []int32, varying ...string) (Data, []covariates.Column, error) {
	if err := checkSplit(columns, cuts, varying); err != nil {
		return Data{}, nil, err
	}
	if _, _, err := d.check(255); err != nil {
		return Data{}, nil, err
	}
	if _, err := covariates.NewDesign(columns, len(d.Exit), false); err != nil {
		return Data{}, nil, err
	}
	out := Data{Times: d.Times}
	var from, stretch []int32
	for i, exit := range d.Exit {
		start := d.entry(i)
		for k := range len(cuts) + 1 {
			end := exit
			if k < len(cuts) {
				end = min(exit, cuts[k])
			}
			if end < start || end == start && start > 0 {
				continue // over before this row began
			}
			cause := uint8(0)
			if end == exit {
				cause = d.Cause[i]
			}
			out.Entry, out.Exit, out.Cause = append(out.Entry, start), append(out.Exit, end), append(out.Cause, cause)
			from, stretch = append(from, int32(i)), append(stretch, int32(k))
			if start = end; end == exit {
				break
			}
		}
	}
	out.Stratum, out.Cluster = pick(d.Stratum, from), pick(d.Cluster, from)
	out.Weight, out.Offset = pick(d.Weight, from), pick(d.Offset, from)
	return out, splitColumns(d, columns, cuts, varying, from, stretch), nil
}

func checkSplit(columns []covariates.Column, cuts []int32, varying []string) error {
	for i, c := range cuts {
		if c <= 0 || i > 0 && c <= cuts[i-1] {
			return fmt.Errorf("cuts %v are to ascend from above 0", cuts)
		}
	}
	for _, name := range varying {
		if !slices.ContainsFunc(columns, func(c covariates.Column) bool { return c.Name == name }) {
			return fmt.Errorf("there is no column %s to let vary", name)
		}
	}
	return nil
}

func pick[T any](column []T, rows []int32) []T {
	if column == nil {
		return nil
	}
	out := make([]T, len(rows))
	for at, i := range rows {
		out[at] = column[i]
	}
	return out
}

func splitColumns(d Data, columns []covariates.Column, cuts []int32, varying []string, from, stretch []int32) (out []covariates.Column) {
	for _, c := range columns {
		if len(c.Values) != len(d.Exit) || !slices.Contains(varying, c.Name) {
			c.Values = pick(c.Values, from)
			out = append(out, c)
			continue
		}
		term := c.Term
		if term == "" {
			term = c.Name
		}
		for k := range len(cuts) + 1 {
			values := make([]float64, len(from))
			for at, i := range from {
				if int(stretch[at]) == k {
					values[at] = c.Values[i]
				}
			}
			out = append(out, covariates.Column{Name: c.Name + d.stretchName(cuts, k), Term: term, Values: values})
		}
	}
	return out
}

func (d Data) stretchName(cuts []int32, k int) string {
	switch {
	case len(cuts) == 0:
		return ""
	case k == 0:
		return fmt.Sprintf(", until %v", d.time(cuts[0]))
	case k == len(cuts):
		return fmt.Sprintf(", after %v", d.time(cuts[k-1]))
	}
	return fmt.Sprintf(", %v to %v", d.time(cuts[k-1]), d.time(cuts[k]))
}
