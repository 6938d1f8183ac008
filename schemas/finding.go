package schemas

import (
	"cmp"
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
// depend on the order of the calls.
type Findings struct {
	mu     sync.Mutex
	list   []Finding
	sorted bool
}

// Add records findings.
func (fs *Findings) Add(found ...Finding) {
	fs.mu.Lock()
	defer fs.mu.Unlock()
	fs.list = append(fs.list, found...)
	fs.sorted = false
}

// All returns every finding by table, file, line, column and rule. The caller must not change the slice.
func (fs *Findings) All() []Finding {
	fs.mu.Lock()
	defer fs.mu.Unlock()
	if !fs.sorted {
		slices.SortStableFunc(fs.list, func(a, b Finding) int {
			return cmp.Or(cmp.Compare(a.Table, b.Table), cmp.Compare(a.order, b.order), cmp.Compare(a.File, b.File),
				cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column), cmp.Compare(a.Rule.ID, b.Rule.ID),
				cmp.Compare(a.Value, b.Value), cmp.Compare(a.Detail, b.Detail))
		})
		fs.sorted = true
	}
	return fs.list
}

// Count is how often one rule was broken in one table, with the first places.
type Count struct {
	Rule  *Rule
	Table string
	N     int
	First []Finding // at most three
}

// Counts returns the findings of each table and rule, the most frequent first.
func (fs *Findings) Counts() []Count {
	var counts []Count
	at := map[[2]string]int{}
	for _, f := range fs.All() {
		key := [2]string{f.Table, f.Rule.ID}
		i, ok := at[key]
		if !ok {
			i = len(counts)
			at[key] = i
			counts = append(counts, Count{Rule: f.Rule, Table: f.Table})
		}
		counts[i].N++
		if len(counts[i].First) < 3 {
			counts[i].First = append(counts[i].First, f)
		}
	}
	slices.SortStableFunc(counts, func(a, b Count) int { return cmp.Compare(b.N, a.N) })
	return counts
}
