package cohorts

import (
	"fmt"
	"strconv"
	"strings"

	"deltoid/schemas"
)

// NotYet is the label of shoulders whose value was not on record at the landmark, or not yet on that day.
const NotYet = "Not recorded by then"

// knownOn says from which day on the values of a column are known; nil when they belong to the index procedure.
type knownOn []int32

// dated returns the days on which the values of a column became known. Without a landmark or a split the column is asked
// for as a baseline, and a value recorded after the index procedure, or on a day that is not recorded, is refused: it
// would look into the future.
func (c *Cohort) dated(column *schemas.Column, g Grouping) (knownOn, error) {
	if column.Field.KnownOn == "" {
		if g.Split {
			return nil, noDates(column.Field, g.Place)
		}
		return nil, nil
	}
	days := c.Registry.Table.Column(column.Field.KnownOn)
	if days == nil || days.Days() == nil {
		return nil, noField(c.Registry.fieldNames(), c.Registry.Table, column.Field.KnownOn, g.Place)
	}
	if g.Split || g.Landmark > 0 {
		return days.Days(), nil
	}
	if problem := c.Registry.baseline(column, days.Days(), c.Shoulders, g.Place); problem != nil {
		return nil, problem
	}
	return nil, nil
}

// Baseline returns the column of a field, derived ones included, as a characteristic at the operation. The error is a
// [schemas.Problem] when there is no such field, or a value of it became known later.
func (c *Cohort) Baseline(field, place string) (*schemas.Column, error) {
	column := c.Registry.Column(field, c.Definition.Indication)
	if column == nil {
		return nil, noField(c.Registry.fieldNames(), c.Registry.Table, field, place)
	}
	_, err := c.dated(column, Grouping{By: field, Place: place})
	return column, err
}

// baseline refuses a column whose values are not all known on the day of the index procedure.
func (r *Registry) baseline(column *schemas.Column, days []int32, shoulders []int32, place string) *schemas.Problem {
	late, undated := 0, 0
	for _, position := range shoulders {
		s := &r.Shoulders[position]
		switch day := days[s.Row]; {
		case column.IsMissing(int(s.Row)):
		case day == schemas.NoDay:
			undated++
		case day > s.Day:
			late++
		}
	}
	if late+undated == 0 {
		return nil
	}
	return &schemas.Problem{Kind: schemas.PlanProblem, Where: place,
		What: fmt.Sprintf("the field %q is used as a baseline, but %s; who has such a value has already been followed until then",
			column.Field.Name, lateWords(late, undated)),
		Allowed: "values known on the day of the operation",
		Remedy: "to group by it, add \"landmark: …\" (count only from a time on, with what was known by then) or " +
			"\"split: true\" (change group on the day the value became known) to the analysis"}
}

func lateWords(late, undated int) string {
	var parts []string
	if late > 0 {
		parts = append(parts, counted(late, "value was", "values were")+" recorded after the operation")
	}
	if undated > 0 {
		parts = append(parts, "of "+counted(undated, "value", "values")+" nobody knows when it was recorded")
	}
	return strings.Join(parts, ", and ")
}

func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

// knownAtEntry refuses a column with days as a criterion unless every value is known on the day of the operation.
func (r *Registry) knownAtEntry(column *schemas.Column, place string) *schemas.Problem {
	if column.Field.KnownOn == "" {
		return nil
	}
	days := r.Table.Column(column.Field.KnownOn)
	if days == nil || days.Days() == nil {
		return noField(r.fieldNames(), r.Table, column.Field.KnownOn, place)
	}
	all := make([]int32, len(r.Shoulders))
	for i := range all {
		all[i] = int32(i)
	}
	return r.baseline(column, days.Days(), all, place)
}

func noDates(f *schemas.Field, place string) *schemas.Problem {
	return &schemas.Problem{Kind: schemas.PlanProblem, Where: place,
		What:    fmt.Sprintf("follow-up cannot be split at the field %q, because its values have no day", f.Name),
		Allowed: "an extra field with \"known_on: <field of dates>\"",
		Remedy:  "declare the day under extra, or remove split"}
}

// beyond returns the members of a cohort whose follow-up goes on after a landmark, and how many left by then.
func (c *Cohort) beyond(landmark int32, w *watch) (members []int32, left int) {
	scrap := &Episodes{}
	for i := range c.Shoulders {
		s := c.at(i)
		if w.end(s, scrap).day-s.Day > landmark {
			members = append(members, int32(i))
		} else {
			left++
		}
	}
	return members, left
}

// late marks the members whose value was not known at the landmark.
func (k knownOn) late(c *Cohort, i int32, landmark int32) bool {
	if k == nil {
		return false
	}
	s := c.at(int(i))
	return k[s.Row] == schemas.NoDay || k[s.Row]-s.Day > landmark
}

// split divides every episode in two on the day on which its value became known: until then it is in the group of those
// not yet recorded, and from the day after in its own. A value that is known at entry, or never within follow-up, divides
// nothing. An event of the day itself belongs to the time before.
func (eps *Episodes) split(c *Cohort, days knownOn, notYet int32) *Episodes {
	out := *eps
	out.Entry, out.Exit, out.Cause, out.Patient, out.Group = nil, nil, nil, nil, nil
	out.Shoulder, out.Last = nil, nil
	add := func(i int, entry, exit int32, cause uint8, group int32, last bool) {
		out.Entry, out.Exit, out.Cause = append(out.Entry, entry), append(out.Exit, exit), append(out.Cause, cause)
		out.Patient, out.Group = append(out.Patient, eps.Patient[i]), append(out.Group, group)
		out.Shoulder, out.Last = append(out.Shoulder, eps.Shoulder[i]), append(out.Last, last)
	}
	for i := range eps.Exit {
		s, entry := c.at(int(eps.Shoulder[i])), int32(0)
		if eps.Entry != nil {
			entry = eps.Entry[i]
		}
		change, exit := int32(2*farthest), eps.Exit[i]
		if days[s.Row] != schemas.NoDay {
			change = days[s.Row] - s.Day
		}
		switch {
		case change <= entry:
			add(i, entry, exit, eps.Cause[i], eps.Group[i], true)
		case change >= exit:
			add(i, entry, exit, eps.Cause[i], notYet, true)
		default:
			add(i, entry, change, 0, notYet, false)
			add(i, change, exit, eps.Cause[i], eps.Group[i], true)
			out.Divided++
		}
	}
	return &out
}
