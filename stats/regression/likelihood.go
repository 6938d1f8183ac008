package regression

import (
	"math"

	"deltoid/stats/covariates"
)

type kind uint8

const (
	logistic kind = iota
	poisson
)

// likelihood is the log-likelihood of a model:
//
//	logistic: Σ w (y η − log(1 + e^η)),   poisson: Σ w (y η − e^η − log y!)
type likelihood struct {
	kind      kind
	data      Data
	design    *covariates.Design
	penalised bool
	fitted    []float64 // mean of each row at the beta of the last Value
	constant  float64   // Σ w log y!

	gradient, information []float64
	factor                *covariates.Factor
}

func newLikelihood(k kind, d Data, design *covariates.Design, penalised bool) *likelihood {
	l := &likelihood{kind: k, data: d, design: design, penalised: penalised, fitted: make([]float64, len(d.Outcome))}
	if k == poisson {
		sums := make([]float64, covariates.Pieces(len(d.Outcome)))
		covariates.InPieces(len(d.Outcome), func(_, piece, from, to int) {
			for i := from; i < to; i++ {
				if y := d.Outcome[i]; y > 1 {
					g, _ := math.Lgamma(y + 1)
					sums[piece] += float64(d.weight(i) * g)
				}
			}
		})
		for _, s := range sums {
			l.constant += s
		}
	}
	return l
}

// guess is the constant that fits best where there are no columns and offsets are alike.
func (l *likelihood) guess() float64 {
	events, rows := 0.0, 0.0
	for i, y := range l.data.Outcome {
		w := l.data.weight(i)
		events += float64(w * y)
		if l.kind == poisson {
			w *= math.Exp(l.data.offset(i))
		}
		rows += w
	}
	if l.kind == poisson {
		return math.Log(events / rows)
	}
	return math.Log(events / (rows - events))
}

// alone fits the constant without any column.
func (l *likelihood) alone(start float64, steps int) *covariates.Ascent {
	bare := *l
	bare.design = &covariates.Design{Rows: len(l.fitted), Constant: true}
	return covariates.Maximise(bare.design, &bare, covariates.Start{Beta: []float64{start}, Steps: steps})
}

// Value returns the log-likelihood, with its penalty if there is one.
func (l *likelihood) Value(beta []float64) float64 {
	sums := make([]float64, covariates.Pieces(len(l.fitted)))
	covariates.InPieces(len(l.fitted), func(_, piece, from, to int) {
		for ; from < to; from += 512 {
			sums[piece] += l.block(beta, from, min(to, from+512))
		}
	})
	total := -l.constant
	for _, s := range sums {
		total += s
	}
	if !l.penalised || math.IsNaN(total) || math.IsInf(total, 0) {
		return total
	}
	return total + l.penalty()
}

// block sets the fitted values of some rows and returns their log-likelihood.
func (l *likelihood) block(beta []float64, from, to int) float64 {
	eta := l.fitted[from:to]
	if l.data.Offset == nil {
		clear(eta)
	} else {
		copy(eta, l.data.Offset[from:to])
	}
	l.design.AddPredictor(beta, from, eta)
	if l.kind == poisson {
		return l.counts(eta, from)
	}
	return l.chances(eta, from)
}

func (l *likelihood) counts(eta []float64, from int) (sum float64) {
	for i, x := range eta {
		mean := math.Exp(x)
		sum += float64(l.data.weight(from+i) * (float64(l.data.Outcome[from+i]*x) - mean))
		eta[i] = mean
	}
	return sum
}

// chances uses log(1 + e^η) = max(η, 0) + log(1 + e^−|η|). Without weights the factors 1 + e^−|η|, which
// are at most 2, are multiplied over the block and only the product's log is taken.
func (l *likelihood) chances(eta []float64, from int) (sum float64) {
	product := 1.0
	for i, x := range eta {
		small := math.Exp(-math.Abs(x))
		chance := 1 / (1 + small)
		if x < 0 {
			chance = small / (1 + small)
		}
		y := l.data.Outcome[from+i]
		if l.data.Weight == nil {
			sum += float64(y*x) - max(x, 0)
			product *= 1 + small
		} else {
			sum += float64(l.data.Weight[from+i] * (float64(y*x) - max(x, 0) - math.Log1p(small)))
		}
		eta[i] = chance
	}
	return sum - math.Log(product)
}

// spread is the variance of a row with some mean.
func (l *likelihood) spread(mean float64) float64 {
	if l.kind == poisson {
		return mean
	}
	return mean * (1 - mean)
}

func (l *likelihood) moments() {
	l.information, l.gradient = l.design.Moments(func(from, to int, c, v []float64) {
		for i := from; i < to; i++ {
			w := l.data.weight(i)
			c[i-from] = w * l.spread(l.fitted[i])
			v[i-from] = w * (l.data.Outcome[i] - l.fitted[i])
		}
	})
}

// penalty makes the information and returns half its log determinant.
func (l *likelihood) penalty() float64 {
	l.moments()
	var bad int
	if l.factor, bad = covariates.Factorise(l.information, l.design.Size(), nil); bad >= 0 {
		l.factor = nil
		return 0 // Maximise names the column at fault
	}
	return l.factor.LogDeterminant() / 2
}

// Slope returns gradient and information at the beta of the last Value. The slope of the penalty is
// Σ h κ z, with h the leverage of a row, w·spread·zᵀI⁻¹z, and κ half the log derivative of its
// spread: ½ − mean for chances, ½ for counts.
//
// Source: Firth, Biometrika 80 (1993) 27–38; Heinze & Schemper, Stat. Med. 21 (2002) 2409–2419.
func (l *likelihood) Slope() (gradient, information, size []float64) {
	if !l.penalised {
		l.moments()
	}
	p := l.design.Size()
	gradient = append([]float64(nil), l.gradient...)
	if l.penalised && l.factor != nil {
		for j, x := range l.pull() {
			gradient[j] += x
		}
	}
	size = make([]float64, p)
	for j := range size {
		size[j] = l.information[j*p+j]
	}
	return gradient, l.information, size
}

func (l *likelihood) pull() []float64 {
	p, inverse := l.design.Size(), l.factor.Inverse()
	_, sum := l.design.Moments(func(from, to int, c, v []float64) {
		clear(c)
		z := make([]float64, p)
		for i := from; i < to; i++ {
			for j := range z {
				z[j] = l.design.At(i, j)
			}
			leverage := 0.0
			for j, a := range z {
				for k, b := range z {
					leverage += float64(a * inverse[j*p+k] * b)
				}
			}
			half := 0.5
			if l.kind == logistic {
				half -= l.fitted[i]
			}
			v[i-from] = l.data.weight(i) * l.spread(l.fitted[i]) * leverage * half
		}
	})
	return sum
}
