package ingest

import "deltoid/schemas"

// findings turns the flaws of the chunks into findings, sets their rows aside, and gives the flaws' memory back as it
// goes: a file can be wrong on every row.
func (r *reader) findings(t *schemas.Table, found *schemas.Findings) {
	allowed := make([]map[flaw]string, len(r.specs)) // a file that is wrong on every row is mostly wrong in the same way
	first := 0
	for _, c := range r.chunks {
		for _, rag := range c.ragged {
			found.Add(t.Find(schemas.RuleRaggedRow, first+rag.row, "", raggedDetail(c.file, rag.cells)))
		}
		for i, col := range c.columns {
			if col == nil {
				continue
			}
			if allowed[i] == nil {
				allowed[i] = map[flaw]string{}
			}
			for _, fl := range col.flaws {
				f := r.finding(t, c.file, i, first+fl.row, fl, allowed[i])
				found.Add(f)
				for k := 1; k <= fl.more && f.Rule.Severity == schemas.SetsAside; k++ {
					t.SetAside(first + fl.row + k)
				}
			}
			col.flaws = nil
		}
		first += len(c.lines)
	}
}

// mostDetails is how many different wrong values of a column are told the nearest code. Whoever has more has not mistyped
// one, and looking each of a million up would take longer than reading.
const mostDetails = 1 << 12

func (r *reader) finding(t *schemas.Table, b *binding, i, row int, fl flaw, allowed map[flaw]string) schemas.Finding {
	kind := flaw{rule: fl.rule, value: fl.value}
	if fl.rule != schemas.RuleUnknownCode || len(allowed) >= mostDetails {
		kind.value = "" // only an unknown code is told the nearest known one
	}
	detail, ok := allowed[kind]
	if !ok {
		detail = r.specs[i].allowed(fl.rule, kind.value)
		allowed[kind] = detail
	}
	f := t.Find(fl.rule, row, r.specs[i].field.Name, detail)
	f.Column, f.Header = b.at[i]+1, b.header[b.at[i]]
	f.Value = t.Visible(f.Header, fl.value)
	return f
}
