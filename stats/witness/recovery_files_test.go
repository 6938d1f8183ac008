package witness_test

import (
	"encoding/csv"
	"fmt"
	"os"
	"strconv"
	"testing"

	"deltoid/stats/change"
	"deltoid/stats/covariates"
	"deltoid/stats/mixed"
)

// scoreRows is scores.csv of testdata/references/bench/generate_recovery.R, with the columns of the model that recovery.R fits: visits,
// treatment, treatment at each visit, and eight covariates.
type scoreRows struct {
	mixed.Data
	columns []covariates.Column
}

// answerRows is answers.csv.
type answerRows struct {
	change.Anchored
	change   []float64
	improved []bool
}

// readTable returns the columns of a file of numbers with names in its first line.
func readTable(b *testing.B, path string) [][]float64 {
	b.Helper()
	records := readRecords(b, path)
	out := make([][]float64, len(records[0]))
	for _, r := range records[1:] {
		for j, text := range r {
			x, err := strconv.ParseFloat(text, 64)
			if err != nil {
				b.Fatal(path, err)
			}
			out[j] = append(out[j], x)
		}
	}
	return out
}

func readRecords(b *testing.B, path string) [][]string {
	b.Helper()
	f, err := os.Open(path)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil || len(records) < 2 {
		b.Fatal(path, len(records), "lines", err)
	}
	return records
}

func readScores(b *testing.B, path string) scoreRows {
	b.Helper()
	table := readTable(b, path) // shoulder, visit, score, treated, x1 to x8
	s := scoreRows{Data: mixed.Data{Outcome: table[2], Subject: whole(table[0]), Visit: whole(table[1]), Visits: []string{"before", "first", "second"}}}
	treated, is := table[3], func(yes bool, x float64) float64 {
		if yes {
			return x
		}
		return 0
	}
	add := func(name string, value func(i int) float64) {
		c := covariates.Column{Name: name, Values: make([]float64, len(s.Visit))}
		for i := range c.Values {
			c.Values[i] = value(i)
		}
		s.columns = append(s.columns, c)
	}
	add("v1", func(i int) float64 { return is(s.Visit[i] == 1, 1) })
	add("v2", func(i int) float64 { return is(s.Visit[i] == 2, 1) })
	add("treated", func(i int) float64 { return treated[i] })
	add("t1", func(i int) float64 { return is(s.Visit[i] == 1, treated[i]) })
	add("t2", func(i int) float64 { return is(s.Visit[i] == 2, treated[i]) })
	for k := range 8 {
		add(fmt.Sprint("x", k+1), func(i int) float64 { return table[4+k][i] })
	}
	return s
}

// first returns the rows of the first shoulders; rows come in order of the shoulder.
func (s scoreRows) first(shoulders int32) scoreRows {
	n := 0
	for n < len(s.Subject) && s.Subject[n] < shoulders {
		n++
	}
	out := scoreRows{Data: mixed.Data{Outcome: s.Outcome[:n], Subject: s.Subject[:n], Visit: s.Visit[:n], Visits: s.Visits}}
	for _, c := range s.columns {
		c.Values = c.Values[:n]
		out.columns = append(out.columns, c)
	}
	return out
}

func readAnswers(b *testing.B, path string) answerRows {
	b.Helper()
	table := readTable(b, path) // before, after, answer
	a := answerRows{Anchored: change.Anchored{Scores: change.Scores{Baseline: table[0], FollowUp: table[1]}, Anchor: whole(table[2])}}
	for i, answer := range a.Anchor {
		a.change, a.improved = append(a.change, a.FollowUp[i]-a.Baseline[i]), append(a.improved, answer >= 1)
	}
	return a
}

func (a answerRows) first(n int) answerRows {
	n = min(n, len(a.Anchor))
	return answerRows{Anchored: change.Anchored{Scores: change.Scores{Baseline: a.Baseline[:n], FollowUp: a.FollowUp[:n]}, Anchor: a.Anchor[:n]},
		change: a.change[:n], improved: a.improved[:n]}
}

// readTheirs returns what the reference library says, by work and name.
func readTheirs(b *testing.B, path string) map[string]map[string]float64 {
	b.Helper()
	out := map[string]map[string]float64{}
	for _, r := range readRecords(b, path)[1:] {
		x, err := strconv.ParseFloat(r[2], 64)
		if err != nil {
			b.Fatal(path, err)
		}
		if out[r[0]] == nil {
			out[r[0]] = map[string]float64{}
		}
		out[r[0]][r[1]] = x
	}
	return out
}

func whole(x []float64) []int32 {
	out := make([]int32, len(x))
	for i, v := range x {
		out[i] = int32(v)
	}
	return out
}
