package analyses

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/schemas"
	"deltoid/stats/covariates"
)

// term is one characteristic in a model, or an interaction of two.
type term struct {
	field string
	title string // "Sex", "Age (years)"; of its own in the model
	slug  string
	asked plan.Covariate
	unit  string
	// spoken is a label as it stands inside a sentence.
	spoken func(string) string

	levels []string  // labels; nil for a measured field
	of     []int32   // level of each episode, -1 where it is not known
	x      []float64 // value of each episode, NaN where it is not known
	knots  []float64
	at     float64   // the value of a spline that others are compared with
	from   []float64 // the columns of a spline there; nil for other terms

	reference int
	columns   []covariates.Column
	effects   []effect
	fault     string // why the term has nothing to estimate
	between   [2]*term
}

// effect is one row of a term: a level, a number of units more, a value of a spline, or a product of two.
type effect struct {
	label     string
	slug      string
	weights   []float64 // of the columns of the term
	n, events int
	reference bool
	counted   bool // n and events are those of a level
}

// readTerms reads the groups, where there are any, and the characteristics.
func (s *modelled) readTerms() error {
	if by := s.asked.Groups.By; by != "" {
		s.terms = append(s.terms, s.groupTerm())
	}
	for _, asked := range s.asked.AdjustFor {
		t, err := s.readTerm(asked)
		if err != nil {
			return err
		}
		s.terms = append(s.terms, t)
	}
	s.nameTerms()
	return nil
}

// groupTerm makes a term of the groups. Those that became known later enter from that day on.
func (s *modelled) groupTerm() *term {
	g := s.asked.Groups
	t := s.newTerm(plan.Covariate{Field: g.By, Reference: s.asked.Reference, Place: s.asked.Place, Labels: g.Labels, Order: g.Order, Bands: g.Bands})
	t.levels, t.of = recorded(s.episodes.Groups, s.episodes.Group, cohorts.NotRecorded)
	if column := s.cohort.Registry.Column(g.By, s.cohort.Definition.Indication); column != nil && column.Field.KnownOn == "" {
		t.levels, t.of = recorded(t.levels, t.of, cohorts.NotYet) // at a landmark a value without a day is missing, not yet to come
	}
	if s.asked.Groups.Split && s.asked.Reference == "" {
		t.reference = max(0, slices.Index(t.levels, cohorts.NotYet))
	}
	return t
}

// newTerm makes a term with the names of its field.
func (s *modelled) newTerm(asked plan.Covariate) *term {
	t := &term{field: asked.Field, asked: asked, title: asked.Field, spoken: inSentence}
	if column := s.cohort.Registry.Column(asked.Field, s.cohort.Definition.Indication); column != nil {
		t.title, t.unit, t.spoken = column.Field.Title, column.Field.Unit, speaker(column.Field)
	}
	t.title = sentence(t.title)
	return t
}

// recorded takes those whose label says that nothing is on record for missing. They are the last group.
func recorded(labels []string, of []int32, label string) ([]string, []int32) {
	at := slices.Index(labels, label)
	if at < 0 {
		return labels, of
	}
	out := slices.Clone(of)
	for i, g := range out {
		if g == int32(at) {
			out[i] = -1
		}
	}
	return labels[:at], out
}

func (s *modelled) readTerm(asked plan.Covariate) (*term, error) {
	column, err := s.cohort.Baseline(asked.Field, asked.Place)
	if err != nil {
		return nil, err
	}
	if f := column.Field; len(asked.Bands) == 0 && (f.Type == schemas.Number || f.Type == schemas.Integer) {
		return s.measured(column, asked), nil
	}
	return s.coded(asked)
}

// coded makes a term of codes, texts or bands.
func (s *modelled) coded(asked plan.Covariate) (*term, error) {
	g := cohorts.Grouping{By: asked.Field, Labels: asked.Labels, Order: asked.Order, Bands: asked.Bands, Place: asked.Place}
	of, labels, _, err := s.cohort.Groups(g)
	if err != nil {
		return nil, err
	}
	t := s.newTerm(asked)
	if len(asked.Bands) > 0 && asked.Reference != "" {
		g.Order = []string{asked.Reference} // bands are called by their number, and the one in front is named first
		_, ordered, empty, err := s.cohort.Groups(g)
		if err != nil {
			return nil, err
		}
		if len(empty) > 0 {
			return nil, s.noReference(&term{field: asked.Field, asked: asked, levels: labels})
		}
		t.reference = slices.Index(labels, ordered[0])
	}
	each := make([]int32, len(s.episodes.Exit))
	for i := range each {
		each[i] = of[s.shoulder(i)]
	}
	t.levels, t.of = recorded(labels, each, cohorts.NotRecorded)
	return t, nil
}

// measured makes a term of numbers.
func (s *modelled) measured(column *schemas.Column, asked plan.Covariate) *term {
	t := s.newTerm(asked)
	t.x = make([]float64, len(s.episodes.Exit))
	for i := range t.x {
		t.x[i] = numberAt(column, int(s.cohort.Registry.Shoulders[s.cohort.Shoulders[s.shoulder(i)]].Row))
	}
	return t
}

// nameTerms gives every term a title of its own, so that a message names one of them.
func (s *modelled) nameTerms() {
	titles, fields := map[string]int{}, make([]string, len(s.terms))
	for i, t := range s.terms {
		titles[t.title]++
		fields[i] = t.field
	}
	for i, name := range slugs(fields) {
		t := s.terms[i]
		t.slug = name
		if strings.HasPrefix(name, "interaction-") {
			t.slug = "field-" + name
		}
		if titles[t.title] > 1 {
			t.title += " [" + t.field + "]"
		}
	}
}

// amount writes a number of the units of a term: "year", "10 years", "5 kg/m²".
func (t *term) amount(x float64) string {
	unit := strings.ReplaceAll(t.unit, "m2", "m²")
	switch {
	case unit == "":
		return plain(x)
	case x == 1 && strings.HasSuffix(unit, "s"):
		return strings.TrimSuffix(unit, "s")
	}
	return plain(x) + " " + unit
}

func (t *term) missing(episode int) bool {
	if t.x != nil {
		return math.IsNaN(t.x[episode])
	}
	return t.of != nil && t.of[episode] < 0
}

// settle makes the columns of a term from the rows that are used.
func (t *term) settle(s *modelled) error {
	switch {
	case t.levels != nil:
		return t.settleLevels(s)
	case t.asked.Knots > 0:
		return t.settleSpline(s)
	}
	t.columns = []covariates.Column{{Name: t.title, Term: t.title, Values: taken(t.x, s.rows)}}
	per := t.asked.Per
	t.effects = []effect{{label: "Each " + t.amount(per) + " more", weights: []float64{per}, n: s.n, events: s.events}}
	return nil
}

// mostLevels is how many levels a characteristic may have: hundreds of ratios answer nothing, and each is a column as long as the
// cohort.
const mostLevels = 50

// settleLevels makes a column for each level but the reference. Levels that no row used has are left out.
func (t *term) settleLevels(s *modelled) error {
	of := taken(t.of, s.rows)
	if err := t.findReference(s); err != nil {
		return err
	}
	names := slugs(t.levels)
	var kept []int
	for level, count := range s.countLevels(of, len(t.levels)) {
		if count.rows > 0 {
			kept = append(kept, level)
			t.effects = append(t.effects, effect{label: t.levels[level], slug: names[level], n: count.n, events: count.events, counted: true})
		}
	}
	t.levels = taken(t.levels, narrow(kept))
	at := slices.Index(kept, t.reference)
	if at < 0 && t.asked.Reference != "" && len(kept) > 0 {
		return s.noReference(t)
	}
	t.reference = max(0, at)
	switch {
	case len(kept) < 2:
		t.fault = t.title + " has one value only among the shoulders used; leave it out, or merge levels otherwise"
	case len(kept) > mostLevels:
		t.fault = fmt.Sprintf("%s has %d levels, and a model has at most %d of one characteristic; merge levels, or make it the strata", t.title, len(kept), mostLevels)
		return nil
	}
	for i, level := range kept {
		if t.effects[i].reference = i == t.reference; t.effects[i].reference {
			continue
		}
		values := make([]float64, len(of))
		for row, g := range of {
			if g == int32(level) {
				values[row] = 1
			}
		}
		t.columns = append(t.columns, covariates.Column{Name: t.title + ": " + t.levels[i], Term: t.title, Values: values})
	}
	column := 0
	for i := range t.effects {
		t.effects[i].weights = make([]float64, len(t.columns))
		if !t.effects[i].reference {
			t.effects[i].weights[column] = 1
			column++
		}
	}
	return nil
}

func narrow(list []int) []int32 {
	out := make([]int32, len(list))
	for i, x := range list {
		out[i] = int32(x)
	}
	return out
}

// findReference looks up the level that the plan names, by code or by label.
func (t *term) findReference(s *modelled) error {
	want := t.asked.Reference
	if want == "" || len(t.asked.Bands) > 0 && t.field != s.asked.Groups.By {
		return nil
	}
	label := want
	column := s.cohort.Registry.Column(t.field, s.cohort.Definition.Indication)
	switch {
	case t.asked.Labels[want] != "":
		label = t.asked.Labels[want]
	case column != nil && len(t.asked.Bands) == 0:
		label = column.Field.Label(want)
	}
	t.reference = slices.IndexFunc(t.levels, func(l string) bool { return l == label || l == want })
	if t.reference < 0 {
		return s.noReference(t)
	}
	return nil
}

func (s *modelled) noReference(t *term) error {
	return &schemas.Problem{Kind: schemas.PlanProblem, Where: t.asked.Place,
		What:    fmt.Sprintf("no shoulder that can be used has the level %q of %q, with which the others are to be compared", t.asked.Reference, t.field),
		Allowed: joinWords(t.levels), Remedy: "name a level that has shoulders, or leave \"reference\" out to take the first"}
}

// settleSpline makes the columns of a natural cubic spline, and compares its knots with the reference.
func (t *term) settleSpline(s *modelled) (err error) {
	x := taken(t.x, s.rows)
	if t.knots, err = covariates.Knots(x, t.asked.Knots); err != nil {
		t.fault = t.title + " cannot be a spline: " + err.Error() + "; leave it out, or let it be a straight line"
		return nil
	}
	columns, err := covariates.Spline(t.title, x, t.knots)
	if err != nil {
		return err
	}
	for i := range columns {
		columns[i].Term = t.title
	}
	t.columns, t.at = columns, t.knots[len(t.knots)/2]
	if t.asked.Reference != "" {
		if t.at, err = strconv.ParseFloat(t.asked.Reference, 64); err != nil {
			return err
		}
	}
	shown := t.knots
	if !slices.Contains(shown, t.at) {
		shown = append(slices.Clone(shown), t.at)
		slices.Sort(shown)
	}
	t.from = covariates.SplineAt(t.at, t.knots)
	labels := make([]string, len(shown))
	for i, v := range shown {
		labels[i] = t.amount(rounded(v))
	}
	names := slugs(labels)
	for i, v := range shown {
		weights := covariates.SplineAt(v, t.knots)
		for j := range weights {
			weights[j] -= t.from[j]
		}
		t.effects = append(t.effects, effect{label: labels[i], slug: names[i], weights: weights, n: s.n, events: s.events, reference: v == t.at})
	}
	return nil
}

// rounded keeps four digits of a number, for a label.
func rounded(x float64) float64 {
	out, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 4, 64), 64)
	if err != nil {
		return x
	}
	return out
}

// origin is the value of a column at which the other term of an interaction has its own ratio: that of a spline is its
// reference, that of other terms 0.
func (t *term) origin(column int) float64 {
	if t.from == nil {
		return 0
	}
	return t.from[column]
}

// originWords say where the columns of a term are at their origin.
func (t *term) originWords() string {
	if t.levels != nil {
		return inSentence(t.levels[t.reference])
	}
	return t.amount(rounded(t.at))
}

// cross makes the interactions that the plan asks for: the products of the columns of two terms, each counted from its origin.
func (s *modelled) cross() error {
	for k, pair := range s.asked.Interactions {
		a, b := s.termOf(pair[0]), s.termOf(pair[1])
		t := &term{field: pair[0] + " " + pair[1], title: a.title + " × " + b.title, slug: "interaction-" + strconv.Itoa(k+1), spoken: inSentence, between: [2]*term{a, b}}
		for i, x := range a.columns {
			for j, y := range b.columns {
				values := make([]float64, len(x.Values))
				for row := range values {
					values[row] = (x.Values[row] - a.origin(i)) * (y.Values[row] - b.origin(j))
				}
				t.columns = append(t.columns, covariates.Column{Name: x.Name + " × " + y.Name, Term: t.title, Values: values})
				t.effects = append(t.effects, effect{label: columnLabel(a, i) + " × " + columnLabel(b, j), slug: fmt.Sprintf("%d-%d", i+1, j+1),
					n: s.n, events: s.events})
			}
		}
		for k := range t.effects {
			t.effects[k].weights = make([]float64, len(t.columns))
			t.effects[k].weights[k] = 1
		}
		s.terms = append(s.terms, t)
	}
	return nil
}

func (s *modelled) termOf(field string) *term {
	return s.terms[slices.IndexFunc(s.terms, func(t *term) bool { return t.field == field })]
}

// inWords is the title of a term inside a sentence: that of an interaction has two.
func (t *term) inWords() string {
	if t.between[0] != nil {
		return inSentence(t.between[0].title) + " × " + inSentence(t.between[1].title)
	}
	return inSentence(t.title)
}

// columnLabel names a column of a term as its rows do.
func columnLabel(t *term, column int) string {
	if t.levels == nil && len(t.columns) > 1 {
		return t.title + ", part " + strconv.Itoa(column+1)
	}
	for _, e := range t.effects {
		if t.levels != nil && !e.reference && e.weights[column] == 1 {
			return e.label
		}
	}
	return t.title
}
