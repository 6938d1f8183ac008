package survival

// stretch is how many times are multiplied at once: four groups then fit the fastest memory.
const stretch = 256

// panels holds a number for each group and each time of a stretch, four groups side by side.
type panels struct{ data [][4]float64 }

func newPanels(groups int) panels { return panels{make([][4]float64, (groups+3)/4*stretch)} }

func (p panels) count() int { return len(p.data) / stretch }

// panel returns groups 4q to 4q+3 at the first n times.
func (p panels) panel(q, n int) [][4]float64 { return p.data[q*stretch : q*stretch+n] }

// productInGo sets out[4i+j] to Σ a[t][i]·b[t][j] over t, in order; b is as long as a.
func productInGo(out *[16]float64, a, b [][4]float64) {
	*out = [16]float64{}
	for t := range a {
		for i, x := range a[t] {
			for j, y := range b[t] {
				out[4*i+j] += float64(x * y)
			}
		}
	}
}

// addProducts adds Σ a[t]·b[t]ᵀ over the first n times of a stretch, of four rows of a matrix, to
// those of them that there are: row first and on, columns before columns.
func addProducts(matrix []float64, k, first, columns int, a [][4]float64, b panels) {
	var out [16]float64
	for q := 0; 4*q < columns; q++ {
		product(&out, a, b.panel(q, len(a)))
		for i := range min(4, k-first) {
			row := matrix[(first+i)*k+4*q : min((first+i)*k+4*q+4, (first+i+1)*k)]
			for j := range row {
				row[j] += out[4*i+j]
			}
		}
	}
}
