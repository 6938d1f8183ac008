package draft

import (
	"context"
	"path/filepath"
	"testing"
)

// The name of a column is a score when it is an instrument, a visit and nothing else; a part of an instrument is none.
func TestNamesOfColumnsThatHoldScores(t *testing.T) {
	for header, want := range map[string]wideColumn{
		"ases_pre": {instrument: "ases", visit: before}, "ASES präop": {instrument: "ases", visit: before}, "Constant t0": {instrument: "constant", visit: before},
		"pre-op OSS": {instrument: "oxford", visit: before}, "ases_12m": {instrument: "ases", visit: "12 months"}, "oss_2y": {instrument: "oxford", visit: "2 years"},
		"constant_24": {instrument: "constant", visit: "24"}, "Constant-Murley Score 6 Monate": {instrument: "constant", visit: "6 months"},
		"12mo.QuickDASH": {instrument: "quickdash", visit: "12 months"}, "quick DASH 1 Jahr": {instrument: "quickdash", visit: "1 years"}, "VAS douleur 6 mois": {instrument: "pain", visit: "6 months"},
		"ases_12m_date": {instrument: "ases", visit: "12 months", dated: true}, "Datum 12 Monate": {visit: "12 months", dated: true},
		"constant": {}, "constant pain 12m": {}, "ases_function_12m": {}, "age": {}, "date": {}, "12m": {}, "oss_1_2": {},
	} {
		got, ok := wideName(header)
		if want.header = header; ok != (want.visit != "") || ok && got != want {
			t.Errorf("%q: %+v %v, want %+v", header, got, ok, want)
		}
	}
}

// A score with a day of its own is given it; the items of a questionnaire are no visits; without a unit none is chosen.
func TestDraftOfScoresWithDays(t *testing.T) {
	_, text := drafted(t, map[string]string{"scores.csv": "patient;side;operated;ases_pre;ases_12m;ases_12m_date;oss_24;sst1;sst2;sst3\n" +
		"p1;left;2012-03-13;12;40;2013-03-20;44;1;0;1\n"})
	holds(t, text, "#? ases_pre: {instrument: ases, day: ???}", "#? ases_12m: {instrument: ases, day: ases_12m_date}",
		"#? oss_24: {instrument: oxford, day: ???, after: 24 months | 24 weeks | 24 years}", `"sst1": whole numbers`)
}

// Moments are shown with their zone left open, in every table at once.
func TestDraftOfMoments(t *testing.T) {
	folder := "../../testdata/exports"
	d, err := Look(context.Background(), folder, []string{filepath.Join(folder, "few-duckdb-zoned.parquet"), filepath.Join(folder, "few-hyparquet-utc.parquet")})
	if err != nil {
		t.Fatal(err)
	}
	for i, g := range d.groups {
		found := false
		for _, c := range g.columns {
			found = found || c.kind() == "moments in a time zone"
		}
		if !found {
			t.Errorf("file %d: no moments", i)
		}
	}
}
