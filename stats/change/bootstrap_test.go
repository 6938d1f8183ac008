package change_test

import (
	"math"
	"reflect"
	"runtime"
	"testing"

	"deltoid/stats/change"
	"deltoid/stats/references"
)

// The references drew each group on its own, this package all patients together, which lets the sizes of the groups vary: the limits then lie a few
// hundredths further out, well inside the tolerance that the reference gives for two sets of random numbers.
func TestIntervalsAgainstReferences(t *testing.T) {
	for id, set := range map[string]struct {
		file, from, to, group, minimal, unchanged string
	}{
		"bootstrap_anorexia": {"anorexia.csv", "Prewt", "Postwt", "Treat", "CBT", "Cont"},
		"bootstrap_asah_age": {"asah.csv", "", "age", "outcome", "1", "0"},
	} {
		var ref struct {
			Results struct {
				Difference float64
				Mean       map[string]float64 `json:"mean_of_runs"`
				SD         map[string]float64 `json:"sd_between_runs"`
			}
		}
		references.Expected(t, id, &ref)
		f := references.Data(t, set.file)
		f = f.Where(func(i int) bool { return f[set.group][i] == set.minimal || f[set.group][i] == set.unchanged })
		a := change.Anchored{Scores: change.Scores{Baseline: make([]float64, len(f[set.to])), FollowUp: f.Numbers(t, set.to)}}
		if set.from != "" {
			a.Baseline = f.Numbers(t, set.from)
		}
		for _, g := range f[set.group] {
			answer := int32(0)
			if g == set.minimal {
				answer = 1
			}
			a.Anchor = append(a.Anchor, answer)
		}
		const replicates = 10_000
		table, err := change.Thresholds(a, change.Question{Scale: change.Scale{Worst: 0, Best: math.Inf(1)}, Improved: 1, Minimal: 1, Unchanged: 0, Floor: 0.01,
			Resampling: change.Resampling{Replicates: replicates, Seed: 11, Level: 0.95}})
		if err != nil {
			t.Fatal(err)
		}
		row := table.Row(change.MeanDifference)
		fine(t, id, row.State)
		near(t, id, row.Value, ref.Results.Difference, 1e-13)
		for name, got := range map[string]float64{"percentile_lower": row.Percentile.Lower, "percentile_upper": row.Percentile.Upper,
			"bca_jackknife_lower": row.BCa.Lower, "bca_jackknife_upper": row.BCa.Upper, "se": row.SE} {
			tolerance := 4*ref.Results.SD[name]*math.Sqrt(10_000.0/replicates+1.0/30) + 0.02*ref.Results.Mean["se"]
			printed(t, id+" "+name, got, ref.Results.Mean[name], tolerance)
		}
	}
}

// The same table for any number of processors and however the rows are ordered in time.
func TestSameTableOnAnyNumberOfProcessors(t *testing.T) {
	a, q := usual.draw(300, true, 5), question()
	q.Replicates = 120
	run := func(processors int) *change.Table {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(processors))
		table, err := change.Thresholds(a, q)
		if err != nil {
			t.Fatal(err)
		}
		table.Model = nil // holds functions of its design
		return table
	}
	if one, four := run(1), run(4); !reflect.DeepEqual(one, four) {
		t.Errorf("one processor gives %+v, four give %+v", one.Rows, four.Rows)
	}
}

// A patient whose shoulders are doubled says no more than before: the intervals stay where they were, up to the rounding of a count.
func TestDoubledShouldersSayNoMore(t *testing.T) {
	a, q := usual.draw(200, false, 9), question()
	q.Replicates = 400
	twice := change.Anchored{}
	for range 2 {
		twice.Baseline = append(twice.Baseline, a.Baseline...)
		twice.FollowUp = append(twice.FollowUp, a.FollowUp...)
		twice.Anchor = append(twice.Anchor, a.Anchor...)
		for i := range a.Anchor {
			twice.Patient = append(twice.Patient, int32(i))
		}
	}
	one, err := change.Thresholds(a, q)
	if err != nil {
		t.Fatal(err)
	}
	two, err := change.Thresholds(twice, q)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range []change.Method{change.MeanChange, change.Predictive, change.PredictiveAdjusted, change.HalfSD} {
		near(t, m.String(), two.Row(m).Value, one.Row(m).Value, 0.01)
		near(t, m.String()+", standard error", two.Row(m).SE, one.Row(m).SE, 0.2)
	}
	if two.Row(change.MeanChange).Closed.OK() {
		t.Error("the textbook's interval is shown for patients with two shoulders")
	}
}
