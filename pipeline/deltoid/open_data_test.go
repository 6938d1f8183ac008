package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/pqarrow"
)

// These tests run the whole program on published open data, from the export to estimates.csv, and hold every number
// against results that others computed or printed.

const testdata = "../../testdata"

// row is one row of estimates.csv by column name.
type row map[string]string

func (r row) number(t *testing.T, column string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(r[column], 64)
	if err != nil {
		t.Fatalf("%s of %s is %q, not a number (status %q, note %q)", column, r["id"], r[column], r["status"], r["note"])
	}
	return x
}

// deltoidRun runs the program on a plan and returns its estimates by id.
func deltoidRun(t *testing.T, plan string) map[string]row {
	t.Helper()
	out := filepath.Join(t.TempDir(), "report")
	var stdout, stderr bytes.Buffer
	if code := execute(context.Background(), []string{"run", plan, "--out", out}, &stdout, &stderr); code != exitDone {
		t.Fatalf("run %s ended with exit code %d:\n%s%s", plan, code, stdout.String(), stderr.String())
	}
	return readEstimates(t, filepath.Join(out, "tables", "estimates.csv"))
}

func readEstimates(t *testing.T, path string) map[string]row {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	rows := map[string]row{}
	for _, record := range records[1:] {
		r := row{}
		for i, name := range records[0] {
			r[name] = record[i]
		}
		rows[r["id"]] = r
	}
	return rows
}

// bothFormats runs a test on the CSV export that a plan names, and on the same table as Parquet.
func bothFormats(t *testing.T, plan string, check func(t *testing.T, estimates map[string]row)) {
	t.Run("CSV", func(t *testing.T) { check(t, deltoidRun(t, filepath.Join(testdata, plan))) })
	t.Run("Parquet", func(t *testing.T) { check(t, deltoidRun(t, asParquet(t, filepath.Join(testdata, plan)))) })
}

// asParquet copies a plan with one export to a new folder, the export as a Parquet file of texts and whole numbers.
func asParquet(t *testing.T, plan string) string {
	t.Helper()
	text, err := os.ReadFile(plan)
	if err != nil {
		t.Fatal(err)
	}
	_, after, _ := strings.Cut(string(text), "files: ")
	export, _, _ := strings.Cut(after, "\n")
	dir := t.TempDir()
	writeAsParquet(t, filepath.Join(filepath.Dir(plan), export), filepath.Join(dir, "export.parquet"))
	path := filepath.Join(dir, "plan.yaml")
	changed := strings.Replace(string(text), "files: "+export, "files: export.parquet", 1)
	if err := os.WriteFile(path, []byte(changed), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func writeAsParquet(t *testing.T, from, to string) {
	t.Helper()
	f, err := os.Open(from)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var fields []arrow.Field
	var columns []arrow.Array
	for c, name := range records[0] {
		values := make([]string, len(records)-1)
		for r := range values {
			values[r] = records[r+1][c]
		}
		a := arrowColumn(values)
		fields = append(fields, arrow.Field{Name: name, Type: a.DataType(), Nullable: true})
		columns = append(columns, a)
	}
	s := arrow.NewSchema(fields, nil)
	var b bytes.Buffer
	w, err := pqarrow.NewFileWriter(s, &b, parquet.NewWriterProperties(), pqarrow.DefaultWriterProps())
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Write(array.NewRecord(s, columns, int64(len(records)-1))); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(to, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
}

// arrowColumn makes whole numbers where every value is one, and texts otherwise; an empty value is a null.
func arrowColumn(values []string) arrow.Array {
	whole := array.NewInt64Builder(memory.DefaultAllocator)
	texts := array.NewStringBuilder(memory.DefaultAllocator)
	isWhole := true
	for _, v := range values {
		if v == "" {
			whole.AppendNull()
			texts.AppendNull()
			continue
		}
		n, err := strconv.ParseInt(v, 10, 64)
		isWhole = isWhole && err == nil
		whole.Append(n)
		texts.Append(v)
	}
	if isWhole {
		return whole.NewArray()
	}
	return texts.NewArray()
}

// reference reads one case of the results in testdata/references/expected (made with R 4.2.2; the scripts are beside them).
func reference(t *testing.T, name string, into any) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(testdata, "references", "expected", name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, into); err != nil {
		t.Fatal(err)
	}
}

// near holds a number to a relative error of 1e-9, the house's bound for closed forms.
func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-9*math.Max(math.Abs(want), 1e-3) {
		t.Errorf("%s = %.12g, want %.12g", what, got, want)
	}
}

// TestMelanomaAgainstReference: cumulative incidence with a competing cause. Reference: the Aalen–Johansen estimates of
// survival 3.5-3 with its infinitesimal-jackknife variance, which the delta-method variance equals, and the intervals on
// the complementary log-log scale; 1 − product-limit as one_minus_km_naive.
func TestMelanomaAgainstReference(t *testing.T) {
	var want struct {
		Results struct {
			Curves []struct {
				Group    string
				Cause, N int
				Horizons struct {
					AtRisk []float64  `json:"n_risk_before"`
					Value  []float64  `json:"aj"`
					Lower  []*float64 `json:"aj_loglog_lower"`
					Upper  []*float64 `json:"aj_loglog_upper"`
				}
				Net []float64 `json:"one_minus_km_naive"`
			}
		}
	}
	reference(t, "cif_melanoma_ulcer", &want)
	slugs := map[string]string{"0": "absent", "1": "present"}
	bothFormats(t, "references/melanoma.yaml", func(t *testing.T, got map[string]row) {
		checked := 0
		for _, c := range want.Results.Curves {
			if c.Cause != 1 {
				continue
			}
			for i, years := range []string{"1", "5", "10"} {
				at := slugs[c.Group] + "." + years + "y"
				e := got["by-ulceration.incidence."+at]
				near(t, "n at "+at, e.number(t, "n"), float64(c.N))
				near(t, "at risk at "+at, got["by-ulceration.at-risk."+at].number(t, "value"), c.Horizons.AtRisk[i])
				near(t, "incidence at "+at, e.number(t, "value"), c.Horizons.Value[i])
				near(t, "net at "+at, got["by-ulceration.net."+at].number(t, "value"), c.Net[i])
				if c.Horizons.Lower[i] == nil {
					if e["status"] != "no events" || e["lower"] != "" || e["upper"] != "" {
						t.Errorf("at %s, before any event, the row is %v", at, e)
					}
					continue
				}
				near(t, "lower limit at "+at, e.number(t, "lower"), *c.Horizons.Lower[i])
				near(t, "upper limit at "+at, e.number(t, "upper"), *c.Horizons.Upper[i])
				checked++
			}
		}
		if checked == 0 {
			t.Error("no estimate was compared")
		}
	})
}

// TestLungAgainstReference: product-limit estimates of deaths without a competing cause. Reference: survival 3.5-3.
func TestLungAgainstReference(t *testing.T) {
	var want struct {
		Results struct {
			Groups []struct {
				Group     string
				N, Events int
				Horizons  struct {
					AtRisk []float64 `json:"n_risk_before"`
					Value  []float64 `json:"surv"`
					Lower  []float64 `json:"loglog_lower"`
					Upper  []float64 `json:"loglog_upper"`
				}
			}
		}
	}
	reference(t, "km_lung_sex", &want)
	bothFormats(t, "references/lung.yaml", func(t *testing.T, got map[string]row) {
		for i, sex := range []string{"male", "female"} {
			w := want.Results.Groups[i]
			near(t, "n of "+sex, got["by-sex.shoulders."+sex].number(t, "value"), float64(w.N))
			near(t, "deaths of "+sex, got["by-sex.ended-died."+sex].number(t, "value"), float64(w.Events))
			for j, day := range []string{"180", "365", "730"} {
				at := sex + "." + day + "d"
				e := got["by-sex.free."+at]
				near(t, "at risk at "+at, got["by-sex.at-risk."+at].number(t, "value"), w.Horizons.AtRisk[j])
				near(t, "survival at "+at, e.number(t, "value"), w.Horizons.Value[j])
				near(t, "lower limit at "+at, e.number(t, "lower"), w.Horizons.Lower[j])
				near(t, "upper limit at "+at, e.number(t, "upper"), w.Horizons.Upper[j])
			}
		}
	})
}

// printed holds a number to every digit that a publication prints.
func printed(t *testing.T, what string, got float64, want string) {
	t.Helper()
	_, decimals, _ := strings.Cut(want, ".")
	if s := strconv.FormatFloat(got, 'f', len(decimals), 64); s != want {
		t.Errorf("%s = %s, printed is %s", what, s, want)
	}
}

// TestSixMPAgainstPrint: the worked example of every textbook, 42 children of the 6-MP trial (Freireich and others, Blood
// 1963;21:699; Gehan, Biometrika 1965;52:203), in weeks. The survival column is printed to three digits in textbooks; the
// four-digit values, the limits on the complementary log-log scale and the numbers at risk come from survival 3.5-3.
func TestSixMPAgainstPrint(t *testing.T) {
	type point struct{ week, atRisk, survival, short, lower, upper string }
	drug := []point{
		{"6", "21", "0.8571", "0.857", "0.6197", "0.9516"},
		{"7", "17", "0.8067", "0.807", "0.5631", "0.9228"},
		{"10", "15", "0.7529", "0.753", "0.5032", "0.8894"},
		{"13", "12", "0.6902", "0.690", "0.4316", "0.8491"},
		{"16", "11", "0.6275", "0.627", "0.3675", "0.8049"},
		{"22", "7", "0.5378", "0.538", "0.2678", "0.7468"},
		{"23", "6", "0.4482", "0.448", "0.1881", "0.6801"},
	}
	placebo := []point{
		{"1", "21", "0.90476", "", "0.670046", "0.9753"},
		{"4", "16", "0.66667", "", "0.425350", "0.8250"},
		{"8", "12", "0.38095", "", "0.183067", "0.5778"},
		{"12", "6", "0.19048", "", "0.059482", "0.3774"},
		{"22", "2", "0.04762", "", "0.003324", "0.1970"},
	}
	bothFormats(t, "published/six-mp.yaml", func(t *testing.T, got map[string]row) {
		for group, points := range map[string][]point{"6-mp": drug, "placebo": placebo} {
			for _, p := range points {
				at := group + "." + p.week + "w"
				e := got["by-treatment.free."+at]
				printed(t, "survival at "+at, e.number(t, "value"), p.survival)
				if p.short != "" && p.short != "0.627" { // 0.6275 lies on the edge of 0.627 and 0.628
					printed(t, "survival at "+at, e.number(t, "value"), p.short)
				}
				printed(t, "lower limit at "+at, e.number(t, "lower"), p.lower)
				printed(t, "upper limit at "+at, e.number(t, "upper"), p.upper)
				printed(t, "at risk at "+at, got["by-treatment.at-risk."+at].number(t, "value"), p.atRisk)
			}
		}
		// At 23 weeks every child on placebo has relapsed: the estimate is 0 and there is no interval, not an interval of 0.
		last := got["by-treatment.free.placebo.23w"]
		if last.number(t, "value") != 0 || last["lower"] != "" || last["upper"] != "" || last["note"] == "" {
			t.Errorf("at 23 weeks on placebo the row is %v", last)
		}
	})
}

// TestMGUSAgainstReference: where death is far more common than the event, 1 − product-limit overstates what will happen:
// by a quarter at 60 months and threefold at 360. The values are those of survival 3.5-3 on the data of Kyle and others
// (N Engl J Med 2002;346:564), in months.
func TestMGUSAgainstReference(t *testing.T) {
	incidence := map[string]float64{"60": 0.034103713, "120": 0.063722168, "240": 0.099813716, "360": 0.134041644}
	net := map[string]float64{"60": 0.042153862, "120": 0.095221659, "240": 0.209561624, "360": 0.424836941}
	bySex := map[string]float64{"female": 0.073885664, "male": 0.055310241}
	bothFormats(t, "published/mgus2.yaml", func(t *testing.T, got map[string]row) {
		digits := func(what string, got, want float64) {
			t.Helper()
			if math.Abs(got-want) > 5e-10 { // half a unit of the ninth decimal, the last one given
				t.Errorf("%s = %.10f, want %.9f", what, got, want)
			}
		}
		for months, want := range incidence {
			digits("incidence at "+months, got["all.incidence.all."+months+"mo"].number(t, "value"), want)
			digits("net at "+months, got["all.net.all."+months+"mo"].number(t, "value"), net[months])
		}
		for sex, want := range bySex {
			digits("incidence of "+sex, got["by-sex.incidence."+sex+".120mo"].number(t, "value"), want)
		}
		for id, want := range map[string]float64{"all.ended-revised.all": 115, "all.ended-died.all": 860, "all.ended-censored.all": 409} {
			if n := got[id].number(t, "value"); n != want {
				t.Errorf("%s = %v, want %v", id, n, want)
			}
		}
	})
}

// TestTwoEyesWithoutSides: in the retinopathy data (Huster and others 1989, R survival) each of 197 patients has both eyes in,
// but no column says which is which. Nobody may be counted as having one side in, nor as having no pair.
func TestTwoEyesWithoutSides(t *testing.T) {
	dir := t.TempDir()
	data, err := os.ReadFile(filepath.Join(testdata, "references", "data", "retinopathy.csv"))
	if err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "retinopathy.csv"), string(data))
	plan := filepath.Join(dir, "plan.yaml")
	write(t, plan, "plan: 1\nstudy: retinopathy\ntitle: Visual loss\nexports:\n  shoulders:\n    files: retinopathy.csv\n"+
		"    columns: {patient: id, follow_up: futime, outcome: status}\n    units: {follow_up: months}\n"+
		"    recode: {outcome: {\"0\": unrevised, \"1\": revised}}\n    extra: {trt: {type: code, title: Treatment}}\n"+
		"endpoints: {loss: {label: visual loss}}\nanalyses:\n  - {id: both, kind: both shoulders, by: trt}\n")
	got := deltoidRun(t, plan)
	for id, want := range map[string]float64{"both.patients": 197, "both.unsided": 197, "both.unsided-several": 197, "both.one-side": 0, "both.both-sides": 0} {
		if n := got[id].number(t, "value"); n != want {
			t.Errorf("%s is %v, want %v", id, n, want)
		}
	}
	if share := got["both.both-sides.share"]; share["value"] != "" || share["status"] != "not identifiable" {
		t.Errorf("a share of nobody whose sides are known: %v", share)
	}
}

// TestTotalsOfOpenDataClose holds the accounting identity in every end-to-end run: rows read = used + set aside + unlinked.
func TestTotalsOfOpenDataClose(t *testing.T) {
	for plan, rows := range map[string]float64{"references/melanoma.yaml": 205, "references/lung.yaml": 228, "published/six-mp.yaml": 42,
		"published/mgus2.yaml": 1384} {
		got := deltoidRun(t, filepath.Join(testdata, plan))
		sum := 0.0
		for _, part := range []string{"used", "set-aside", "unlinked"} {
			sum += got["accounts.shoulders."+part].number(t, "value")
		}
		if read := got["accounts.shoulders.read"].number(t, "value"); read != rows || sum != rows {
			t.Errorf("%s: %v rows in the file, %v read, %v in the account", plan, rows, read, sum)
		}
		fmt.Fprintln(t.Output(), plan, "accounts for", rows, "rows")
	}
}
