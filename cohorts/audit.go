package cohorts

import (
	"cmp"
	_ "embed"
	"fmt"
	"math/bits"
	"slices"
	"sync"

	"deltoid/schemas"
)

//go:embed audit/expectations.json
var auditText []byte

// auditTable is the file audit/expectations.json.
type auditTable struct {
	About        string        `json:"about"`
	Expectations []FindingRule `json:"expectations"`
	Flags        []FindingRule `json:"flags"`
}

var readAuditTable = sync.OnceValues(func() (auditTable, error) {
	var t auditTable
	if err := decode(auditText, &t); err != nil {
		return t, fmt.Errorf("the table of expectations cannot be read: %w; this is a fault of the program", err)
	}
	return t, nil
})

// Audit counts how often the procedure is the one that the recorded findings would lead one to expect. It looks at
// records; it is no advice, and disagreement is no fault.
type Audit struct {
	About        string
	Procedures   []string // codes of the procedures that occur, in schema order
	Labels       []string // of Procedures
	Expectations []Expectation
	NotCovered   int // shoulders whose findings, as far as recorded, no expectation speaks of
	Flags        []Expectation
}

// Expectation is one line of an audit. A flag expects nothing: N counts the shoulders that it points at.
type Expectation struct {
	ID       string
	Sentence string
	Source   string
	Expects  []string // codes of procedures
	N        int      // shoulders that it speaks of
	Agree    int      // of N: the procedure is one that is expected
	Done     []int    // of N, by place in Audit.Procedures
}

// Audit counts procedures against findings. It is nil when the export has no field that an expectation looks at beside
// the procedure. The error is a fault of the program.
func (c *Cohort) Audit() (*Audit, error) {
	t, err := readAuditTable()
	if err != nil {
		return nil, err
	}
	procedure := c.Registry.Table.Column("procedure")
	column := func(name string) *schemas.Column { return c.Registry.Column(name, Recorded) }
	expected, err := newRuleset(t.Expectations, column)
	if err != nil {
		return nil, err
	}
	flags, err := newRuleset(t.Flags, column)
	if err != nil || procedure == nil || procedure.Codes() == nil || len(expected.seen)+len(flags.seen) < 2 {
		return nil, err
	}
	a := &Audit{About: t.About, Expectations: expectations(t.Expectations), Flags: expectations(t.Flags)}
	done := a.procedures(c, procedure)
	for _, position := range c.Shoulders {
		row := c.Registry.Shoulders[position].Row
		code := procedure.Codes()[row]
		if i := bits.TrailingZeros64(expected.standingOn(row)); i < len(a.Expectations) {
			a.Expectations[i].count(done, code, procedure)
		} else {
			a.NotCovered++
		}
		for standing := flags.standingOn(row); standing != 0; standing &= standing - 1 {
			a.Flags[bits.TrailingZeros64(standing)].count(done, code, procedure)
		}
	}
	return a, nil
}

func expectations(rules []FindingRule) []Expectation {
	lines := make([]Expectation, len(rules))
	for i, r := range rules {
		lines[i] = Expectation{ID: r.ID, Sentence: r.Sentence, Source: r.Source, Expects: r.Expects}
	}
	return lines
}

// procedures lists the procedures of the cohort, and returns their place by code.
func (a *Audit) procedures(c *Cohort, procedure *schemas.Column) []int {
	seen := make([]bool, len(procedure.Levels()))
	for _, position := range c.Shoulders {
		if code := procedure.Codes()[c.Registry.Shoulders[position].Row]; code >= 0 {
			seen[code] = true
		}
	}
	order := levelsInOrder(procedure)
	place := make([]int, len(seen))
	for _, code := range order {
		if seen[code] {
			place[code] = len(a.Procedures)
			a.Procedures = append(a.Procedures, procedure.Levels()[code])
			a.Labels = append(a.Labels, procedure.Field.Label(procedure.Levels()[code]))
		}
	}
	for _, lines := range [][]Expectation{a.Expectations, a.Flags} {
		for i := range lines {
			lines[i].Done = make([]int, len(a.Procedures))
		}
	}
	return place
}

// levelsInOrder returns the levels of a column, by place, in the order of the schema; others follow by name.
func levelsInOrder(c *schemas.Column) []int {
	order := make([]int, len(c.Levels()))
	for i := range order {
		order[i] = i
	}
	rank := func(i int) int {
		if at := listed(c.Field, c.Levels()[i]); at >= 0 {
			return at
		}
		return len(c.Field.Codes)
	}
	slices.SortFunc(order, func(a, b int) int {
		if d := rank(a) - rank(b); d != 0 {
			return d
		}
		return cmp.Compare(c.Levels()[a], c.Levels()[b])
	})
	return order
}

func (e *Expectation) count(place []int, code int16, procedure *schemas.Column) {
	e.N++
	if code < 0 {
		return
	}
	e.Done[place[code]]++
	if slices.Contains(e.Expects, procedure.Levels()[code]) {
		e.Agree++
	}
}
