package hazards

import (
	"math"

	"deltoid/stats/competing"
	"deltoid/stats/covariates"
	"deltoid/stats/survival"
)

// A model of the hazard, measured on rows.

func (f *Fit) predictors(d Data, columns []covariates.Column) []float64 {
	return predictorsOf(f.Coefficient, f.partial.design.Centre, d.Offset, columns, len(d.Exit))
}

func predictorsOf(beta []float64, centre func(j int) float64, offset []float64, columns []covariates.Column, rows int) []float64 {
	eta := make([]float64, rows)
	copy(eta, offset)
	for j, c := range columns {
		b, middle := beta[j], centre(j)
		for i, x := range c.Values {
			eta[i] += float64(b * (x - middle))
		}
	}
	return eta
}

func (f *Fit) order(d Data) Data { return d }

func (f *Fit) slope(d Data, eta []float64) (float64, bool, error) {
	d.Offset = nil // it is part of eta
	turn, err := Cox(d, f.Cause, []covariates.Column{{Name: "predictor", Values: eta}}, Options{Ties: f.Ties})
	if err != nil || turn.Status != covariates.Converged {
		return 0, false, err
	}
	return turn.Coefficient[0], true, nil
}

// risks are 1 − S; nil where a row has a stratum of which the model knows nothing.
func (f *Fit) risks(d Data, eta []float64, horizon float64) ([]float64, error) {
	hazard := make([]float64, f.Strata)
	for g := range hazard {
		hazard[g] = f.partial.shares.cumulative[f.partial.slotAt(g, horizon)]
	}
	out := make([]float64, len(eta))
	for i, x := range eta {
		g := d.stratum(i)
		if int(g) >= f.Strata {
			return nil, nil
		}
		out[i] = -math.Expm1(-hazard[g] * math.Exp(x))
	}
	return out, nil
}

// incidenceModel is a model of the cumulative incidence, measured on rows.
type incidenceModel struct {
	*competing.SubdistributionFit
	d      Data // from which it was made
	cause  uint8
	centre []float64 // of the columns there: far from 0 nothing would be left of a hazard
}

func newIncidenceModel(d Data, cause uint8, columns []covariates.Column) (*incidenceModel, error) {
	fit, err := subdistribution(d, cause, columns)
	if err != nil {
		return nil, err
	}
	m := &incidenceModel{fit, d, cause, make([]float64, len(columns))}
	for j, c := range columns {
		for _, x := range c.Values {
			m.centre[j] += x / float64(len(c.Values))
		}
	}
	return m, nil
}

func subdistribution(d Data, cause uint8, columns []covariates.Column) (*competing.SubdistributionFit, error) {
	causes := int(cause)
	for _, c := range d.Cause {
		causes = max(causes, int(c))
	}
	return competing.Subdistribution(survival.Data{Exit: d.Exit, Cause: d.Cause, Cluster: d.Cluster, Causes: causes}, int(cause), columns,
		competing.SubdistributionOptions{})
}

func (m *incidenceModel) predictors(d Data, columns []covariates.Column) []float64 {
	return predictorsOf(m.Coefficient, func(j int) float64 { return m.centre[j] }, nil, columns, len(d.Exit))
}

// order keeps those with another event at risk to the end.
func (m *incidenceModel) order(d Data) Data {
	exit, cause, last := append([]int32(nil), d.Exit...), append([]uint8(nil), d.Cause...), int32(0)
	for _, t := range exit {
		last = max(last, t)
	}
	for i, c := range cause {
		if c != 0 && c != m.cause {
			exit[i], cause[i] = last, 0
		}
	}
	d.Exit, d.Cause = exit, cause
	return d
}

func (m *incidenceModel) slope(d Data, eta []float64) (float64, bool, error) {
	turn, err := subdistribution(d, m.cause, []covariates.Column{{Name: "predictor", Values: eta}})
	if err != nil || turn.Status != covariates.Converged {
		return 0, false, err
	}
	return turn.Coefficient[0], true, nil
}

// risks are cumulative incidences; nil where the horizon lies beyond the rows that the model was made from.
func (m *incidenceModel) risks(_ Data, eta []float64, horizon float64) ([]float64, error) {
	last := int32(0)
	for _, t := range m.d.Exit {
		last = max(last, t)
	}
	if float64(last) < horizon {
		return nil, nil
	}
	base, err := m.Predict(m.centre, horizon)
	if err != nil {
		return nil, err
	}
	hazard := -math.Log1p(-base)
	out := make([]float64, len(eta))
	for i, x := range eta {
		out[i] = -math.Expm1(-hazard * math.Exp(x))
	}
	return out, nil
}
