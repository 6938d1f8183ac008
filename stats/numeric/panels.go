package numeric

// Stretch is a good number of times to work on at once: four columns then fit the fastest memory.
const Stretch = 256

// Panels holds a table of numbers by time and column, four columns side by side: the form in which
// the covariance of hundreds of groups, a sum over times of products of columns, is made fast.
type Panels struct {
	data  [][4]float64
	times int
}

// NewPanels returns a table of so many columns and times, all 0.
func NewPanels(columns, times int) Panels {
	return Panels{make([][4]float64, (columns+3)/4*times), times}
}

// Count returns the number of panels.
func (p Panels) Count() int { return len(p.data) / p.times }

// Times returns the number of times.
func (p Panels) Times() int { return p.times }

// Panel returns columns 4q to 4q+3 at the first n times.
func (p Panels) Panel(q, n int) [][4]float64 { return p.data[q*p.times : q*p.times+n] }

// Set sets the number of a column at a time.
func (p Panels) Set(time, column int, x float64) { p.data[column>>2*p.times+time][column&3] = x }

// At returns the number of a column at a time.
func (p Panels) At(time, column int) float64 { return p.data[column>>2*p.times+time][column&3] }

// AddProducts adds Σ a[t]·b[t]ᵀ over the times of a to four rows of a matrix of so many columns,
// those of them that there are: row first and on, and of each the columns before end. Products are
// rounded before they are added, one time after the other, in the same way on every processor.
func AddProducts(matrix []float64, columns, first, end int, a [][4]float64, b Panels) {
	var left, right [16]float64
	for q := 0; 4*q < end; q += 2 {
		if 4*(q+1) < end {
			products(&left, &right, a, b.Panel(q, len(a)), b.Panel(q+1, len(a)))
			addBlock(matrix, columns, first, q+1, &right)
		} else {
			product(&left, a, b.Panel(q, len(a)))
		}
		addBlock(matrix, columns, first, q, &left)
	}
}

// addBlock adds four rows and columns to a matrix, those of them that there are.
func addBlock(matrix []float64, columns, first, q int, block *[16]float64) {
	for i := range 4 {
		if from := (first + i) * columns; from < len(matrix) {
			row := matrix[from+4*q : min(from+4*q+4, from+columns)]
			for j := range row {
				row[j] += block[4*i+j]
			}
		}
	}
}

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
