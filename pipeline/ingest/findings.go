package ingest

import "deltoid/schemas"

// findings turns the flaws of the chunks into findings and sets their rows aside.
func (r *reader) findings(t *schemas.Table) []schemas.Finding {
	var list []schemas.Finding
	allowed := make([]map[flaw]string, len(r.specs)) // a file that is wrong on every row is mostly wrong in the same way
	first := 0
	for _, c := range r.chunks {
		for _, rag := range c.ragged {
			list = append(list, t.Find(schemas.RuleRaggedRow, first+rag.row, "", raggedDetail(c.file, rag.cells)))
		}
		for i, col := range c.columns {
			if col == nil {
				continue
			}
			if allowed[i] == nil {
				allowed[i] = map[flaw]string{}
			}
			for _, fl := range col.flaws {
				list = append(list, r.finding(t, c.file, i, first+fl.row, fl, allowed[i]))
			}
		}
		first += len(c.lines)
	}
	return list
}

func (r *reader) finding(t *schemas.Table, b *binding, i, row int, fl flaw, allowed map[flaw]string) schemas.Finding {
	kind := flaw{0, fl.rule, fl.value}
	detail, ok := allowed[kind]
	if !ok {
		detail = r.specs[i].allowed(fl.rule, fl.value)
		allowed[kind] = detail
	}
	f := t.Find(fl.rule, row, r.specs[i].field.Name, detail)
	f.Column, f.Header, f.Value = b.at[i]+1, b.header[b.at[i]], fl.value
	return f
}
