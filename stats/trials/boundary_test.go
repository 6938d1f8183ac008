package trials_test

import (
	"flag"
	"math"
	"testing"

	"deltoid/stats/dist"
	"deltoid/stats/random"
	"deltoid/stats/trials"
)

var times = flag.Int("times", 1, "how many times the usual number of replicates simulations have; 25 for an hour")

func even(k int) []float64 {
	t := make([]float64, k)
	for i := range t {
		t[i] = float64(i+1) / float64(k)
	}
	return t
}

func boundary(t *testing.T, shape trials.Shape, information []float64, level float64, sides int) *trials.Boundary {
	t.Helper()
	b, err := trials.NewBoundary(shape, information, level, sides)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Constants of Jennison & Turnbull, Group Sequential Methods (2000), tables 2.1 (Pocock) and 2.3
// (O'Brien-Fleming), two-sided, for 1, 2, … looks; from memory.
func TestConstantsOfTheTables(t *testing.T) {
	for _, c := range []struct {
		shape trials.Shape
		level float64
		want  []float64
	}{
		{trials.Pocock, 0.05, []float64{1.960, 2.178, 2.289, 2.361, 2.413, 2.453, 2.485, 2.512, 2.535, 2.555}},
		{trials.Pocock, 0.01, []float64{2.576, 2.772, 2.873, 2.939, 2.986}},
		{trials.Pocock, 0.10, []float64{1.645, 1.875, 1.992, 2.067, 2.122}},
		{trials.OBrienFleming, 0.05, []float64{1.960, 1.977, 2.004, 2.024, 2.040, 2.053, 2.063, 2.072, 2.080, 2.087}},
		{trials.OBrienFleming, 0.01, []float64{2.576, 2.580, 2.595, 2.609, 2.621}},
		{trials.OBrienFleming, 0.10, []float64{1.645, 1.678, 1.710, 1.733, 1.751}},
	} {
		for k, want := range c.want {
			b := boundary(t, c.shape, even(k+1), c.level, 2)
			if got := b.Limit[k]; math.Abs(got-want) > 0.0005001 {
				t.Errorf("%v, level %v, %d looks: %.5f, table %.3f", c.shape, c.level, k+1, got, want)
			}
			if got := b.Spent[k]; math.Abs(got-c.level) > 1e-11 {
				t.Errorf("%v, level %v, %d looks: level spent %.15f", c.shape, c.level, k+1, got)
			}
		}
	}
}

// Largest sample sizes as multiples of that without looks, two-sided level 0.05: Jennison & Turnbull
// (2000), tables 2.2 and 2.4; from memory.
func TestInflationOfTheTables(t *testing.T) {
	for _, c := range []struct {
		shape trials.Shape
		power float64
		want  map[int]float64
	}{
		{trials.Pocock, 0.8, map[int]float64{1: 1, 2: 1.110, 3: 1.166, 4: 1.202, 5: 1.229, 10: 1.301}},
		{trials.Pocock, 0.9, map[int]float64{1: 1, 2: 1.100, 3: 1.151, 4: 1.183, 5: 1.207, 10: 1.271}},
		{trials.OBrienFleming, 0.8, map[int]float64{1: 1, 2: 1.008, 3: 1.017, 4: 1.024, 5: 1.028, 10: 1.040}},
		{trials.OBrienFleming, 0.9, map[int]float64{1: 1, 2: 1.007, 3: 1.016, 4: 1.022, 5: 1.026, 10: 1.037}},
	} {
		for k, want := range c.want {
			got, err := boundary(t, c.shape, even(k), 0.05, 2).Inflation(c.power)
			if err != nil || math.Abs(got-want) > 0.00051 {
				t.Errorf("%v, power %v, %d looks: %.5f, table %.3f (%v)", c.shape, c.power, k, got, want, err)
			}
		}
	}
}

// Limits of the spending functions of Lan & DeMets for five looks at equal steps, 0.025 on each
// side, as widely printed (for example Reboussin et al., Control. Clin. Trials 21 (2000) 190–207);
// from memory. The program of that time was good to about a
// ten-thousandth: its 3.3569 is 3.35701 here, to all digits that a sum over a fine grid confirms below.
func TestLimitsOfSpending(t *testing.T) {
	for _, c := range []struct {
		shape trials.Shape
		want  []float64
	}{
		{trials.SpendingOBrienFleming, []float64{4.8769, 3.3569, 2.6803, 2.2898, 2.0310}},
		{trials.SpendingPocock, []float64{2.4380, 2.4268, 2.4101, 2.3966, 2.3859}},
	} {
		for sides, level := range map[int]float64{1: 0.025, 2: 0.05} {
			b := boundary(t, c.shape, even(5), level, sides)
			for k, want := range c.want {
				if math.Abs(b.Limit[k]-want) > 0.0002 {
					t.Errorf("%v, %d sides, look %d: %.5f, printed %.4f", c.shape, sides, k+1, b.Limit[k], want)
				}
			}
		}
	}
}

// What is spent at each look is what the function of Lan & DeMets (1983) allows, by its formula.
func TestSpentIsWhatTheFunctionAllows(t *testing.T) {
	information := []float64{0.13, 0.2, 0.58, 0.61, 0.99, 1}
	for _, level := range []float64{0.001, 0.025, 0.1} {
		b := boundary(t, trials.SpendingOBrienFleming, information, level, 1)
		p := boundary(t, trials.SpendingPocock, information, level, 1)
		for k, at := range information {
			z := -dist.NormalQuantile(level / 2)
			if want := 2 * dist.NormalUpper(z/math.Sqrt(at)); math.Abs(b.Spent[k]-want) > 1e-10 {
				t.Errorf("level %v, look %d: %v spent, want %v", level, k+1, b.Spent[k], want)
			}
			if want := level * math.Log(1+(math.E-1)*at); math.Abs(p.Spent[k]-want) > 1e-10 {
				t.Errorf("level %v, look %d: %v spent like Pocock, want %v", level, k+1, p.Spent[k], want)
			}
		}
	}
}

// Many looks close together, and looks far apart, against sums of normal steps drawn one by one.
func TestBoundaryAgainstDrawnStudies(t *testing.T) {
	const drift = 2.5
	n := 3000 * *times / slower
	for _, information := range [][]float64{{0.5, 1}, {0.1, 0.4, 0.95, 1}, even(30)} {
		for _, shape := range []trials.Shape{trials.Pocock, trials.OBrienFleming, trials.SpendingPocock, trials.SpendingOBrienFleming} {
			for sides := 1; sides <= 2; sides++ {
				b := boundary(t, shape, information, 0.05, sides)
				for _, theta := range []float64{0, drift} {
					course := b.Course(theta)
					up, mean := drawn(b, theta, n)
					if sd := math.Sqrt(course.Power * (1 - course.Power) / float64(n)); math.Abs(up-course.Power) > 3.5*sd {
						t.Errorf("%v, %d looks, %d sides, drift %v: %.5f stopped, worked out %.5f", shape, len(information), sides, theta, up, course.Power)
					}
					if math.Abs(mean-course.Expected) > 3.5*0.5/math.Sqrt(float64(n)) {
						t.Errorf("%v, %d looks, %d sides, drift %v: information %.5f, worked out %.5f", shape, len(information), sides, theta, mean, course.Expected)
					}
				}
			}
		}
	}
}

// drawn is the share of n studies that stopped above, and the mean information at their end.
func drawn(b *trials.Boundary, drift float64, n int) (up, information float64) {
	r := random.Stream(3, "walks", 0)
	for range n {
		s, before := 0.0, 0.0
		end := 1.0
		for k, t := range b.Information {
			s += drift*(t-before) + math.Sqrt(t-before)*r.NormFloat64()
			before = t
			z := s / math.Sqrt(t)
			if z >= b.Limit[k] || b.Sides == 2 && z <= -b.Limit[k] {
				if end = t; z > 0 {
					up++
				}
				break
			}
		}
		information += end
	}
	return up / float64(n), information / float64(n)
}

// Two looks by a sum over a grid so fine that nothing clever is needed.
func TestTwoLooksByPlainSums(t *testing.T) {
	b := boundary(t, trials.SpendingOBrienFleming, []float64{0.4, 1}, 0.05, 2)
	for _, drift := range []float64{0, 1, 3} {
		const cells = 50_000
		step := 2 * b.Limit[0] / cells
		up := dist.NormalUpper(b.Limit[0] - drift*math.Sqrt(0.4))
		for i := range cells {
			z := (float64(i)+0.5)*step - b.Limit[0]
			density := math.Exp(-math.Pow(z-drift*math.Sqrt(0.4), 2)/2) / math.Sqrt(2*math.Pi)
			up += step * density * dist.NormalUpper((b.Limit[1]-z*math.Sqrt(0.4)-drift*0.6)/math.Sqrt(0.6))
		}
		if got := b.Course(drift).Power; math.Abs(got-up) > 1e-8 {
			t.Errorf("drift %v: power %.12f, plain sum %.12f", drift, got, up)
		}
	}
}

func TestStatedLimits(t *testing.T) {
	// Haybittle & Peto: 3 at each look but the last, as common practice has it.
	b, err := trials.StatedBoundary(even(3), []float64{3, 3, 1.96}, 2)
	if err != nil || b.Level < 0.05 || b.Level > 0.055 {
		t.Errorf("level %v of limits 3, 3, 1.96 (%v), want a little above 0.05", b.Level, err)
	}
	one, err := trials.StatedBoundary([]float64{1}, []float64{1.959963984540054}, 2)
	if err != nil || math.Abs(one.Level-0.05) > 1e-12 {
		t.Errorf("level %v of the limit 1.96 (%v)", one.Level, err)
	}
	if drift, err := one.Drift(0.8); err != nil || math.Abs(drift-1.959963984540054-0.8416212335729143) > 1e-12 {
		t.Errorf("drift %v for power 0.8, want z + z (%v)", drift, err)
	}
}

func BenchmarkBoundary(b *testing.B) {
	for b.Loop() {
		if _, err := trials.NewBoundary(trials.SpendingOBrienFleming, even(5), 0.05, 2); err != nil {
			b.Fatal(err)
		}
	}
}
