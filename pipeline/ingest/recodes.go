package ingest

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"deltoid/schemas"
)

// setRecodes takes over the field's recodes, sorted, and for a Code with a list builds the index of everything a cell
// may hold: codes, recoded values and tokens for missing.
func (sp *spec) setRecodes(src *schemas.Source) (ps schemas.Problems) {
	declared := src.Recode[sp.field.Name]
	for _, from := range slices.Sorted(maps.Keys(declared)) {
		if sp.recodeAt == nil {
			sp.recodeAt = map[string]int{}
		}
		sp.recodeAt[from] = len(sp.recodes)
		sp.recodes = append(sp.recodes, recode{from, declared[from]})
	}
	if sp.field.Type != schemas.Code || len(sp.field.Codes) == 0 {
		return nil
	}
	return sp.indexCodes(src)
}

func (sp *spec) indexCodes(src *schemas.Source) (ps schemas.Problems) {
	sp.codes = newCodeIndex()
	place := map[string]int16{"": schemas.NoCode} // a recode to nothing makes the cell missing
	for i, c := range sp.field.Codes {
		place[c.Value] = int16(i)
	}
	for i, r := range sp.recodes {
		code, ok := place[r.to]
		if !ok {
			ps = append(ps, planProblem(src, fmt.Sprintf("%s: %q is recoded to %q, which is not a code of the field", sp.field.Name, r.from, r.to),
				strings.TrimPrefix(sp.allowedCodes(r.to), "one of: "), "recode it to one of these"))
		}
		sp.codes.add(r.from, target{code, i})
	}
	for _, t := range slices.Sorted(maps.Keys(sp.tokens)) {
		sp.codes.add(t, target{schemas.NoCode, notRecoded})
	}
	for i, c := range sp.field.Codes {
		sp.codes.add(c.Value, target{int16(i), notRecoded})
	}
	return ps
}

// unknownFields finds fields that the plan names for this source and that the table does not have.
func unknownFields(src *schemas.Source, known map[string]bool) (ps schemas.Problems) {
	names := slices.Sorted(maps.Keys(known))
	named := map[string]bool{}
	for _, keys := range [][]string{slices.Collect(maps.Keys(src.Columns)), slices.Collect(maps.Keys(src.Recode)),
		slices.Collect(maps.Keys(src.Layouts)), slices.Collect(maps.Keys(src.Units)), slices.Collect(maps.Keys(src.Zones))} {
		for _, k := range keys {
			named[k] = true
		}
	}
	for _, name := range slices.Sorted(maps.Keys(named)) {
		if known[name] {
			continue
		}
		remedy := "take the name out, or declare an added column of this name"
		if near, ok := schemas.Nearest(name, names); ok {
			remedy = fmt.Sprintf("write %q if that is what you mean", near)
		}
		ps = append(ps, planProblem(src, fmt.Sprintf("%s has no field %q", src.Table, name), strings.Join(names, ", "), remedy))
	}
	return ps
}
