package mixed

import (
	"fmt"
	"math"

	"deltoid/stats/covariates"
)

// Followed is groups of shoulders with scores at visits.
type Followed struct {
	Data
	// Group numbers the group of each row, from 0; a shoulder stays in one.
	Group  []int32
	Groups []string
	// Covariates have one value for each row, such as the score before the operation; a level of a factor is a column of 0 and 1.
	Covariates []covariates.Column
	// ByVisit says for each covariate whether its effect may differ between visits, as that of a score before should; nil is none.
	ByVisit []bool
	// Due says for each row how many of the visits of its shoulder had come due, the same in all its rows; nil is all. A
	// visit that was not due is not missing.
	Due []int32
	// Unseen are shoulders without any score, who count among the missing.
	Unseen []Unseen
}

// Unseen is a shoulder without any score.
type Unseen struct {
	Group, Patient int32
	Due            int32
}

// Trajectory is a fitted model with one mean for each visit and group. It numbers visits and groups as the data do.
type Trajectory struct {
	Fit *Fit
	// Cells have the scores of visit v and group g at v × groups + g.
	Cells []Cell
	// Margins are the observed means of the covariates, over shoulders, each counted once however many visits it has.
	Margins []float64

	data      Followed
	column    []int // of each cell: its coefficient, −1 for the one that the constant stands for
	slopes    [][]int
	shoulders []shoulder
	share     []float64 // of each row in its shoulder, one over its rows
}

// Cell says whether a visit and group has a mean.
type Cell struct {
	Scores int
	Status Status
	Reason string
}

func (s Followed) groupsAt(row int) int { return int(s.Visit[row])*len(s.Groups) + int(s.Group[row]) }

func (s Followed) check() error {
	n := len(s.Outcome)
	if err := s.Data.check(); err != nil {
		return err
	}
	for _, c := range []struct {
		name    string
		rows    int
		missing bool
	}{{"Group", len(s.Group), false}, {"Due", len(s.Due), s.Due == nil}} {
		if !c.missing && c.rows != n {
			return fmt.Errorf("column %s has %d rows, Outcome has %d", c.name, c.rows, n)
		}
	}
	if s.ByVisit != nil && len(s.ByVisit) != len(s.Covariates) {
		return fmt.Errorf("ByVisit speaks of %d covariates, there are %d", len(s.ByVisit), len(s.Covariates))
	}
	for i, g := range s.Group {
		switch {
		case g < 0 || int(g) >= len(s.Groups):
			return &covariates.RowError{Row: i, Column: "Group", Found: fmt.Sprint(g), Want: fmt.Sprintf("0 to %d", len(s.Groups)-1)}
		case s.Due != nil && s.Due[i] <= s.Visit[i]:
			return &covariates.RowError{Row: i, Column: "Due", Found: fmt.Sprint(s.Due[i]), Want: fmt.Sprintf("more than %d, since visit %[1]d was made", s.Visit[i])}
		}
	}
	for i, u := range s.Unseen {
		if u.Group < 0 || int(u.Group) >= len(s.Groups) || u.Patient < 0 {
			return fmt.Errorf("unseen shoulder %d has group %d and patient %d; want a group below %d and a patient of 0 or more", i, u.Group, u.Patient, len(s.Groups))
		}
	}
	return nil
}

// Trajectories fits a mean for each visit and group that has scores, and effects of covariates common to them. The errors are those of
// Estimate; a shoulder in two groups is one.
func Trajectories(s Followed, o Options) (*Trajectory, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	t := &Trajectory{data: s, Cells: make([]Cell, len(s.Visits)*len(s.Groups))}
	if err := t.meet(); err != nil {
		return nil, err
	}
	t.countCells()
	if err := t.measure(); err != nil {
		return nil, err
	}
	fit, err := Estimate(s.Data, t.columns(), o)
	if err != nil {
		return nil, err
	}
	t.Fit = fit
	return t, nil
}

func (t *Trajectory) countCells() {
	for i := range t.data.Outcome {
		t.Cells[t.data.groupsAt(i)].Scores++
	}
	groups := len(t.data.Groups)
	for at := range t.Cells {
		c, where := &t.Cells[at], t.data.Groups[at%groups]+" at "+t.data.Visits[at/groups]
		switch c.Scores {
		case 0:
			c.Status, c.Reason = EmptyCell, "there is no score of "+where+", and the model must not make one up"
		case 1:
			c.Status, c.Reason = OneInCell, "there is one score of "+where+": nothing shows how scores vary there"
		}
	}
}

// measure sets the margins; a row counts one over the rows of its shoulder.
func (t *Trajectory) measure() error {
	t.Margins = make([]float64, len(t.data.Covariates))
	for j, c := range t.data.Covariates {
		if len(c.Values) != len(t.data.Outcome) {
			return fmt.Errorf("covariate %s has %d rows, want %d", c.Name, len(c.Values), len(t.data.Outcome))
		}
		if len(c.Values) == 0 {
			continue
		}
		origin, sum, weight := c.Values[0], 0.0, 0.0
		for i, x := range c.Values {
			if !(math.Abs(x) <= 1e90) {
				return &covariates.RowError{Row: i, Column: c.Name, Found: fmt.Sprint(x), Want: "a number, at most 1e90 in size"}
			}
			sum += float64((x - origin) * t.share[i])
			weight += t.share[i]
		}
		t.Margins[j] = origin + sum/weight
	}
	t.share = nil
	return nil
}

// columns returns the columns of the model: cells, then covariates less their margins.
func (t *Trajectory) columns() (out []covariates.Column) {
	s, n := t.data, len(t.data.Outcome)
	t.column = make([]int, len(t.Cells))
	first := true
	for at := range t.Cells {
		t.column[at] = -2
		if t.Cells[at].Scores == 0 {
			continue
		}
		if first {
			t.column[at], first = -1, false
			continue
		}
		c := covariates.Column{Name: s.Groups[at%len(s.Groups)] + " at " + s.Visits[at/len(s.Groups)], Term: "visit and group", Values: make([]float64, n)}
		for i := range n {
			c.Values[i] = one(s.groupsAt(i) == at)
		}
		t.column[at] = len(out)
		out = append(out, c)
	}
	for j, c := range s.Covariates {
		out = t.addCovariate(out, j, c)
	}
	return out
}

func (t *Trajectory) addCovariate(out []covariates.Column, j int, c covariates.Column) []covariates.Column {
	s := t.data
	at := make([]int, len(s.Visits))
	if s.ByVisit == nil || !s.ByVisit[j] {
		for v := range at {
			at[v] = len(out)
		}
		t.slopes = append(t.slopes, at)
		return append(out, covariates.Column{Name: c.Name, Term: c.Term, Values: t.centred(j, -1)})
	}
	term := c.Term
	if term == "" {
		term = c.Name
	}
	for v := range at {
		at[v] = -1
		if t.seen(v) {
			at[v] = len(out)
			out = append(out, covariates.Column{Name: c.Name + " at " + s.Visits[v], Term: term, Values: t.centred(j, v)})
		}
	}
	t.slopes = append(t.slopes, at)
	return out
}

// seen reports whether a visit has any score.
func (t *Trajectory) seen(visit int) bool {
	groups := len(t.data.Groups)
	for _, c := range t.Cells[visit*groups : (visit+1)*groups] {
		if c.Scores > 0 {
			return true
		}
	}
	return false
}

// centred returns covariate j less its margin, and 0 at visits other than one, −1 for all.
func (t *Trajectory) centred(j, visit int) []float64 {
	x := t.data.Covariates[j].Values
	out := make([]float64, len(x))
	for i, v := range x {
		if visit < 0 || int(t.data.Visit[i]) == visit {
			out[i] = v - t.Margins[j]
		}
	}
	return out
}
