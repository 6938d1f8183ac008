package main

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// readyPlan writes a table of ready rows and a plan for it, and returns the plan's path. The plan shows every count.
func readyPlan(t *testing.T, table, exports, analyses string) string {
	t.Helper()
	dir := t.TempDir()
	write(t, filepath.Join(dir, "rows.csv"), table)
	path := filepath.Join(dir, "plan.yaml")
	write(t, path, `plan: 1
study: ready
title: Rows of a test
exports:
  shoulders:
    files: rows.csv
`+exports+`
endpoints:
  revision: {competing: [died]}
  revision_alone: {label: revision}
  death: {event: died}
analyses:
`+analyses+`
disclosure: {mask_below: 1, reason: The rows are those of a test.}
`)
	return path
}

// published reads some columns of a data set of the references, without the rows in which one of them is missing where known
// is set.
func published(t *testing.T, name string, known bool, columns ...string) string {
	t.Helper()
	f, err := os.Open(filepath.Join(testdata, "references", "data", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	for _, record := range records {
		var kept []string
		for _, column := range columns {
			at := slices.Index(records[0], column)
			if at < 0 {
				t.Fatalf("%s has no column %q: %v", name, column, records[0])
			}
			kept = append(kept, record[at])
		}
		if !known || !slices.Contains(kept, "NA") && !slices.Contains(kept, "") {
			out.WriteString(strings.Join(kept, ",") + "\n")
		}
	}
	return out.String()
}

// rankTest is a test of the reference files.
type rankTest struct {
	N        []float64
	Observed []float64
	ChiSq    float64 `json:"chisq"`
	P        float64
}

// TestComparisonsAgainstReference runs comparisons of published data through the whole program. Reference: the log-rank
// family, the trend and the adjusted p-values of survival 3.5-3, and Gray's test of cmprsk (the case files name versions
// and calls).
func TestComparisonsAgainstReference(t *testing.T) {
	t.Run("four groups, every pair", func(t *testing.T) {
		var want struct {
			Results struct {
				LogRank  rankTest
				Pairwise struct {
					First, Second []string
					P             []float64
					Holm          []float64 `json:"p_holm"`
					BH            []float64 `json:"p_bh"`
				}
			}
		}
		reference(t, "logrank_veteran_celltype", &want)
		analysis := "  - {id: cells, kind: comparison of groups, endpoint: death, by: celltype, pairs: Benjamini-Hochberg}\n" +
			"  - {id: holm, kind: comparison of groups, endpoint: death, by: celltype, pairs: Holm, unit: days}\n"
		got := deltoidRun(t, readyPlan(t, published(t, "veteran.csv", false, "time", "status", "celltype"), deaths("time", "status", `{"0": unrevised, "1": died}`,
			"{celltype: text}"), analysis))
		near(t, "χ²", got["cells.test.log-rank.chi-square"].number(t, "value"), want.Results.LogRank.ChiSq)
		near(t, "p", got["cells.test.log-rank.p"].number(t, "value"), want.Results.LogRank.P)
		if n := got["cells.test.log-rank.p"].number(t, "n"); n != total(want.Results.LogRank.N) {
			t.Errorf("the test used %v rows", n)
		}
		if events := got["cells.test.log-rank.p"].number(t, "events"); events != total(want.Results.LogRank.Observed) {
			t.Errorf("the test used %v events", events)
		}
		pairs := want.Results.Pairwise
		for i := range pairs.P {
			id := pairs.Second[i] + "." + pairs.First[i]
			near(t, "p of "+id, got["cells.pair."+id+".p"].number(t, "value"), pairs.P[i])
			near(t, "Benjamini–Hochberg of "+id, got["cells.pair."+id+".p-adjusted"].number(t, "value"), pairs.BH[i])
			near(t, "Holm of "+id, got["holm.pair."+id+".p-adjusted"].number(t, "value"), pairs.Holm[i])
		}
	})
	t.Run("trend", func(t *testing.T) {
		var want struct {
			Results struct{ LogRank, Trend rankTest }
		}
		reference(t, "logrank_pbc_stage", &want)
		analysis := "  - {id: stages, kind: comparison of groups, endpoint: death, by: stage, trend: true, pairs: none}\n"
		got := deltoidRun(t, readyPlan(t, published(t, "pbc.csv", true, "time", "status", "stage"), deaths("time", "status", `{"0": unrevised, "1": unrevised, "2": died}`,
			"{stage: text}"), analysis))
		near(t, "χ²", got["stages.test.log-rank.chi-square"].number(t, "value"), want.Results.LogRank.ChiSq)
		near(t, "χ² of trend", got["stages.test.log-rank-trend.chi-square"].number(t, "value"), want.Results.Trend.ChiSq)
		near(t, "p of trend", got["stages.test.log-rank-trend.p"].number(t, "value"), want.Results.Trend.P)
	})
	t.Run("strata", func(t *testing.T) {
		var want struct {
			Results struct {
				LogRank   rankTest
				HandCoded map[string]rankTest `json:"hand_coded"`
			}
		}
		reference(t, "logrank_lung_sex_strata_inst", &want)
		analysis := "  - {id: sexes, kind: comparison of groups, endpoint: death, by: sex, strata: inst, tests: [log-rank, weighted late]}\n"
		got := deltoidRun(t, readyPlan(t, published(t, "lung.csv", false, "time", "dead", "sex", "inst"), "    missing: NA\n"+deaths("time", "dead",
			"{\"0\": unrevised, \"1\": died}\n      sex: {\"1\": male, \"2\": female}", "{inst: text}"), analysis))
		near(t, "χ²", got["sexes.test.log-rank.chi-square"].number(t, "value"), want.Results.LogRank.ChiSq)
		near(t, "χ² weighted late", got["sexes.test.weighted-late.chi-square"].number(t, "value"), want.Results.HandCoded["fh_0_1"].ChiSq)
		if m := got["sexes.test.log-rank.p"]["method"]; !strings.Contains(m, "within strata of inst") {
			t.Errorf("the method %q does not name the strata", m)
		}
	})
	t.Run("incidences", func(t *testing.T) {
		var want struct {
			Results struct {
				Gray struct{ ChiSq, P []float64 } `json:"gray_rho0"`
			}
		}
		reference(t, "cif_melanoma_ulcer", &want)
		analysis := "  - {id: ulcers, kind: comparison of groups, endpoint: revision, by: ulcer, tests: [Gray]}\n"
		got := deltoidRun(t, readyPlan(t, published(t, "melanoma.csv", false, "time", "cause", "ulcer"),
			deaths("time", "cause", `{"0": unrevised, "1": revised, "2": died}`, "{ulcer: text}"), analysis))
		near(t, "χ²", got["ulcers.test.gray.chi-square"].number(t, "value"), want.Results.Gray.ChiSq[0])
		near(t, "p", got["ulcers.test.gray.p"].number(t, "value"), want.Results.Gray.P[0])
	})
}

// deaths names the columns of follow-up and outcome with the codes of the outcome, and further columns.
func deaths(time, status, codes, extra string) string {
	return "    columns: {follow_up: " + time + ", outcome: " + status + "}\n    recode:\n      outcome: " + codes + "\n    extra: " + extra
}

func total(xs []float64) (sum float64) {
	for _, x := range xs {
		sum += x
	}
	return sum
}

// TestSmallComparisonByHand holds medians, means and differences to values worked out with pen and paper.
//
//	plateau: events on days 10 and 20, censored on 30 and 40: S is ¾, ½, and stays there to the end: the median is the
//	         middle of 20 to 40. Mean to 40 days: 10 + ¾·10 + ½·20 = 27.5, its variance 17.5²/12 + 10²/6 = 42.1875.
//	never:   event on day 10, the rest censored on 20, 30 and 40: S stays at ¾. Mean to 40: 10 + ¾·30 = 32.5.
//	through: events on days 10, 20, 30 and 40: S passes ½ at 20 and leaves it at 30. Mean to 40: 25.
//	short:   event on day 10, censored on 30: nobody is left at 40.
func TestSmallComparisonByHand(t *testing.T) {
	table := "days,outcome,arm\n"
	for arm, rows := range map[string]string{"plateau": "10 revised 20 revised 30 unrevised 40 unrevised",
		"never": "10 revised 20 unrevised 30 unrevised 40 unrevised", "through": "10 revised 20 revised 30 revised 40 revised",
		"short": "10 revised 30 unrevised"} {
		f := strings.Fields(rows)
		for i := 0; i < len(f); i += 2 {
			table += f[i] + "," + f[i+1] + "," + arm + "\n"
		}
	}
	plan := readyPlan(t, table, "    columns: {follow_up: days}\n    extra: {arm: {type: code, codes: {plateau: plateau, never: never, through: through, short: short}}}",
		"  - {id: s, kind: implant survival, endpoint: revision_alone, by: arm, times: [20, 40], unit: days, shares: [0.5], interval: plain}\n"+
			"  - {id: c, kind: comparison of groups, endpoint: revision_alone, by: arm, times: [20], unit: days, horizon: 40, interval: plain}\n")
	got := deltoidRun(t, plan)
	near(t, "median on the plateau", got["s.time-to-share.plateau.0.5"].number(t, "value"), 30)
	near(t, "median through one half", got["s.time-to-share.through.0.5"].number(t, "value"), 25)
	for _, arm := range []string{"never", "short"} {
		if e := got["s.time-to-share."+arm+".0.5"]; arm == "never" && (e["status"] != "not reached" || e["value"] != "" || e["note"] == "") {
			t.Errorf("the median of %s is %v", arm, e)
		}
	}
	near(t, "at risk at the median through one half", got["s.at-risk-then.through.0.5"].number(t, "value"), 2)
	for arm, mean := range map[string]float64{"plateau": 27.5, "never": 32.5, "through": 25} {
		near(t, "mean of "+arm, got["c.mean."+arm].number(t, "value"), mean)
	}
	const z = 1.959963984540054
	near(t, "upper limit of the mean", got["c.mean.plateau"].number(t, "upper"), 27.5+z*6.495190528383290)
	near(t, "difference of means", got["c.mean-difference.through"].number(t, "value"), -2.5)
	near(t, "ratio of means", got["c.mean-ratio.through"].number(t, "value"), 25/27.5)
	if e := got["c.mean.short"]; e["status"] != "beyond follow-up" || e["value"] != "" {
		t.Errorf("a mean beyond follow-up: %v", e)
	}
	if e := got["c.mean-difference.short"]; e["status"] != "beyond follow-up" || e["value"] != "" {
		t.Errorf("a difference from a mean beyond follow-up: %v", e)
	}
	// At day 20 the plateau has S = ½ and never has ¾: variances 1/4·(1/12 + 1/6) and 9/16·1/12.
	near(t, "difference at day 20", got["c.difference.never.20d"].number(t, "value"), 0.25)
	near(t, "its upper limit", got["c.difference.never.20d"].number(t, "upper"), 0.25+z*0.3307189138830738)
}
