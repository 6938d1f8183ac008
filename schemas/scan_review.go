package schemas

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Review returns what keeps a study from going on: columns that may identify people and that the plan neither calls
// reviewed nor drops, and columns that it names there and no file has. Problems of the first sort are of the kind
// [IdentifierProblem]. Neither they nor anything else holds a value of such a column.
func Review(t *Table, suspects []Suspect) Problems {
	ps := t.misnamed()
	for i := 0; i < len(suspects); {
		j := i + 1
		for j < len(suspects) && suspects[j].Header == suspects[i].Header {
			j++
		}
		if s := &suspects[i]; s.Reviewed == "" && !s.Dropped {
			ps = append(ps, s.problem(suspects[i:j]))
		}
		i = j
	}
	return ps
}

// problem is what to say about a column with everything that speaks against it.
func (s *Suspect) problem(all []Suspect) *Problem {
	why := make([]string, len(all))
	for i, a := range all {
		why[i] = fmt.Sprintf("%s (identifier %s: %s)", a.Why, a.Identifier.Letter, a.Identifier.Title)
	}
	remedy := fmt.Sprintf("take it out of the export; or, since it is not read, list it under exports.%s.drop in the plan", s.Table)
	switch {
	case s.Field != "" && strings.HasPrefix(s.Why, "it holds ages"):
		remedy = fmt.Sprintf("write every age over %d as %d; or, when such ages may be used, name the column with the reason under exports.%s.reviewed "+
			"in the plan", oldest, oldest+1, s.Table)
	case s.Field != "":
		remedy = fmt.Sprintf("take it out of the export, or replace its values by codes; or, when somebody has looked and it identifies nobody, name it "+
			"with the reason under exports.%s.reviewed in the plan", s.Table)
	}
	return &Problem{Kind: IdentifierProblem, Where: s.File, What: fmt.Sprintf("the column %q may identify people: %s", s.Header, strings.Join(why, "; ")),
		Allowed: "columns that identify nobody", Remedy: remedy}
}

// misnamed finds columns that the plan calls reviewed or drops and that no file has.
func (t *Table) misnamed() (ps Problems) {
	var headers []string
	for i := range t.Sources {
		for _, h := range t.Sources[i].Header {
			if !slices.Contains(headers, h) {
				headers = append(headers, h)
			}
		}
	}
	check := func(key, name string) {
		if slices.Contains(headers, name) {
			return
		}
		remedy := "remove the name from the plan"
		if near, ok := Nearest(name, headers); ok {
			remedy = fmt.Sprintf("write %q if that is what you mean", near)
		}
		ps = append(ps, &Problem{Kind: PlanProblem, Where: t.source.Plan, What: fmt.Sprintf("no file of %s has the column %q that stands under %s",
			t.Schema.Name, name, key), Allowed: strings.Join(headers, ", "), Remedy: remedy})
	}
	for _, name := range slices.Sorted(maps.Keys(t.source.Reviewed)) {
		check("reviewed", name)
	}
	for _, name := range t.source.Drop {
		check("drop", name)
	}
	return ps
}
