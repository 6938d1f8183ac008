package describe_test

import (
	"encoding/json"
	"math"
	"strconv"
	"testing"

	"deltoid/stats/describe"
	"deltoid/stats/references"
)

// The reference results were made by other programs; testdata/references/README.md says which, in which version and by
// which scripts. Their tolerance is 1e-9.

// numbersWhere returns the numbers of a column in the rows in which another has a value.
func numbersWhere(t *testing.T, data map[string][]string, column, where, value string) []float64 {
	t.Helper()
	var out []float64
	for i, text := range data[column] {
		if where != "" && data[where][i] != value {
			continue
		}
		x, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, x)
	}
	return out
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*max(1e-12, math.Abs(want))) {
		t.Errorf("%s = %.17g, want %.17g", what, got, want)
	}
}

func is(t *testing.T, what string, s describe.Status) {
	t.Helper()
	if s != describe.Estimated {
		t.Errorf("%s: %v", what, s)
	}
}

type kappaReference struct {
	Kappa, Lower, Upper float64
	SE                  float64 `json:"ase"`
	SENull              float64 `json:"ase_under_null"`
	Observed            float64 `json:"observed_agreement"`
	Expected            float64 `json:"expected_agreement"`
}

func TestAgreementAgainstReferences(t *testing.T) {
	for _, id := range []string{"kappa_couples", "kappa_2x2"} {
		var ref struct {
			Results struct {
				Table                         [][]int64
				Unweighted, Linear, Quadratic kappaReference
			}
		}
		references.Expected(t, id, &ref)
		for credit, want := range map[describe.Credit]kappaReference{describe.NoPartialCredit: ref.Results.Unweighted,
			describe.LinearCredit: ref.Results.Linear, describe.QuadraticCredit: ref.Results.Quadratic} {
			k := describe.Agreement(ref.Results.Table, credit, 0.95)
			is(t, id, k.Status)
			near(t, id+" kappa", k.Value, want.Kappa, 1e-12)
			near(t, id+" standard error", k.SE, want.SE, 1e-12)
			near(t, id+" standard error by chance", k.SENull, want.SENull, 1e-12)
			near(t, id+" observed", k.Observed, want.Observed, 1e-12)
			near(t, id+" expected", k.Expected, want.Expected, 1e-12)
			near(t, id+" lower", k.Lower, want.Lower, 1e-11)
			near(t, id+" upper", k.Upper, want.Upper, 1e-12)
		}
	}
}

func TestProportionsAgainstReferences(t *testing.T) {
	for _, id := range []string{"prop_arthritis", "prop_edge"} {
		var ref struct{ Results map[string]json.RawMessage }
		references.Expected(t, id, &ref)
		singles, pairs := 0, 0
		for name, raw := range ref.Results {
			var one struct {
				X, N   int64
				Wilson [2]float64
				Exact  [2]float64 `json:"clopper_pearson"`
			}
			if json.Unmarshal(raw, &one) == nil {
				singles++
				w, e := describe.Wilson(one.X, one.N, 0.95), describe.ExactProportion(one.X, one.N, 0.95)
				is(t, name, w.Status)
				nearAbove0(t, name+" Wilson", w.Lower, one.Wilson[0])
				nearAbove0(t, name+" Wilson", w.Upper, one.Wilson[1])
				nearAbove0(t, name+" exact", e.Lower, one.Exact[0])
				nearAbove0(t, name+" exact", e.Upper, one.Exact[1])
				continue
			}
			var two struct {
				X, N       [2]int64
				Difference float64
				Newcombe   [2]float64
				P          *float64 `json:"fisher_p"`
				ChiSquare  float64  `json:"pearson_chisq_uncorrected"`
			}
			if err := json.Unmarshal(raw, &two); err != nil {
				t.Fatal(name, err)
			}
			pairs++
			d := describe.Newcombe(two.X[0], two.N[0], two.X[1], two.N[1], 0.95)
			nearAbove0(t, name, d.Value, two.Difference)
			nearAbove0(t, name+" lower", d.Lower, two.Newcombe[0])
			nearAbove0(t, name+" upper", d.Upper, two.Newcombe[1])
			if two.P != nil {
				table := [][]int64{{two.X[0], two.N[0] - two.X[0]}, {two.X[1], two.N[1] - two.X[1]}}
				near(t, name+" exact p", describe.FisherExact(table).P, *two.P, 1e-9)
				near(t, name+" chi-square", describe.ChiSquare(table).Statistic, two.ChiSquare, 1e-12)
			}
		}
		if singles < 2 || pairs < 1 {
			t.Fatalf("%s: read %d proportions and %d differences", id, singles, pairs)
		}
	}
}

// nearAbove0 takes the reference's 2e-17 for the 0 it stands for.
func nearAbove0(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-13 {
		t.Errorf("%s = %.17g, want %.17g", what, got, want)
	}
}

type testReference struct {
	Statistic, P float64
	DF           []float64
	CI           []float64
}

func TestTablesAgainstReferences(t *testing.T) {
	type table struct {
		Table  [][]int64
		Chisq  testReference
		Fisher float64 `json:"fisher_p"`
		Small  bool    `json:"small_expected_warning"`
	}
	var ref struct {
		Results struct {
			TwoByTwo   table `json:"two_by_two"`
			TwoByThree table `json:"two_by_three"`
			Small      table `json:"small_3x3"`
			HairEye    struct {
				Table    [][]int64
				Chisq, P float64
				DF       float64
			} `json:"hair_eye_4x4_chisq_only"`
			McNemar struct {
				Table [][]int64
				P     float64 `json:"exact_p"`
			}
		}
	}
	references.Expected(t, "tables_arthritis_haireye", &ref)
	for _, c := range []table{ref.Results.TwoByTwo, ref.Results.TwoByThree, ref.Results.Small} {
		got := describe.ChiSquare(c.Table)
		near(t, "chi-square", got.Statistic, c.Chisq.Statistic, 1e-12)
		near(t, "df", got.DF, c.Chisq.DF[0], 0)
		near(t, "p", got.P, c.Chisq.P, 1e-11)
		near(t, "exact p", describe.FisherExact(c.Table).P, c.Fisher, 1e-9)
		least, s := describe.SmallestExpected(c.Table)
		is(t, "smallest expected", s)
		if (least < 5) != c.Small {
			t.Errorf("smallest expected %v, reference warns: %v", least, c.Small)
		}
	}
	he := ref.Results.HairEye
	got := describe.ChiSquare(he.Table)
	near(t, "hair and eye", got.Statistic, he.Chisq, 1e-12)
	near(t, "hair and eye p", got.P, he.P, 1e-10)
	near(t, "hair and eye df", got.DF, he.DF, 0)
	m := ref.Results.McNemar
	near(t, "paired shares", describe.PairedShares(m.Table[0][1], m.Table[1][0]).P, m.P, 1e-12)
}

type twoSamples struct {
	N, Mean, SD, Median []float64
	Quartiles           struct{ A, B []float64 } `json:"quartiles_type7"`
	Welch, Pooled       testReference
	Ranks               testReference `json:"mann_whitney_normal_continuity"`
}

func (want twoSamples) check(t *testing.T, what string, a, b []float64) {
	t.Helper()
	for i, x := range [][]float64{a, b} {
		m, s := describe.MomentsOf(x), describe.Sort(x)
		near(t, what+" n", float64(m.N), want.N[i], 0)
		near(t, what+" mean", m.Mean, want.Mean[i], 1e-12)
		near(t, what+" SD", m.SD, want.SD[i], 1e-12)
		median, _ := s.Median()
		nearAbove0(t, what+" median", median, want.Median[i])
		for j, p := range []float64{0.25, 0.75} {
			q, status := s.Quantile(p, describe.Linear)
			is(t, what, status)
			nearAbove0(t, what+" quartile", q, [][]float64{want.Quartiles.A, want.Quartiles.B}[i][j])
		}
	}
	ma, mb := describe.MomentsOf(a), describe.MomentsOf(b)
	want.Welch.mean(t, what+" Welch", describe.Welch(ma, mb, 0.95))
	want.Pooled.mean(t, what+" Student", describe.Student(ma, mb, 0.95))
	ranks := describe.RankSum(a, b)
	near(t, what+" rank sum", ranks.Statistic, want.Ranks.Statistic, 0)
	near(t, what+" rank sum p", ranks.P, want.Ranks.P, 1e-11)
}

func (want testReference) mean(t *testing.T, what string, got describe.MeanTest) {
	t.Helper()
	is(t, what, got.Status)
	near(t, what+" t", got.Statistic, want.Statistic, 1e-11)
	near(t, what+" df", got.DF, want.DF[0], 1e-11)
	near(t, what+" p", got.P, want.P, 1e-10)
	near(t, what+" lower", got.Lower, want.CI[0], 1e-10)
	near(t, what+" upper", got.Upper, want.CI[1], 1e-10)
}

func (want testReference) ranks(t *testing.T, what string, got describe.Test, exact bool) {
	t.Helper()
	near(t, what, got.Statistic, want.Statistic, 1e-12)
	near(t, what+" p", got.P, want.P, 1e-10)
	if got.Exact != exact {
		t.Errorf("%s: exact %v", what, got.Exact)
	}
}

type pairs struct {
	Paired testReference `json:"paired_t"`
	Normal testReference `json:"signed_rank_normal_continuity"`
	Exact  testReference `json:"signed_rank_exact"`
}

func TestSamplesAgainstReferences(t *testing.T) {
	var anorexia struct {
		Results struct {
			Two   twoSamples `json:"cbt_vs_control_change"`
			All   pairs      `json:"paired_post_pre_all"`
			FT    pairs      `json:"paired_post_pre_ft"`
			Three groups     `json:"change_by_three_groups"`
		}
	}
	references.Expected(t, "tests_anorexia", &anorexia)
	data := references.Data(t, "anorexia.csv")
	change := map[string][]float64{}
	for _, g := range []string{"CBT", "Cont", "FT"} {
		change[g] = minus(numbersWhere(t, data, "Postwt", "Treat", g), numbersWhere(t, data, "Prewt", "Treat", g))
	}
	anorexia.Results.Two.check(t, "anorexia", change["CBT"], change["Cont"])
	all := minus(numbersWhere(t, data, "Postwt", "", ""), numbersWhere(t, data, "Prewt", "", ""))
	anorexia.Results.All.Paired.mean(t, "all pairs", describe.Paired(describe.MomentsOf(all), 0.95))
	anorexia.Results.All.Normal.ranks(t, "all pairs, signed rank", describe.SignedRank(all), false)
	anorexia.Results.FT.Paired.mean(t, "FT pairs", describe.Paired(describe.MomentsOf(change["FT"]), 0.95))
	anorexia.Results.FT.Exact.ranks(t, "FT pairs, signed rank", describe.SignedRank(change["FT"]), true)
	anorexia.Results.Three.check(t, "anorexia", change["CBT"], change["Cont"], change["FT"])

	var sleep struct {
		Results struct {
			Two    twoSamples
			Paired pairs
		}
	}
	references.Expected(t, "tests_sleep", &sleep)
	data = references.Data(t, "sleep.csv")
	first, second := numbersWhere(t, data, "extra", "group", "1"), numbersWhere(t, data, "extra", "group", "2")
	sleep.Results.Two.check(t, "sleep", first, second)
	sleep.Results.Paired.Paired.mean(t, "sleep pairs", describe.Paired(describe.MomentsOf(minus(first, second)), 0.95))
	sleep.Results.Paired.Normal.ranks(t, "sleep pairs, signed rank", describe.SignedRank(minus(first, second)), false)
}

func TestManyGroupsAgainstReferences(t *testing.T) {
	var ref struct{ Results struct{ K groups } }
	references.Expected(t, "tests_chickwts", &ref)
	data := references.Data(t, "chickwts.csv")
	var samples [][]float64
	for _, feed := range []string{"casein", "horsebean", "linseed", "meatmeal", "soybean", "sunflower"} {
		samples = append(samples, numbersWhere(t, data, "weight", "feed", feed))
	}
	ref.Results.K.check(t, "feeds", samples...)
}

type groups struct {
	Anova   struct{ F, P float64 }
	Welch   testReference `json:"welch_anova"`
	Kruskal testReference
}

func (want groups) check(t *testing.T, what string, samples ...[]float64) {
	t.Helper()
	var moments []describe.Moments
	for _, x := range samples {
		moments = append(moments, describe.MomentsOf(x))
	}
	f := describe.OneWay(moments)
	near(t, what+" F", f.Statistic, want.Anova.F, 1e-11)
	near(t, what+" F p", f.P, want.Anova.P, 1e-9)
	w := describe.WelchOneWay(moments)
	near(t, what+" Welch", w.Statistic, want.Welch.Statistic, 1e-11)
	near(t, what+" Welch df", w.DF2, want.Welch.DF[1], 1e-11)
	near(t, what+" Welch p", w.P, want.Welch.P, 1e-9)
	want.Kruskal.ranks(t, what+" ranks", describe.RankGroups(samples...), false)
}

func minus(a, b []float64) []float64 {
	out := make([]float64, len(a))
	for i := range a {
		out[i] = a[i] - b[i]
	}
	return out
}

func TestQuantilesAgainstReferences(t *testing.T) {
	var ref struct {
		Results map[string]struct {
			X     references.Column
			Probs []float64
			Types []references.Column
		}
	}
	references.Expected(t, "quantiles", &ref)
	for name, c := range ref.Results {
		s := describe.Sort(c.X)
		for i, row := range c.Types {
			for j, want := range row {
				got, status := s.Quantile(c.Probs[j], describe.Definition(i+1))
				is(t, name, status)
				near(t, name+" definition "+strconv.Itoa(i+1)+" at "+strconv.FormatFloat(c.Probs[j], 'g', 4, 64), got, want, 1e-14)
			}
		}
	}
	if len(ref.Results) < 8 {
		t.Fatal("read only", len(ref.Results), "samples")
	}
}
