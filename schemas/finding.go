package schemas

import (
	"cmp"
	"iter"
	"slices"
	"sync"
)

// Severity says what a finding does to its row.
type Severity uint8

// The severities.
const (
	SetsAside Severity = iota // the row is not used
	Warns                     // the row is used; the report says so
	Unlinks                   // the row belongs to no shoulder of the study; it is not used and counted as unlinked
)

// Rule is one thing that can be wrong with a row. Every finding points at its rule; the words stand here once.
type Rule struct {
	ID       string // short, stable, lower case: "bad-date"
	Sentence string // what the rule says, as a full sentence
	Remedy   string // what to do about it
	Severity Severity
	MayWarn  bool // a study plan may lower the severity to a warning, with a reason
	Between  bool // broken between rows or tables: lowered, it takes no value away, so that it can be lowered for any field
}

// Finding is one breach of a rule at one place.
type Finding struct {
	Rule   *Rule
	Table  string
	File   string // as messages show it
	Line   int    // line of a text file, row of a Parquet file; the first line or row is 1
	Column int    // column of the file, counted from 1; 0 when the whole row is meant
	Field  string // the field's name in our schema
	Header string // the column's name in the file
	Value  string // what was found, unmasked: only private files may show it for an identifier
	Masked bool   // the field is an identifier: screens and shared files do not show Value
	Detail string // what is allowed here, or the place of the other row
	order  int    // position of the file in its source, for sorting
}

// Shown returns the value as a screen or a shared file may print it.
func (f *Finding) Shown() string {
	if f.Masked && f.Value != "" {
		return "(identifier)"
	}
	return f.Value
}

// Findings collects what is wrong with the exports of one study. It is safe for concurrent use; its order does not
// depend on the order of the calls. It keeps every finding, in about 24 bytes and the letters of the value; when there are
// more than a million it writes them to a file without a name, so that memory stays bounded.
type Findings struct {
	mu    sync.Mutex
	store store
}

// Add records findings.
func (fs *Findings) Add(found ...Finding) {
	fs.mu.Lock()
	defer fs.mu.Unlock()
	for i := range found {
		fs.store.add(&found[i])
	}
}

// Err returns why findings that were written out could not be read again; nil when all were. It is to be asked after the
// findings were gone through.
func (fs *Findings) Err() error {
	fs.mu.Lock()
	defer fs.mu.Unlock()
	return fs.store.failed
}

// Len returns the number of findings.
func (fs *Findings) Len() int {
	fs.mu.Lock()
	defer fs.mu.Unlock()
	return fs.store.len()
}

// Each goes through every finding by table, file, line, column and rule, without making a list of them. Nothing may be
// added meanwhile.
func (fs *Findings) Each() iter.Seq[Finding] {
	return func(yield func(Finding) bool) {
		fs.mu.Lock()
		defer fs.mu.Unlock()
		fs.store.each(func(e *entry) bool { return yield(fs.store.finding(e)) })
	}
}

// All returns every finding as a list, in the order of [Findings.Each], which is the one to use for exports that may be
// wrong on every row.
func (fs *Findings) All() []Finding { return slices.Collect(fs.Each()) }

// Count is how often one rule was broken in one table, with the first places.
type Count struct {
	Rule  *Rule
	Table string
	N     int
	First []Finding // at most three
	// Values are the distinct values of the rule about unknown codes, the most frequent first, at most ten, and how many
	// there are, counted up to ten thousand; nil for other rules.
	Values   []ValueCount
	Distinct int
}

// ValueCount is how often a value was found in a field.
type ValueCount struct {
	Field string
	Value string // masked for an identifier
	N     int
}

// mostValues is how many distinct values of one rule are told, manyValues how many are told apart: a column of free text has
// as many as it has rows.
const (
	mostValues = 10
	manyValues = 10_000
)

// Counts returns the findings of each table and rule, the most frequent first.
func (fs *Findings) Counts() []Count {
	fs.mu.Lock()
	defer fs.mu.Unlock()
	var counts []Count
	at := make([]int, len(fs.store.kinds)) // 1 + place in counts of each kind
	known := map[[2]string]int{}
	values := map[string]map[ValueCount]int{} // by table
	fs.store.each(func(r *entry) bool {
		if at[r.kind] == 0 {
			k := &fs.store.kinds[r.kind]
			key := [2]string{k.table, k.rule.ID}
			if known[key] == 0 {
				counts = append(counts, Count{Rule: k.rule, Table: k.table})
				known[key] = len(counts)
			}
			at[r.kind] = known[key]
		}
		c := &counts[at[r.kind]-1]
		c.N++
		if c.Rule.ID == RuleUnknownCode.ID {
			f := fs.store.finding(r)
			if values[c.Table] == nil {
				values[c.Table] = map[ValueCount]int{}
			}
			v := ValueCount{Field: f.Field, Value: f.Shown()}
			if _, before := values[c.Table][v]; before || len(values[c.Table]) < manyValues {
				values[c.Table][v]++
			}
		}
		if len(c.First) < 3 {
			c.First = append(c.First, fs.store.finding(r))
		}
		return true
	})
	for i := range counts {
		counts[i].gather(values[counts[i].Table])
	}
	slices.SortStableFunc(counts, func(a, b Count) int { return cmp.Compare(b.N, a.N) })
	return counts
}

// gather takes the values that a table has unknown codes of.
func (c *Count) gather(values map[ValueCount]int) {
	if c.Rule.ID != RuleUnknownCode.ID {
		return
	}
	c.Distinct = len(values)
	for v, n := range values {
		v.N = n
		c.Values = append(c.Values, v)
	}
	slices.SortFunc(c.Values, func(a, b ValueCount) int {
		return cmp.Or(cmp.Compare(b.N, a.N), cmp.Compare(a.Field, b.Field), cmp.Compare(a.Value, b.Value))
	})
	c.Values = c.Values[:min(mostValues, len(c.Values))]
}
