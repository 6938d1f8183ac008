package render

import (
	"bytes"
	"math"
	"slices"

	"deltoid/pipeline/report"
	"deltoid/schemas"
)

// estimateTables writes the estimates at full precision, one row for each, as CSV and Parquet.
func estimateTables(b *book) ([]File, error) {
	s, err := schemas.Shipped("estimates")
	if err != nil {
		return nil, err
	}
	t := table(s, len(b.Estimates), func(row int) map[string]any {
		return estimateRow(&b.Estimates[row])
	})
	var csv, parquet bytes.Buffer
	if err := schemas.WriteCSV(&csv, t, schemas.ForSharing); err != nil {
		return nil, err
	}
	if err := schemas.WriteParquet(&parquet, t); err != nil {
		return nil, err
	}
	return []File{{"tables/estimates.csv", csv.Bytes()}, {"tables/estimates.parquet", parquet.Bytes()}}, nil
}

func estimateRow(e *report.Estimate) map[string]any {
	return map[string]any{"id": e.ID, "analysis": e.Analysis, "endpoint": e.Endpoint, "cohort": e.Cohort,
		"group": e.Group, "measure": e.Measure, "at": e.At, "at_unit": e.AtUnit, "value": e.Value, "lower": e.Lower,
		"upper": e.Upper, "level": e.Level, "n": e.N, "events": e.Events, "unit": e.Unit, "method": e.Method,
		"status": string(e.Status), "note": e.Note}
}

// figureSchema describes the data behind a figure. A figure of curves has the rows "step", "end" and "numbers at risk";
// a participant flow has "kept" and "left"; one of dots has "dot" and "line".
var figureSchema = &schemas.Schema{Name: "figure", Fields: []schemas.Field{
	{Name: "row", Type: schemas.Text}, {Name: "label", Type: schemas.Text}, {Name: "measure", Type: schemas.Text},
	{Name: "x", Type: schemas.Number}, {Name: "value", Type: schemas.Number}, {Name: "lower", Type: schemas.Number},
	{Name: "upper", Type: schemas.Number}, {Name: "estimate", Type: schemas.Text}, {Name: "shown", Type: schemas.Text},
}}

// figureTables writes the data behind every figure, numbers at risk included.
func figureTables(b *book) ([]File, error) {
	var files []File
	err := b.eachFigure(func(f *report.Figure) error {
		rows := slices.Concat(b.curveRows(f), b.markRows(f), b.flowRows(f), b.dotRows(f))
		t := table(figureSchema, len(rows), func(i int) map[string]any { return rows[i] })
		var out bytes.Buffer
		if err := schemas.WriteCSV(&out, t, schemas.ForSharing); err != nil {
			return err
		}
		files = append(files, File{"figures/" + f.ID + ".csv", out.Bytes()})
		return nil
	})
	return files, err
}

func (b *book) curveRows(f *report.Figure) []map[string]any {
	var rows []map[string]any
	for _, c := range f.Curves {
		kind := "step"
		if c.Sloping {
			kind = "point"
		}
		for _, s := range c.Steps {
			rows = append(rows, map[string]any{"row": kind, "label": c.Group, "measure": c.Measure,
				"x": report.Some(s.X), "value": report.Some(s.Y), "lower": s.Lower, "upper": s.Upper})
		}
		if c.Beyond.Known {
			rows = append(rows, map[string]any{"row": "beyond follow-up from here", "label": c.Group, "measure": c.Measure, "x": c.Beyond})
		}
		if len(c.Steps) > 0 {
			rows = append(rows, map[string]any{"row": "end", "label": c.Group, "measure": c.Measure,
				"x": report.Some(c.EndX), "shown": c.End})
		}
	}
	for _, r := range f.AtRisk {
		for i, id := range r.Estimates {
			rows = append(rows, map[string]any{"row": "numbers at risk", "label": r.Group,
				"measure": b.byID[id].Measure, "x": report.Some(f.X.Ticks[i]), "value": b.byID[id].Value,
				"estimate": id, "shown": report.Format(*b.byID[id], report.ShowValue)})
		}
	}
	return rows
}

func (b *book) flowRows(f *report.Figure) []map[string]any {
	var rows []map[string]any
	add := func(kind, label string, spans []report.Span) {
		for _, s := range spans {
			if e := b.byID[s.Estimate]; e != nil {
				rows = append(rows, map[string]any{"row": kind, "label": label, "measure": e.Measure,
					"value": shown(e, s.Show), "estimate": e.ID, "shown": report.Format(*e, s.Show)})
			}
		}
	}
	for _, box := range f.Boxes {
		add("kept", box.Label, box.Kept)
		for _, l := range box.Left {
			add("left", l.Reason, l.Count)
		}
	}
	return rows
}

// table makes a table of n rows. A row holds texts as string and numbers as [report.Optional]; what it does not hold is
// missing.
func table(s *schemas.Schema, n int, row func(int) map[string]any) *schemas.Table {
	rows := make([]map[string]any, n)
	lines := make([]int32, n)
	for i := range rows {
		rows[i], lines[i] = row(i), int32(i+1)
	}
	columns := make([]*schemas.Column, len(s.Fields))
	for i := range s.Fields {
		columns[i] = column(&s.Fields[i], rows)
	}
	return schemas.NewTable(s, nil, lines, columns)
}

func column(f *schemas.Field, rows []map[string]any) *schemas.Column {
	switch f.Type {
	case schemas.Number:
		return numberColumn(f, rows)
	case schemas.Code:
		return codeColumn(f, rows)
	default:
		return textColumn(f, rows)
	}
}

func numberColumn(f *schemas.Field, rows []map[string]any) *schemas.Column {
	out := make([]float64, len(rows))
	for i, r := range rows {
		out[i] = math.NaN()
		if o, ok := r[f.Name].(report.Optional); ok && o.Known {
			out[i] = o.X
		}
	}
	return schemas.NumberColumn(f, out)
}

func codeColumn(f *schemas.Field, rows []map[string]any) *schemas.Column {
	var levels []string
	codes := make([]int16, len(rows))
	for i, r := range rows {
		code, _ := r[f.Name].(string)
		at := slices.Index(levels, code)
		if at < 0 {
			at = len(levels)
			levels = append(levels, code)
		}
		codes[i] = int16(at)
	}
	return schemas.CodeColumn(f, levels, codes)
}

func textColumn(f *schemas.Field, rows []map[string]any) *schemas.Column {
	offsets := make([]int32, 1, len(rows)+1)
	var data []byte
	for _, r := range rows {
		text, _ := r[f.Name].(string)
		data = append(data, plain(text)...)
		offsets = append(offsets, int32(len(data)))
	}
	return schemas.TextColumn(f, offsets, data)
}
