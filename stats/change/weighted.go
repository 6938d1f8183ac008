package change

import (
	"fmt"
	"math"
	"slices"

	"deltoid/stats/covariates"
	"deltoid/stats/regression"
)

// WeightedShare is the share of responders with rows that have a score standing for those like them that have none.
type WeightedShare struct {
	Estimate // N rows with a response
	// Missing rows have no score. Effective is the number of equally weighted rows that the weights are worth, Largest the largest
	// weight, before which 1 is that of a row sure to have a score.
	Missing            int
	Effective, Largest float64
	// Model is that of having a score; nil where no score is missing.
	Model *regression.Fit
}

// Weighted returns the share of responders among all rows, those with a score weighted by one over their chance to have
// one, modelled by logistic regression on columns (one value for each row). Rows with a ruling (as in Respond) have their response for sure: they weigh 1
// and stay out of the model. It rests on scores that are missing at random given the columns.
//
// The variance sums squared influences over patients and counts that the weights are estimated; the interval is Wilson's at the
// number of rows that has this variance.
//
// Sources: Robins, Rotnitzky & Zhao, J. Am. Stat. Assoc. 89 (1994) 846–866; Lunceford & Davidian, Stat. Med. 23 (2004) 2937–2960,
// section 3, for the influence.
func Weighted(responses, rulings []Response, columns []covariates.Column, patient []int32, level float64) (WeightedShare, error) {
	n := len(responses)
	if err := firstError(checkPatients(patient, n), checkLevel(level)); err != nil {
		return WeightedShare{}, err
	}
	if rulings != nil {
		if err := checkLength("rulings", len(rulings), n); err != nil {
			return WeightedShare{}, err
		}
	}
	if err := checkColumns(columns, n); err != nil {
		return WeightedShare{}, err
	}
	w := weighting{responses: responses, columns: columns}
	w.sort(rulings)
	out := WeightedShare{Missing: w.missing}
	out.N, out.Level = len(w.rows)-w.missing, level
	if out.N == 0 {
		out.State = state(NoRows, "no row has a response")
		return out, nil
	}
	if w.missing > 0 {
		if err := w.fit(patient); err != nil {
			return WeightedShare{}, err
		}
		if out.Model = w.model; w.model.Status != covariates.Converged {
			out.State = state(NotFitted, "the model of who has a score: %s", w.model.Reason)
			return out, nil
		}
	}
	w.estimate(&out, peopleOf(pick(patient, w.rows), len(w.rows)))
	return out, nil
}

// checkColumns asks for numbers in every row, whether the row is used or not.
func checkColumns(columns []covariates.Column, rows int) error {
	for _, c := range columns {
		if err := checkLength("column "+c.Name, len(c.Values), rows); err != nil {
			return err
		}
		for i, x := range c.Values {
			if !finite(x) {
				return &covariates.RowError{Row: i, Column: c.Name, Found: fmt.Sprint(x), Want: "a finite number: leave the row out or say what it stands for"}
			}
		}
	}
	return nil
}

// weighting is the rows that count, and the model of those of them that are not ruled.
type weighting struct {
	responses []Response
	columns   []covariates.Column
	rows      []int32 // that count
	modelled  []int32 // places in rows
	missing   int
	model     *regression.Fit
	chance    []float64 // of each of modelled
}

func (w *weighting) sort(rulings []Response) {
	for i, r := range w.responses {
		if r == LeftOut {
			continue
		}
		if r == NotScored {
			w.missing++
		}
		if rulings == nil || rulings[i] == NotScored || r == NotScored {
			w.modelled = append(w.modelled, int32(len(w.rows)))
		}
		w.rows = append(w.rows, int32(i))
	}
}

func (w *weighting) fit(patient []int32) (err error) {
	rows := pick(w.rows, w.modelled)
	columns := slices.Clone(w.columns)
	for j := range columns {
		columns[j].Values = pick(columns[j].Values, rows)
	}
	w.columns = columns
	scored := make([]float64, len(rows))
	for k, i := range rows {
		if w.responses[i] != NotScored {
			scored[k] = 1
		}
	}
	if w.model, err = regression.Logistic(regression.Data{Outcome: scored, Cluster: pick(patient, rows)}, columns, regression.Options{}); err != nil {
		return err
	}
	if w.model.Status == covariates.Converged {
		w.chance, err = w.model.Fitted()
	}
	return err
}

func (w *weighting) estimate(out *WeightedShare, p people) {
	weight := make([]float64, len(w.rows))
	for k, i := range w.rows {
		if w.responses[i] != NotScored {
			weight[k] = 1
		}
	}
	for m, k := range w.modelled {
		if w.chance != nil {
			weight[k] /= w.chance[m]
		}
	}
	var total, reached, squares float64
	for k, v := range weight {
		total += v
		squares += float64(v * v)
		out.Largest = max(out.Largest, v)
		if w.responses[w.rows[k]] == Reached {
			reached += v
		}
	}
	out.Effective = total * total / squares
	out.Value = reached / total
	variance := p.squares(w.influence(weight, total, out.Value))
	out.Estimate = atVariance(out.Estimate, variance, float64(min(out.N, p.clusters.Count)))
	out.Patients = p.patients()
}

// influence of each row on the share: its own part, and what it does to the weights of the others.
func (w *weighting) influence(weight []float64, total, share float64) []float64 {
	u := make([]float64, len(w.rows))
	for k, v := range weight {
		y := 0.0
		if w.responses[w.rows[k]] == Reached {
			y = 1
		}
		u[k] = v * (y - share) / total
	}
	if w.model == nil {
		return u
	}
	q := len(w.columns) + 1
	slope := make([]float64, q)
	for m, k := range w.modelled {
		for j := range q {
			slope[j] -= float64(u[k] * (1 - w.chance[m]) * w.at(m, j))
		}
	}
	through := times(slope, w.model.Model)
	for m, k := range w.modelled {
		rest := -w.chance[m]
		if weight[k] > 0 {
			rest++
		}
		for j := range q {
			u[k] += float64(through[j] * rest * w.at(m, j))
		}
	}
	return u
}

// at is column j of modelled row m; the constant comes last.
func (w *weighting) at(m, j int) float64 {
	if j == len(w.columns) {
		return 1
	}
	return w.columns[j].Values[m]
}

// times returns vᵀM for a symmetric M, rows one after the other.
func times(v, m []float64) []float64 {
	out := make([]float64, len(v))
	for i, x := range v {
		for j := range v {
			out[j] += float64(x * m[i*len(v)+j])
		}
	}
	return out
}

// atVariance gives a share Wilson's interval at the number of rows that has this variance; most is that number where the variance is 0.
func atVariance(e Estimate, variance, most float64) Estimate {
	n, pq := most, e.Value*(1-e.Value)
	if variance > 0 && pq > 0 {
		n = pq / variance
	}
	w := wilson(e.Value*n, n, 1, e.Level)
	e.SE, e.Lower, e.Upper = math.Sqrt(variance), w.Lower, w.Upper
	return e
}
