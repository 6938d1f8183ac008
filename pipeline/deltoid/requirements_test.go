package main

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// outputs runs a plan and returns the folder of its report.
func outputs(t *testing.T, plan string) string {
	t.Helper()
	out := filepath.Join(t.TempDir(), "report")
	if code, _, stderr := call("run", plan, "--quiet", "--out", out); code != exitDone {
		t.Fatalf("run ended with exit code %d:\n%s", code, stderr)
	}
	return out
}

// drawn reads the data of a figure.
func drawn(t *testing.T, out, figure string) []row {
	t.Helper()
	f, err := os.Open(filepath.Join(out, "figures", figure+".csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []row
	for _, record := range records[1:] {
		r := row{}
		for i, name := range records[0] {
			r[name] = record[i]
		}
		rows = append(rows, r)
	}
	return rows
}

// lettering returns every text of a drawing, joined line by line.
func lettering(t *testing.T, out, figure string) []string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(out, "figures", figure+".svg"))
	if err != nil {
		t.Fatal(err)
	}
	var svg struct {
		Texts []struct {
			Text string `xml:",chardata"`
		} `xml:"text"`
	}
	if err := xml.Unmarshal(b, &svg); err != nil {
		t.Fatal(err)
	}
	var texts []string
	for _, text := range svg.Texts {
		texts = append(texts, text.Text)
	}
	return texts
}

// TestSixRowsByHand: a revision on the day of the operation, and on day 10 a revision, a death and a censoring beside a time
// that is asked for. At risk are 6 at 0, 5 at 10, 2 at 20 and 1 at 30.
//
//	S: 5/6, then ·4/5 = 2/3 at 10, ·1/2 = 1/3 at 20.
//	F: 1/6, then + 5/6·1/5 = 1/3 at 10; free of both is 1/2 then, so + 1/2·1/2 = 7/12 at 20.
func TestSixRowsByHand(t *testing.T) {
	table := "days,outcome\n0,revised\n10,unrevised\n20,revised\n10,died\n30,unrevised\n10,revised\n"
	out := outputs(t, readyPlan(t, table, "    columns: {follow_up: days}",
		"  - {id: six, kind: implant survival, endpoint: revision, times: [10, 20, 30, 40], unit: days}\n"))
	got := readEstimates(t, filepath.Join(out, "tables", "estimates.csv"))
	atRisk := map[string]float64{"0": 6, "5": 5, "10": 5, "15": 2, "20": 2, "25": 1, "30": 1, "35": 0, "40": 0}
	for at, want := range map[string][2]float64{"10": {1. / 3, 2. / 3}, "20": {7. / 12, 1. / 3}, "30": {7. / 12, 1. / 3}} {
		near(t, "incidence at "+at, got["six.incidence.all."+at+"d"].number(t, "value"), want[0])
		near(t, "survival at "+at, got["six.free.all."+at+"d"].number(t, "value"), want[1])
		near(t, "1 − survival at "+at, got["six.net.all."+at+"d"].number(t, "value"), 1-want[1])
	}
	for _, measure := range []string{"incidence", "net", "free"} {
		if e := got["six."+measure+".all.40d"]; e["status"] != "beyond follow-up" || e["value"] != "" || !strings.Contains(e["note"], "30.0 days") {
			t.Errorf("%s after the last shoulder left: %v", measure, e)
		}
	}
	seen := 0
	for _, r := range drawn(t, out, "six") {
		switch r["row"] {
		case "numbers at risk":
			seen++
			want, asked := atRisk[r["x"]]
			if n := r.number(t, "value"); asked && n != want || n != got[r["estimate"]].number(t, "value") {
				t.Errorf("at risk at %s: %v in the figure, %v among the estimates, want %v", r["x"], n, got[r["estimate"]]["value"], want)
			}
		case "end":
			if r["x"] != "30" {
				t.Errorf("the curve ends at day %s", r["x"])
			}
		}
	}
	if seen < 5 {
		t.Errorf("the figure has %d numbers at risk", seen)
	}
	for _, note := range []string{"six.note.day-zero"} {
		if got[note].number(t, "value") != 1 {
			t.Errorf("%s is not counted aloud: %v", note, got[note])
		}
	}
}

// melanoma is the published table with follow-up in the unit given, in the order given.
func melanoma(t *testing.T, perDay float64, order func(lines []string)) string {
	t.Helper()
	lines := strings.Split(strings.TrimSpace(published(t, "melanoma.csv", false, "time", "cause", "ulcer")), "\n")
	for i, line := range lines[1:] {
		f := strings.Split(line, ",")
		days, err := strconv.ParseFloat(f[0], 64)
		if err != nil {
			t.Fatal(err)
		}
		if perDay != 1 {
			f[0] = strconv.FormatFloat(days*perDay, 'f', 8, 64)
		}
		lines[i+1] = strings.Join(f, ",")
	}
	if order != nil {
		order(lines[1:])
	}
	return strings.Join(lines, "\n") + "\n"
}

const (
	melanomaCodes = `{"0": unrevised, "1": revised, "2": died}`
	everyKind     = "  - {id: s, kind: implant survival, endpoint: revision, by: ulcer, times: [1, 5], shares: [0.1, 0.5]%s}\n" +
		"  - {id: c, kind: comparison of groups, endpoint: revision, by: ulcer, times: [1, 5], horizon: 5%s}\n" +
		"  - {id: r, kind: reasons for revision, endpoint: revision, by: ulcer, times: [5]%s}\n"
)

func melanomaPlan(t *testing.T, table, exports, more string) string {
	return readyPlan(t, table, exports+deaths("time", "cause", melanomaCodes, "{ulcer: text}"), strings.ReplaceAll(everyKind, "%s", more))
}

// analysed keeps the estimates that rest on shoulders, not on files.
func analysed(t *testing.T, out string) map[string]row {
	t.Helper()
	got := readEstimates(t, filepath.Join(out, "tables", "estimates.csv"))
	for id := range got {
		if strings.HasPrefix(id, "accounts.") {
			delete(got, id)
		}
	}
	return got
}

// TestYearsGiveTheDaysBack: the same follow-up declared in days, and in years with eight decimals, gives the same estimates
// to the last digit. Times that are no whole number of days are left out: there the two declarations mean different days.
func TestYearsGiveTheDaysBack(t *testing.T) {
	days := analysed(t, outputs(t, melanomaPlan(t, melanoma(t, 1, nil), "", "")))
	years := analysed(t, outputs(t, melanomaPlan(t, melanoma(t, 1/365.25, nil), "    units: {follow_up: years}\n", "")))
	if len(days) != len(years) || len(days) < 80 {
		t.Fatalf("%d estimates in days, %d in years", len(days), len(years))
	}
	for id, want := range days {
		if strings.HasPrefix(id, "c.mean") { // the horizon of 5 years is a day and a quarter longer or shorter
			continue
		}
		for _, column := range []string{"value", "lower", "upper", "n", "events", "status"} {
			if years[id][column] != want[column] {
				t.Errorf("%s of %s: %q in years, %q in days", column, id, years[id][column], want[column])
			}
		}
	}
}

// TestOrderOfRowsCannotBeSeen: rows in another order give the same estimates and figures to the byte.
func TestOrderOfRowsCannotBeSeen(t *testing.T) {
	read := func(order func([]string)) [][]byte {
		out := outputs(t, melanomaPlan(t, melanoma(t, 1, order), "", ""))
		var all [][]byte
		for _, name := range []string{"tables/estimates.csv", "figures/s.csv", "figures/s.svg", "figures/r-0.csv"} {
			b, err := os.ReadFile(filepath.Join(out, name))
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, b)
		}
		return all
	}
	want := read(nil)
	r := rand.New(rand.NewPCG(5, 6))
	for range 5 {
		got := read(func(lines []string) {
			r.Shuffle(len(lines), func(i, j int) { lines[i], lines[j] = lines[j], lines[i] })
		})
		for i := range want {
			if !bytes.Equal(got[i], want[i]) {
				t.Errorf("file %d depends on the order of the rows", i)
			}
		}
	}
}

// TestLabelsOfAnyKind: labels with marks that other tools have choked on stay with their curves, whatever the order asked
// for. Each group has its own number of events, by which its curve is known.
func TestLabelsOfAnyKind(t *testing.T) {
	labels := map[string]string{"a": "stem=long, cemented", "b": "Größe $2 “β” <3", "c": "=1+1", "d": "日本 — ñ & co."}
	table := "days,outcome,stem\n"
	for i, code := range []string{"a", "b", "c", "d"} {
		for n := range 20 {
			outcome := "unrevised"
			if n <= i {
				outcome = "revised"
			}
			table += fmt.Sprintf("%d,%s,%s\n", 100+n, outcome, code)
		}
	}
	for _, order := range []string{"[a, b, c, d]", "[d, c, b, a]", "[c, a, d, b]"} {
		plan := readyPlan(t, table, `    columns: {follow_up: days}
    extra: {stem: {type: code, codes: {a: "stem=long, cemented", b: "Größe $2 “β” <3", c: "=1+1", d: "日本 — ñ & co."}}}`,
			"  - {id: stems, kind: comparison of groups, endpoint: revision_alone, by: stem, order: "+order+", times: [150], unit: days, headline: survival, until: 200}\n"+
				"  - {id: alone, kind: implant survival, endpoint: revision_alone, by: stem, order: "+order+", times: [110], unit: days, level: 0.9, headline: survival}\n")
		out := outputs(t, plan)
		got := readEstimates(t, filepath.Join(out, "tables", "estimates.csv"))
		for i, code := range []string{"a", "b", "c", "d"} {
			for _, figure := range []string{"alone", "stems"} {
				last := 0.0
				for _, r := range drawn(t, out, figure) {
					if r["label"] == quotedFormula(labels[code]) && r["row"] == "step" {
						last = r.number(t, "value")
					}
				}
				near(t, "survival of "+labels[code]+" in the figure "+figure, last, 1-float64(i+1)/20)
				if text := strings.Join(lettering(t, out, figure), " "); !strings.Contains(text, firstWord(labels[code])) {
					t.Errorf("the drawing %s does not name %q: %s", figure, labels[code], text)
				}
			}
			for _, e := range got {
				if e["group"] == quotedFormula(labels[code]) && strings.HasPrefix(e["id"], "alone.free.") {
					near(t, "survival of "+labels[code], e.number(t, "value"), 1-float64(i+1)/20)
				}
			}
		}
	}
}

// quotedFormula is a text as a table has it: one that a spreadsheet would take for a formula begins with an apostrophe.
func quotedFormula(s string) string {
	if strings.HasPrefix(s, "=") {
		return "'" + s
	}
	return s
}

func firstWord(s string) string { return strings.Fields(s)[0] }

// TestIntervalsGrowWithLevel: for every estimate with an interval, 80% lies within 95% and 95% within 99%, on every scale.
func TestIntervalsGrowWithLevel(t *testing.T) {
	for _, scale := range []string{"complementary log-log", "log", "plain"} {
		var runs []map[string]row
		for _, level := range []string{"0.8", "0.95", "0.99"} {
			runs = append(runs, analysed(t, outputs(t, melanomaPlan(t, melanoma(t, 1, nil), "", ", level: "+level+", interval: "+scale))))
		}
		compared := 0
		for id, narrow := range runs[0] {
			if narrow["lower"] == "" || narrow["upper"] == "" {
				continue
			}
			for i, wide := range []row{runs[1][id], runs[2][id]} {
				if wide["lower"] == "" || wide["upper"] == "" {
					continue // a limit of a time can lie beyond follow-up at the higher level
				}
				if wide.number(t, "lower") > narrow.number(t, "lower") || wide.number(t, "upper") < narrow.number(t, "upper") {
					t.Errorf("%s on the %s scale: step %d of the level narrows %v to %v", id, scale, i, narrow, wide)
				}
				compared++
			}
			if narrow["level"] != "0.8" || narrow["method"] == "" {
				t.Errorf("%s does not say how its interval was made: %v", id, narrow)
			}
		}
		if compared < 30 {
			t.Errorf("only %d intervals were compared", compared)
		}
	}
}

// TestWhateverOccurs: nothing is inferred from which outcomes occur. With nobody censored, only censored, or one cause only,
// each estimate has a value or says why it has none, and no NaN appears anywhere.
func TestWhateverOccurs(t *testing.T) {
	for name, outcomes := range map[string][]string{"nobody censored": {"revised", "died"}, "only censored": {"unrevised"},
		"one cause": {"died"}, "all revised": {"revised"}} {
		t.Run(name, func(t *testing.T) {
			table := "time,cause,ulcer\n"
			for i := range 24 {
				table += fmt.Sprintf("%d,%s,%d\n", 100+300*(i%7), outcomes[i%len(outcomes)], i%2)
			}
			plan := readyPlan(t, table, "    columns: {follow_up: time, outcome: cause}\n    extra: {ulcer: text}", strings.ReplaceAll(everyKind, "%s", ""))
			out := outputs(t, plan)
			for id, e := range analysed(t, out) {
				switch {
				case strings.Contains(strings.ToLower(fmt.Sprint(e)), "nan"):
					t.Errorf("NaN in %v", e)
				case e["value"] == "" && (e["status"] == "estimated" || e["note"] == ""):
					t.Errorf("%s has no value and does not say why: %v", id, e)
				}
			}
			b, err := os.ReadFile(filepath.Join(out, "report.html"))
			if err != nil || bytes.Contains(b, []byte(">NaN")) || bytes.Contains(b, []byte("Inf")) {
				t.Errorf("the page shows a number that is none (%v)", err)
			}
		})
	}
}

// TestGroupsAddUpToTheWhole: at every tick the numbers at risk of the groups are those of the whole cohort, with late entries
// too, where they may rise.
func TestGroupsAddUpToTheWhole(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 1))
	rises := 0
	for range 5 {
		table := "late,days,outcome,arm\n"
		for range 120 {
			entry := 0
			if r.IntN(2) == 0 {
				entry = 1 + r.IntN(30)
			}
			table += fmt.Sprintf("%d,%d,%s,%d\n", entry, entry+1+r.IntN(60), []string{"revised", "died", "unrevised"}[r.IntN(3)], r.IntN(3))
		}
		got := deltoidRun(t, readyPlan(t, table, "    columns: {entry_day: late, follow_up: days}\n    extra: {arm: text}",
			"  - {id: arms, kind: implant survival, endpoint: revision, by: arm, times: [10, 20, 60], unit: days}\n"))
		before := -1.0
		for at := 0; at <= 60; at += 10 {
			sum := 0.0
			for _, arm := range []string{"0", "1", "2"} {
				sum += got[fmt.Sprintf("arms.at-risk.%s.%dd", arm, at)].number(t, "value")
			}
			whole := got[fmt.Sprintf("arms.at-risk.all.%dd", at)].number(t, "value")
			if sum != whole {
				t.Errorf("at day %d the groups have %v at risk, the whole %v", at, sum, whole)
			}
			if before >= 0 && whole > before {
				rises++
			}
			before = whole
		}
	}
	if rises == 0 {
		t.Error("no number at risk ever rose, so late entry was not tried")
	}
}

// TestCopiesOfPatients: every patient three times over. Standard errors that take the copies for patients of their own fall
// by √3; clustered ones stay as they are.
func TestCopiesOfPatients(t *testing.T) {
	once := strings.Split(strings.TrimSpace(melanoma(t, 1, nil)), "\n")
	copies := func(k int) string {
		table := once[0] + ",who\n"
		for i, line := range once[1:] {
			table += strings.Repeat(fmt.Sprintf("%s,p%03d\n", line, i), k)
		}
		return table
	}
	run := func(k int, variance string) map[string]row {
		return analysed(t, outputs(t, readyPlan(t, copies(k), "    columns: {follow_up: time, outcome: cause, patient: who}\n    recode:\n      outcome: "+
			melanomaCodes+"\n    extra: {ulcer: text}", strings.ReplaceAll(everyKind, "%s", ", interval: plain, variance: "+variance))))
	}
	single, clustered, independent := run(1, "clustered"), run(3, "clustered"), run(3, "independent")
	compared := 0
	for id, e := range single {
		if e["lower"] == "" || strings.Contains(id, "share") || e.number(t, "lower") <= 0 || e.number(t, "upper") >= 1 && e["unit"] == "probability" {
			continue
		}
		width := func(r row) float64 { return r.number(t, "upper") - r.number(t, "lower") }
		near(t, "width of "+id+" in three copies, clustered", width(clustered[id]), width(e))
		if e["unit"] == "probability" {
			near(t, "width of "+id+" in three copies, independent", width(independent[id])*1.7320508075688772, width(e))
		}
		compared++
	}
	if compared < 20 {
		t.Errorf("only %d intervals were compared", compared)
	}
	near(t, "χ² of copies, clustered", clustered["c.test.log-rank.chi-square"].number(t, "value"),
		run(3, "clustered")["c.test.log-rank.chi-square"].number(t, "value"))
	if m := clustered["s.incidence.0.5y"]["method"]; !strings.Contains(m, "clustered by patient") {
		t.Errorf("the method %q does not name the variance", m)
	}
	if m := independent["s.incidence.0.5y"]["method"]; strings.Contains(m, "clustered") {
		t.Errorf("the plan asks for independence, the method is %q", m)
	}
}

// TestReasonsAddUp: at every time the incidences of the reasons add up to that of any reason, in every group, and their events
// too; and a small set is solved by hand: 4 shoulders, infection at day 10, death at 20, instability at 30.
//
//	infection 1/4; instability 1/4·... the event-free share before day 30 is 1/2, of 2 at risk: + 1/2·1/2 = 1/4.
func TestReasonsAddUp(t *testing.T) {
	table := "days,outcome,reason\n10,revised,infection\n20,died,\n30,revised,instability\n40,unrevised,\n"
	small := deltoidRun(t, readyPlan(t, table, "    columns: {follow_up: days}",
		"  - {id: r, kind: reasons for revision, endpoint: revision, times: [15, 35], unit: days}\n"))
	near(t, "infection", small["r.reason.infection.all.35d"].number(t, "value"), 0.25)
	near(t, "instability", small["r.reason.instability.all.35d"].number(t, "value"), 0.25)
	if e := small["r.reason.instability.all.15d"]; e.number(t, "value") != 0 || e["status"] != "no events" {
		t.Errorf("a reason before its first revision: %v", e)
	}
	r := rand.New(rand.NewPCG(3, 3))
	reasons := []string{"infection", "instability", "wear", "breakage", ""}
	table = "days,outcome,reason,arm\n"
	for range 600 {
		outcome, reason := []string{"revised", "died", "unrevised"}[r.IntN(3)], ""
		if outcome == "revised" {
			reason = reasons[r.IntN(len(reasons))]
		}
		table += fmt.Sprintf("%d,%s,%s,%d\n", r.IntN(40), outcome, reason, r.IntN(2))
	}
	got := deltoidRun(t, readyPlan(t, table, "    columns: {follow_up: days}\n    extra: {arm: text}",
		"  - {id: r, kind: reasons for revision, endpoint: revision, by: arm, times: [5, 20, 35], unit: days}\n"))
	for _, group := range []string{"0", "1", "all"} {
		for _, at := range []string{"5d", "20d", "35d"} {
			sum, events := 0.0, 0.0
			for id, e := range got {
				if strings.HasPrefix(id, "r.reason.") && strings.HasSuffix(id, "."+group+"."+at) {
					sum += e.number(t, "value")
					events += e.number(t, "events")
				}
			}
			whole := got["r.incidence."+group+"."+at]
			if d := sum - whole.number(t, "value"); d > 1e-12 || d < -1e-12 || events != whole.number(t, "events") {
				t.Errorf("at %s in %s the reasons add up to %v with %v events, any reason is %v", at, group, sum, events, whole)
			}
		}
	}
}

// TestUnitsOnTheAxis: the name of the time axis comes from the unit of the analysis, and the ticks are in it.
func TestUnitsOnTheAxis(t *testing.T) {
	for unit, last := range map[string]string{"days": "300", "weeks": "40", "months": "10", "years": "1"} {
		plan := readyPlan(t, "days,outcome\n100,revised\n200,unrevised\n400,unrevised\n", "    columns: {follow_up: days}",
			"  - {id: one, kind: implant survival, endpoint: revision_alone, unit: "+unit+", times: ["+last+"]}\n")
		texts := lettering(t, outputs(t, plan), "one")
		name := strings.ToUpper(unit[:1]) + unit[1:] + " since the index procedure"
		if !slices.Contains(texts, name) || !slices.Contains(texts, last) {
			t.Errorf("in %s the drawing says %q", unit, texts)
		}
	}
}

// TestSwappedColumns: the follow-up given as outcome and the outcome as follow-up is refused before any estimate, naming
// both.
func TestSwappedColumns(t *testing.T) {
	plan := readyPlan(t, "days,status\n100,revised\n200,unrevised\n400,died\n", "    columns: {follow_up: status, outcome: days}",
		"  - {id: one, kind: implant survival, endpoint: revision, times: [1]}\n")
	code, stdout, stderr := call("check", plan)
	if code != exitFindings && code != exitNothing {
		t.Errorf("check ended with exit code %d", code)
	}
	for _, name := range []string{"status", "days"} {
		if !strings.Contains(stdout+stderr, name) {
			t.Errorf("check does not name the column %q:\n%s%s", name, stdout, stderr)
		}
	}
	if code, _, _ := call("run", plan, "--out", filepath.Join(t.TempDir(), "report")); code != exitNothing {
		t.Errorf("run ended with exit code %d", code)
	}
}
