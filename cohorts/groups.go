package cohorts

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"deltoid/schemas"
)

// The labels of groups that no code stands for.
const (
	All         = "All"          // the one group of a [Grouping] without a field
	NotRecorded = "Not recorded" // shoulders whose value is missing; always the last group
)

// Grouping splits a cohort by one field of the registry's table, or by a derived field: a code, a text or a whole number,
// also one beyond the schema, or with bands any number or day. Codes with the same label form one group.
type Grouping struct {
	By     string            // field; empty for one group of all
	Labels map[string]string // code → label, where the schema's label is not wanted
	Order  []string          // codes in the order wanted; others follow in schema order, texts and numbers rising
	Bands  []float64         // rising bounds that divide a measured field; a value on a bound belongs to the band above
	// Landmark counts only from so many days after the operation on: shoulders whose follow-up ended by then leave, and a
	// value that became known later counts as not recorded. 0 for none.
	Landmark int32
	// Split divides the follow-up of a shoulder on the day on which its value became known; the field must have such a day.
	Split bool
	Place string // file:line in the plan, for messages
}

// sorted is how a cohort falls into groups.
type sorted struct {
	group  []int32 // by member
	labels []string
	empty  []string // labels asked for that hold no shoulder
	days   knownOn
	notYet int32 // group of those not recorded by then; -1 when there is none
}

// Groups sorts all shoulders of the cohort: the group of each, in the order of Cohort.Shoulders, as a place in labels; and
// the labels asked for that hold no shoulder. A value that is missing makes the last group, [NotRecorded]. The error is a
// [schemas.Problem] when the grouping cannot be understood, or its field was not known at the operation.
func (c *Cohort) Groups(g Grouping) (group []int32, labels, empty []string, err error) {
	members := make([]int32, len(c.Shoulders))
	for i := range members {
		members[i] = int32(i)
	}
	s, err := c.sort(members, g)
	return s.group, s.labels, s.empty, err
}

// sort puts every member, by its position in Cohort.Shoulders, into a group. Groups that hold nobody are left out; those
// asked for by name are listed as empty.
func (c *Cohort) sort(members []int32, g Grouping) (sorted, error) {
	out := sorted{group: make([]int32, len(members)), labels: []string{All}, notYet: -1}
	if g.By == "" {
		return out, nil
	}
	column := c.Registry.Column(g.By, c.Definition.Indication)
	if column == nil {
		return out, noField(c.Registry.fieldNames(), c.Registry.Table, g.By, g.Place)
	}
	var err error
	if out.days, err = c.dated(column, g); err != nil {
		return out, err
	}
	v, err := valuesOf(column, g, c.Registry.Table.Offsets)
	if err != nil {
		return out, err
	}
	missing := int32(len(v.codes))
	seen := make([]bool, len(v.codes)+1)
	seen[missing] = g.Split
	for i, member := range members {
		at := v.of(c.at(int(member)).Row)
		if at < 0 || !g.Split && out.days.late(c, member, g.Landmark) {
			at = missing
		}
		out.group[i], seen[at] = at, true
	}
	groups, labels := labelled(v, g, seen)
	for i, at := range out.group {
		out.group[i] = groups[at]
	}
	out.labels, out.empty, out.notYet = labels, notIn(g, v, labels), groups[missing]
	return out, nil
}

// values are what a field can hold in this cohort's table, and which of them a row holds.
type values struct {
	field *schemas.Field
	codes []string              // in schema order, or rising
	of    func(row int32) int32 // position in codes, -1 when missing
}

func valuesOf(c *schemas.Column, g Grouping, offsets bool) (values, error) {
	if len(g.Bands) > 0 {
		return bandValues(c, g, offsets)
	}
	switch c.Field.Type {
	case schemas.Code:
		return codeValues(c, g)
	case schemas.Text:
		return textValues(c), nil
	case schemas.Integer:
		return integerValues(c), nil
	}
	return values{}, &schemas.Problem{Kind: schemas.PlanProblem, Where: g.Place,
		What:    fmt.Sprintf("shoulders cannot be grouped by %q, whose values are measured", g.By),
		Allowed: "a field of codes, texts or whole numbers, or bands",
		Remedy:  "add the bounds of bands, as in \"bands: [65, 75]\", or group by another field"}
}

// codeValues orders the codes as the schema does; levels of the export that the schema does not list follow.
func codeValues(c *schemas.Column, g Grouping) (values, error) {
	v := values{field: c.Field}
	for _, code := range c.Field.Codes {
		v.codes = append(v.codes, code.Value)
	}
	beyond := slices.DeleteFunc(slices.Clone(c.Levels()), func(l string) bool { return slices.Contains(v.codes, l) })
	slices.Sort(beyond)
	v.codes = append(v.codes, beyond...)
	for _, code := range g.Order {
		if !slices.Contains(v.codes, code) {
			return v, noCode(c.Field, code, v.codes, g.Place)
		}
	}
	at := make([]int32, len(c.Levels()))
	for i, l := range c.Levels() {
		at[i] = int32(slices.Index(v.codes, l))
	}
	v.of = func(row int32) int32 {
		if code := c.Codes()[row]; code >= 0 {
			return at[code]
		}
		return -1
	}
	return v, nil
}

func textValues(c *schemas.Column) values {
	v := values{field: c.Field}
	at := map[string]int32{}
	for row := range c.Len() {
		if t := c.Text(row); t != "" {
			at[t] = 0
		}
	}
	for t := range at {
		v.codes = append(v.codes, t)
	}
	slices.Sort(v.codes)
	for i, t := range v.codes {
		at[t] = int32(i)
	}
	v.of = func(row int32) int32 {
		if t := c.Text(int(row)); t != "" {
			return at[t]
		}
		return -1
	}
	return v
}

func integerValues(c *schemas.Column) values {
	v := values{field: c.Field}
	numbers := slices.Clone(c.Integers())
	slices.Sort(numbers)
	numbers = slices.DeleteFunc(slices.Compact(numbers), func(n int64) bool { return n == schemas.NoInt })
	for _, n := range numbers {
		v.codes = append(v.codes, strconv.FormatInt(n, 10))
	}
	v.of = func(row int32) int32 {
		n := c.Integers()[row]
		if n == schemas.NoInt {
			return -1
		}
		at, _ := slices.BinarySearch(numbers, n)
		return int32(at)
	}
	return v
}

// labelled returns the group of each value that is seen, and the labels of the groups in order. The value after the
// last stands for a missing one.
func labelled(v values, g Grouping, seen []bool) (groups []int32, labels []string) {
	order := make([]int, 0, len(seen))
	for i := range v.codes {
		order = append(order, i)
	}
	wish := func(i int) int {
		if at := slices.Index(g.Order, v.codes[i]); at >= 0 {
			return at
		}
		return len(g.Order)
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(wish(a), wish(b)) })
	at := map[string]int32{}
	groups = make([]int32, len(seen))
	for _, i := range append(order, len(v.codes)) {
		if !seen[i] {
			continue
		}
		label := NotRecorded
		if g.Landmark > 0 || g.Split {
			label = NotYet
		}
		if i < len(v.codes) {
			label = g.label(v.field, v.codes[i])
		}
		if _, known := at[label]; !known {
			at[label] = int32(len(labels))
			labels = append(labels, label)
		}
		groups[i] = at[label]
	}
	return groups, labels
}

// label returns the label of a code.
func (g Grouping) label(f *schemas.Field, code string) string {
	if l := g.Labels[code]; l != "" {
		return l
	}
	return f.Label(code)
}

// notIn returns the labels of the codes asked for by name that are no group.
func notIn(g Grouping, v values, groups []string) []string {
	asked := slices.Clone(g.Order)
	for _, code := range v.codes {
		if _, named := g.Labels[code]; named {
			asked = append(asked, code)
		}
	}
	var empty []string
	for _, code := range asked {
		if l := g.label(v.field, code); !slices.Contains(groups, l) && !slices.Contains(empty, l) {
			empty = append(empty, l)
		}
	}
	return empty
}

// noField says that a table has no column for a field that the plan uses.
func noField(have []string, t *schemas.Table, field, place string) *schemas.Problem {
	p := &schemas.Problem{Kind: schemas.PlanProblem, Where: place, Allowed: strings.Join(have, ", "),
		What: fmt.Sprintf("the export of %q has no field %q", t.Schema.Name, field)}
	if near, ok := schemas.Nearest(field, have); ok {
		p.Remedy = fmt.Sprintf("write %q if that is what you mean", near)
	} else {
		p.Remedy = "export the column, or name it in the study plan"
	}
	return p
}

// noCode says that a field does not have a code that the plan uses.
func noCode(f *schemas.Field, code string, codes []string, place string) *schemas.Problem {
	p := &schemas.Problem{Kind: schemas.PlanProblem, Where: place, Allowed: strings.Join(codes, ", "),
		What: fmt.Sprintf("the field %q has no code %q", f.Name, code)}
	if near, ok := schemas.Nearest(code, codes); ok {
		p.Remedy = fmt.Sprintf("write %q if that is what you mean", near)
	}
	return p
}
