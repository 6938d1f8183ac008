package analyses

import (
	"fmt"
	"slices"
	"strconv"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/schemas"
	"deltoid/stats/covariates"
)

// described is a patient that the plan describes, in the terms of the model.
type described struct {
	plan.Described
	slug    string
	values  []float64 // of the columns of the model
	stratum int
	from    []string // the counts that a prediction rests on
	beyond  []string // characteristics whose value lies beyond those that the model was made from
}

// describe finds the level or value of every patient in every characteristic.
func (s *predictions) describe() error {
	names := make([]string, len(s.asked.Predict.Patients))
	for i, d := range s.asked.Predict.Patients {
		names[i] = d.Name
	}
	for i, id := range slugs(names) {
		d := described{Described: s.asked.Predict.Patients[i], slug: id, from: []string{s.usedID(), s.eventID()}}
		parts := map[*term][]float64{}
		for _, t := range s.terms {
			values, err := s.valuesOf(&d, t, parts)
			if err != nil {
				return err
			}
			parts[t] = values
			d.values = append(d.values, values...)
		}
		if s.asked.Strata != "" {
			level, err := s.levelOf(&d, s.asked.Strata, plan.Covariate{Field: s.asked.Strata}, s.strata.labels)
			if err != nil {
				return err
			}
			d.stratum = level
		}
		s.people = append(s.people, d)
	}
	return nil
}

// valuesOf returns the values of the columns of a term for a patient.
func (s *predictions) valuesOf(d *described, t *term, parts map[*term][]float64) ([]float64, error) {
	if t.between[0] != nil {
		var out []float64
		for i, x := range parts[t.between[0]] {
			for j, y := range parts[t.between[1]] {
				out = append(out, (x-t.between[0].origin(i))*(y-t.between[1].origin(j)))
			}
		}
		return out, nil
	}
	if t.levels == nil {
		x, err := strconv.ParseFloat(d.Values[t.field], 64)
		if err != nil {
			return nil, err
		}
		if seen := taken(t.x, s.rows); len(seen) > 0 && (x < slices.Min(seen) || x > slices.Max(seen)) {
			d.beyond = append(d.beyond, inSentence(t.title))
		}
		if t.asked.Knots > 0 && t.knots != nil {
			return covariates.SplineAt(x, t.knots), nil
		}
		return []float64{x}, nil
	}
	level, err := s.levelOf(d, t.field, t.asked, t.levels)
	if err != nil {
		return nil, err
	}
	for i, e := range t.effects {
		if e.counted && (i == level || e.reference) {
			d.from = append(d.from, s.effectID("shoulders", t, e), s.effectID("events", t, e))
		}
	}
	return t.effects[level].weights, nil
}

// levelOf finds the level of a patient among those of a characteristic.
func (s *predictions) levelOf(d *described, field string, asked plan.Covariate, levels []string) (int, error) {
	code := d.Values[field]
	label, labelled := asked.Labels[code]
	if column := s.cohort.Registry.Column(field, s.cohort.Definition.Indication); !labelled && column != nil {
		label = column.Field.Label(code)
	}
	if len(asked.Bands) > 0 {
		x, err := strconv.ParseFloat(code, 64)
		if err != nil {
			return 0, err
		}
		if label, err = s.bandOf(field, asked, x); err != nil {
			return 0, err
		}
	}
	at := slices.IndexFunc(levels, func(l string) bool { return l == label || l == code })
	if at < 0 {
		return 0, &schemas.Problem{Kind: schemas.PlanProblem, Where: d.Place,
			What:    fmt.Sprintf("no shoulder that the model is made from has the level %q of %q, which the patient %q is to have", code, field, d.Name),
			Allowed: joinWords(levels), Remedy: "describe a patient like some of the cohort"}
	}
	return at, nil
}

// bandOf names the band that a value lies in: bands are called by their number, and the one that is put in front is named first.
func (s *predictions) bandOf(field string, asked plan.Covariate, x float64) (string, error) {
	band := 1
	for _, bound := range asked.Bands {
		if x >= bound {
			band++
		}
	}
	_, labels, empty, err := s.cohort.Groups(cohorts.Grouping{By: field, Bands: asked.Bands, Order: []string{strconv.Itoa(band)}, Place: s.asked.Place})
	if err != nil || len(empty) > 0 {
		return "", err
	}
	return labels[0], nil
}
