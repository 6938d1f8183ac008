package power

import (
	"encoding/json"
	"os"
	"testing"
)

// Results of R 4.2.2 (stats, and a package for power); testdata/references/README.md describes the file. Its sizes come from
// a search that stops within 1e-4 or so, its powers are good to 1e-9 or better. What rests on the arcsine transformation, and
// the tests of several groups and of tables, are not ours.
func TestReferences(t *testing.T) {
	data, err := os.ReadFile("../../testdata/references/expected/power.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct{ Results map[string]json.RawMessage }
	if err := json.Unmarshal(data, &file); err != nil {
		t.Fatal(err)
	}
	number := func(name string) (x float64) {
		t.Helper()
		var size struct{ N float64 }
		if json.Unmarshal(file.Results[name], &x) != nil {
			if err := json.Unmarshal(file.Results[name], &size); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			x = size.N
		}
		return x
	}
	for _, c := range []struct {
		name, id string
		given    Given
		halved   bool // the reference counts one group
		tol      float64
	}{
		{"t_n", "two means", Given{Difference: Is(5), SD: Is(10), Power: Is(.9), Loss: Is(0)}, true, 1e-5},
		{"t_power_strict", "two means", Given{Difference: Is(5), SD: Is(10), Size: Is(80), Loss: Is(0)}, false, 1e-9},
		{"t_paired_n", "paired means", Given{Difference: Is(3), SD: Is(8), Correlation: Is(.5), Power: Is(.8), Loss: Is(0)}, false, 1e-5},
		{"t_delta", "two means", Given{SD: Is(1), Size: Is(60), Power: Is(.8), Loss: Is(0)}, false, 1e-4},
		{"pwr_t2n_power", "two means", Given{Difference: Is(.6), SD: Is(1), Size: Is(90), Allocation: Is(2), Loss: Is(0)}, false, 1e-9},
		{"pwr_t_d", "two means", Given{SD: Is(1), Size: Is(100), Power: Is(.8), Loss: Is(0)}, false, 1e-4},
		{"prop_n", "two proportions", Given{First: Is(.05), Second: Is(.10), Power: Is(.8), Loss: Is(0)}, true, 1e-5},
		{"prop_power", "two proportions", Given{First: Is(.05), Second: Is(.10), Size: Is(600), Loss: Is(0)}, false, 1e-9},
		{"pwr_r_n", "correlation", Given{Correlation: Is(.3), Power: Is(.8), Loss: Is(0)}, false, 1e-5},
		{"schoenfeld_events_hr0.6", "events for a hazard ratio", Given{HazardRatio: Is(.6), Power: Is(.8)}, false, 1e-9},
		{"schoenfeld_events_hr1.5_power90", "events for a hazard ratio", Given{HazardRatio: Is(1.5), Power: Is(.9)}, false, 1e-9},
		{"schoenfeld_events_hr2_p0.3", "events for a hazard ratio", Given{HazardRatio: Is(2), Power: Is(.8), Allocation: Is(.3 / .7)}, false, 1e-9},
		{"schoenfeld_events_hr2_p0.3_r2_0.2", "hazard of a characteristic",
			Given{HazardRatio: Is(2), Spread: Is(.458257569495584), Explained: Is(.2), EventRate: Is(1), Power: Is(.8), Loss: Is(0)}, false, 1e-9},
		{"schoenfeld_power_100events_hr1.8", "events for a hazard ratio", Given{HazardRatio: Is(1.8), Size: Is(100)}, false, 1e-9},
		{"schoenfeld_n_from_event_probability", "hazard of a characteristic",
			Given{HazardRatio: Is(1.5), Spread: Is(.5), Explained: Is(0), EventRate: Is(.12), Power: Is(.8), Loss: Is(0)}, false, 1e-9},
		{"freedman_events_hr0.6", "events for a hazard ratio", Given{HazardRatio: Is(.6), Formula: Says(freedman), Power: Is(.8)}, false, 1e-9},
	} {
		got := solved(t, c.id, c.given).Unrounded
		if c.halved {
			got /= 2
		}
		near(t, c.name, got, number(c.name), c.tol)
	}
}
