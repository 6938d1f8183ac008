package trials

import (
	"math"
	"testing"
)

// 106 patients, median 6 and 12 months, accrual over 25 months, analysis at 37: expected events
// 87.647 by integration, and 2,000 replicates of the reference software gave power 0.9005 with 87.65
// events.
func TestPowerOfTheAnchor(t *testing.T) {
	const month = 30.4375
	arm := func(median float64) Arm {
		h, err := HazardFor(0.5, median*month)
		if err != nil {
			t.Fatal(err)
		}
		return Arm{Share: 1, Event: h}
	}
	days := math.Round(25 * month)
	d := &Design{Patients: 106, Arms: []Arm{arm(6), arm(12)}, Accrual: Accrual{Days: int32(days), FollowUp: int32(math.Round(12 * month))}}
	r, err := Simulate(d, LogRank(), Options{Seed: 1, Level: 0.05, Sides: 2, Most: 4000})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%+v", r)
	if math.Abs(r.Power.Value-0.9) > 3*math.Sqrt(0.09/4000) {
		t.Errorf("power %.4f", r.Power.Value)
	}
	if math.Abs(r.Events.Value-87.64687974) > 3*r.Events.Error+0.05 {
		t.Errorf("events %.4f", r.Events.Value)
	}
}

func BenchmarkLogRank400(b *testing.B) {
	for b.Loop() {
		h, _ := HazardFor(0.9, 5*365.25)
		d := &Design{Patients: 800, Arms: []Arm{{Share: 1, Event: h, Death: Constant(1e-4), Loss: Constant(5e-5)}, {Share: 1, Event: h.Times(0.6), Death: Constant(1e-4), Loss: Constant(5e-5)}}, Accrual: Accrual{Days: 730, FollowUp: 1095}}
		if _, err := Simulate(d, LogRank(), Options{Seed: 1, Level: 0.05, Sides: 2, Most: 10000}); err != nil {
			b.Fatal(err)
		}
	}
}
