package ingest

import (
	"fmt"
	"strings"
	"testing"

	"deltoid/schemas"
)

// asesItems has a column for pain, which is a score by itself too, and one for each activity.
func asesItems() schemas.Source {
	columns := map[string]string{"pain": "VAS"}
	for i := range 10 {
		columns[fmt.Sprint(i+1)] = fmt.Sprintf("Q%d", i+1)
	}
	return schemas.Source{Table: "scores", Decimal: '.', Columns: map[string]string{"patient": "CASE"},
		Wide:  []schemas.WideScore{{Column: "VAS", Instrument: "pain", Day: "SEEN"}},
		Items: []schemas.ItemScore{{Instrument: "ases", Day: "SEEN", Columns: columns}}}
}

const itemHeader = "CASE,side,SEEN,VAS,Q1,Q2,Q3,Q4,Q5,Q6,Q7,Q8,Q9,Q10\n"

// Check vectors of the formula: pain 3 with activities that sum to 15 is 60; pain 4.5 with 20 is 60.8333.
func TestScoresAreWorkedOutFromItems(t *testing.T) {
	src := export(t, asesItems(), [2]string{"a.csv", itemHeader +
		"1,left,2020-02-01,3,2,2,2,1,1,1,2,2,1,1\n" +
		"2,left,2020-02-01,4.5,2,2,2,2,2,2,2,2,2,2\n" +
		"3,left,2020-02-01,4,2,2,2,2,2,2,2,2,2,\n" + // one activity not answered
		"4,left,2020-02-01,,2,2,2,2,2,2,2,2,2,2\n" + // no pain: no half can stand for the other
		"5,left,2020-02-01,4,2,2,2,2,4,2,2,2,2,x\n" + // two answers that are none
		"6,left,2020-02-01,,,,,,,,,,,\n"}) // nothing answered
	src.Table = "scores"
	for _, chunk := range []int{30, 1 << 20} {
		table, found := mustRead(t, scores(t), src, chunk)
		same(t, "rows", dump(table), []string{"a.csv:2|1|left|2020-02-01|pain|3", "a.csv:2|1|left|2020-02-01|ases|60",
			"a.csv:3|2|left|2020-02-01|pain|4.5", "a.csv:3|2|left|2020-02-01|ases|60.833333333333336",
			"a.csv:4|3|left|2020-02-01|pain|4", "a.csv:4|3|left|2020-02-01|ases||aside",
			"a.csv:5|4|left|2020-02-01|ases||aside",
			"a.csv:6|5|left|2020-02-01|pain|4", "a.csv:6|5|left|2020-02-01|ases||aside"})
		same(t, "findings", places(found), []string{
			`a.csv:4:5 incomplete-items "10 of 11 items"`,
			`a.csv:5:5 incomplete-items "10 of 11 items"`,
			`a.csv:6:9 out-of-range "4" (from 0 to 3)`,
			`a.csv:6:14 bad-number "x" (a number with the decimal mark .)`})
		same(t, "note", strings.Contains(table.Sources[0].Note, "6 rows times 2 columns or sets of items = 9 scores + 3 empty ones"), true)
	}
}

// The same answers coded 1 to 5, worst last, are 60 less the total of 0 to 48; the table keeps the declared scale.
func TestItemsOnTheOtherScaleOfTheOxfordScore(t *testing.T) {
	columns, header, row := map[string]string{}, "patient,side,SEEN", "1,left,2020-02-01"
	for i := range 12 {
		columns[fmt.Sprint(i+1)] = fmt.Sprintf("Q%d", i+1)
		header += fmt.Sprintf(",Q%d", i+1)
		row += ",2"
	}
	src := export(t, schemas.Source{Decimal: '.', Scales: map[string]string{"oxford": "12-60"},
		Items: []schemas.ItemScore{{Instrument: "oxford", Day: "SEEN", Columns: columns}}}, [2]string{"a.csv", header + "\n" + row + "\n"})
	src.Table = "scores"
	table, found := mustRead(t, scores(t), src, 1<<20)
	same(t, "rows", dump(table), []string{"a.csv:2|1|left|2020-02-01|oxford|24"})
	same(t, "findings", places(found), []string(nil))
	var checked schemas.Findings
	schemas.Check(table, &checked)
	same(t, "scale", table.ScaleOf("oxford").Ours(24), 36.0)
	same(t, "findings of the table", places(checked.All()), []string(nil))
}
