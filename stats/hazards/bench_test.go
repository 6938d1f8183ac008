package hazards_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/random"
)

// registry draws n rows of 15 years of whole days, 4 % of them with the event: 10 covariates with
// 16 coefficients, two rows a patient for one in six. Written for the benchmarks; the shape is
// that of the file that the reference library was timed with.
func registry(n int) (hazards.Data, []covariates.Column) {
	r := random.Stream(6, "benchmark rows", 0)
	d := hazards.Data{Exit: make([]int32, n), Cause: make([]uint8, n), Cluster: make([]int32, n)}
	var columns []covariates.Column
	add := func(term string, levels int, draw func() float64) {
		first := len(columns)
		for l := range max(1, levels-1) {
			columns = append(columns, covariates.Column{Name: fmt.Sprint(term, l+1), Term: term, Values: make([]float64, n)})
		}
		for i := range n {
			if levels == 0 {
				columns[first].Values[i] = draw()
			} else if l := r.IntN(levels); l > 0 {
				columns[first+l-1].Values[i] = 1
			}
		}
	}
	add("age", 0, func() float64 { return 74 + 8*r.NormFloat64() })
	add("year", 0, func() float64 { return 2005 + float64(r.IntN(15)) })
	add("mass", 0, func() float64 { return 28 + 5*r.NormFloat64() })
	for i, levels := range []int{2, 2, 2, 3, 3, 4, 4} {
		add(fmt.Sprint("factor ", i, " level "), levels, nil)
	}
	patient := int32(0)
	for i := range n {
		eta := 0.02*(columns[0].Values[i]-74) - 0.03*(columns[1].Values[i]-2012)
		for j := range columns[3:] {
			eta += 0.15 * float64(j%3) * columns[3+j].Values[i]
		}
		draw(r, &d, i, math.Exp(eta))
		if r.IntN(6) > 0 {
			patient++
		}
		d.Cluster[i] = patient
	}
	return d, columns
}

func draw(r *rand.Rand, d *hazards.Data, i int, ratio float64) {
	event, end := r.ExpFloat64()/(1e-5*ratio), r.Float64()*5479
	d.Exit[i] = int32(min(event, end)) + 1
	if event < end {
		d.Cause[i] = 1
	}
}

var sizes = []int{100_000, 1_000_000}

// Cox, Efron, 16 coefficients, with and without clusters, and the test of proportional hazards.
func BenchmarkCox(b *testing.B) {
	for _, n := range sizes {
		d, x := registry(n)
		plain := d
		plain.Cluster = nil
		b.Run(fmt.Sprint("rows=", n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				mustCox(b, plain, x, hazards.Options{})
			}
		})
		b.Run(fmt.Sprint("clustered/rows=", n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				mustCox(b, d, x, hazards.Options{})
			}
		})
		f := mustCox(b, plain, x, hazards.Options{})
		b.Run(fmt.Sprint("proportionality/rows=", n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := f.Proportionality(hazards.FailedShare); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run(fmt.Sprint("prediction/rows=", n), func(b *testing.B) {
			two := []hazards.Request{{Values: make([]float64, 16)}, {Values: make([]float64, 16)}}
			for b.Loop() {
				if _, err := f.Predict(two, []float64{365, 1826, 3652}, 0.95, 0); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run(fmt.Sprint("concordance/rows=", n), func(b *testing.B) {
			for b.Loop() {
				if _, err := f.Concordance(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
