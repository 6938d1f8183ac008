package ingest

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"deltoid/schemas"
)

// inParts reads a source in parts and returns them as one list of rows, with what was found.
func inParts(t *testing.T, s *schemas.Schema, src schemas.Source, chunk int) (rows []string, parts int, found []schemas.Finding) {
	t.Helper()
	fs := &schemas.Findings{}
	r := &reader{schema: s, src: &src, chunkSize: chunk, workers: 3, patience: patience, memory: childMemory, part: func(t *schemas.Table) error {
		rows, parts = append(rows, dump(t)...), parts+1
		return nil
	}}
	if _, err := r.read(t.Context(), fs); err != nil {
		t.Fatal(err)
	}
	return rows, parts, fs.All()
}

// Whatever the format, the parts are the table, row by row and finding by finding.
func TestPartsAreTheTable(t *testing.T) {
	text := sampleCSV(500) + "501,left\n502,wrong,31.12.2020,x,999,ab,1.5\n,,,,,,\n"
	for name, src := range map[string]schemas.Source{
		"text":    export(t, schemas.Source{}, [2]string{"a.csv", text}, [2]string{"b.csv", header}, [2]string{"c.csv", text}),
		"Parquet": export(t, schemas.Source{}, [2]string{"a.parquet", string(sampleParquet(t, 1<<17+500))}),
		"sheet":   export(t, sheetSource, [2]string{"a.xlsx", asBook(t, formatsTable(t, 100))}),
		"lowered": export(t, schemas.Source{Warn: []string{schemas.RuleUnknownCode.ID}, Recode: map[string]map[string]string{"side": {"left": "right"}}}, [2]string{"a.csv", text}),
	} {
		t.Run(name, func(t *testing.T) {
			table, want := mustRead(t, few(), src, 1000)
			rows, parts, found := inParts(t, few(), src, 1000)
			if parts < 2 && name != "sheet" {
				t.Errorf("%d parts", parts)
			}
			same(t, "findings", places(found), places(want))
			if all := dump(table); strings.Join(rows, "\n") != strings.Join(all, "\n") {
				t.Errorf("%d rows in parts differ from the %d of the table", len(rows), len(all))
			}
		})
	}
}

// Scores in columns make more rows than the file has; each part has its own.
func TestPartsOfScoresInColumns(t *testing.T) {
	var b strings.Builder
	b.WriteString("case;side;seen;oss_pre;oss_12m\n")
	for i := range 200 {
		fmt.Fprintf(&b, "p%d;left;13.03.2012;%d;%s\n", i, i%49, []string{"40", "", "x"}[i%3])
	}
	s, err := schemas.Shipped("scores")
	if err != nil {
		t.Fatal(err)
	}
	src := export(t, schemas.Source{Table: "scores", Columns: map[string]string{"patient": "case"}, Layouts: map[string][]schemas.Layout{"day": {"DD.MM.YYYY"}},
		Wide: []schemas.WideScore{{Column: "oss_pre", Instrument: "oxford", Day: "seen"}, {Column: "oss_12m", Instrument: "oxford", Day: "seen", After: schemas.Length{Number: 12, Unit: schemas.Months}}}},
		[2]string{"a.csv", b.String()})
	table, want := mustRead(t, s, src, 500)
	rows, parts, found := inParts(t, s, src, 500)
	if parts < 2 || len(want) != 66 {
		t.Errorf("%d parts, %d findings", parts, len(want))
	}
	same(t, "findings", places(found), places(want))
	same(t, "rows", rows, dump(table))
}

// Who takes the parts can end the reading, and the error is theirs: no file is blamed.
func TestWhoTakesThePartsCanEndTheReading(t *testing.T) {
	enough := errors.New("enough")
	for _, src := range []schemas.Source{export(t, schemas.Source{}, [2]string{"a.csv", sampleCSV(100_000)}, [2]string{"b.csv", header}),
		export(t, schemas.Source{}, [2]string{"a.parquet", string(sampleParquet(t, 1<<17+10))})} {
		parts := 0
		err := EachPart(t.Context(), few(), src, &schemas.Findings{}, nil, func(*schemas.Table) error { parts++; return enough })
		if err != enough || parts != 1 {
			t.Errorf("%v after %d parts", err, parts)
		}
	}
}
