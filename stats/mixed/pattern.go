package mixed

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"math"
	"slices"

	"deltoid/stats/covariates"
)

// pattern is the blocks (shoulders, or patients with all their shoulders) whose scores have one covariance: those with
// scores at the same visits.
type pattern struct {
	subject []int32 // of each place in the block, from 0
	visit   []int32
	time    []float64
	blocks  [][]int32 // rows, in the order of places
	moments []float64 // Σ over blocks of products of all columns at all places; nil where they are made afresh each time
}

func (p *pattern) size() int { return len(p.visit) }

// patterns gathers rows. In a patient with two shoulders, that with the earlier visits stands first, so that left and right do not
// make two patterns of one. Timed says that the time of a score is a part of the pattern.
func (d Data) patterns(block []int32, timed bool) ([]*pattern, error) {
	groups, err := covariates.GroupRows(block, len(block))
	if err != nil {
		return nil, err
	}
	rows := make([]int32, 0, len(block))
	known := map[string]int{}
	var out []*pattern
	var key []byte
	sorter := blockSorter{data: d, timed: timed}
	for g := range groups.Count {
		from := len(rows)
		rows = groups.AppendRows(rows, g)
		one := rows[from:len(rows):len(rows)]
		if err := sorter.sort(one); err != nil {
			return nil, err
		}
		key = sorter.key(key[:0], one)
		at, seen := known[string(key)]
		if !seen {
			at = len(out)
			known[string(key)] = at
			out = append(out, d.newPattern(one))
		}
		out[at].blocks = append(out[at].blocks, one)
	}
	return out, nil
}

func (d Data) newPattern(rows []int32) *pattern {
	p := &pattern{}
	subject := int32(0)
	for i, row := range rows {
		if i > 0 && d.Subject[row] != d.Subject[rows[i-1]] {
			subject++
		}
		p.subject, p.visit, p.time = append(p.subject, subject), append(p.visit, d.Visit[row]), append(p.time, d.time(row))
	}
	return p
}

type blockSorter struct {
	data  Data
	timed bool
}

// sort orders the rows of a block by shoulder and visit, and shoulders by their visits.
func (s *blockSorter) sort(rows []int32) error {
	d := s.data
	slices.SortFunc(rows, func(a, b int32) int {
		if c := cmp.Compare(d.Subject[a], d.Subject[b]); c != 0 {
			return c
		}
		return cmp.Compare(d.Visit[a], d.Visit[b])
	})
	for i := 1; i < len(rows); i++ {
		a, b := rows[i-1], rows[i]
		if d.Subject[a] == d.Subject[b] && d.Visit[a] == d.Visit[b] {
			return &covariates.RowError{Row: int(max(a, b)), Column: "Visit", Found: fmt.Sprint(d.Visit[b]),
				Want: fmt.Sprintf("a visit other than that of row %d of the same shoulder", min(a, b))}
		}
		if d.Subject[a] == d.Subject[b] && s.timed && !(d.time(a) < d.time(b)) {
			return &covariates.RowError{Row: int(b), Column: "Time", Found: fmt.Sprint(d.time(b)),
				Want: fmt.Sprintf("a time after that of the visit before, %g", d.time(a))}
		}
	}
	if len(rows) > 1 && d.Subject[rows[0]] != d.Subject[rows[len(rows)-1]] {
		s.order(rows)
	}
	return nil
}

// order brings the shoulders of a block into the order of their keys.
func (s *blockSorter) order(rows []int32) {
	var parts [][]int32
	for from, i := 0, 1; i <= len(rows); i++ {
		if i == len(rows) || s.data.Subject[rows[i]] != s.data.Subject[rows[from]] {
			parts = append(parts, slices.Clone(rows[from:i]))
			from = i
		}
	}
	keys := make(map[int32]string, len(parts))
	for _, p := range parts {
		keys[p[0]] = string(s.key(nil, p))
	}
	slices.SortStableFunc(parts, func(a, b []int32) int { return cmp.Compare(keys[a[0]], keys[b[0]]) })
	rows = rows[:0]
	for _, p := range parts {
		rows = append(rows, p...)
	}
}

// key names what the covariance of a block depends on.
func (s *blockSorter) key(key []byte, rows []int32) []byte {
	for i, row := range rows {
		if i > 0 && s.data.Subject[row] != s.data.Subject[rows[i-1]] {
			key = append(key, 255) // above every visit
		}
		key = append(key, byte(s.data.Visit[row]))
		if s.timed {
			key = binary.BigEndian.AppendUint64(key, math.Float64bits(s.data.time(row)))
		}
	}
	return key
}
