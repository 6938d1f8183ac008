package competing_test

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"testing"

	"deltoid/stats/competing"
	"deltoid/stats/references"
	"deltoid/stats/survival"
)

// See testdata/references/README.md for the programs, versions and scripts behind these numbers.

func numbers(t testing.TB, texts []string) []float64 {
	t.Helper()
	out := make([]float64, len(texts))
	for i, s := range texts {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatalf("row %d: %v", i, err)
		}
		out[i] = x
	}
	return out
}

func mustCountReal(t testing.TB, d survival.RealData) *survival.Counts {
	t.Helper()
	c, err := survival.CountReal(d)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if math.IsNaN(want) || math.Abs(got-want) > tolerance*math.Max(math.Abs(want), 1e-3) {
		t.Errorf("%s = %.17g, want %.17g", what, got, want)
	}
}

type incidenceCase struct {
	Data  string
	Input struct {
		Time, Status, Group string
		Causes              references.Column
		CensorCode          float64 `json:"censor_code"`
	}
	Results struct {
		Curves []incidenceCurve
	}
}

type incidenceCurve struct {
	Group    any
	Cause    float64
	N        int64
	NCause   int64 `json:"n_cause"`
	Horizons incidencePoints
	Curve    incidencePoints
	OneMinus references.Column `json:"one_minus_km_naive"`
}

type incidencePoints struct {
	Time        references.Column
	AtRisk      references.Column `json:"n_risk_before"`
	AJ          references.Column `json:"aj"`
	SE          references.Column `json:"aj_se_ij"`
	LogLower    references.Column `json:"aj_log_lower"`
	LogUpper    references.Column `json:"aj_log_upper"`
	LogLogLower references.Column `json:"aj_loglog_lower"`
	LogLogUpper references.Column `json:"aj_loglog_upper"`
	PlainLower  references.Column `json:"aj_plain_lower"`
	PlainUpper  references.Column `json:"aj_plain_upper"`
	Aalen       references.Column `json:"cuminc_var"`
	AalenLower  references.Column `json:"cuminc_loglog_lower"`
	AalenUpper  references.Column `json:"cuminc_loglog_upper"`
}

func (c *incidenceCase) labels() (out []string) {
	for _, k := range c.Results.Curves {
		if s := fmt.Sprint(k.Group); !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return out
}

// data reads the rows of the case. Rows without a group are left out, as the reference does.
func (c *incidenceCase) data(t *testing.T) survival.RealData {
	f := references.Data(t, c.Data)
	labels := c.labels()
	d := survival.RealData{Groups: len(labels), Causes: len(c.Input.Causes)}
	time, status := numbers(t, f[c.Input.Time]), numbers(t, f[c.Input.Status])
	for i := range time {
		group := 0
		if c.Input.Group != "" {
			if group = slices.Index(labels, f[c.Input.Group][i]); group < 0 {
				continue
			}
		}
		cause := slices.Index(c.Input.Causes, status[i]) + 1
		if cause == 0 && status[i] != c.Input.CensorCode {
			t.Fatalf("row %d: status %v is neither a cause nor censored", i, status[i])
		}
		d.Exit = append(d.Exit, time[i])
		d.Cause = append(d.Cause, uint8(cause))
		d.Group = append(d.Group, int32(group))
	}
	return d
}

func TestIncidenceAgainstReferences(t *testing.T) {
	for _, id := range []string{
		"cif_edge_time_zero_ties", "cif_melanoma", "cif_melanoma_ulcer", "cif_melanoma_ulcer_strata_sex", "cif_mgus1_agegrp", "cif_pbc_stage",
	} {
		t.Run(id, func(t *testing.T) {
			var c incidenceCase
			references.Expected(t, id, &c)
			counts := mustCountReal(t, c.data(t))
			labels := c.labels()
			for _, want := range c.Results.Curves {
				group := slices.Index(labels, fmt.Sprint(want.Group))
				curve := competing.Incidence(counts, group, int(want.Cause))
				if curve.N != want.N || curve.Total != want.NCause {
					t.Errorf("n %d, events %d, want %d and %d", curve.N, curve.Total, want.N, want.NCause)
				}
				checkPoints(t, curve, want.Horizons)
				checkPoints(t, curve, want.Curve)
				checkOneMinus(t, counts.ProductLimit(group, int(want.Cause)), want)
			}
		})
	}
}

// checkPoints compares at the times of the reference. Estimates, infinitesimal-jackknife standard
// errors and intervals on three scales are from one program, the counting-process variance and
// its interval from another.
func checkPoints(t *testing.T, curve *competing.Curve, want incidencePoints) {
	t.Helper()
	for i, at := range want.Time {
		name := fmt.Sprintf("group %d cause %d at %v: ", curve.Group, curve.Cause, at)
		p := curve.At(at)
		near(t, name+"at risk", float64(p.AtRisk), want.AtRisk[i], 0)
		if p.Status == survival.BeyondFollowUp && want.AtRisk[i] == 0 {
			continue
		}
		near(t, name+"incidence", p.Value, want.AJ[i], 1e-12)
		if p.Limits != survival.Estimated {
			if se := want.SE[i]; se > 1e-12 {
				t.Errorf("%sno interval (%v), reference has standard error %v", name, p.Limits, se)
			}
			continue
		}
		near(t, name+"delta standard error", p.SE, want.SE[i], 1e-11)
		checkLimits(t, name, curve, at, survival.Plain, want.PlainLower, want.PlainUpper, i)
		checkLimits(t, name, curve, at, survival.Log, want.LogLower, want.LogUpper, i)
		checkLimits(t, name, curve, at, survival.LogLog, want.LogLogLower, want.LogLogUpper, i)
		if math.IsNaN(want.Aalen[i]) {
			continue // that program stops at the last exit, though the curve is settled for good
		}
		a := curve.Using(competing.Aalen)
		near(t, name+"Aalen variance", a.At(at).SE*a.At(at).SE, want.Aalen[i], 1e-11)
		checkLimits(t, name, a, at, survival.LogLog, want.AalenLower, want.AalenUpper, i)
	}
}

func checkLimits(t *testing.T, name string, curve *competing.Curve, at float64, scale survival.Scale, lower, upper references.Column, i int) {
	t.Helper()
	if lower == nil {
		return // the curve table of the reference has no limits, only its horizons have
	}
	p, err := curve.Interval(at, 0.95, scale)
	if err != nil {
		t.Fatal(err)
	}
	name += scale.String() + ", " + curve.Variance().String()
	near(t, name+" lower", p.Lower, lower[i], 1e-11)
	near(t, name+" upper", p.Upper, upper[i], 1e-11)
}

func checkOneMinus(t *testing.T, curve *survival.Curve, want incidenceCurve) {
	t.Helper()
	for i, at := range want.Horizons.Time {
		p := curve.At(at).Complement()
		if p.Status == survival.Estimated {
			near(t, fmt.Sprintf("1 - product-limit at %v", at), p.Value, want.OneMinus[i], 1e-12)
		}
	}
}

func TestIncidenceWithoutEventsAgainstReference(t *testing.T) {
	var want struct {
		Results struct {
			ExpectedCIF float64 `json:"expected_cif"`
		}
	}
	references.Expected(t, "cif_edge_no_events", &want)
	f := references.Read(t, references.Folder+"/data/edge_no_events.csv")
	exit := numbers(t, f["time"])
	counts := mustCountReal(t, survival.RealData{Exit: exit, Cause: make([]uint8, len(exit)), Causes: 2})
	for cause := 1; cause <= 2; cause++ {
		p := competing.Incidence(counts, 0, cause).At(slices.Min(exit))
		if p.Value != want.Results.ExpectedCIF || p.Status != survival.NoEvents || p.Limits != survival.NoEvents {
			t.Errorf("cause %d: %+v, want 0 and no events", cause, p)
		}
	}
}

// Ages with delayed entry. The file's first man has an event while he is the only one at risk,
// so the curves of the men are settled at that age and say nothing more; the women are compared.
func TestLeftTruncatedIncidenceAgainstReference(t *testing.T) {
	var c struct {
		Results struct {
			Groups []struct {
				Group  string
				N      int64
				Causes []struct {
					Cause    int
					NCause   int64 `json:"n_cause"`
					Horizons struct {
						Time, AJ references.Column
						Var      references.Column `json:"etm_var"`
					}
					Curve incidencePoints
				}
			}
		}
	}
	references.Expected(t, "cif_left_truncated_mgus1_age", &c)
	counts := mustCountReal(t, mgus1Ages(t))
	for g, group := range c.Results.Groups {
		for _, want := range group.Causes {
			curve := competing.Incidence(counts, g, want.Cause)
			if curve.N != group.N || curve.Total != want.NCause {
				t.Errorf("%s: n %d events %d, want %d and %d", group.Group, curve.N, curve.Total, group.N, want.NCause)
			}
			for i, at := range want.Horizons.Time {
				p := curve.At(at)
				near(t, fmt.Sprintf("%s cause %d at %v", group.Group, want.Cause, at), p.Value, want.Horizons.AJ[i], 1e-12)
				if p.Limits == survival.Estimated {
					// With delayed entry the infinitesimal jackknife is another estimate; the file's
					// Greenwood-type variance is ours.
					near(t, fmt.Sprintf("%s cause %d variance at %v", group.Group, want.Cause, at), p.SE*p.SE, want.Horizons.Var[i], 1e-11)
				}
			}
			for i, at := range want.Curve.Time {
				near(t, fmt.Sprintf("%s cause %d at %v", group.Group, want.Cause, at), curve.At(at).Value, want.Curve.AJ[i], 1e-12)
			}
		}
	}
}
