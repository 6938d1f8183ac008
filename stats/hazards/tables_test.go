package hazards

import (
	"math"
	"math/rand/v2"
	"testing"

	"deltoid/stats/covariates"
)

// Where the tables of all columns do not fit into the memory allowed, columns come in pairs of
// groups: the numbers must be those of one table.
func TestTablesInPieces(t *testing.T) {
	const n, p = 400, 7
	r := rand.New(rand.NewPCG(1, 2))
	d := Data{Exit: make([]int32, n), Cause: make([]uint8, n), Stratum: make([]int32, n)}
	columns := make([]covariates.Column, p)
	for j := range columns {
		columns[j] = covariates.Column{Name: string(rune('a' + j)), Values: make([]float64, n)}
		for i := range n {
			columns[j].Values[i] = r.NormFloat64()
		}
	}
	for i := range n {
		d.Exit[i], d.Cause[i], d.Stratum[i] = r.Int32N(30), uint8(r.IntN(2)), r.Int32N(4)
	}
	f, err := Cox(d, 1, columns, Options{Robust: true})
	if err != nil || f.Status != covariates.Converged {
		t.Fatal(err, f.Status)
	}
	_, info, _ := f.partial.Slope()
	calls := 0
	f.partial.tableLimit = 4 * 16 * (f.partial.slots.n + f.partial.severalAt)
	f.partial.eachTable(func(*tables) { calls++ })
	if calls != 6 {
		t.Errorf("%d tables for 7 columns, 4 at a time; 6 pairs of 4 groups expected", calls)
	}
	_, pieces, _ := f.partial.Slope()
	robust := f.Robust
	if err := f.addRobust(); err != nil {
		t.Fatal(err)
	}
	for i := range info {
		if math.Abs(info[i]-pieces[i]) > 1e-11*math.Abs(info[0]) || math.Abs(robust[i]-f.Robust[i]) > 1e-12*robust[0] {
			t.Errorf("number %d: information %v in pieces %v, robust %v in pieces %v", i, info[i], pieces[i], robust[i], f.Robust[i])
		}
	}
}
