package plan

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"deltoid/cohorts"
	"deltoid/schemas"
)

// Settings lists everything that the plan decides, defaults included, in a fixed order: the path of a key in the plan and
// its value. The run record and the report print it.
func (p *Plan) Settings() [][2]string {
	l := &settings{plan: p}
	l.add("plan", strconv.Itoa(Version))
	l.add("study", p.Study)
	l.add("title", p.Title)
	l.add("about", p.About)
	l.add("invented", strconv.FormatBool(p.Invented))
	for i := range p.Sources {
		l.source(&p.Sources[i])
	}
	l.followUp()
	l.add("indication", string(p.Cohort.Indication))
	l.cohort()
	for i := range p.Endpoints {
		l.endpoint(&p.Endpoints[i])
	}
	for i := range p.Visits {
		l.visit(&p.Visits[i])
	}
	for i := range p.Analyses {
		l.analysis(&p.Analyses[i])
	}
	l.add("outputs", join(words(p.Outputs)))
	l.add("disclosure.mask_below", strconv.Itoa(p.Disclosure.MaskBelow))
	l.add("disclosure.reason", p.Disclosure.Reason)
	for _, r := range p.Rules {
		l.add("rules."+r.Rule, "warn: "+r.Reason)
	}
	return l.rows
}

type settings struct {
	plan *Plan
	rows [][2]string
}

// add lists a setting; one that is empty decides nothing.
func (l *settings) add(key, value string) {
	if value != "" {
		l.rows = append(l.rows, [2]string{key, value})
	}
}

// addEach lists the entries of a map by key.
func addEach[V ~string](l *settings, key string, m map[string]V) {
	for _, k := range slices.Sorted(maps.Keys(m)) {
		l.add(key+"."+k, string(m[k]))
	}
}

func (l *settings) source(s *schemas.Source) {
	key := "exports." + s.Table
	l.add(key+".files", join(s.Shown))
	l.add(key+".format", formatName(s.Format))
	l.add(key+".encoding", string(s.Encoding))
	l.add(key+".sheet", s.Sheet)
	l.add(key+".delimiter", delimiterName(s.Delimiter))
	l.add(key+".decimal", map[rune]string{'.': "point", ',': "comma"}[s.Decimal])
	addEach(l, key+".columns", s.Columns)
	for _, field := range slices.Sorted(maps.Keys(s.Recode)) {
		for _, theirs := range slices.Sorted(maps.Keys(s.Recode[field])) {
			l.add(key+".recode."+field+"."+theirs, orMissing(s.Recode[field][theirs]))
		}
	}
	for _, field := range slices.Sorted(maps.Keys(s.Layouts)) {
		l.add(key+".dates."+field, schemas.JoinLayouts(s.Layouts[field]))
	}
	addEach(l, key+".zones", s.Zones)
	for i := range s.Wide {
		l.add(key+".wide."+s.Wide[i].Column, wideWords(&s.Wide[i]))
	}
	for i := range s.Items {
		l.items(fmt.Sprintf("%s.items.%d", key, i+1), &s.Items[i])
	}
	addEach(l, key+".scales", s.Scales)
	l.add(key+".missing", quoted(s.Missing))
	addEach(l, key+".units", s.Units)
	for i := range s.Extra {
		l.add(key+".extra."+s.Extra[i].Name, extraWords(&s.Extra[i]))
	}
	addEach(l, key+".sha256", s.SHA256)
	addEach(l, key+".reviewed", s.Reviewed)
	l.add(key+".drop", join(s.Drop))
}

func formatName(f schemas.Format) string {
	for _, name := range slices.Sorted(maps.Keys(formats)) {
		if formats[name] == f {
			return name
		}
	}
	return "by the ending of each file"
}

func delimiterName(mark rune) string {
	for _, name := range slices.Sorted(maps.Keys(delimiters)) {
		if delimiters[name] == mark {
			return name
		}
	}
	return "found from the header line"
}

func orMissing(ours string) string {
	if ours == "" {
		return "(missing)"
	}
	return ours
}

func quoted(tokens []string) string {
	out := make([]string, len(tokens))
	for i, t := range tokens {
		out[i] = strconv.Quote(t)
	}
	return join(out)
}

func extraWords(f *schemas.Field) string {
	word := f.Title + ": " + typeNames[slices.IndexFunc(typeNames, func(name string) bool { return types[name] == f.Type })]
	if f.Unit != "" {
		word += " in " + f.Unit
	}
	if f.KnownOn != "" {
		word += ", known on " + f.KnownOn
	}
	codes := make([]string, len(f.Codes))
	for i, c := range f.Codes {
		codes[i] = c.Value + " = " + c.Label
	}
	if len(codes) > 0 {
		word += " (" + join(codes) + ")"
	}
	return word
}

func (l *settings) followUp() {
	f := l.plan.FollowUp
	if f.DataCut == schemas.NoDay {
		return
	}
	l.add("data_cut", l.day(float64(f.DataCut)))
	l.add("follow_up", map[bool]string{false: "data_cut", true: "last_contact"}[f.ToLastContact])
}

// day writes a day in the terms of the exports.
func (l *settings) day(v float64) string {
	if l.plan.Offsets {
		return number(v)
	}
	return schemas.FormatDay(int32(v))
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

func (l *settings) cohort() {
	l.add("cohort.name", l.plan.Cohort.Name)
	for i, c := range l.plan.Cohort.Criteria {
		l.criterion(fmt.Sprintf("cohort.criteria.%d", i+1), &c)
	}
	if m := l.plan.Cohort.Minimum; m.Days > 0 {
		l.add("cohort.minimum_follow_up", m.Words+", "+map[bool]string{false: "possible", true: "achieved"}[m.Achieved])
	}
	if l.plan.Cohort.FirstShoulderOnly {
		l.add("cohort.first_shoulder_only", "true")
	}
}

func (l *settings) criterion(key string, c *cohorts.Criterion) {
	l.add(key+".keep", c.Label)
	for _, w := range c.Where {
		l.add(key+".where."+w.Field, l.condition(&w))
	}
}

func (l *settings) condition(c *cohorts.Condition) string {
	write := number
	if l.isDate(c.Field) {
		write = l.day
	}
	var parts []string
	if c.From != nil {
		parts = append(parts, "from "+write(*c.From))
	}
	if c.To != nil {
		parts = append(parts, "to "+write(*c.To))
	}
	if len(c.In) > 0 {
		parts = append(parts, join(c.In))
	}
	return strings.Join(parts, " ")
}

// isDate reports whether a field of the table the shoulders come from holds days: only such fields have a layout. That
// table is the first of the sources.
func (l *settings) isDate(field string) bool {
	return len(l.plan.Sources) > 0 && len(l.plan.Sources[0].Layouts[field]) > 0
}

func (l *settings) endpoint(e *cohorts.Endpoint) {
	key := "endpoints." + e.ID
	l.add(key+".label", e.Label)
	l.add(key+".event", string(e.Event))
	if e.Event == cohorts.Revised && l.plan.FollowUp.DataCut != schemas.NoDay {
		l.add(key+".counts", string(e.Definition()))
	}
	l.add(key+".reasons", join(e.Reasons))
	l.add(key+".competing", join(words(e.Competing)))
}

func (l *settings) analysis(a *Analysis) {
	key := "analyses." + a.ID
	l.add(key+".kind", string(a.Kind))
	l.add(key+".endpoint", a.Endpoint)
	if a.Kind.aboutScores() {
		l.scored(key, a)
		return
	}
	if !a.Kind.overTime() || a.Kind == FollowUpKind {
		l.described(key, a)
		return
	}
	l.groups(key, a)
	if a.Kind == RevisionRates {
		l.rates(key, a)
		return
	}
	switch a.Kind {
	case Regression:
		l.regression(key, a)
		return
	case Validation:
		l.validation(key, a)
		return
	case Projection:
		l.projection(key, a)
		return
	case NextStudyKind:
		l.nextStudy(key, a)
		return
	}
	l.add(key+".times", join(numbers(a.Times)))
	l.add(key+".unit", string(a.Unit))
	l.add(key+".until", number(a.Until))
	l.add(key+".headline", string(a.Headline))
	l.add(key+".level", number(a.Level))
	l.add(key+".interval", string(a.Interval))
	l.add(key+".variance", string(a.Variance))
	l.add(key+".weights", a.Weights)
	l.add(key+".shares", join(numbers(a.Shares)))
	if a.Hazard > 0 {
		l.add(key+".hazard", number(a.Hazard))
	}
	l.comparison(key, a)
	l.add(key+".sensitivity", join(words(a.Sensitivity)))
}

// groups lists how the cohort is split and narrowed for one analysis.
func (l *settings) groups(key string, a *Analysis) {
	g := &a.Groups
	l.add(key+".by", g.By)
	addEach(l, key+".labels", g.Labels)
	l.add(key+".order", join(g.Order))
	write := number
	if l.isDate(g.By) {
		write = l.day
	}
	bounds := make([]string, len(g.Bands))
	for i, b := range g.Bands {
		bounds[i] = write(b)
	}
	l.add(key+".bands", join(bounds))
	if g.Landmark > 0 {
		l.add(key+".landmark", fmt.Sprintf("day %d", g.Landmark))
	}
	if g.Split {
		l.add(key+".split", "true")
	}
	if a.Within != nil {
		l.criterion(key+".within", a.Within)
	}
}

// described lists what the kinds that describe the cohort ask for.
func (l *settings) described(key string, a *Analysis) {
	l.groups(key, a)
	l.add(key+".level", number(a.Level))
	l.add(key+".fields", join(a.Fields))
	l.add(key+".medians", join(a.Medians))
	if a.Kind == Baseline {
		l.add(key+".p_values", strconv.FormatBool(a.PValues))
	}
	l.add(key+".instruments", join(a.Instruments))
}

func (l *settings) visit(v *cohorts.Window) {
	l.add("visits."+v.ID, fmt.Sprintf("%s: day %d, from day %d to day %d", v.Label, v.Target, v.From, v.To))
}

func (l *settings) rates(key string, a *Analysis) {
	l.add(key+".times", join(numbers(a.Times)))
	l.add(key+".unit", string(a.Unit))
	l.add(key+".per", number(a.Per))
	if a.Groups.By != "" && !a.byReason() {
		l.add(key+".reference", a.Reference)
	}
	l.add(key+".level", number(a.Level))
	l.add(key+".interval", string(a.Interval))
	l.add(key+".variance", string(a.Variance))
	l.add(key+".sensitivity", join(words(a.Sensitivity)))
}

func (l *settings) comparison(key string, a *Analysis) {
	if a.Kind != Comparison {
		return
	}
	l.add(key+".tests", join(words(a.Tests)))
	l.add(key+".strata", a.Strata)
	l.add(key+".trend", strconv.FormatBool(a.Trend))
	l.add(key+".pairs", string(a.Pairs))
	if a.Horizon > 0 {
		l.add(key+".horizon", number(a.Horizon))
	}
}

func numbers(list []float64) []string {
	out := make([]string, len(list))
	for i, x := range list {
		out[i] = number(x)
	}
	return out
}

// words turns named texts into texts.
func words[S ~string](list []S) []string {
	out := make([]string, len(list))
	for i, w := range list {
		out[i] = string(w)
	}
	return out
}
