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
	// Status is Converged where there is an answer; Reason says why there is none and what to do.
	Status                        covariates.Status
	Reason                        string
	Apparent, Optimism, Corrected Performance
	// Replicates were asked for; in Failed of them the model had no estimates, or nothing to be
	// measured by, and they are not among the mean.
	Replicates, Failed int
}

// Optimism fits the model to samples of its rows, drawn with replacement (whole clusters where the
// data have them), and measures each fit on its sample and on all rows; the mean difference is
// taken off what the model itself appears to do. Columns and knots are taken as given: whatever was
// chosen by looking at the outcome is not repeated here. Concordance is within strata. Of late
// entries and of weights that differ the status says that there is no method.
//
// Sample b comes from the stream (seed, "bootstrap optimism", b), so that the result is the same
// on every machine. Sources: Efron & Gong, Am. Stat. 37 (1983) 36–48; Harrell, Lee & Mark, Stat.
// Med. 15 (1996) 361–387.
func (f *Fit) Optimism(horizon float64, replicates int, seed uint64) (*Optimism, error) {
	if err := f.usable(); err != nil {
		return nil, err
	}
	o := Options{Ties: f.Ties, Penalised: f.Penalised}
	make := func(d Data, columns []covariates.Column) (developed, covariates.Status, error) {
		fit, err := Cox(d, f.Cause, columns, o)
		if err != nil {
			return nil, 0, err
		}
		return fit, fit.Status, nil
	}
	return optimism(&repetition{f.partial.data, f.Cause, f.partial.design.Columns, horizon, make}, f, replicates, seed)
}

// IncidenceOptimism is Optimism for a model of the cumulative incidence of a cause, which it fits to the data: Cause holds events
// of other causes. Its concordance keeps those with another event at risk to the end; its slope is that of a model of the incidence.
//
// Source of the concordance: Wolbers et al., Epidemiology 20 (2009) 555–561.
func IncidenceOptimism(d Data, cause uint8, columns []covariates.Column, horizon float64, replicates int, seed uint64) (*Optimism, error) {
	if _, _, err := d.check(cause); err != nil {
		return nil, err
	}
	if d.Stratum != nil || d.Offset != nil || d.Times != nil {
		return nil, fmt.Errorf("a model of the incidence has no strata, offsets and real times; leave Stratum, Offset and Times out")
	}
	if reason := d.unscorable(); reason != "" {
		return &Optimism{Status: covariates.Unsupported, Reason: reason, Replicates: replicates}, nil
	}
	d.Entry, d.Weight = nil, nil
	make := func(d Data, columns []covariates.Column) (developed, covariates.Status, error) {
		m, err := newIncidenceModel(d, cause, columns)
		if err != nil {
			return nil, 0, err
		}
		return m, m.Status, nil
	}
	own, status, err := make(d, columns)
	if err != nil {
		return nil, err
	}
	if status != covariates.Converged {
		fit := own.(*incidenceModel).SubdistributionFit
		return &Optimism{Status: fit.Status, Reason: fit.Reason, Replicates: replicates}, nil
	}
	return optimism(&repetition{d, cause, columns, horizon, make}, own, replicates, seed)
}

// developed is a model made from some rows, that is measured on these or others.
type developed interface {
	// predictors returns the log ratio of every row, against the centres.
	predictors(d Data, columns []covariates.Column) []float64
	// risks turns them into risks by the horizon.
	risks(d Data, eta []float64, horizon float64) ([]float64, error)
	// slope is what the log ratios are to be multiplied by on other rows.
	slope(d Data, eta []float64) (slope float64, known bool, err error)
	// order is the data whose events the concordance puts into their order.
	order(d Data) Data
}

// repetition is how a model is made, and from what.
type repetition struct {
	d       Data
	cause   uint8
	columns []covariates.Column
	horizon float64
	make    func(d Data, columns []covariates.Column) (developed, covariates.Status, error)
}

func optimism(r *repetition, own developed, replicates int, seed uint64) (*Optimism, error) {
	if replicates < 1 {
		return nil, fmt.Errorf("%d replicates, want 1 or more", replicates)
	}
	out := &Optimism{Replicates: replicates}
	if out.Reason = r.d.unscorable(); out.Reason != "" {
		out.Status = covariates.Unsupported
		return out, nil
	}
	var err error
	var known bool
	if out.Apparent, known, err = r.measure(own, r.d, r.columns, false); err != nil {
		return nil, err
	} else if !known {
		out.Status = covariates.NoEvents
		out.Reason = fmt.Sprintf("nothing is known at the horizon %v: no events before it, or nobody after it; take another", r.horizon)
		return out, nil
	}
	gains, failed, err := r.replicate(replicates, seed)
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
		out.Status = covariates.Singular
		out.Reason = fmt.Sprintf("the model has no estimates in any of %d samples of its rows; leave columns out, or merge levels", replicates)
		return out, nil
	}
	out.Optimism = Performance{}.plus(out.Optimism, 1/float64(replicates-out.Failed))
	out.Corrected = out.Apparent.plus(out.Optimism, -1)
	return out, nil
}

func (r *repetition) replicate(replicates int, seed uint64) (gains []Performance, failed []bool, err error) {
	clusters, err := covariates.GroupRows(r.d.Cluster, len(r.d.Exit))
	if err != nil {
		return nil, nil, err
	}
	gains, failed = make([]Performance, replicates), make([]bool, replicates)
	errs := make([]error, replicates)
	covariates.InParallel(replicates, func(_, b int) {
		stream := random.Stream(seed, "bootstrap optimism", uint64(b))
		rows := make([]int32, 0, len(r.d.Exit))
		for range clusters.Count {
			rows = clusters.AppendRows(rows, stream.IntN(clusters.Count))
		}
		gains[b], failed[b], errs[b] = r.gain(rows)
	})
	for _, err := range errs {
		if err != nil {
			return nil, nil, err
		}
	}
	return gains, failed, nil
}

// gain is how much better a model made from some rows does on them than on all.
func (r *repetition) gain(rows []int32) (gain Performance, failed bool, err error) {
	d := Data{Exit: pick(r.d.Exit, rows), Cause: pick(r.d.Cause, rows), Stratum: pick(r.d.Stratum, rows), Offset: pick(r.d.Offset, rows), Times: r.d.Times}
	columns := make([]covariates.Column, len(r.columns))
	for j, c := range r.columns {
		columns[j] = covariates.Column{Name: c.Name, Term: c.Term, Values: pick(c.Values, rows)}
	}
	model, status, err := r.make(d, columns)
	if err != nil || status != covariates.Converged {
		return gain, true, err
	}
	own, known, err := r.measure(model, d, columns, false)
	if err != nil || !known {
		return gain, true, err
	}
	all, known, err := r.measure(model, r.d, r.columns, true)
	return own.plus(all, -1), !known, err
}

// measure returns what a model does on some rows; known is false where nothing can be said.
func (r *repetition) measure(model developed, d Data, columns []covariates.Column, others bool) (out Performance, known bool, err error) {
	d.Cluster = nil
	eta := model.predictors(d, columns)
	c, err := Concord(model.order(d), r.cause, eta)
	if err != nil {
		return out, false, err
	}
	out.Concordance, out.Slope = c.C, 1
	if others {
		if out.Slope, known, err = model.slope(d, eta); err != nil || !known {
			return out, false, err
		}
	}
	risk, err := model.risks(d, eta, r.horizon)
	if err != nil || risk == nil {
		return out, false, err
	}
	d.Stratum, d.Offset, d.Weight, d.Entry = nil, nil, nil, nil
	s, err := newScoring(d, r.cause, risk, r.horizon)
	if err != nil {
		return out, false, err
	}
	v := &Validation{Horizon: r.horizon, N: len(risk)}
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
	if _, err := covariates.NewDesign(columns, len(columns[0].Values), false); err != nil {
		return nil, err
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
