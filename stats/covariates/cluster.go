package covariates

import (
	"fmt"
	"slices"
)

// Clusters is rows in the order of the clusters they belong to.
type Clusters struct {
	Count int
	rows  []int32
	first []int32 // of each cluster, and the end
}

// GroupRows groups rows by cluster; nil means each row its own. The error names a negative one.
// Memory is 8 bytes a row.
func GroupRows(cluster []int32, rows int) (*Clusters, error) {
	if cluster == nil {
		return &Clusters{Count: rows}, nil
	}
	if len(cluster) != rows {
		return nil, fmt.Errorf("column Cluster has %d rows, want %d", len(cluster), rows)
	}
	top := int32(-1)
	for i, c := range cluster {
		if c < 0 {
			return nil, &RowError{i, "Cluster", fmt.Sprint(c), "0 or more"}
		}
		top = max(top, c)
	}
	if int64(top) >= 2*int64(rows)+1024 {
		return sparseClusters(cluster), nil
	}
	return denseClusters(cluster, int(top)+1), nil
}

func denseClusters(cluster []int32, top int) *Clusters {
	place := make([]int32, top+1)
	for _, c := range cluster {
		place[c+1]++
	}
	count := 0
	for c := range top {
		if place[c+1] > 0 {
			count++
		}
		place[c+1] += place[c]
	}
	out := &Clusters{Count: count, rows: make([]int32, len(cluster))}
	for i, c := range cluster {
		out.rows[place[c]] = int32(i)
		place[c]++
	}
	// After filling, place[c] is where cluster c ends.
	out.first = place[:0]
	last := int32(0)
	for _, end := range place[:top] {
		if end > last {
			out.first = append(out.first, last)
			last = end
		}
	}
	out.first = append(out.first, last)
	return out
}

func sparseClusters(cluster []int32) *Clusters {
	out := &Clusters{rows: make([]int32, len(cluster))}
	for i := range out.rows {
		out.rows[i] = int32(i)
	}
	slices.SortFunc(out.rows, func(a, b int32) int {
		if cluster[a] != cluster[b] {
			return int(cluster[a]) - int(cluster[b])
		}
		return int(a) - int(b)
	})
	for at, i := range out.rows {
		if at == 0 || cluster[i] != cluster[out.rows[at-1]] {
			out.first = append(out.first, int32(at))
		}
	}
	out.Count = len(out.first)
	out.first = append(out.first, int32(len(cluster)))
	return out
}

// Of returns the rows of cluster g; each is a row's number.
func (c *Clusters) Of(g int) []int32 { return c.rows[c.first[g]:c.first[g+1]] }

// Outer returns Σ s sᵀ over clusters, s being the sum over the rows of a cluster of the p numbers
// that influence writes for a row.
func (c *Clusters) Outer(p int, influence func(row int, out []float64)) []float64 {
	buffers := make([][]float64, Workers(c.Count))
	gram, _ := Products(c.Count, p, func(worker, from, to int, z []float64, stride int, w, _ []float64) {
		if buffers[worker] == nil {
			buffers[worker] = make([]float64, 2*p)
		}
		for i := range w {
			w[i] = 1
		}
		one, sum := buffers[worker][:p], buffers[worker][p:]
		for g := from; g < to; g++ {
			c.sum(g, influence, one, sum)
			for j, x := range sum {
				z[j*stride+g-from] = x
			}
		}
	})
	return gram
}

func (c *Clusters) sum(g int, influence func(row int, out []float64), one, sum []float64) {
	if c.rows == nil {
		influence(g, sum)
		return
	}
	clear(sum)
	for _, row := range c.Of(g) {
		influence(int(row), one)
		for j, x := range one {
			sum[j] += x
		}
	}
}

// AppendRows appends the rows of cluster g.
func (c *Clusters) AppendRows(rows []int32, g int) []int32 {
	if c.rows == nil {
		return append(rows, int32(g))
	}
	return append(rows, c.Of(g)...)
}
