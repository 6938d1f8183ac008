package main

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// always is an extra column in which every row has one value.
func always(value string) func(map[string]string) string {
	return func(map[string]string) string { return value }
}

// Reference: logistic_birthwt (glm of R 4.2.2): the odds of an outcome that a field holds.
func TestOddsOfAnOutcomeAgainstReference(t *testing.T) {
	got := modelled{file: "birthwt.csv", extra: map[string]func(map[string]string) string{"days": always("100"), "end": always("0")},
		plan: `    columns: {follow_up: days, outcome: end}
    reviewed: {age: Published}
    recode: {outcome: {"0": unrevised}}
    extra:
      low: {type: code, codes: {"0": no, "1": yes}}
      race: {type: code, codes: {"1": one, "2": two, "3": three}}
      lwt: number
      smoke: number
      ht: number
      ui: number
endpoints: {revision: {}}
analyses:
  - {id: odds, kind: regression, outcome: {field: low, codes: ["1"]}, model: odds, adjust_for: [age, lwt, race, smoke, ht, ui]}
`}.run(t)
	var want struct {
		Results struct {
			N     int
			Coef  []float64
			SE    []float64
			P     []float64
			Lower []float64 `json:"wald_lower"`
			Upper []float64 `json:"wald_upper"`
		}
	}
	reference(t, "logistic_birthwt", &want)
	for i, e := range []string{"age", "lwt", "race.two", "race.three", "smoke", "ht", "ui"} {
		ratio := got["odds.ratio."+e]
		close6(t, e, got["odds.coefficient."+e].number(t, "value"), want.Results.Coef[i+1])
		close6(t, e+" standard error", got["odds.standard-error."+e].number(t, "value"), want.Results.SE[i+1])
		close6(t, e+" p", got["odds.p."+e].number(t, "value"), want.Results.P[i+1])
		close6(t, e+" lower", ratio.number(t, "lower"), want.Results.Lower[i+1])
		close6(t, e+" upper", ratio.number(t, "upper"), want.Results.Upper[i+1])
		near(t, e+" n", ratio.number(t, "n"), float64(want.Results.N))
	}
	// 189 births, 59 of low weight, none of unknown weight (counted in the file).
	near(t, "events", got["odds.events.used"].number(t, "value"), 59)
	near(t, "unknown", got["odds.shoulders.unknown"].number(t, "value"), 0)
}

// Coronary deaths of British doctors (Breslow & Day, Statistical Methods in Cancer Research II (1987), chapter 4): the coefficient of
// smoking by glm of R 4.2.2, counts over the person-years of a field.
func TestRateOfACountAgainstReference(t *testing.T) {
	got := modelled{file: "breslow_rates.csv", extra: map[string]func(map[string]string) string{"days": always("100"), "end": always("0")},
		plan: `    columns: {follow_up: days, outcome: end}
    reviewed: {age: Published}
    recode: {outcome: {"0": unrevised}}
    extra:
      band: {type: code, column: age}
      smoke: {type: code, codes: {"0": no, "1": yes}}
      person_years: number
      deaths: integer
endpoints: {revision: {}}
analyses:
  - {id: rate, kind: regression, outcome: {field: deaths, time: person_years}, model: rate, adjust_for: [band, smoke]}
`}.run(t)
	close6(t, "smoking", got["rate.coefficient.smoke.yes"].number(t, "value"), 0.3545356373)
	close6(t, "80 against 40", got["rate.coefficient.band.80"].number(t, "value"), 3.7000964519)
	// Counts vary more here than the model supposes, which the interval knows: Pearson's chi-square is 11.2 on 4 degrees of freedom
	// (Breslow & Day print 12.1 for the deviance).
	if d := got["rate.dispersion"].number(t, "value"); d < 2.7 || d > 2.9 {
		t.Errorf("dispersion %v", d)
	}
	if e := got["rate.ratio.smoke.yes"]; !strings.Contains(e["method"], "robust") || e["events"] != "" {
		t.Errorf("%v", e)
	}
	near(t, "events", got["rate.events.used"].number(t, "value"), 731)
}

const melanomaTable = `    columns: {follow_up: time, outcome: cause}
    reviewed: {age: Published}
    recode:
      outcome: {"0": unrevised, "1": revised, "2": died}
      sex: {"0": female, "1": male}
    extra:
      ulcer: {type: code, title: Ulceration, codes: {"0": Absent, "1": Present}}
      thickness: {type: number, title: Thickness, unit: mm}
endpoints:
  melanoma: {label: death from melanoma, competing: [died]}
  alone: {label: death from melanoma alone}
`

// melanomaRows reads time, cause and ulceration of the published rows.
func melanomaRows(t *testing.T) (time []float64, cause, ulcer []int, thickness []float64) {
	t.Helper()
	f, err := os.Open(filepath.Join(testdata, "references", "data", "melanoma.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range records[1:] {
		d, _ := strconv.ParseFloat(r[0], 64)
		c, _ := strconv.Atoi(r[7])
		u, _ := strconv.Atoi(r[6])
		x, _ := strconv.ParseFloat(r[5], 64)
		time, cause, ulcer, thickness = append(time, d), append(cause, c), append(ulcer, u), append(thickness, x)
	}
	return time, cause, ulcer, thickness
}

// By hand from the rows: with one characteristic of two levels an odds ratio is ad/bc of a two by two table, its variance
// 1/a+1/b+1/c+1/d (Woolf, Ann. Hum. Genet. 19 (1955) 251–253); a rate ratio is that of events over time, its variance 1/a+1/b.
func TestOddsAndRatesByHand(t *testing.T) {
	got := modelled{file: "melanoma.csv", plan: melanomaTable + `analyses:
  - {id: odds, kind: regression, endpoint: melanoma, model: odds, horizon: 5, adjust_for: [ulcer], predict: {patients: [{name: Ulcer, values: {ulcer: "1"}}]}}
  - {id: rate, kind: regression, endpoint: melanoma, model: rate, horizon: 5, adjust_for: [ulcer], predict: {patients: [{name: Ulcer, values: {ulcer: "1"}}]}}
  - {id: firth, kind: regression, endpoint: melanoma, model: odds, horizon: 5, adjust_for: [ulcer], penalised: true}
`}.run(t)
	const horizon = 5 * 365.25
	time, cause, ulcer, _ := melanomaRows(t)
	var table [2][2]float64
	var events, years [2]float64
	unknown := 0.0
	for i := range time {
		switch {
		case cause[i] == 1 && time[i] <= horizon:
			table[ulcer[i]][1]++
			events[ulcer[i]]++
		case cause[i] == 0 && time[i] < math.Round(horizon):
			unknown++
		default:
			table[ulcer[i]][0]++
		}
		years[ulcer[i]] += math.Min(time[i], math.Round(horizon)) / 365.25
	}
	a, b, c, d := table[1][1], table[1][0], table[0][1], table[0][0]
	near(t, "unknown", got["odds.shoulders.unknown"].number(t, "value"), unknown)
	close6(t, "odds ratio", got["odds.ratio.ulcer.present"].number(t, "value"), a*d/(b*c))
	close6(t, "standard error", got["odds.standard-error.ulcer.present"].number(t, "value"), math.Sqrt(1/a+1/b+1/c+1/d))
	close6(t, "predicted", got["odds.predicted.ulcer"].number(t, "value"), a/(a+b))
	// Firth's estimate of a two by two table adds one half to every cell (Heinze & Schemper, Stat. Med. 21 (2002) 2409–2419).
	close6(t, "penalised", got["firth.ratio.ulcer.present"].number(t, "value"), (a+0.5)*(d+0.5)/((b+0.5)*(c+0.5)))
	close6(t, "rate ratio", got["rate.ratio.ulcer.present"].number(t, "value"), events[1]/years[1]/(events[0]/years[0]))
	close6(t, "its standard error", got["rate.standard-error.ulcer.present"].number(t, "value"), math.Sqrt(1/events[1]+1/events[0]))
	close6(t, "predicted rate", got["rate.predicted.ulcer"].number(t, "value"), 100*events[1]/years[1])
	// The area under the curve of one characteristic of two levels: half the sum of sensitivity and specificity.
	close6(t, "area", got["odds.auc"].number(t, "value"), (a/(a+c)+d/(b+d))/2)
}

// Reference: cox_veteran, predicted (survfit of survival 3.5-3 at the same times, intervals on the complementary log-log scale).
func TestPredictedSurvivalAgainstReference(t *testing.T) {
	got := modelled{file: "veteran.csv", plan: veteranTable + `analyses:
  - id: cox
    kind: regression
    endpoint: death
    unit: days
    adjust_for: [trt, celltype, karno, diagtime, age, prior]
    predict:
      times: [30, 90, 180, 365]
      patients:
        - {name: First, values: {trt: "1", celltype: squamous, karno: 80, diagtime: 5, age: 60, prior: 0}}
        - {name: Second, values: {trt: "1", celltype: adeno, karno: 40, diagtime: 5, age: 60, prior: 0}}
`}.run(t)
	var want struct {
		Results map[string]struct {
			Predicted []struct {
				Surv  []float64
				Lower []float64 `json:"loglog_lower"`
				Upper []float64 `json:"loglog_upper"`
			}
		}
	}
	reference(t, "cox_veteran", &want)
	compared := 0
	for i, name := range []string{"first", "second"} {
		p := want.Results["efron"].Predicted[i]
		for k, at := range []string{"30d", "90d", "180d", "365d"} {
			e := got["cox.predicted."+name+"."+at]
			close6(t, name+" at "+at, e.number(t, "value"), p.Surv[k])
			close6(t, name+" at "+at+", lower", e.number(t, "lower"), p.Lower[k])
			close6(t, name+" at "+at+", upper", e.number(t, "upper"), p.Upper[k])
			compared++
		}
	}
	if compared != 8 {
		t.Errorf("%d predictions compared", compared)
	}
}

// A model of the incidence of one group of two levels predicts what the levels show: near the estimates by group, and between the
// interval's limits; described patients keep their bands, labels and interactions.
func TestPredictedIncidenceAndForms(t *testing.T) {
	got := modelled{file: "melanoma.csv", plan: melanomaTable + `analyses:
  - {id: seen, kind: implant survival, endpoint: melanoma, by: ulcer, times: [5]}
  - {id: model, kind: regression, endpoint: melanoma, model: cumulative incidence, by: ulcer,
     predict: {times: [5, 20], patients: [{name: A, values: {ulcer: "0"}}, {name: P, values: {ulcer: "1"}}]}}
  - id: bands
    kind: regression
    endpoint: alone
    adjust_for: [sex, {field: age, bands: [50, 65]}, {field: thickness, spline: 3, reference: 2}]
    interactions: [[sex, thickness]]
    predict: {times: [5], patients: [{name: Young, values: {sex: female, age: 30, thickness: 2}}, {name: Old, values: {sex: male, age: 65, thickness: 2}}]}
`}.run(t)
	for group, patient := range map[string]string{"absent": "a", "present": "p"} {
		seen, said := got["seen.incidence."+group+".5y"].number(t, "value"), got["model.predicted."+patient+".5y"]
		if x := said.number(t, "value"); !(said.number(t, "lower") < x && x < said.number(t, "upper")) || math.Abs(x-seen) > 0.05 {
			t.Errorf("%s: predicted %v, seen %v", group, said, seen)
		}
		if e := got["model.predicted."+patient+".20y"]; e["status"] != "beyond follow-up" || e["value"] != "" {
			t.Errorf("at 20 years: %v", e)
		}
	}
	// log(−log S) of two patients differs by the log hazard ratios between them: of male at 2 mm, and of the third band.
	cloglog := func(id string) float64 { return math.Log(-math.Log(got[id].number(t, "value"))) }
	difference := cloglog("bands.predicted.old.5y") - cloglog("bands.predicted.young.5y")
	want := got["bands.coefficient.sex.male"].number(t, "value")
	for id, e := range got {
		if strings.HasPrefix(id, "bands.coefficient.age.") && strings.Contains(e["group"], "65 and above against") {
			want += e.number(t, "value")
		}
	}
	// The interaction is with thickness itself and the bend of its spline, at 2 mm.
	want += 2 * got["bands.coefficient.interaction-1.1-1"].number(t, "value")
	bend := difference - want
	second := got["bands.coefficient.interaction-1.1-2"].number(t, "value")
	if ratio := bend / second; !(ratio > 0 && ratio < 2) {
		t.Errorf("the patients differ by %v, of which %v is left for the bend of the spline (coefficient %v)", difference, bend, second)
	}
}

// A given model held against the rows: its mean risk by hand, and the observed risk that of the curve of all.
func TestValidationOfAGivenModelByHand(t *testing.T) {
	got := modelled{file: "melanoma.csv", plan: melanomaTable + `analyses:
  - {id: seen, kind: implant survival, endpoint: melanoma, times: [5]}
  - id: given
    kind: model validation
    endpoint: melanoma
    horizon: 5
    given: {source: nobody, survival: 0.9, coefficients: [{field: thickness, ratio: 1.21, per: 2, centre: 3}, {field: ulcer, codes: ["1"], coefficient: 1.1}]}
`}.run(t)
	_, _, ulcer, thickness := melanomaRows(t)
	mean := 0.0
	for i := range ulcer {
		eta := math.Log(1.1)*(thickness[i]-3) + 1.1*float64(ulcer[i])
		mean += (1 - math.Pow(0.9, math.Exp(eta))) / float64(len(ulcer))
	}
	near(t, "mean risk", got["given.expected"].number(t, "value"), mean)
	for _, part := range []string{"value", "lower", "upper"} {
		near(t, "observed, "+part, got["given.observed"].number(t, part), got["seen.incidence.all.5y"].number(t, part))
	}
	near(t, "ratio", got["given.observed-by-expected"].number(t, "value"), got["seen.incidence.all.5y"].number(t, "value")/mean)
	near(t, "scaled", got["given.brier-scaled"].number(t, "value"), 1-got["given.brier"].number(t, "value")/got["given.brier-null"].number(t, "value"))
	if _, there := got["given.corrected.auc"]; there {
		t.Error("a model that was not made here is corrected for optimism")
	}
}

// What is corrected is what appears less the optimism, and the samples are those of the seed.
func TestValidationOfAModelMadeHere(t *testing.T) {
	analyses := func(seed string) string {
		return melanomaTable + `analyses:
  - {id: own, kind: model validation, endpoint: melanoma, horizon: 5, adjust_for: [ulcer, thickness, age], replicates: 40, seed: ` + seed + `}
  - {id: hazard, kind: model validation, endpoint: alone, horizon: 5, adjust_for: [ulcer, thickness, age], replicates: 40, seed: ` + seed + `}
  - {id: late, kind: model validation, endpoint: alone, horizon: 5, landmark: 1, adjust_for: [ulcer]}
  - {id: far, kind: model validation, endpoint: alone, horizon: 50, adjust_for: [ulcer]}
`
	}
	got, again, other := modelled{file: "melanoma.csv", plan: analyses("3")}.run(t), modelled{file: "melanoma.csv", plan: analyses("3")}.run(t),
		modelled{file: "melanoma.csv", plan: analyses("4")}.run(t)
	for _, id := range []string{"own", "hazard"} {
		for _, what := range []string{"concordance", "slope", "brier", "brier-scaled", "auc"} {
			a, o, c := got[id+".apparent."+what].number(t, "value"), got[id+".optimism."+what].number(t, "value"), got[id+".corrected."+what].number(t, "value")
			close6(t, id+" "+what, c, a-o)
			if again[id+".corrected."+what]["value"] != got[id+".corrected."+what]["value"] {
				t.Errorf("%s %s is not the same twice", id, what)
			}
		}
		near(t, id+" apparent Brier score", got[id+".apparent.brier"].number(t, "value"), got[id+".brier"].number(t, "value"))
		if other[id+".corrected.auc"]["value"] == got[id+".corrected.auc"]["value"] {
			t.Errorf("%s: another seed draws the same samples", id)
		}
	}
	if e := got["late.auc"]; e["status"] != "estimated" {
		t.Errorf("from a landmark on: %v", e)
	}
	if e := got["far.auc"]; e["status"] != "not identifiable" || !strings.Contains(e["note"], "horizon") {
		t.Errorf("beyond follow-up: %v", e)
	}
}

// With one piece the hazard is events over time, and the curve exponential; beyond follow-up the estimate says so. Time on the day of
// entry would count half a day; there is none here.
func TestProjectionByHand(t *testing.T) {
	got := modelled{file: "melanoma.csv", plan: melanomaTable + `analyses:
  - {id: one, kind: projection, endpoint: alone, times: [5, 30], shape: piecewise constant, cuts: [40]}
  - {id: weibull, kind: projection, endpoint: alone, by: ulcer, times: [5, 30]}
`}.run(t)
	time, cause, _, _ := melanomaRows(t)
	events, years := 0.0, 0.0
	for i := range time {
		years += time[i] / 365.25
		if cause[i] == 1 {
			events++
		}
	}
	near(t, "rate", got["one.rate.all.part-1"].number(t, "value"), 100*events/years)
	near(t, "at 5 years", got["one.projected.all.5y"].number(t, "value"), 1-math.Exp(-5*events/years))
	near(t, "at 30 years", got["one.projected.all.30y"].number(t, "value"), 1-math.Exp(-30*events/years))
	for id, beyond := range map[string]bool{"one.projected.all.5y": false, "one.projected.all.30y": true, "weibull.projected.absent.5y": false, "weibull.projected.present.30y": true} {
		if strings.Contains(got[id]["note"], "extrapolated") != beyond {
			t.Errorf("%s: %v", id, got[id])
		}
	}
	if e := got["weibull.net.absent.30y"]; e["status"] != "beyond follow-up" {
		t.Errorf("what was seen at 30 years is %v", e)
	}
}

// The mean time free of the endpoint beside a model is that of a comparison of the groups.
func TestMeanTimeBesideAModel(t *testing.T) {
	got := modelled{file: "melanoma.csv", plan: melanomaTable + `analyses:
  - {id: model, kind: regression, endpoint: alone, by: ulcer, adjust_for: [thickness], horizon: 5}
  - {id: groups, kind: comparison of groups, endpoint: alone, by: ulcer, horizon: 5}
`}.run(t)
	for _, part := range []string{"mean.absent", "mean.present", "mean-difference.present", "mean-ratio.present"} {
		for _, column := range []string{"value", "lower", "upper"} {
			near(t, part, got["model.groups."+part].number(t, column), got["groups."+part].number(t, column))
		}
	}
}

// Small levels hide what is predicted for them: the number, and its line in the picture.
func TestPredictionsOfSmallLevelsAreHidden(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "rows.csv"), modelled{file: "melanoma.csv", extra: map[string]func(map[string]string) string{
		"ward": func(r map[string]string) string {
			return map[bool]string{true: "small", false: "large"}[r["year"] == "1962" || r["year"] == "1964"] // 3 of 205 patients
		}}}.table(t))
	write(t, filepath.Join(dir, "plan.yaml"), "plan: 1\nstudy: small\ntitle: Small levels\nexports:\n  shoulders:\n    files: rows.csv\n"+
		strings.Replace(melanomaTable, "      ulcer:", "      ward: {type: code, codes: {small: Small, large: Large}}\n      ulcer:", 1)+`analyses:
  - {id: m, kind: regression, endpoint: alone, adjust_for: [ward, thickness], penalised: true,
     predict: {times: [5], patients: [{name: In the small ward, values: {ward: small, thickness: 2}}, {name: Other, values: {ward: large, thickness: 2}}]}}
`)
	got := deltoidRun(t, filepath.Join(dir, "plan.yaml"))
	if n := got["m.shoulders.ward.small"]; n["status"] != "masked" {
		t.Fatalf("the small ward has %v", n)
	}
	if e := got["m.predicted.in-the-small-ward.5y"]; e["status"] != "masked" || e["value"] != "" {
		t.Errorf("predicted for the small ward: %v", e)
	}
}

// The plan with every key of the models runs on rows that are far too few, and says why there is nothing.
func TestModelsOfTwoRowsSayWhy(t *testing.T) {
	got := deltoidRun(t, filepath.Join(testdata, "plans", "models.yaml"))
	if len(got) == 0 {
		t.Fatal("no estimates")
	}
	for id, e := range got {
		if e["value"] == "" && e["note"] == "" {
			t.Errorf("%s has neither a value nor a note: %v", id, e)
		}
		for _, column := range []string{"value", "lower", "upper"} {
			if s := strings.ToLower(e[column]); strings.Contains(s, "nan") || strings.Contains(s, "inf") {
				t.Errorf("%s: %s is %q", id, column, e[column])
			}
		}
	}
}

// Schoenfeld's residuals add up to 0, so that the scaled ones of the bins, weighted by their events, have the coefficient as their mean
// (Grambsch & Therneau, Biometrika 81 (1994) 515–526); no bin has fewer than ten.
func TestBinsOfResidualsAddUpToTheCoefficient(t *testing.T) {
	got := modelled{file: "veteran.csv", plan: veteranTable + `analyses:
  - {id: cox, kind: regression, endpoint: death, by: trt, adjust_for: [celltype, {field: karno, per: 10}]}
`}.run(t)
	pictures := 0
	for effect, coefficient := range map[string]string{"karno": "karno", "celltype.adenocarcinoma": "celltype.adenocarcinoma", "celltype.large-cell": "celltype.large-cell"} {
		sum, events, bins := 0.0, 0.0, 0
		for id, e := range got {
			if strings.HasPrefix(id, "cox.residuals."+effect+".bin-") && !strings.HasSuffix(id, ".place") {
				n := e.number(t, "events")
				if n < 10 {
					t.Errorf("%s has %v residuals", id, n)
				}
				sum, events, bins = sum+n*e.number(t, "value"), events+n, bins+1
			}
		}
		if bins == 0 {
			continue
		}
		pictures++
		near(t, effect+" events", events, 128)
		if mean, want := sum/events, got["cox.coefficient."+coefficient].number(t, "value"); math.Abs(mean-want) > 1e-6 {
			t.Errorf("%s: the mean of the bins is %v, the coefficient %v", effect, mean, want)
		}
	}
	if pictures < 2 {
		t.Errorf("%d pictures were looked at", pictures)
	}
}
