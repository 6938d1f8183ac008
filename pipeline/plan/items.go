package plan

import (
	"cmp"
	"maps"
	"slices"

	"go.yaml.in/yaml/v3"

	"deltoid/schemas"
)

// items reads which columns hold the answers to the items of an instrument.
func (r *reader) items(n *yaml.Node, e *export) {
	if n == nil {
		return
	}
	if e.schema.Name != "scores" {
		r.wrong(n, "items stand with the table "+e.schema.Name, "with the table scores", "remove the key")
		return
	}
	for _, v := range r.entries(n, "items") {
		e.source.Items = append(e.source.Items, r.itemScore(v, e))
	}
}

func (r *reader) itemScore(n *yaml.Node, e *export) (score schemas.ItemScore) {
	s := r.section(n, "an entry of items", "instrument", "day", "after", "columns")
	var instrument schemas.Instrument
	if v := s.need("instrument", "say which instrument the items belong to"); v != nil {
		if code, ok := r.code(v, "instrument"); ok && r.hasCode(v, e.schema.Field("instrument")) {
			score.Instrument = code
			if instrument, _ = schemas.InstrumentOf(code); instrument.Scoring == nil {
				r.wrong(v, "how the items of "+quote(code)+" make its total is not known here", join(scored()), "export the total and read it under columns or wide")
			}
		}
	}
	if v := s.need("day", "name the column with the day of the visit"); v != nil {
		score.Day, _ = r.code(v, "day")
	}
	if v := s.values["after"]; v != nil {
		score.After = r.length(v, "after")
	}
	if v := s.need("columns", "name the column of each item, as in \"columns: {pain: VAS, 1: Q1}\""); v != nil {
		for _, p := range r.pairs(v, "columns") {
			if column, ok := r.code(p.value, "the column of item "+quote(p.key.Value)); ok && r.itemOf(p.key, instrument) {
				score.Columns = put(score.Columns, p.key.Value, column)
			}
		}
		r.allItems(v, instrument, score)
	}
	return score
}

// scored lists the instruments that can be worked out from items.
func scored() (codes []string) {
	for _, i := range schemas.Instruments() {
		if i.Scoring != nil {
			codes = append(codes, i.Code)
		}
	}
	return codes
}

// itemOf reports an item that the instrument does not have.
func (r *reader) itemOf(key *yaml.Node, i schemas.Instrument) bool {
	if i.Scoring == nil {
		return true
	}
	_, ok := i.Scoring.Item(key.Value)
	if !ok {
		var codes []string
		for _, item := range i.Scoring.Items() {
			codes = append(codes, item.Code)
		}
		what, allowed, remedy := unknown("item", key.Value, codes, "name one of the items allowed")
		r.wrong(key, what+" of "+i.Title, allowed, remedy)
	}
	return ok
}

// allItems reports items without a column, and items that are given twice.
func (r *reader) allItems(n *yaml.Node, i schemas.Instrument, score schemas.ItemScore) {
	if i.Scoring == nil || n.Kind != yaml.MappingNode {
		return
	}
	codes := slices.Sorted(maps.Keys(score.Columns))
	if lacking := i.Scoring.Lacking(codes); len(lacking) > 0 {
		r.wrong(n, "items of "+i.Title+" without a column: "+join(lacking), "a column for each item", "name their columns, or read the total of the export")
	}
	for _, code := range codes {
		if item, _ := i.Scoring.Item(code); item.InPlaceOf != "" && score.Columns[item.InPlaceOf] != "" {
			r.wrong(n, quote(code)+" stands beside "+quote(item.InPlaceOf)+", which says the same", "one of the two", "remove one of the two")
		}
	}
}

// scales reads on which scale the values of an instrument are.
func (r *reader) scales(n *yaml.Node, e *export) {
	if n == nil {
		return
	}
	if e.schema.Name != "scores" {
		r.wrong(n, "scales stand with the table "+e.schema.Name, "with the table scores", "remove the key")
		return
	}
	for _, p := range r.pairs(n, "scales") {
		name, ok := r.code(p.value, "the scale of "+quote(p.key.Value))
		if !ok || !r.hasCode(p.key, e.schema.Field("instrument")) {
			continue
		}
		instrument, _ := schemas.InstrumentOf(p.key.Value)
		if _, known := instrument.OnScale(name); !known {
			r.wrong(p.value, quote(name)+" is no scale of "+instrument.Title, cmp.Or(join(instrument.ScaleNames()), "none: it is in use on one scale only"), "name one of the scales allowed, or remove the key")
			continue
		}
		e.source.Scales = put(e.source.Scales, p.key.Value, name)
	}
}

// items lists the columns of one score that is worked out.
func (l *settings) items(key string, s *schemas.ItemScore) {
	w := schemas.WideScore{Instrument: s.Instrument, Day: s.Day, After: s.After}
	l.add(key, wideWords(&w))
	addEach(l, key+".columns", s.Columns)
}
