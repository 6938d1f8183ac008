package hazards

import (
	"errors"
	"fmt"
	"math"

	"deltoid/stats/covariates"
)

// usable returns an error unless residuals of the fit exist.
func (f *Fit) usable() error {
	if f.Status != covariates.Converged {
		return fmt.Errorf("the model has no estimates (%v): %s", f.Status, f.Reason)
	}
	if f.Ties == ExactPartial {
		return errors.New(
			"under the exact partial likelihood time is discrete, and there is no hazard to take residuals from; fit the model with Efron's method")
	}
	return nil
}

// Martingale returns, for each row, events less those expected: δ − e^η (A(exit) − A(entry)).
// Rows of weight 0 have 0. They sum to 0 when multiplied by the weights.
//
// Source: Barlow & Prentice, Biometrika 75 (1988) 65–74; with the shares of Efron's method as in
// Therneau & Grambsch (2000), section 4.2.
func (f *Fit) Martingale() ([]float64, error) {
	if err := f.usable(); err != nil {
		return nil, err
	}
	p := f.partial
	out := make([]float64, len(p.risk))
	covariates.InPieces(len(out), func(_, _, from, to int) {
		for i := from; i < to; i++ {
			if w := p.data.weight(i); w > 0 {
				out[i] = p.events(i) - float64(p.risk[i]/w*p.exposure(i))
			}
		}
	})
	return out, nil
}

func (p *partial) events(i int) float64 {
	if p.event(i) {
		return 1
	}
	return 0
}

// exposure is the cumulative baseline hazard over the time that a row is at risk, less what a tied
// event is spared.
func (p *partial) exposure(i int) float64 {
	k := p.slots.leave[i]
	a := p.shares.cumulative[k]
	if e := p.entered(i); e >= 0 {
		a -= p.shares.cumulative[e]
	}
	if p.event(i) {
		a -= p.shares.h1[k]
	}
	return a
}

// Deviance returns martingale residuals made more symmetric: sign(M) √(−2 (M + δ log(δ − M))).
//
// Source: Therneau, Grambsch & Fleming, Biometrika 77 (1990) 147–160.
func (f *Fit) Deviance() ([]float64, error) {
	out, err := f.Martingale()
	for i, m := range out {
		square := -2 * m
		if d := f.partial.events(i); d > 0 {
			square = -2 * (m + math.Log(d-m))
		}
		out[i] = math.Copysign(math.Sqrt(max(0, square)), m)
	}
	return out, err
}

// Scores returns the score residuals, one slice for each coefficient with one number for each
// row, in the units of the columns and times the weight of the row. Each slice sums to 0.
func (f *Fit) Scores() ([][]float64, error) { return f.perRow(nil) }

// DeleteOne returns, for each coefficient and row, about how much the coefficient would fall if
// the row were left out: the score residuals times the covariance.
func (f *Fit) DeleteOne() ([][]float64, error) { return f.perRow(f.Model) }

// perRow returns score residuals, multiplied by a p × p matrix unless that is nil.
func (f *Fit) perRow(m []float64) ([][]float64, error) {
	if err := f.usable(); err != nil {
		return nil, err
	}
	p := f.partial
	size := p.design.Size()
	out := make([][]float64, size)
	for j := range out {
		out[j] = make([]float64, len(p.risk))
	}
	p.eachTable(func(t *tables) {
		u := p.influence(t)
		covariates.InPieces(len(p.risk), func(_, _, from, to int) {
			one := make([]float64, len(t.columns))
			for i := from; i < to; i++ {
				u.row(i, one)
				for a, j := range t.columns {
					out[j][i] = one[a] / p.design.Scale(j)
				}
			}
		})
	})
	if m != nil {
		multiplyRows(out, m)
	}
	return out, nil
}

// multiplyRows replaces every row of columns by its product with a symmetric matrix.
func multiplyRows(columns [][]float64, m []float64) {
	size := len(columns)
	if size == 0 {
		return
	}
	covariates.InPieces(len(columns[0]), func(_, _, from, to int) {
		row := make([]float64, size)
		for i := from; i < to; i++ {
			for j := range row {
				row[j] = columns[j][i]
			}
			for j := range row {
				sum := 0.0
				for k, x := range row {
					sum += float64(m[j*size+k] * x)
				}
				columns[j][i] = sum
			}
		}
	})
}

// Schoenfeld holds the Schoenfeld residuals of the events, in the order of the rows.
type Schoenfeld struct {
	Row      []int // of the data
	Time     []float64
	Residual [][]float64 // of each coefficient and event: x − x̄ at the time of the event
	// Scaled is coefficient + events·V·residual: over time its mean is about the coefficient at
	// that time. Source: Grambsch & Therneau, Biometrika 81 (1994) 515–526.
	Scaled [][]float64
}

// Schoenfeld returns the residuals that the test of proportional hazards adds up.
func (f *Fit) Schoenfeld() (*Schoenfeld, error) {
	if err := f.usable(); err != nil {
		return nil, err
	}
	p := f.partial
	out := &Schoenfeld{}
	for i := range p.risk {
		if p.event(i) {
			out.Row = append(out.Row, i)
			out.Time = append(out.Time, p.data.time(p.data.Exit[i]))
		}
	}
	size := p.design.Size()
	out.Residual, out.Scaled = make([][]float64, size), make([][]float64, size)
	p.eachTable(func(t *tables) {
		u := p.influence(t)
		for a, j := range t.columns {
			out.Residual[j] = make([]float64, len(out.Row))
			for e, i := range out.Row {
				mean, _ := u.mean(a, int(p.slots.leave[i]))
				out.Residual[j][e] = (p.design.At(i, j) - mean) / p.design.Scale(j)
			}
		}
	})
	for j := range size {
		out.Scaled[j] = append([]float64(nil), out.Residual[j]...)
	}
	multiplyRows(out.Scaled, f.Model)
	for j, column := range out.Scaled {
		for e, x := range column {
			column[e] = f.Coefficient[j] + float64(float64(f.Events)*x)
		}
	}
	return out, nil
}
