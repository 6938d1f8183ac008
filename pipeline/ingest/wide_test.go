package ingest

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"deltoid/schemas"
)

func scores(t testing.TB) *schemas.Schema {
	t.Helper()
	s, err := schemas.Shipped("scores")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

var wideSource = schemas.Source{Table: "scores", Decimal: ',', Columns: map[string]string{"patient": "CASE", "side": "SIDE"},
	Recode:  map[string]map[string]string{"side": {"L": "left", "R": "right"}},
	Layouts: map[string][]schemas.Layout{"day": {"DD.MM.YYYY"}}, Missing: []string{"n.d."},
	Extra: []schemas.Field{{Name: "arm", Type: schemas.Code}},
	Wide: []schemas.WideScore{
		{Column: "ASES_PRE", Instrument: "ases", Day: "PRE"},
		{Column: "ASES_1Y", Instrument: "ases", Day: "OP", After: schemas.Length{Number: 12, Unit: schemas.Months}},
		{Column: "PAIN_PRE", Instrument: "pain", Day: "PRE"}}}

const wideHeader = "CASE;SIDE;PRE;OP;ASES_PRE;ASES_1Y;PAIN_PRE;arm\n"

func TestScoresInColumnsBecomeRows(t *testing.T) {
	src := export(t, wideSource, [2]string{"a.csv", wideHeader +
		"1;L;01.02.2020;03.02.2020;31,5;80;7;x\n" +
		"2;R;;03.02.2020;;90,5;n.d.;\n" + // one score
		"3;L;01.02.2020;03.02.2020;;;;y\n" + // none
		"4;L;01.02.2020\n" + // too few cells
		"5;L;30.02.2020;;1x;50;2;\n" + // a day that is none, a score that is none, a day missing
		"6;Q;;;;;;\n" + // a wrong cell and no score
		"7;L;99.02.2020;03.02.2020;;60;;\n" + // a wrong day and no score of that day
		"8;R;01.02.2020;31.12.9999;;70;;\n"}) // a visit after the calendar
	src.Table = "scores"
	for _, chunk := range []int{20, 1 << 20} {
		table, found := mustRead(t, scores(t), src, chunk)
		same(t, "rows", dump(table), []string{
			"a.csv:2|1|left|2020-02-01|ases|31.5|x", "a.csv:2|1|left|2020-02-01|pain|7|x", "a.csv:2|1|left|2021-02-02|ases|80|x",
			"a.csv:3|2|right|2021-02-02|ases|90.5|",
			"a.csv:5||||ases|||aside",
			"a.csv:6|5|left||ases|||aside", "a.csv:6|5|left||pain|2||aside", "a.csv:6|5|left||ases|50||aside",
			"a.csv:7|6|||ases|||aside",
			"a.csv:8|7|left|2021-02-02|ases|60|", "a.csv:8|7|left||ases|||aside",
			"a.csv:9|8|right||ases|70||aside"})
		same(t, "findings", places(found), []string{
			`a.csv:5:0 ragged-row "" (8 cells, as in the header; found 3)`,
			`a.csv:6:3 bad-date "30.02.2020" (a date written DD.MM.YYYY)`,
			`a.csv:6:4 missing-required ""`,
			`a.csv:6:5 bad-number "1x" (a number with the decimal mark ,)`,
			`a.csv:7:2 unknown-code "Q" (one of: left, right)`,
			`a.csv:8:3 bad-date "99.02.2020" (a date written DD.MM.YYYY)`,
			`a.csv:9:4 bad-date "365 days later" (a date written DD.MM.YYYY)`})
		// 12 months are 365.25 days, rounded to 365. Of 7 rows with as many cells as the header, three columns each: 9 scores.
		same(t, "note", table.Sources[0].Note, "delimiter: semicolon; no column for: version; scores in columns: 7 rows times 3 columns = 9 scores + 12 empty cells; "+
			"rows with too few or too many cells, each set aside as one row: 1; wrong cells without a score, each set aside as a row of its own: 2")
		same(t, "rows of the file", table.Sources[0].FileRows, 8)
	}
}

// What is wrong with a score is told at its own column, also by the rules about the whole table, in every file.
func TestAScoreInAColumnKeepsItsPlace(t *testing.T) {
	src := export(t, wideSource, [2]string{"a.csv", wideHeader + "1;L;01.02.2020;03.02.2020;31,5;80;11;x\n"},
		[2]string{"b.csv", "PAIN_PRE;CASE;SIDE;PRE;OP;ASES_PRE;ASES_1Y;arm\n12;2;L;01.02.2020;03.02.2020;;;\n"})
	src.Table = "scores"
	table, found := mustRead(t, scores(t), src, 64)
	same(t, "findings", places(found), []string(nil))
	var checked schemas.Findings
	schemas.Check(table, &checked)
	same(t, "places", places(checked.All()), []string{`a.csv:2:7 score-out-of-range "11" (pain: from 0 to 10)`,
		`b.csv:2:1 score-out-of-range "12" (pain: from 0 to 10)`})
	same(t, "header", checked.All()[0].Header, "PAIN_PRE")
}

func TestColumnsOfScoresMustBeThere(t *testing.T) {
	src := export(t, wideSource, [2]string{"a.csv", strings.ReplaceAll(wideHeader, "ASES_1Y", "ASES_12M")})
	_, err := Read(t.Context(), scores(t), src, &schemas.Findings{}, nil)
	if err == nil || !strings.HasPrefix(err.Error(), `a.csv: no column "ASES_1Y" for the field value`) {
		t.Errorf("%v", err)
	}
}

// The witness is a loop over the cells: every score that is there is a row, every cell is a score or empty, and no row of
// the file is lost, whatever is wrong with it.
func TestEveryCellOfAWideTableIsCounted(t *testing.T) {
	dir := t.TempDir()
	cell := rapid.SampledFrom([]string{"", "5", "7,5", "x", "n.d."})
	day := rapid.SampledFrom([]string{"", "01.02.2020", "31.02.2020"})
	rapid.Check(t, func(t *rapid.T) {
		text, scored, cells := wideHeader, 0, 0
		for row := range rapid.IntRange(0, 12).Draw(t, "rows") {
			if rapid.IntRange(0, 5).Draw(t, "ragged") == 0 {
				text += "1;L\n"
				continue
			}
			text += fmt.Sprintf("%d;%s;%s;%s", row, rapid.SampledFrom([]string{"L", "Q", ""}).Draw(t, "side"), day.Draw(t, "pre"), day.Draw(t, "op"))
			for range 3 {
				c := cell.Draw(t, "score")
				text += ";" + c
				cells++
				if c != "" && c != "n.d." {
					scored++
				}
			}
			text += ";x\n"
		}
		src := wideSource
		src.Files = inFile(t, dir, "a.csv", text).Files
		src.Shown = []string{"a.csv"}
		var found schemas.Findings
		r := &reader{schema: few(), src: &src, chunkSize: rapid.IntRange(1, 200).Draw(t, "chunk"), workers: 2, patience: patience, memory: childMemory}
		r.schema, _ = schemas.Shipped("scores")
		table, err := r.read(t.Context(), &found)
		if err != nil {
			t.Fatal(err)
		}
		n := r.unfolded(r.bindings[0])
		if n.scores != scored || n.scores+n.empty != cells || table.Rows() != n.scores+n.ragged+n.wrong || n.rows != strings.Count(text, "\n")-1 {
			t.Fatalf("%q: %+v, %d scores of %d cells, %d rows", text, n, scored, cells, table.Rows())
		}
		value, day := table.Column("value"), table.Column("day")
		for row := range table.Rows() {
			if !table.IsAside(row) && (value.IsMissing(row) || day.IsMissing(row)) {
				t.Fatalf("%q: row %d is in use without a value or a day", text, row)
			}
		}
	})
}
