package demo_test

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"

	"deltoid/cohorts"
	"deltoid/pipeline/demo"
	"deltoid/pipeline/ingest"
	"deltoid/pipeline/plan"
	"deltoid/schemas"
)

// written writes a registry and returns the folder and the path of the plan.
func written(t testing.TB, o demo.Options) (dir, planPath string) {
	t.Helper()
	dir = t.TempDir()
	planPath, err := demo.Write(dir, o, nil)
	if err != nil {
		t.Fatal(err)
	}
	return dir, planPath
}

// study is what reading, checking and linking make of the exports.
type study struct {
	plan     *plan.Plan
	tables   map[string]*schemas.Table
	registry *cohorts.Registry
	found    *schemas.Findings
}

func read(t *testing.T, planPath string) study {
	t.Helper()
	p, err := plan.Read(planPath)
	if err != nil {
		t.Fatal(err)
	}
	s := study{plan: p, tables: map[string]*schemas.Table{}, found: &schemas.Findings{}}
	for _, src := range p.Sources {
		schema, err := schemas.Shipped(src.Table)
		if err != nil {
			t.Fatal(err)
		}
		table, err := ingest.Read(context.Background(), schema, src, s.found, nil)
		if err != nil {
			t.Fatal(err)
		}
		schemas.Check(table, s.found)
		s.tables[src.Table] = table
	}
	if s.registry, err = cohorts.Link(s.tables, p.FollowUp, s.found); err != nil {
		t.Fatal(err)
	}
	return s
}

// Without planted defects the whole way finds nothing to say, in either format, and what it reads is what was drawn.
func TestWithoutDefectsNothingIsFound(t *testing.T) {
	o := demo.Options{Shoulders: 6000, Seed: 5}
	dir, planPath := written(t, o)
	r, err := demo.Generate(o)
	if err != nil {
		t.Fatal(err)
	}
	drawn, err := r.Tables()
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{planPath, filepath.Join(dir, "plan-parquet.yaml")} {
		s := read(t, path)
		for _, f := range s.found.All() {
			t.Errorf("%s: %s:%d: %s: %s %q %s", path, f.File, f.Line, f.Rule.ID, f.Field, f.Value, f.Detail)
		}
		for name, want := range drawn {
			sameCells(t, name, s.tables[name], want)
		}
		first := 0
		for i := range s.registry.Shoulders {
			if s.registry.Shoulders[i].History == cohorts.First {
				first++
			}
		}
		if first != o.Shoulders {
			t.Errorf("%s: %d shoulders, want %d, conversions apart", path, first, o.Shoulders)
		}
		if s.registry.Patients != r.Patients {
			t.Errorf("%s: %d patients, want %d", path, s.registry.Patients, r.Patients)
		}
	}
}

func sameCells(t *testing.T, name string, got, want *schemas.Table) {
	t.Helper()
	if got.Rows() != want.Rows() {
		t.Errorf("%s: %d rows, want %d", name, got.Rows(), want.Rows())
		return
	}
	for _, w := range want.Columns() {
		g := got.Column(w.Field.Name)
		if g == nil {
			t.Errorf("%s: the column %s was not read", name, w.Field.Name)
			continue
		}
		for row := range want.Rows() {
			if g.String(row) != w.String(row) {
				t.Errorf("%s, row %d: %s is %q, want %q", name, row, w.Field.Name, g.String(row), w.String(row))
				return
			}
		}
	}
}

// The true courses in memory are the ones that the exports tell, once linked.
func TestExportsTellTheTrueCourses(t *testing.T) {
	o := demo.Options{Shoulders: 5000, Seed: 8, Defects: true}
	_, planPath := written(t, o)
	r, err := demo.Generate(o)
	if err != nil {
		t.Fatal(err)
	}
	s := read(t, planPath)
	cohort, _, err := cohorts.Define(s.registry, s.plan.Cohort.With(cohorts.WithRecorded), s.plan.FollowUp)
	if err != nil {
		t.Fatal(err)
	}
	told, err := cohort.Episodes(s.plan.Endpoints[0], s.plan.FollowUp, cohorts.Grouping{By: "indication"})
	if err != nil {
		t.Fatal(err)
	}
	true := r.Episodes()
	if diff := gocmp.Diff(tally(true.Exit, true.Cause, true.Group), tally(told.Exit, told.Cause, told.Group)); diff != "" {
		t.Errorf("courses drawn (-) and told (+) differ:\n%s", diff)
	}
}

// tally sorts courses, because linking orders shoulders by pseudonym and drawing by patient.
func tally(exit []int32, cause []uint8, group []int32) [][3]int32 {
	all := make([][3]int32, len(exit))
	for i := range exit {
		all[i] = [3]int32{group[i], exit[i], int32(cause[i])}
	}
	slices.SortFunc(all, func(a, b [3]int32) int {
		return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1]), cmp.Compare(a[2], b[2]))
	})
	return all
}

// ruleOf names, for each planted defect, the rule that has to find it.
var ruleOf = map[demo.Kind]*schemas.Rule{
	demo.ImpossibleDate:         schemas.RuleBadDate,
	demo.UnknownSide:            schemas.RuleUnknownCode,
	demo.MissingCell:            schemas.RuleMissingRequired,
	demo.OutOfRange:             schemas.RuleOutOfRange,
	demo.AfterDataCut:           cohorts.RuleAfterDataCut,
	demo.DuplicateRow:           schemas.RuleSameRowTwice,
	demo.SecondPrimary:          cohorts.RuleSecondPrimary,
	demo.RevisionBeforePrimary:  cohorts.RuleRevisionBeforePrimary,
	demo.RevisionWithoutPrimary: cohorts.RuleNoIndexProcedure,
	demo.DeathBeforeRevision:    cohorts.RuleRevisionAfterDeath,
	demo.SecondDeath:            cohorts.RuleSecondDeath,
}

// The checks find each planted defect at its place by its rule, and nothing else, in either format.
func TestPlantedDefectsAreFound(t *testing.T) {
	o := demo.Options{Shoulders: 20_000, Seed: 3, Defects: true}
	dir, planPath := written(t, o)
	r, err := demo.Generate(o)
	if err != nil {
		t.Fatal(err)
	}
	type place struct {
		Rule, Table string
		Line        int
	}
	for path, line := range map[string]func(demo.Defect) int{
		planPath:                                demo.Defect.LineCSV,
		filepath.Join(dir, "plan-parquet.yaml"): demo.Defect.RowParquet,
	} {
		want, got := map[place]int{}, map[place]int{}
		for _, d := range r.Defects {
			want[place{ruleOf[d.Kind].ID, d.Table, line(d)}]++
		}
		for _, f := range read(t, path).found.All() {
			got[place{f.Rule.ID, f.Table, f.Line}]++
		}
		if diff := gocmp.Diff(want, got); diff != "" {
			t.Errorf("%s: defects planted (-) and found (+) differ:\n%s", path, diff)
		}
	}
}

// In 20,000 shoulders there are as many defects as the list of kinds says; in twice as many shoulders, twice as many.
func TestDefectsAreAsManyAsPlanned(t *testing.T) {
	want := map[demo.Kind]int{demo.ImpossibleDate: 3, demo.UnknownSide: 4, demo.MissingCell: 4, demo.OutOfRange: 3,
		demo.AfterDataCut: 6, demo.DuplicateRow: 5, demo.SecondPrimary: 3, demo.RevisionBeforePrimary: 3,
		demo.RevisionWithoutPrimary: 2, demo.DeathBeforeRevision: 2, demo.SecondDeath: 2}
	for _, times := range []int{1, 2} {
		r, err := demo.Generate(demo.Options{Shoulders: 20_000 * times, Seed: 12, Defects: true})
		if err != nil {
			t.Fatal(err)
		}
		got := map[demo.Kind]int{}
		for _, d := range r.Defects {
			got[d.Kind]++
		}
		for _, k := range demo.Kinds() {
			if got[k] != want[k]*times {
				t.Errorf("%d defects %q in %d shoulders, want %d", got[k], k, 20_000*times, want[k]*times)
			}
		}
	}
}

// Defects are rows more: the true courses are the same with and without them.
func TestDefectsLeaveTheTruthAlone(t *testing.T) {
	clean, err := demo.Generate(demo.Options{Shoulders: 9000, Seed: 4})
	if err != nil {
		t.Fatal(err)
	}
	spoilt, err := demo.Generate(demo.Options{Shoulders: 9000, Seed: 4, Defects: true})
	if err != nil {
		t.Fatal(err)
	}
	if diff := gocmp.Diff(clean.Episodes(), spoilt.Episodes()); diff != "" {
		t.Error(diff)
	}
	if len(clean.Defects) != 0 || len(spoilt.Defects) == 0 {
		t.Errorf("%d defects without and %d with Defects", len(clean.Defects), len(spoilt.Defects))
	}
}

// The same options give the same bytes in every file, whatever the number of processors; another seed gives others.
func TestSameBytesTwice(t *testing.T) {
	o := demo.Options{Shoulders: 10_000, Seed: 2, Defects: true}
	before := runtime.GOMAXPROCS(1)
	defer runtime.GOMAXPROCS(before)
	one, _ := written(t, o)
	runtime.GOMAXPROCS(2)
	two, _ := written(t, o)
	again, _ := written(t, o)
	o.Seed++
	other, _ := written(t, o)
	files := folder(t, one)
	if len(files) != 15 {
		t.Fatalf("%d files written, want 15", len(files))
	}
	for name, content := range files {
		if !bytes.Equal(content, folder(t, two)[name]) || !bytes.Equal(content, folder(t, again)[name]) {
			t.Errorf("%s differs between runs", name)
		}
		if strings.HasPrefix(name, "exports") && bytes.Equal(content, folder(t, other)[name]) {
			t.Errorf("%s is the same with another seed", name)
		}
	}
}

func folder(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	files := map[string][]byte{}
	paths, err := filepath.Glob(filepath.Join(dir, "*.*"))
	if err != nil {
		t.Fatal(err)
	}
	exports, err := filepath.Glob(filepath.Join(dir, "exports", "*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range append(paths, exports...) {
		b, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		name, err := filepath.Rel(dir, p)
		if err != nil {
			t.Fatal(err)
		}
		files[filepath.ToSlash(name)] = b
	}
	return files
}

// From one shoulder on there is a registry; other numbers are refused with what is allowed.
func TestNumberOfShoulders(t *testing.T) {
	for _, n := range []int{1, 2, 3, 17, 4096, 4097} {
		for _, defects := range []bool{false, true} {
			r, err := demo.Generate(demo.Options{Shoulders: n, Seed: 9, Defects: defects})
			if err != nil {
				t.Fatal(err)
			}
			if r.Patients < (n+1)/2 || r.Patients > n {
				t.Errorf("%d patients with %d shoulders", r.Patients, n)
			}
		}
	}
	for _, n := range []int{-1, 0, demo.MaxShoulders + 1} {
		_, err := demo.Write(t.TempDir(), demo.Options{Shoulders: n}, nil)
		var p *schemas.Problem
		if !errors.As(err, &p) || p.Allowed == "" || p.Remedy == "" || p.Kind != schemas.PlanProblem {
			t.Errorf("%d shoulders: error %v, want a problem with what is allowed", n, err)
		}
	}
}

// Two-sided patients are 8 to 12 in a hundred, as registries of shoulder replacements see them. Some have a different
// procedure on each side: of those with cuff-tear arthropathy first, a tenth, and of those with an anatomic replacement
// first, a quarter, which together are about five in a hundred.
func TestTwoSidedPatients(t *testing.T) {
	r, err := demo.Generate(demo.Options{Shoulders: 50_000, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	if share := float64(r.TwoSided) / float64(r.Patients); share < 0.08 || share > 0.12 {
		t.Errorf("%.3f of the patients have both sides in", share)
	}
	tables, err := r.Tables()
	if err != nil {
		t.Fatal(err)
	}
	procedures, first, unlike := tables["procedures"], map[string][2]string{}, 0
	for row := range procedures.Rows() {
		if procedures.Column("occasion").String(row) != "primary" {
			continue
		}
		patient := procedures.Column("patient").String(row)
		here := [2]string{procedures.Column("side").String(row), procedures.Column("procedure").String(row)}
		if there, known := first[patient]; known && there[0] != here[0] && there[1] != here[1] {
			unlike++
		}
		first[patient] = here
	}
	if share := float64(unlike) / float64(r.TwoSided); share < 0.02 || share > 0.10 {
		t.Errorf("%d of %d patients with both sides in have a different procedure on each", unlike, r.TwoSided)
	}
}

// Every text file says that it is invented; the README names the seed and each kind of defect with its number.
func TestTextsSayThatItIsInvented(t *testing.T) {
	dir, _ := written(t, demo.Options{Shoulders: 20_000, Seed: 77, Defects: true})
	files := folder(t, dir)
	for _, name := range []string{"README.md", "plan.yaml", "plan-parquet.yaml"} {
		if !strings.Contains(strings.ToLower(string(files[name])), "invented") {
			t.Errorf("%s does not say that it is invented", name)
		}
	}
	readme := string(files["README.md"])
	if !strings.Contains(readme, "seed 77") {
		t.Error("the README does not name the seed")
	}
	for _, k := range demo.Kinds() {
		if !strings.Contains(readme, "| "+k.String()+" | ") {
			t.Errorf("the README does not list %q", k)
		}
	}
}

// Progress only rises, ends at the total, and its calls do not overlap.
func TestProgress(t *testing.T) {
	var last, total int64
	_, err := demo.Write(t.TempDir(), demo.Options{Shoulders: 500, Seed: 1}, func(done, all int64) {
		if done < last {
			t.Errorf("progress fell from %d to %d", last, done)
		}
		last, total = done, all
	})
	if err != nil || last != total || total == 0 {
		t.Errorf("progress ended at %d of %d, error %v", last, total, err)
	}
}

func BenchmarkGenerate(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := demo.Generate(demo.Options{Shoulders: 100_000, Seed: 1, Defects: true}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkWrite(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := demo.Write(b.TempDir(), demo.Options{Shoulders: 100_000, Seed: 1, Defects: true}, nil); err != nil {
			b.Fatal(err)
		}
	}
}
