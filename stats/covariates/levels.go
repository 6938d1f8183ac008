package covariates

import "fmt"

// OneSided looks at columns of two values: where at one of them no row has the event, or, if
// both says so, every row has it, it says which. Has reports whether a row counts and whether it has the event.
func OneSided(d *Design, names []string, both bool, has func(row int) (counts, event bool)) (words string) {
	for _, name := range names {
		for _, c := range d.Columns {
			if c.Name == name {
				words += oneSided(c, both, has)
			}
		}
	}
	return words
}

func oneSided(c Column, both bool, has func(row int) (counts, event bool)) string {
	rows, events := map[float64]int{}, map[float64]int{}
	var order []float64
	for i, x := range c.Values {
		counts, event := has(i)
		if !counts {
			continue
		}
		if rows[x]++; rows[x] == 1 {
			order = append(order, x)
		}
		if event {
			events[x]++
		}
		if len(rows) > 2 {
			return ""
		}
	}
	for _, x := range order {
		if events[x] == 0 {
			return fmt.Sprintf("; none of the %d rows with %s = %g has the event", rows[x], c.Name, x)
		}
		if both && events[x] == rows[x] {
			return fmt.Sprintf("; all of the %d rows with %s = %g have the event", rows[x], c.Name, x)
		}
	}
	return ""
}
