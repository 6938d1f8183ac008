package plan

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"deltoid/cohorts"
	"deltoid/schemas"
)

func number64(v float64) *float64 { return &v }

// dayOf counts days with the calendar of the standard library.
func dayOf(year int, month time.Month, day int) int32 {
	return int32(time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Sub(time.Unix(0, 0).UTC()) / (24 * time.Hour))
}

func read(t *testing.T, name string) *Plan {
	t.Helper()
	p, err := Read(filepath.Join(goodPlans, name))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// Written out by hand beside testdata/plans/linked.yaml, key by key.
func TestLinkedPlan(t *testing.T) {
	dir := goodPlans + "/exports/"
	path := goodPlans + "/linked.yaml"
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	at := func(words string) string {
		before, _, found := strings.Cut(string(data), words)
		if !found {
			t.Errorf("the plan does not hold %q", words)
		}
		return fmt.Sprintf("%s:%d", path, 1+strings.Count(before, "\n"))
	}
	want := &Plan{
		Path: path, Study: "invented-registry", Title: "Reverse shoulder replacement in an invented registry",
		About: "Two patients who do not exist, in a hospital that does not exist.", Invented: true,
		Sources: []schemas.Source{
			{Table: "procedures", Format: schemas.CSV, Delimiter: ';', Decimal: ',', Plan: at("  procedures:"),
				Files:   []string{dir + "procedures-2011.csv", dir + "procedures-2012.csv"},
				Shown:   []string{"exports/procedures-2011.csv", "exports/procedures-2012.csv"},
				Columns: map[string]string{"patient": "PAT_NO", "day": "OP_DATE", "hospital": "SITE", "side_of_work": "DOM"},
				Recode: map[string]map[string]string{"procedure": {"RSA": "reverse", "TSA": "anatomic"},
					"asa": {"01": "1", "02": "2", "9": ""}, "hospital": {"01": "North"}},
				Layouts: map[string][]schemas.Layout{"day": {"DD/MM/YYYY"}, "list_day": {"DD/MM/YYYY"}},
				Missing: []string{"NA", "."}, Drop: []string{"remarks"},
				Reviewed: map[string]string{"SITE": "Codes of two invented sites."},
				SHA256: map[string]string{"exports/procedures-2011.csv": "f325a2a9c0f753886ad7e8eb38ae28e162493b2f07037649d4994fba002ad429",
					"exports/procedures-2012.csv": "7bf5c658e0a9fca2100a39be40661112d214ba8409f00c8c092d37b9cb010407"},
				Extra: []schemas.Field{
					{Name: "list_day", Title: "list day", Type: schemas.Date},
					{Name: "side_of_work", Title: "Dominant side", Type: schemas.Code,
						Codes: []schemas.CodeValue{{Value: "d", Label: "dominant"}, {Value: "n", Label: "not dominant"}}},
					{Name: "theatre_minutes", Title: "theatre minutes", Type: schemas.Number, Unit: "minutes"},
					{Name: "case_weight", Title: "case weight", Type: schemas.Number},
					{Name: "smoking", Title: "smoking", Type: schemas.Code, KnownOn: "list_day",
						Codes: []schemas.CodeValue{{Value: "y", Label: "smokes"}, {Value: "n", Label: "does not smoke"}}},
				}},
			written(plainSource("revisions", at("  revisions:")), "DD.MM.YYYY"),
			func() schemas.Source {
				s := plainSource("deaths", at("  deaths:"))
				s.SHA256 = map[string]string{"exports/deaths.csv": "8a190f9e40d1893c5ae27e8da95fa3dffb067fb083b3dc2f798e91a5d31f9347"}
				return s
			}(),
			plainSource("scores", at("  scores:")),
			func() schemas.Source {
				s := plainSource("contacts", at("  contacts:"))
				s.Missing = []string{"unknown"}
				return s
			}(),
		},
		FollowUp: cohorts.FollowUp{DataCut: dayOf(2024, 12, 31), ToLastContact: true},
		Cohort: cohorts.Definition{Name: "Reverse replacements for two indications", Indication: cohorts.Recorded, FirstShoulderOnly: true,
			Minimum: cohorts.MinimumFollowUp{Days: 731, Words: "2 years", Achieved: true, Place: at("  minimum_follow_up")}, Criteria: []cohorts.Criterion{
				{Label: "Reverse replacement", Place: at("    - keep: Reverse"), Where: []cohorts.Condition{{Field: "procedure", In: []string{"reverse"}}}},
				{Label: "Osteoarthritis with a deficient cuff, or a fracture", Place: at("    - keep: Osteo"),
					Where: []cohorts.Condition{{Field: "indication", In: []string{"oa_deficient_cuff", "fracture"}}}},
				{Label: "Operated 2010 or later, aged 40 to 100", Place: at("    - keep: Operated"), Where: []cohorts.Condition{
					{Field: "day", From: number64(float64(dayOf(2010, 1, 1)))}, {Field: "age", From: number64(40), To: number64(100)}}},
				{Label: "First procedure of the shoulder", Place: at("    - keep: First"), Where: []cohorts.Condition{{Field: "history", In: []string{"first"}}}},
			}},
		Endpoints: []cohorts.Endpoint{
			{ID: "revision", Label: "revision for any reason", Event: cohorts.Revised, Competing: []cohorts.Cause{cohorts.Died}},
			{ID: "infection", Label: "revision for infection", Event: cohorts.Revised, Reasons: []string{"infection"},
				Competing: []cohorts.Cause{cohorts.Died, cohorts.OtherRevision}},
			{ID: "exchange", Label: "revision with a component exchanged", Event: cohorts.Revised, Counts: cohorts.ComponentExchanged,
				Competing: []cohorts.Cause{cohorts.Died}},
			{ID: "death", Label: "death", Event: cohorts.Died},
		},
		Visits: []cohorts.Window{
			{ID: "before-the-operation", Label: "Before the operation", From: -180},
			{ID: "1-year", Label: "1 year", Target: 365, From: 274, To: 548},
		},
		Analyses: []Analysis{
			described(Baseline, "baseline-characteristics-by-indication", at("  - {kind: baseline"), func(a *Analysis) {
				a.Groups.By, a.Fields, a.Medians, a.PValues = "indication", []string{"age", "sex"}, []string{"age"}, true
			}),
			described(BothShoulders, "both-shoulders-by-procedure", at("  - {kind: both"), func(a *Analysis) { a.Groups.By = "procedure" }),
			described(Indication, "indication", at("  - kind: indication"), nil),
			described(ProcedureAudit, "procedure-audit", at("  - kind: procedure audit"), nil),
			described(FollowUpKind, "follow-up-revision-by-indication", at("  - {kind: follow-up"), func(a *Analysis) {
				a.Endpoint, a.Groups.By, a.Instruments, a.Headline = "revision", "indication", []string{"constant"}, LeadIncidence
			}),
			{ID: "revision-by-indication", Kind: ImplantSurvival, Endpoint: "revision", Times: []float64{1, 2, 5, 10}, Unit: schemas.Years,
				Groups: cohorts.Grouping{By: "indication", Labels: map[string]string{"fracture": "Fracture"},
					Order: []string{"fracture", "oa_deficient_cuff"}},
				Headline: LeadSurvival, Level: 0.9, Interval: LogInterval, Until: 12, Place: at("  - id: revision-by"),
				Variance: Independent, Shares: []float64{0.05, 0.5}, Hazard: 1.5, Sensitivity: []Sensitivity{FirstShoulderOnly, RecordedIndication, WithoutMinimum}},
			{ID: "comparison-of-groups-revision-by-indication", Kind: Comparison, Endpoint: "revision", Times: []float64{5}, Unit: schemas.Years,
				Groups: cohorts.Grouping{By: "indication"}, Headline: LeadIncidence, Level: 0.95, Interval: LogLogInterval, Until: 5,
				Variance: Clustered, Tests: []Test{LogRank, WeightedEarly, Gray}, Strata: "sex", Trend: true, Pairs: BenjaminiHochberg,
				Horizon: 5, Weights: "case_weight", Place: at("  - kind: comparison of groups")},
			{ID: "reasons-for-revision-revision-by-indication", Kind: Reasons, Endpoint: "revision", Times: []float64{1, 5}, Unit: schemas.Years,
				Groups: cohorts.Grouping{By: "indication"}, Headline: LeadIncidence, Level: 0.95, Interval: LogLogInterval, Until: 5,
				Variance: Clustered, Sensitivity: []Sensitivity{FirstShoulderOnly}, Place: at("  - {kind: reasons for revision")},
			{ID: "revision-rates-revision-by-hospital", Kind: RevisionRates, Endpoint: "revision", Times: []float64{1, 5}, Unit: schemas.Years,
				Groups: cohorts.Grouping{By: "hospital"}, Headline: LeadIncidence, Level: 0.95, Interval: RatesMidP, Until: 5,
				Variance: Independent, Per: 100, Reference: "North", Sensitivity: []Sensitivity{FirstShoulderOnly}, Place: at("  - {kind: revision rates, endpoint: revision, by: hospital")},
			{ID: "revision-rates-revision-by-reason", Kind: RevisionRates, Endpoint: "revision",
				Times: []float64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}, Unit: schemas.Years, Groups: cohorts.Grouping{By: "reason"},
				Headline: LeadIncidence, Level: 0.95, Interval: RatesExact, Variance: Clustered, Per: 100, Reference: "all others",
				Place: at("  - {kind: revision rates, endpoint: revision, by: reason")},
			{ID: "regression-revision-by-indication", Kind: Regression, Endpoint: "revision", Unit: schemas.Years,
				Groups: cohorts.Grouping{By: "indication"}, Headline: LeadIncidence, Level: 0.95, Interval: LogLogInterval, Variance: Clustered,
				Strata: "hospital", Model: HazardModel, Ties: BreslowTies, Penalised: true, Interactions: [][2]string{{"indication", "sex"}},
				AdjustFor: []Covariate{
					{Field: "sex", Per: 1, Place: at("      - sex")},
					{Field: "age", Per: 1, Knots: 4, Reference: "70", Place: at("      - {field: age")},
					{Field: "asa", Per: 1, Labels: map[string]string{"3": "3 or more", "4": "3 or more"}, Order: []string{"2"}, Reference: "2",
						Place: at("      - {field: asa")},
					{Field: "theatre_minutes", Per: 10, Place: at("      - {field: theatre")},
					{Field: "bmi", Per: 1, Bands: []float64{25, 30}, Reference: "2", Place: at("      - {field: bmi")},
				}, Place: at("  - kind: regression")},
			{ID: "regression-of-incidence-revision", Kind: Regression, Endpoint: "revision", Unit: schemas.Years,
				Headline: LeadIncidence, Level: 0.95, Interval: LogLogInterval, Variance: Clustered, Model: IncidenceModel, Ties: EfronTies,
				AdjustFor: []Covariate{{Field: "age", Per: 1, Place: at("  - {kind: regression")}}, Place: at("  - {kind: regression")},
			{ID: "implant-survival-infection", Kind: ImplantSurvival, Endpoint: "infection", Times: []float64{24, 60}, Unit: schemas.Months,
				Headline: LeadIncidence, Level: 0.95, Interval: LogLogInterval, Until: 60, Variance: Clustered,
				Place: at("  - kind: implant survival\n    endpoint: infection")},
			{ID: "implant-survival-death-by-hospital", Kind: ImplantSurvival, Endpoint: "death", Times: []float64{5}, Unit: schemas.Years,
				Groups: cohorts.Grouping{By: "hospital"}, Headline: LeadSurvival, Level: 0.95, Interval: LogLogInterval, Until: 5,
				Variance: Clustered, Place: at("  - {kind: implant")},
			{ID: "implant-survival-exchange-by-day", Kind: ImplantSurvival, Endpoint: "exchange", Times: []float64{5}, Unit: schemas.Years,
				Groups:   cohorts.Grouping{By: "day", Bands: []float64{float64(dayOf(2015, 1, 1)), float64(dayOf(2020, 1, 1))}},
				Headline: LeadIncidence, Level: 0.95, Interval: LogLogInterval, Until: 5, Variance: Clustered,
				Within: &cohorts.Criterion{Label: "Cuff-tear arthropathy by the rules", Place: at("    within:"),
					Where: []cohorts.Condition{{Field: "settled_indication", In: []string{"cuff_tear_arthropathy"}}}},
				Place: at("  - kind: implant survival\n    endpoint: exchange")},
			{ID: "by-smoking-at-half-a-year", Kind: ImplantSurvival, Endpoint: "revision", Times: []float64{24}, Unit: schemas.Months,
				Groups: cohorts.Grouping{By: "smoking", Landmark: 183}, Headline: LeadIncidence, Level: 0.95, Interval: LogLogInterval, Until: 24,
				Variance: Clustered, Place: at("  - {kind: implant survival, endpoint: revision, by: smoking, landmark")},
			{ID: "by-smoking-as-it-became-known", Kind: ImplantSurvival, Endpoint: "revision", Times: []float64{2}, Unit: schemas.Years,
				Groups: cohorts.Grouping{By: "smoking", Split: true}, Headline: LeadIncidence, Level: 0.95, Interval: LogLogInterval, Until: 2,
				Variance: Clustered, Place: at("  - {kind: implant survival, endpoint: revision, by: smoking, split")},
		},
		Outputs:    []Output{HTML, Figures},
		Disclosure: Disclosure{MaskBelow: 3, Reason: "The registry's own rule is three."},
		Rules:      []Lowered{{Rule: "out-of-range", Reason: "The theatre's clock counts past midnight."}},
	}
	for i := range want.Sources {
		want.Sources[i].Warn = []string{"out-of-range"}
	}
	for i := range want.Analyses {
		want.Analyses[i].Groups.Place = want.Analyses[i].Place
	}
	if diff := cmp.Diff(want, read(t, "linked.yaml")); diff != "" {
		t.Errorf("the plan (-by hand +read):\n%s", diff)
	}
}

// described is an analysis of a kind that describes the cohort, with its defaults.
func described(kind Kind, id, place string, change func(*Analysis)) Analysis {
	a := Analysis{ID: id, Kind: kind, Place: place, Unit: schemas.Years, Headline: LeadSurvival, Level: 0.95, Interval: LogLogInterval,
		Variance: Clustered}
	if change != nil {
		change(&a)
	}
	return a
}

func plainSource(table, place string) schemas.Source {
	return schemas.Source{Table: table, Decimal: '.', Plan: place, Files: []string{goodPlans + "/exports/" + table + ".csv"},
		Shown: []string{"exports/" + table + ".csv"}, Layouts: map[string][]schemas.Layout{"day": {schemas.ISODate}}}
}

// written adds a second layout of the dates.
func written(s schemas.Source, layout schemas.Layout) schemas.Source {
	s.Layouts["day"] = append(s.Layouts["day"], layout)
	return s
}

func TestReadyPlanHasDefaults(t *testing.T) {
	p := read(t, "ready.yaml")
	if p.FollowUp.DataCut != schemas.NoDay || p.Cohort.Name != "All shoulders" || p.Disclosure.MaskBelow != 5 || p.Invented {
		t.Errorf("defaults: %+v %+v %+v", p.FollowUp, p.Cohort, p.Disclosure)
	}
	if diff := cmp.Diff([]Output{HTML, Markdown, Notebook, Figures}, p.Outputs); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff(map[string]schemas.Unit{"follow_up": schemas.Months}, p.Sources[0].Units); diff != "" {
		t.Error(diff)
	}
	if e := p.Endpoint(p.Analyses[0].Endpoint); e == nil || len(e.Competing) != 2 || p.Endpoint("death") != nil {
		t.Errorf("the endpoint of the analysis is %+v", e)
	}
}

func TestPlanOfDayNumbers(t *testing.T) {
	p := read(t, "day-numbers.yaml")
	if !p.Offsets || p.FollowUp.DataCut != 5000 || *p.Cohort.Criteria[0].Where[0].From != 365 {
		t.Errorf("offsets %v, data cut %d, from %v", p.Offsets, p.FollowUp.DataCut, p.Cohort.Criteria[0].Where[0])
	}
}

// Months are rounded to days when they are read, weeks are not.
func TestCoarseLengthsOfTime(t *testing.T) {
	if !read(t, "ready.yaml").Coarse() || read(t, "day-numbers.yaml").Coarse() {
		t.Error("months are coarse and weeks are not")
	}
}

// Changing any line of a plan that decides something changes the settings, so nothing that decides is left unsaid.
func TestSettingsTellEverything(t *testing.T) {
	path := filepath.Join(goodPlans, "linked.yaml")
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	before := settingsOf(t, path, string(data))
	for _, c := range [][2]string{
		{"study: invented-registry", "study: other"}, {"title: Reverse", "title: Inverse"}, {"about: Two", "about: 2"},
		{"invented: true", "invented: false"}, {"files: [exports/revisions.csv]", "files: [exports/shoulders.csv]"}, {"format: csv", ""},
		{"delimiter: semicolon", "delimiter: tab"}, {"decimal: comma", "decimal: point"}, {"day: OP_DATE", "day: OP_DAY"},
		{"TSA: anatomic", "TSA: hemi"}, {`9: ""`, "9: 5"}, {"list_day: DD/MM/YYYY", "list_day: MM/DD/YYYY"}, {`["NA", "."]`, `["NA"]`},
		{"list_day: date", "list_day: {type: date, title: Listed}"}, {"column: DOM", "column: DOMINANT"}, {"type: number", "type: integer"},
		{"unit: minutes", "unit: hours"}, {"n: not dominant", "n: other"}, {"missing: unknown", "missing: none"},
		{"data_cut: 2024-12-31", "data_cut: 2024-12-30"}, {"last_contact", "data_cut"}, {"name: Reverse", "name: Inverse"},
		{"keep: Reverse", "keep: Inverse"}, {"{procedure: reverse}", "{procedure: hemi}"}, {"from: 2010-01-01", "from: 2010-01-02"},
		{"to: 100", "to: 99"}, {"label: revision for infection", "label: infection"}, {"reasons: [infection]", "reasons: [infection, wear]"},
		{"competing: [died, other_revision]", "competing: [died]"}, {"event: died", "event: revised"}, {"id: revision-by", "id: by"},
		{"by: hospital", "by: surgeon"}, {"fracture: Fracture", "fracture: Broken"}, {"[fracture, oa_deficient_cuff]", "[oa_deficient_cuff]"},
		{"[1, 2, 5, 10]", "[1, 2, 5]"}, {"unit: months", "unit: weeks"}, {"until: 12", "until: 11"}, {"headline: survival", ""},
		{"level: 0.9", "level: 0.99"}, {"interval: log", "interval: plain"}, {"[html, figures]", "[html]"}, {"mask_below: 3", "mask_below: 4"},
		{"own rule", "rule"}, {"hazard: 1.5", "hazard: 2"}, {"weights: case_weight", "weights: theatre_minutes"}, {"exports/procedures-2011.csv: f", "exports/procedures-2011.csv: 2"}, {"two invented sites", "invented sites"},
		{"drop: [remarks]", ""}, {"past midnight", "backwards"}, {"out-of-range:", "bad-date:"},
	} {
		if !strings.Contains(string(data), c[0]) {
			t.Errorf("the plan does not hold %q", c[0])
			continue
		}
		after := settingsOf(t, path, strings.Replace(string(data), c[0], c[1], 1))
		if cmp.Equal(before, after) {
			t.Errorf("the settings do not tell %q from %q", c[0], c[1])
		}
	}
}

func settingsOf(t *testing.T, path, text string) [][2]string {
	t.Helper()
	p, err := Parse(path, []byte(text))
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return p.Settings()
}

// The order of settings that are maps in Go does not change from run to run.
func TestSettingsInFixedOrder(t *testing.T) {
	p := read(t, "linked.yaml")
	first := fmt.Sprint(p.Settings())
	for range 50 {
		if again := fmt.Sprint(p.Settings()); again != first {
			t.Fatalf("settings differ:\n%s\n%s", first, again)
		}
	}
}

func TestReadRefusesWhatIsNoPlan(t *testing.T) {
	dir := t.TempDir()
	write := func(name string, size int) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(strings.Repeat("#", size)), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	empty := t.TempDir()
	large := write("large.yaml", maxSize+1)
	write("study.yaml", 1)
	for _, c := range []struct{ path, what, remedy string }{
		{filepath.Join(dir, "stduy.yaml"), "does not exist", "study.yaml"},
		{filepath.Join(dir, "q.yaml"), "does not exist", "large.yaml, study.yaml"},
		{dir, "is a folder", "study.yaml"},
		{filepath.Join(empty, "plan.yaml"), "does not exist", "no YAML file lies"},
		{filepath.Join(empty, "gone", "plan.yaml"), "does not exist", "cannot be listed"},
		{large, "has 1048577 bytes", "not an export"},
	} {
		p, err := Read(c.path)
		var ps schemas.Problems
		if p != nil || !errors.As(err, &ps) || len(ps) != 1 {
			t.Errorf("%s: %v, %v", c.path, p, err)
			continue
		}
		if !strings.Contains(ps[0].What, c.what) || !strings.Contains(ps[0].Remedy, c.remedy) || ps[0].Where != c.path {
			t.Errorf("%s: %v, want %q and %q", c.path, err, c.what, c.remedy)
		}
	}
	if _, err := Parse("plan.yaml", make([]byte, maxSize+1)); err == nil {
		t.Error("a plan that is too large was parsed")
	}
}

// A reference stands for what it points at, and its faults are told once, where the words are.
func TestReferencesAreFollowed(t *testing.T) {
	path := filepath.Join(goodPlans, "ready.yaml")
	data, _ := os.ReadFile(path)
	twice := strings.Replace(string(data), "times: [1]}", "times: &t [1, 3]}\n  - {id: again, kind: implant survival, endpoint: revision, times: *t}", 1)
	p, err := Parse(path, []byte(twice))
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]float64{1, 3}, p.Analyses[1].Times); diff != "" {
		t.Error(diff)
	}
	_, err = Parse(path, []byte(strings.Replace(twice, "[1, 3]", "[3, 1]", 1)))
	if err == nil || strings.Count(err.Error(), "\n") != 0 || !strings.Contains(err.Error(), ":12:64: the time 1") {
		t.Errorf("one fault used twice: %v", err)
	}
}

func TestManyProblemsAreCounted(t *testing.T) {
	var b strings.Builder
	for i := range 1000 {
		fmt.Fprintf(&b, "key%d: 1\n", i)
	}
	_, err := Parse("plan.yaml", []byte(b.String()))
	var ps schemas.Problems
	if !errors.As(err, &ps) || len(ps) != maxProblems+1 || !strings.Contains(ps[maxProblems].What, "806 more") {
		t.Errorf("%d problems, the last %v", len(ps), ps[len(ps)-1])
	}
}

func TestFilesOfAPatternAreSortedAndPlain(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"b.csv", "a.csv", ".hidden.csv", "c[1].csv", "d.parquet"} {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir(filepath.Join(dir, "folder.csv"), 0o700); err != nil {
		t.Fatal(err)
	}
	data, _ := os.ReadFile(filepath.Join(goodPlans, "ready.yaml"))
	for files, want := range map[string][]string{
		`"*.csv"`:                       {"a.csv", "b.csv", "c[1].csv"},
		`[d.parquet, "[ab].csv"]`:       {"d.parquet", "a.csv", "b.csv"},
		`"c[1].csv"`:                    {"c[1].csv"},
		`"./a.csv"`:                     {"a.csv"},
		`".h*.csv"`:                     {".hidden.csv"},
		"{}\n#":                         nil,
		`"?.csv"` + "\n    format: csv": {"a.csv", "b.csv"},
	} {
		text := strings.Replace(string(data), "exports/shoulders.csv", files, 1)
		p, err := Parse(filepath.Join(dir, "plan.yaml"), []byte(text))
		if (err != nil) != (want == nil) {
			t.Errorf("%s: %v", files, err)
		} else if err == nil && !cmp.Equal(want, p.Sources[0].Shown) {
			t.Errorf("%s: %q, want %q", files, p.Sources[0].Shown, want)
		}
	}
}
