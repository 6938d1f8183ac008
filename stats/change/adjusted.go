package change

import (
	"math"
	"slices"

	"deltoid/stats/covariates"
	"deltoid/stats/regression"
)

// AdjustedDifference compares the responders of two groups as if both were like all rows together.
type AdjustedDifference struct {
	// Risk is the share of responders if all rows were in the group false or true, given the columns.
	Risk [2]Estimate
	// Difference is Risk[1] − Risk[0]; OddsRatio that of the group within rows of equal columns, its SE on the scale of logs. An odds ratio
	// given columns is another number than one without, also where the group has nothing to do with the columns.
	Difference, OddsRatio Estimate
	Model                 *regression.Fit
	State
}

// Adjusted compares group true with group false among the rows with a response, by logistic regression on the group and on columns (one
// value for each row): every row's chance is predicted in both groups, and the means are compared. Variances sum squared influences over
// patients, and count both the coefficients and that the rows are a sample.
//
// Sources: Lane & Nelder, Biometrics 38 (1982) 613–621, for the standardised shares; the influence as in Stefanski & Boos, Am. Stat. 56
// (2002) 29–38. There is no small-sample factor.
func Adjusted(responses []Response, group []bool, columns []covariates.Column, patient []int32, level float64) (AdjustedDifference, error) {
	n := len(responses)
	if err := firstError(checkLength("group", len(group), n), checkPatients(patient, n), checkLevel(level)); err != nil {
		return AdjustedDifference{}, err
	}
	if err := checkColumns(columns, n); err != nil {
		return AdjustedDifference{}, err
	}
	a, err := newAdjusting(responses, group, columns, patient)
	if err != nil {
		return AdjustedDifference{}, err
	}
	out := AdjustedDifference{Model: a.model}
	if a.model.Status != covariates.Converged {
		out.refuse(len(a.y), level, state(NotFitted, "the model of who responds: %s", a.model.Reason))
		return out, nil
	}
	a.fill(&out, level)
	return out, nil
}

func (d *AdjustedDifference) refuse(n int, level float64, s State) {
	none := refused(n, level, s)
	d.Risk, d.Difference, d.OddsRatio, d.State = [2]Estimate{none, none}, none, none, s
}

// adjusting is the fitted rows; column 0 is the group and the constant comes last.
type adjusting struct {
	y       []float64
	columns []covariates.Column
	model   *regression.Fit
	people  people
}

func newAdjusting(responses []Response, group []bool, columns []covariates.Column, patient []int32) (*adjusting, error) {
	a := &adjusting{}
	var rows []int32
	var in []float64
	for i, r := range responses {
		if r != Reached && r != NotReached {
			continue
		}
		y, g := 0.0, 0.0
		if r == Reached {
			y = 1
		}
		if group[i] {
			g = 1
		}
		rows, a.y, in = append(rows, int32(i)), append(a.y, y), append(in, g)
	}
	a.columns = slices.Concat([]covariates.Column{{Name: "group", Values: in}}, columns)
	for j := range columns {
		a.columns[j+1].Values = pick(columns[j].Values, rows)
	}
	kept := pick(patient, rows)
	a.people = peopleOf(kept, len(rows))
	var err error
	a.model, err = regression.Logistic(regression.Data{Outcome: a.y, Cluster: kept}, a.columns, regression.Options{Robust: true})
	return a, err
}

func (a *adjusting) fill(out *AdjustedDifference, level float64) {
	n := len(a.y)
	coefficient := a.influenceOfCoefficients()
	var influence [2][]float64
	for g := range 2 {
		chance, slope := a.predict(float64(g))
		share := mean(chance)
		u := make([]float64, n)
		for i, p := range chance {
			u[i] = (p - share) / float64(n)
			for j, d := range slope {
				u[i] += float64(d * coefficient[j][i])
			}
		}
		influence[g] = u
		e := Estimate{Value: share, N: n, Patients: a.people.patients(), Level: level}
		out.Risk[g] = atVariance(e, a.people.squares(u), float64(a.people.clusters.Count))
	}
	for i, u := range influence[0] {
		influence[1][i] -= u
	}
	d := Estimate{Value: out.Risk[1].Value - out.Risk[0].Value, N: n, Patients: a.people.patients()}
	out.Difference = d.byNormal(math.Sqrt(a.people.squares(influence[1])), level)
	out.Difference.Lower, out.Difference.Upper = max(-1, out.Difference.Lower), min(1, out.Difference.Upper)
	odds := a.model.Effect(0, level)
	ratio, lower, upper := odds.Ratio()
	out.OddsRatio = Estimate{Value: ratio, SE: odds.SE, Lower: lower, Upper: upper, Level: level, N: n, Patients: a.people.patients()}
}

// predict returns every row's chance in a group, and the slope of their mean by each coefficient.
func (a *adjusting) predict(group float64) (chance, slope []float64) {
	n, q := len(a.y), len(a.columns)+1
	chance, slope = make([]float64, n), make([]float64, q)
	beta := a.model.Coefficient
	for i := range chance {
		eta := float64(beta[0]*group) + beta[q-1]
		for j := 1; j < q-1; j++ {
			eta += float64(beta[j] * a.columns[j].Values[i])
		}
		p := a.model.Mean(eta)
		chance[i] = p
		rise := p * (1 - p) / float64(n)
		slope[0] += float64(rise * group)
		for j := 1; j < q-1; j++ {
			slope[j] += float64(rise * a.columns[j].Values[i])
		}
		slope[q-1] += rise
	}
	return chance, slope
}

// influenceOfCoefficients returns, for each coefficient, what each row contributes to its error.
func (a *adjusting) influenceOfCoefficients() [][]float64 {
	fitted, err := a.model.Fitted()
	if err != nil {
		panic(err) // it has converged
	}
	q := len(a.columns) + 1
	out := make([][]float64, q)
	for j := range out {
		out[j] = make([]float64, len(a.y))
	}
	score := make([]float64, q)
	for i, y := range a.y {
		r := y - fitted[i]
		for j := range a.columns {
			score[j] = float64(r * a.columns[j].Values[i])
		}
		score[q-1] = r
		for j, u := range times(score, a.model.Model) {
			out[j][i] = u
		}
	}
	return out
}
