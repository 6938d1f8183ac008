package analyses

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"deltoid/pipeline/disclose"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
)

// procedures makes a table of procedures with a day, an age and a sex in each row; an empty sex is missing.
func procedures(t *testing.T, days []int32, ages []float64, sexes []string) *schemas.Table {
	t.Helper()
	s, err := schemas.Shipped("procedures")
	if err != nil {
		t.Fatal(err)
	}
	levels := make([]string, len(s.Field("sex").Codes))
	for i, c := range s.Field("sex").Codes {
		levels[i] = c.Value
	}
	codes := make([]int16, len(sexes))
	for i, sex := range sexes {
		codes[i] = int16(slices.Index(levels, sex))
	}
	return schemas.NewTable(s, []schemas.Piece{{File: "procedures.csv", Rows: len(days)}}, make([]int32, len(days)), []*schemas.Column{
		schemas.DateColumn(s.Field("day"), days), schemas.NumberColumn(s.Field("age"), ages), schemas.CodeColumn(s.Field("sex"), levels, codes)})
}

// twoYears is 40 procedures in 2019 and 60 in 2020, with the sex missing in 30 of those of 2020, 27 women in 2019 and 2
// men in 2020.
func twoYears(t *testing.T) *schemas.Table {
	var days []int32
	var ages []float64
	var sexes []string
	for i := range 100 {
		day, sex := int32(17897+i), "female" // 17897 is 2019-01-01
		switch {
		case i >= 40:
			day = int32(18262 + i) // 18262 is 2020-01-01
			if i < 70 {
				sex = ""
			} else if i < 72 {
				sex = "male"
			}
		case i >= 27:
			sex = "male"
		}
		days, ages, sexes = append(days, day), append(ages, float64(50+i%40)), append(sexes, sex)
	}
	return procedures(t, days, ages, sexes)
}

func qualityOf(t *testing.T, table *schemas.Table, below int) report.Document {
	t.Helper()
	p := &plan.Plan{Study: "s", Title: "T", Disclosure: plan.Disclosure{MaskBelow: below}}
	ledger := schemas.Ledger{Table: "procedures", Read: table.Rows(), Used: table.Rows()}
	return Quality(p, Exports{Tables: []*schemas.Table{table}, Findings: &schemas.Findings{}}, []schemas.Ledger{ledger}, "0")
}

func find(t *testing.T, doc report.Document, id string) report.Estimate {
	t.Helper()
	at := slices.IndexFunc(doc.Estimates, func(e report.Estimate) bool { return e.ID == id })
	if at < 0 {
		t.Fatalf("no estimate %s", id)
	}
	return doc.Estimates[at]
}

// The expected numbers were counted by hand from the description of twoYears.
func TestQualityCounts(t *testing.T) {
	doc := qualityOf(t, twoYears(t), 1)
	for id, want := range map[string]float64{
		"quality.procedures.rows": 100, "quality.procedures.missing.sex": 30, "quality.procedures.missing-share.sex": 0.3,
		"quality.procedures.missing.age": 0, "quality.procedures.codes.sex": 70, "quality.procedures.codes.sex.code-female": 55,
		"quality.procedures.codes.sex.code-male": 15, "quality.procedures.year.2019.rows": 40, "quality.procedures.year.2020.rows": 60,
		"quality.procedures.year.2019.sex": 1, "quality.procedures.year.2020.sex": 0.5, "quality.procedures.range.age.low": 50,
		"quality.procedures.range.age.high": 89, "quality.procedures.worst.in": 0.5, "quality.procedures.worst.out": 1,
	} {
		if got := find(t, doc, id); got.Value.X != want {
			t.Errorf("%s is %v, want %v", id, got.Value.X, want)
		}
	}
	var told string
	for _, s := range doc.Sections {
		for _, text := range s.Answer {
			for _, span := range text {
				told += span.Words
			}
		}
	}
	if !strings.Contains(told, "Look at 2020 first: Sex") {
		t.Errorf("the year that fell is not told: %s", told)
	}
}

// Few people with a code are masked, and cannot be worked out from the others; the ends of a range belong to at least as
// many people as the threshold.
func TestQualityIsFitToShare(t *testing.T) {
	table := procedures(t, make([]int32, 60), ramp(60), append(slices.Repeat([]string{"female"}, 57), "male", "male", ""))
	cleared, err := disclose.Clear(qualityOf(t, table, 5), disclose.Policy{MaskBelow: 5})
	if err != nil {
		t.Fatal(err)
	}
	for _, id := range []string{"codes.sex.code-male", "codes.sex.code-female"} {
		if e := find(t, cleared.Document(), "quality.procedures."+id); e.Status != report.Masked || e.Value.Known {
			t.Errorf("%s is shown: %+v", id, e)
		}
	}
	if low, high := find(t, cleared.Document(), "quality.procedures.range.age.low"), find(t, cleared.Document(), "quality.procedures.range.age.high"); low.Value.X != 44 || high.Value.X != 95 {
		t.Errorf("range from %v to %v, want the fifth values from the ends", low.Value.X, high.Value.X)
	}
}

func ramp(n int) []float64 {
	list := make([]float64, n)
	for i := range list {
		list[i] = float64(40 + i)
	}
	return list
}

// An empty table, and one of whose days none is known, make a page and not a panic.
func TestQualityOfNothing(t *testing.T) {
	for _, table := range []*schemas.Table{procedures(t, nil, nil, nil), procedures(t, []int32{schemas.NoDay}, []float64{math.NaN()}, []string{""})} {
		if _, err := disclose.Clear(qualityOf(t, table, 5), disclose.Policy{MaskBelow: 5}); err != nil {
			t.Error(err)
		}
	}
}

// The slow twin sorts.
func TestOutermostAgainstSorting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.SampledFrom([]float64{math.NaN(), -2, 0, 0.5, 3, 3.5, 10}), 0, 30).Draw(t, "values")
		k := rapid.IntRange(1, 6).Draw(t, "k")
		low, high, ok := outermost(len(values), func(i int) float64 { return values[i] }, k)
		known := slices.DeleteFunc(slices.Clone(values), math.IsNaN)
		slices.Sort(known)
		if ok != (len(known) >= 2*k) {
			t.Fatalf("ok is %v for %d values and place %d", ok, len(known), k)
		}
		if ok && (low != known[k-1] || high != known[len(known)-k]) {
			t.Fatalf("%v to %v, want %v to %v", low, high, known[k-1], known[len(known)-k])
		}
	})
}

// The recode log of a report to share has no counts by code: beside the counts of the analyses they would give masked ones away.
func TestRecodeLogHasNoCounts(t *testing.T) {
	table := procedures(t, make([]int32, 60), ramp(60), slices.Repeat([]string{"female"}, 60))
	table.Recoded = []schemas.Recoded{{Field: "sex", From: "F", To: "female", N: 57}, {Field: "sex", From: "M", To: "male", N: 3},
		{Field: "side", From: "L", To: "left", N: 59}, {Field: "procedure", From: "R", To: "reverse"}}
	doc := report.Document{}
	s := accountsSection(newBook(&doc), Exports{Tables: []*schemas.Table{table}, Findings: &schemas.Findings{}}, []schemas.Ledger{{Table: "procedures", Read: 60, Used: 60}})
	for _, e := range doc.Estimates {
		if e.Value.X == 57 || e.Value.X == 3 || e.Value.X == 59 {
			t.Errorf("%s tells %v", e.ID, e.Value.X)
		}
	}
	sheet := s.Sheets[slices.IndexFunc(s.Sheets, func(s report.Sheet) bool { return s.ID == "recodes" })]
	var got []string
	for _, row := range sheet.Rows {
		got = append(got, row.Label+": "+row.Cells[1][0].Words+", "+row.Cells[2][0].Words)
	}
	if want := []string{"sex: 2 codes, all", "side: 1 code, some", "procedure: 1 code, none"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}
