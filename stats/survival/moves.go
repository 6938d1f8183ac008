package survival

import "deltoid/stats/numeric"

// Kind says what leaving meant for the event that is asked about.
type Kind uint8

const (
	// Censored: no event.
	Censored Kind = iota
	// OwnEvent is the event asked about.
	OwnEvent
	// OtherEvent is an event of another cause.
	OtherEvent
	kinds
)

// kindsOf tells the kind of each cause, 0 being censored, when asked about one (0: any).
func kindsOf(cause int) (of [256]Kind) {
	for seen := 1; seen < len(of); seen++ {
		of[seen] = OtherEvent
		if isEvent(uint8(seen), cause) {
			of[seen] = OwnEvent
		}
	}
	return of
}

// Move is by how much three numbers of a cluster change.
type Move [3]float64

// Moves says how a row of weight 1 changes the three numbers of its cluster, when it comes and when
// it goes at each row of the life table. Joining[0] is also what a row there from the very start
// begins with.
type Moves struct {
	Joining []Move
	Leaving [kinds][]Move
}

// NewMoves returns moves of 0 for a life table of so many rows.
func NewMoves(times int) Moves {
	m := Moves{Joining: make([]Move, times)}
	for kind := range m.Leaving {
		m.Leaving[kind] = make([]Move, times)
	}
	return m
}

// Cross is the sums over clusters of the products of their three numbers: 00, 01, 02, 11, 12, 22.
type Cross [6]float64

// move adds what the products change by when x moves.
func (c *Cross) move(x, by Move, times float64) {
	c[0] += float64(times * (float64(by[0] * (2*x[0] + by[0]))))
	c[1] += float64(times * (float64(x[0]*by[1]) + float64(by[0]*(x[1]+by[1]))))
	c[2] += float64(times * (float64(x[0]*by[2]) + float64(by[0]*(x[2]+by[2]))))
	c[3] += float64(times * (float64(by[1] * (2*x[1] + by[1]))))
	c[4] += float64(times * (float64(x[1]*by[2]) + float64(by[1]*(x[2]+by[2]))))
	c[5] += float64(times * (float64(by[2] * (2*x[2] + by[2]))))
}

// Of returns Σ over clusters of (v · their three numbers)², 0 or more.
func (c *Cross) Of(v Move) float64 {
	sum := float64(v[0]*v[0]*c[0]) + float64(v[1]*v[1]*c[3]) + float64(v[2]*v[2]*c[5]) +
		2*(float64(v[0]*v[1]*c[1])+float64(v[0]*v[2]*c[2])+float64(v[1]*v[2]*c[4]))
	return max(0, sum)
}

// Cross follows the three numbers of every cluster along the life table and returns the sums of
// their products just after each of its rows. Cause is the one asked about, 0 any.
//
// The cost is linear in the rows laid out one by one and in the rows of the life table.
func (r *Rows) Cross(m Moves, cause int) []Cross {
	out := make([]Cross, r.times)
	if r.times == 0 {
		return out
	}
	kind := kindsOf(cause)
	r.crossAlone(out, m, &kind)
	r.crossClusters(out, m, &kind)
	var sums [6]numeric.Sum
	for row := range out {
		for i := range sums {
			sums[i].Add(out[row][i])
			out[row][i] = sums[i].Value()
		}
	}
	return out
}

// crossAlone adds the changes that the counted rows make, each of them a cluster.
func (r *Rows) crossAlone(out []Cross, m Moves, kind *[256]Kind) {
	start := m.Joining[0]
	total := int64(0)
	for row := range out {
		for cause, n := range r.alone[row*(r.causes+1) : (row+1)*(r.causes+1)] {
			if n > 0 {
				total += n
				out[row].move(start, m.Leaving[kind[cause]][row], float64(n))
			}
		}
	}
	out[0].move(Move{}, start, float64(total))
}

// crossClusters adds the changes that the other rows make.
func (r *Rows) crossClusters(out []Cross, m Moves, kind *[256]Kind) {
	for from := 0; from < len(r.at); {
		here, to := r.atStart(from)
		var x Move
		by := m.Joining[0].scaled(here)
		out[0].move(x, by, 1)
		x.add(by)
		for i := from; i < to; i++ {
			by = r.change(i, &m, kind)
			out[r.at[i]].move(x, by, 1)
			x.add(by)
		}
		from = to
	}
}

// atStart returns the weight of those of a cluster who are there from the very start, and where
// the cluster ends.
func (r *Rows) atStart(from int) (weight float64, to int) {
	for to = from; to < len(r.at) && (to == from || r.what[to]&begins == 0); to++ {
		if r.what[to]&fromStart == 0 {
			continue
		}
		if r.weight == nil {
			weight++
		} else {
			weight += r.weight[to]
		}
	}
	return weight, to
}

func (m Move) scaled(by float64) Move { return Move{m[0] * by, m[1] * by, m[2] * by} }

func (m *Move) add(by Move) {
	m[0] += by[0]
	m[1] += by[1]
	m[2] += by[2]
}

// squares returns Σ over clusters of (Σ over their rows of a number that depends on when and why a
// row comes and goes)². It looks at the first number of the moves only.
func (r *Rows) squares(m Moves, cause int) float64 {
	var sum numeric.Sum
	if r.times == 0 {
		return 0
	}
	kind, start := kindsOf(cause), m.Joining[0][0]
	for row := range r.times {
		for cause, n := range r.alone[row*(r.causes+1) : (row+1)*(r.causes+1)] {
			x := start + m.Leaving[kind[cause]][row][0]
			sum.Add(float64(float64(n) * x * x))
		}
	}
	for from := 0; from < len(r.at); {
		here, to := r.atStart(from)
		x := float64(here * start)
		for i := from; i < to; i++ {
			x += r.change(i, &m, &kind)[0]
		}
		sum.Add(float64(x * x))
		from = to
	}
	return sum.Value()
}
