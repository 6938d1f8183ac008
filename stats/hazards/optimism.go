package hazards

import (
	"fmt"
	"math"

	"deltoid/stats/covariates"
	"deltoid/stats/random"
)

// Performance is what a model does on some rows; Brier, Scaled and AUC are those of Validation at
// its horizon.
type Performance struct {
	// Concordance is over all follow-up. Slope is what log hazard ratios are to be multiplied by:
	// below 1 where the model is too sure of itself.
	Concordance, Slope float64
	Brier, Scaled, AUC float64
}

func (p Performance) plus(q Performance, share float64) Performance {
	return Performance{p.Concordance + float64(share*q.Concordance), p.Slope + float64(share*q.Slope), p.Brier + float64(share*q.Brier),
		p.Scaled + float64(share*q.Scaled), p.AUC + float64(share*q.AUC)}
}

// Optimism says by how much a model looks better on the rows it was made from than it is.
type Optimism struct {
	Apparent, Optimism, Corrected Performance
	// Replicates were asked for; in Failed of them the model had no estimates, or nothing to be
	// measured by, and they are not among the mean.
	Replicates, Failed int
}

// Optimism fits the model to samples of its rows, drawn with replacement (whole clusters where the
// data have them), and measures each fit on its sample and on all rows; the mean difference is
// taken off what the model itself appears to do. Columns and knots are taken as given: whatever was
// chosen by looking at the outcome is not repeated here.
//
// Sample b comes from the stream (seed, "bootstrap optimism", b), so that the result is the same
// on every machine. Sources: Efron & Gong, Am. Stat. 37 (1983) 36–48; Harrell, Lee & Mark, Stat.
// Med. 15 (1996) 361–387.
func (f *Fit) Optimism(horizon float64, replicates int, seed uint64) (*Optimism, error) {
	if err := f.usable(); err != nil {
		return nil, err
	}
	p := f.partial
	if p.data.Weight != nil || p.data.Stratum != nil || p.data.Entry != nil || p.data.Offset != nil {
		return nil, fmt.Errorf("optimism is for models without weights, strata, late entries and offsets")
	}
	if replicates < 1 {
		return nil, fmt.Errorf("%d replicates, want 1 or more", replicates)
	}
	out := &Optimism{Replicates: replicates}
	var err error
	var known bool
	if out.Apparent, known, err = f.measure(p.data, p.design.Columns, horizon, false); err != nil {
		return nil, err
	} else if !known {
		return nil, fmt.Errorf("nothing is known at the horizon %v: no events before it, or nobody after it", horizon)
	}
	gains, failed, err := f.replicate(horizon, replicates, seed)
	if err != nil {
		return nil, err
	}
	for b, gain := range gains {
		if failed[b] {
			out.Failed++
		} else {
			out.Optimism = out.Optimism.plus(gain, 1)
		}
	}
	if out.Failed == replicates {
		return nil, fmt.Errorf("the model has no estimates in any of %d samples", replicates)
	}
	out.Optimism = Performance{}.plus(out.Optimism, 1/float64(replicates-out.Failed))
	out.Corrected = out.Apparent.plus(out.Optimism, -1)
	return out, nil
}

func (f *Fit) replicate(horizon float64, replicates int, seed uint64) (gains []Performance, failed []bool, err error) {
	p := f.partial
	clusters, err := covariates.GroupRows(p.data.Cluster, len(p.risk))
	if err != nil {
		return nil, nil, err
	}
	gains, failed = make([]Performance, replicates), make([]bool, replicates)
	errs := make([]error, replicates)
	covariates.InParallel(replicates, func(_, b int) {
		rows := f.sample(clusters, seed, uint64(b))
		gains[b], failed[b], errs[b] = f.gain(rows, horizon)
	})
	for _, err := range errs {
		if err != nil {
			return nil, nil, err
		}
	}
	return gains, failed, nil
}

func (f *Fit) sample(clusters *covariates.Clusters, seed, replicate uint64) []int32 {
	stream := random.Stream(seed, "bootstrap optimism", replicate)
	rows := make([]int32, 0, len(f.partial.risk))
	for range clusters.Count {
		rows = clusters.AppendRows(rows, stream.IntN(clusters.Count))
	}
	return rows
}

// gain is how much better a model made from some rows does on them than on all.
func (f *Fit) gain(rows []int32, horizon float64) (gain Performance, failed bool, err error) {
	p := f.partial
	d := Data{Exit: make([]int32, len(rows)), Cause: make([]uint8, len(rows)), Times: p.data.Times}
	columns := make([]covariates.Column, len(p.design.Columns))
	for j, c := range p.design.Columns {
		columns[j] = covariates.Column{Name: c.Name, Term: c.Term, Values: make([]float64, len(rows))}
		for at, i := range rows {
			columns[j].Values[at] = c.Values[i]
		}
	}
	for at, i := range rows {
		d.Exit[at], d.Cause[at] = p.data.Exit[i], p.data.Cause[i]
	}
	fit, err := Cox(d, f.Cause, columns, Options{Ties: f.Ties, Penalised: f.Penalised})
	if err != nil || fit.Status != covariates.Converged {
		return gain, true, err
	}
	own, known, err := fit.measure(d, columns, horizon, false)
	if err != nil || !known {
		return gain, true, err
	}
	all, known, err := fit.measure(p.data, p.design.Columns, horizon, true)
	return own.plus(all, -1), !known, err
}

// measure returns what the model does on some rows; known is false where nothing can be said.
func (f *Fit) measure(d Data, columns []covariates.Column, horizon float64, others bool) (out Performance, known bool, err error) {
	d.Cluster = nil
	eta := make([]float64, len(d.Exit))
	for j, c := range columns {
		b, centre := f.Coefficient[j], f.partial.design.Centre(j)
		for i, x := range c.Values {
			eta[i] += float64(b * (x - centre))
		}
	}
	c, err := Concord(d, f.Cause, eta)
	if err != nil {
		return out, false, err
	}
	out.Concordance, out.Slope = c.C, 1
	if others {
		turn, err := Cox(d, f.Cause, []covariates.Column{{Name: "predictor", Values: eta}}, Options{Ties: f.Ties})
		if err != nil || turn.Status != covariates.Converged {
			return out, false, err
		}
		out.Slope = turn.Coefficient[0]
	}
	hazard := f.partial.shares.cumulative[f.partial.slotAt(0, horizon)]
	for i, x := range eta {
		eta[i] = -math.Expm1(-hazard * math.Exp(x))
	}
	s, err := newScoring(d, f.Cause, eta, horizon)
	if err != nil {
		return out, false, err
	}
	v := &Validation{Horizon: horizon, N: len(eta)}
	if !s.count(v) {
		return out, false, nil
	}
	if err := s.observe(v, 0.95); err != nil {
		return out, false, err
	}
	s.brier(v)
	s.auc(v)
	out.Brier, out.Scaled, out.AUC = v.Brier, v.Scaled, v.AUC
	return out, true, nil
}

// Given is a model that was made elsewhere, to be held against other data by Validate:
//
//	risk = 1 − survival^exp(Σ coefficient (x − centre))
type Given struct {
	Names        []string // of the columns
	Coefficients []float64
	Centres      []float64 // nil is 0 for all
	// Survival is the probability of being free of the event at the horizon for someone at the
	// centres.
	Survival float64
}

// Risks returns the risk by the horizon of every row. Columns are those that Names names, in that
// order.
func (g Given) Risks(columns []covariates.Column) ([]float64, error) {
	if len(g.Names) != len(g.Coefficients) || g.Centres != nil && len(g.Centres) != len(g.Names) {
		return nil, fmt.Errorf("%d names, %d coefficients, %d centres", len(g.Names), len(g.Coefficients), len(g.Centres))
	}
	if !(g.Survival > 0 && g.Survival < 1) {
		return nil, fmt.Errorf("the survival at the horizon is %v, want a probability above 0 and below 1", g.Survival)
	}
	stand := Fit{}
	stand.Names = g.Names
	if err := stand.sameColumns(columns); err != nil {
		return nil, err
	}
	if len(columns) == 0 {
		return nil, fmt.Errorf("a model without columns gives everybody one risk; there is nothing to validate")
	}
	hazard := -math.Log(g.Survival)
	out := make([]float64, len(columns[0].Values))
	for j, c := range columns {
		centre := 0.0
		if g.Centres != nil {
			centre = g.Centres[j]
		}
		for i, x := range c.Values {
			out[i] += float64(g.Coefficients[j] * (x - centre))
		}
	}
	for i, eta := range out {
		out[i] = -math.Expm1(-hazard * math.Exp(eta))
	}
	return out, nil
}
