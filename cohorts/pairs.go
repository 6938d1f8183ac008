package cohorts

// Pairs are the patients of a cohort whose two shoulders are in different groups, as matched pairs: each patient is
// compared with himself. With a grouping by procedure they are the patients with a different procedure on each side.
type Pairs struct {
	Groups   []string // labels
	Pairs    []Pair   // by patient
	Alike    int      // patients with both sides in the cohort and both in one group
	OneSided int      // patients with one side in the cohort
	Unsided  int      // patients of whom one side at most is known, with a shoulder whose side is not recorded
	Several  int      // of Unsided: patients with two or more shoulders, which may be either side
}

// Pair is one patient with a shoulder on each side. First is the shoulder operated on first, the left one when both were
// operated on one day.
type Pair struct {
	Patient                 int32
	First, Second           int32 // positions in Cohort.Shoulders
	FirstGroup, SecondGroup int32 // positions in Pairs.Groups
}

// Pairs finds the matched pairs. Of several prostheses in one shoulder the first in the cohort counts. The error is a
// [schemas.Problem] when the grouping cannot be understood; where sides are
// not recorded, patients are told of as such: a missing side is never taken for the only one.
func (c *Cohort) Pairs(g Grouping) (*Pairs, error) {
	groups, order, _, err := c.Groups(g)
	if err != nil {
		return nil, err
	}
	p := &Pairs{Groups: order}
	for from := 0; from < len(c.Shoulders); {
		to := from
		patient := c.at(from).Patient
		sides := [3]int{-1, -1, -1}
		for ; to < len(c.Shoulders) && c.at(to).Patient == patient; to++ {
			if side := c.at(to).Side; sides[side] < 0 {
				sides[side] = to
			}
		}
		if sides[NoSide] >= 0 && (sides[Left] < 0 || sides[Right] < 0) {
			p.unsided(to - from)
		} else {
			p.patient(c, groups, sides[Left], sides[Right])
		}
		from = to
	}
	return p, nil
}

func (c *Cohort) at(i int) *Shoulder { return &c.Registry.Shoulders[c.Shoulders[i]] }

func (p *Pairs) unsided(shoulders int) {
	p.Unsided++
	if shoulders > 1 {
		p.Several++
	}
}

func (p *Pairs) patient(c *Cohort, groups []int32, left, right int) {
	switch {
	case left < 0 || right < 0:
		p.OneSided++
		return
	case groups[left] == groups[right]:
		p.Alike++
		return
	case c.at(right).Day < c.at(left).Day:
		left, right = right, left
	}
	p.Pairs = append(p.Pairs, Pair{Patient: c.at(left).Patient, First: int32(left), Second: int32(right),
		FirstGroup: groups[left], SecondGroup: groups[right]})
}
