package change_test

import (
	"math"
	"testing"

	"deltoid/stats/change"
	"deltoid/stats/covariates"
	"deltoid/stats/random"
	"deltoid/stats/references"
	"deltoid/stats/regression"
)

// A model with everything that can be weighed again: what a little more weight of a row does is its influence, and
// the squares of influences, summed by patient, are the variance.
func byWeights(t *testing.T, n int, patient []int32, value func(weight []float64) float64) (at, se float64) {
	t.Helper()
	const step = 1e-4
	weight := make([]float64, n)
	for i := range weight {
		weight[i] = 1
	}
	sums := map[int32]float64{}
	for i := range weight {
		weight[i] = 1 + step
		more := value(weight)
		weight[i] = 1 - step
		less := value(weight)
		weight[i] = 1
		sums[patient[i]] += (more - less) / (2 * step)
	}
	squares := 0.0
	for _, u := range sums {
		squares += u * u
	}
	return value(weight), math.Sqrt(squares)
}

type cohort struct {
	responses []change.Response
	group     []bool
	columns   []covariates.Column
	patient   []int32
}

// someCohort draws responses that go with a group and a covariate, with some scores missing where the covariate is high.
func someCohort(n int) cohort {
	r := random.Stream(21, "cohort", uint64(n))
	c := cohort{columns: []covariates.Column{{Name: "age", Values: make([]float64, n)}}}
	for i := range n {
		age := r.NormFloat64()
		c.columns[0].Values[i] = 70 + 8*age
		c.group = append(c.group, r.Float64() < 1/(1+math.Exp(-age)))
		c.patient = append(c.patient, int32(i*2/3))
		eta := 0.4 - 0.9*age
		if c.group[i] {
			eta += 0.8
		}
		response := change.NotReached
		if r.Float64() < 1/(1+math.Exp(-eta)) {
			response = change.Reached
		}
		if r.Float64() < 0.3/(1+math.Exp(-age)) {
			response = change.NotScored
		}
		c.responses = append(c.responses, response)
	}
	return c
}

func (c cohort) scored() (y []float64, rows []int) {
	for i, r := range c.responses {
		if r == change.NotScored {
			continue
		}
		rows = append(rows, i)
		y = append(y, 0)
		if r == change.Reached {
			y[len(y)-1] = 1
		}
	}
	return y, rows
}

func TestAdjustedDifferenceAgainstTwin(t *testing.T) {
	c := someCohort(90)
	got, err := change.Adjusted(c.responses, c.group, c.columns, c.patient, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	fine(t, "adjusted", got.State)
	y, rows := c.scored()
	in, age := make([]float64, len(rows)), make([]float64, len(rows))
	patient := make([]int32, len(rows))
	for k, i := range rows {
		if age[k], patient[k] = c.columns[0].Values[i], c.patient[i]; c.group[i] {
			in[k] = 1
		}
	}
	risk := func(weight []float64, group float64) float64 {
		fit, err := regression.Logistic(regression.Data{Outcome: y, Weight: weight}, []covariates.Column{{Name: "group", Values: in}, {Name: "age", Values: age}},
			regression.Options{})
		if err != nil {
			t.Fatal(err)
		}
		sum, total := 0.0, 0.0
		for k, w := range weight {
			b := fit.Coefficient
			sum += w / (1 + math.Exp(-b[0]*group-b[1]*age[k]-b[2]))
			total += w
		}
		return sum / total
	}
	for what, twin := range map[string]struct {
		got   change.Estimate
		value func([]float64) float64
	}{
		"risk in the group":      {got.Risk[1], func(w []float64) float64 { return risk(w, 1) }},
		"risk outside the group": {got.Risk[0], func(w []float64) float64 { return risk(w, 0) }},
		"difference":             {got.Difference, func(w []float64) float64 { return risk(w, 1) - risk(w, 0) }},
	} {
		value, se := byWeights(t, len(rows), patient, twin.value)
		near(t, what, twin.got.Value, value, 1e-9)
		near(t, what+", standard error", twin.got.SE, se, 1e-5)
	}
	near(t, "odds ratio", got.OddsRatio.Value, math.Exp(got.Model.Coefficient[0]), 1e-14)
}

func TestWeightedShareAgainstTwin(t *testing.T) {
	c := someCohort(120)
	rulings := make([]change.Response, len(c.responses))
	for i := range rulings {
		if i%11 == 0 {
			rulings[i], c.responses[i] = change.NotReached, change.NotReached
		}
	}
	c.responses[5] = change.LeftOut
	got, err := change.Weighted(c.responses, rulings, c.columns, c.patient, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	fine(t, "weighted", got.State)
	value, se := byWeights(t, len(c.responses), c.patient, func(weight []float64) float64 {
		var scored, age, w []float64
		for i, r := range c.responses {
			if r != change.LeftOut && rulings[i] == change.NotScored {
				is := 0.0
				if r != change.NotScored {
					is = 1
				}
				scored, age, w = append(scored, is), append(age, c.columns[0].Values[i]), append(w, weight[i])
			}
		}
		fit, err := regression.Logistic(regression.Data{Outcome: scored, Weight: w}, []covariates.Column{{Name: "age", Values: age}}, regression.Options{})
		if err != nil {
			t.Fatal(err)
		}
		sum, total := 0.0, 0.0
		for i, r := range c.responses {
			if r == change.LeftOut || r == change.NotScored {
				continue
			}
			v := weight[i]
			if rulings[i] == change.NotScored {
				v *= 1 + math.Exp(-fit.Coefficient[0]*c.columns[0].Values[i]-fit.Coefficient[1])
			}
			total += v
			if r == change.Reached {
				sum += v
			}
		}
		return sum / total
	})
	near(t, "weighted share", got.Value, value, 1e-9)
	near(t, "standard error", got.SE, se, 1e-5)
	if !(got.Lower < got.Value && got.Value < got.Upper) || !(got.Largest > 1) || !(got.Effective < float64(got.N)) {
		t.Errorf("weighted share %+v", got)
	}
}

// Among all rows the older ones respond less and are scored less, so that complete cases say too much; weights by age take that back.
func TestWeightsTakeBackWhatIsMissing(t *testing.T) {
	c := someCohort(40_000)
	complete, err := change.ShareOf(c.responses, c.patient, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	weighted, err := change.Weighted(c.responses, nil, c.columns, c.patient, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	truth, r := 0.0, random.Stream(22, "truth", 0)
	const draws = 400_000
	for range draws {
		age := r.NormFloat64()
		g := 1 / (1 + math.Exp(-age))
		truth += (g/(1+math.Exp(-1.2+0.9*age)) + (1-g)/(1+math.Exp(-0.4+0.9*age))) / draws
	}
	if !(math.Abs(weighted.Value-truth) < 4.5*weighted.SE) {
		t.Errorf("weighted share %v (standard error %v), truth %v", weighted.Value, weighted.SE, truth)
	}
	if !(complete.Complete.Value-truth > 4.5*weighted.SE) {
		t.Errorf("complete cases give %v, no more than the truth %v", complete.Complete.Value, truth)
	}
	if !(complete.Worst.Lower < truth && truth < complete.Best.Upper) {
		t.Errorf("the truth %v lies outside the bounds %v to %v", truth, complete.Worst.Lower, complete.Best.Upper)
	}
}

// With a group alone the model is saturated: standardised shares are the shares, the odds ratio that of the table. Reference: Woolf's interval and the
// unadjusted difference of prop_arthritis.
func TestAdjustedByNothingAgainstReference(t *testing.T) {
	var ref struct {
		Results struct {
			D struct {
				Difference float64
				Wald       [2]float64
				OddsRatio  float64    `json:"odds_ratio"`
				Woolf      [2]float64 `json:"odds_ratio_woolf"`
			} `json:"treated_minus_placebo"`
		}
	}
	references.Expected(t, "prop_arthritis", &ref)
	f := references.Data(t, "arthritis.csv")
	var responses []change.Response
	var treated []bool
	for i, improved := range f["Improved"] {
		r := change.Reached
		if improved == "None" {
			r = change.NotReached
		}
		responses, treated = append(responses, r), append(treated, f["Treatment"][i] == "Treated")
	}
	got, err := change.Adjusted(responses, treated, nil, nil, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	want := ref.Results.D
	near(t, "difference", got.Difference.Value, want.Difference, 1e-8)
	near(t, "difference, lower", got.Difference.Lower, want.Wald[0], 1e-7)
	near(t, "difference, upper", got.Difference.Upper, want.Wald[1], 1e-7)
	near(t, "odds ratio", got.OddsRatio.Value, want.OddsRatio, 1e-7)
	near(t, "odds ratio, lower", got.OddsRatio.Lower, want.Woolf[0], 1e-7)
	near(t, "odds ratio, upper", got.OddsRatio.Upper, want.Woolf[1], 1e-7)
}
