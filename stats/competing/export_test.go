package competing

// ScoreAlong returns the score of an effect that changes along g, one number for each slot, and Growth the g that the test of
// proportionality takes.
func (f *SubdistributionFit) ScoreAlong(g []float64) []float64 {
	u, _ := f.model.grown(g).slope(g, f.model.tables())
	return u
}

func (f *SubdistributionFit) Growth() []float64 { return f.model.growth() }

// InColumns turns a score into the units of the columns.
func (f *SubdistributionFit) InColumns(u []float64) []float64 {
	out := make([]float64, len(u))
	for j, x := range u {
		out[j] = x / f.model.design.Scale(j)
	}
	return out
}
