package ingest

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
	_ "time/tzdata" // so that a zone is known on every machine

	"deltoid/schemas"
)

// spec says how the cells of one field become values. It is made once and only read afterwards, by all goroutines.
type spec struct {
	field     *schemas.Field
	header    string         // the column's name in the files
	must      bool           // a file without the column cannot be read
	mapped    bool           // the plan names the column
	layouts   []*layout      // of a Date field of texts; no two can read one text
	layout    *layout        // the only one of them, or nil
	offsets   bool           // a Date field of day numbers
	zone      *time.Location // in which moments become days; nil when none is declared
	serial    bool           // a Date field of the date cells of a workbook
	mark      byte           // decimal mark
	factor    float64        // days in the declared unit; 0 when no unit is declared
	unit      schemas.Unit
	low, high float64
	bounded   bool // low or high is a limit
	pattern   *regexp.Regexp
	recodes   []recode
	recodeAt  map[string]int
	tokens    map[string]bool
	mayBe     [256]bool  // first bytes of the tokens
	codes     *codeIndex // nil unless the field is a Code with a list
	direct    bool       // no recode or token can be mistaken for a value of the type
}

type recode struct{ from, to string }

// makeSpecs makes the specs of the schema's fields and of those that the source adds.
func (r *reader) makeSpecs() schemas.Problems {
	src := r.src
	var ps schemas.Problems
	known := map[string]bool{}
	add := func(f *schemas.Field, extra bool) {
		if known[f.Name] {
			ps = append(ps, planProblem(src, fmt.Sprintf("%s has the column %s twice", src.Table, f.Name), "",
				"give the added column another name"))
			return
		}
		known[f.Name] = true
		sp, problems := newSpec(f, src)
		sp.must = f.Required || extra || sp.mapped
		r.made, ps = append(r.made, sp), append(ps, problems...)
	}
	for i := range r.schema.Fields {
		add(&r.schema.Fields[i], false)
	}
	for i := range src.Extra {
		add(&src.Extra[i], true)
	}
	if src.Decimal != 0 && src.Decimal != '.' && src.Decimal != ',' {
		ps = append(ps, planProblem(src, fmt.Sprintf("the decimal mark is declared as %q", src.Decimal), "a point or a comma",
			"declare one of the two"))
	}
	r.specs = r.made
	if len(src.Wide)+len(src.Items) > 0 {
		ps = append(ps, r.makeWide()...)
	}
	return append(ps, unknownFields(src, known)...)
}

func newSpec(f *schemas.Field, src *schemas.Source) (*spec, schemas.Problems) {
	sp := &spec{field: f, header: f.Name, mark: '.', low: math.Inf(-1), high: math.Inf(1)}
	if header, ok := src.Columns[f.Name]; ok {
		sp.header, sp.mapped = header, true
	}
	if src.Decimal != 0 {
		sp.mark = byte(src.Decimal)
	}
	if f.Minimum != nil {
		sp.low = *f.Minimum
	}
	if f.Maximum != nil {
		sp.high = *f.Maximum
	}
	ps := sp.setType(src)
	sp.bounded = !math.IsInf(sp.low, -1) || !math.IsInf(sp.high, 1)
	sp.setTokens(src.Missing)
	ps = append(ps, sp.setRecodes(src)...)
	sp.direct = sp.recodeAt == nil && !sp.tokenIsValue()
	return sp, ps
}

// setType prepares what the field's type needs.
func (sp *spec) setType(src *schemas.Source) (ps schemas.Problems) {
	f := sp.field
	if f.Type == schemas.Date {
		ps = append(ps, sp.setLayout(src)...)
	}
	if unit, ok := src.Units[f.Name]; ok {
		ps = append(ps, sp.setUnit(unit, src)...)
	}
	if f.Pattern != "" {
		re, err := regexp.Compile("^(?:" + f.Pattern + ")$")
		if err != nil {
			ps = append(ps, planProblem(src, fmt.Sprintf("the pattern of %s cannot be read: %v", f.Name, err), "",
				"correct the pattern"))
		}
		sp.pattern = re
	}
	return ps
}

func (sp *spec) setLayout(src *schemas.Source) schemas.Problems {
	if name, ok := src.Zones[sp.field.Name]; ok {
		zone, err := time.LoadLocation(name)
		if err != nil || name == "" || name == "Local" {
			return schemas.Problems{planProblem(src, fmt.Sprintf("%q is no time zone", name), "a name of the IANA database, as Europe/Lisbon, or UTC",
				"correct the zone of "+sp.field.Name)}
		}
		sp.zone = zone
	}
	declared := src.Layouts[sp.field.Name]
	if len(declared) == 0 {
		declared = []schemas.Layout{schemas.ISODate}
	}
	if a, b, ok := schemas.Confused(declared); ok {
		return schemas.Problems{planProblem(src, fmt.Sprintf("%s is declared as %q and as %q, and one value can be read by both", sp.field.Name, a, b),
			"layouts that cannot read the same value", "declare one of the two, or export the column in one layout")}
	}
	return sp.readLayouts(declared, src)
}

func (sp *spec) readLayouts(declared []schemas.Layout, src *schemas.Source) (ps schemas.Problems) {
	for _, text := range declared {
		switch text {
		case schemas.SheetDate:
			sp.serial = true
			continue
		case schemas.DayNumber:
			sp.offsets = true
			sp.low, sp.high = max(sp.low, schemas.NoDay+1), min(sp.high, math.MaxInt32)
			continue
		}
		l, err := parseLayout(text)
		if err != nil {
			ps = append(ps, planProblem(src, fmt.Sprintf("the layout %q of %s cannot be read: %v", text, sp.field.Name, err),
				`YYYY, MM and DD, once each, with any separators, or "day number"`, `write, for example, "DD/MM/YYYY"`))
			continue
		}
		sp.layouts = append(sp.layouts, l)
	}
	if len(sp.layouts) == 1 {
		sp.layout = sp.layouts[0]
	}
	return ps
}

// parseDate reads a date by the one layout that can read it, and returns the place of that layout.
func (sp *spec) parseDate(b []byte) (day int32, layout int, ok bool) {
	for i, l := range sp.layouts {
		if day, ok := l.parse(b); ok {
			return day, i, true
		}
	}
	return 0, 0, false
}

func (sp *spec) setUnit(unit schemas.Unit, src *schemas.Source) schemas.Problems {
	factor, ok := schemas.DaysPer(unit)
	if !ok {
		return schemas.Problems{planProblem(src, fmt.Sprintf("%s has the unit %q", sp.field.Name, unit),
			"days, weeks, months, years", "declare one of these units")}
	}
	if sp.field.Type != schemas.Integer && !sp.offsets {
		return schemas.Problems{planProblem(src, fmt.Sprintf("%s has a unit of time but is not a number of days", sp.field.Name),
			"a unit for a field of whole days", "take the unit away")}
	}
	sp.factor, sp.unit = factor, unit
	return nil
}

func (sp *spec) setTokens(tokens []string) {
	for _, t := range tokens {
		if t == "" {
			continue
		}
		if sp.tokens == nil {
			sp.tokens = map[string]bool{}
		}
		sp.tokens[t] = true
		sp.mayBe[t[0]] = true
	}
}

func (sp *spec) isToken(b []byte) bool {
	return len(b) > 0 && sp.mayBe[b[0]] && sp.tokens[string(b)]
}

// tokenIsValue reports whether a token for missing, such as 999, would also be a value of the field's type.
func (sp *spec) tokenIsValue() bool {
	for t := range sp.tokens {
		b := []byte(t)
		_, number := parseNumber(b, sp.mark)
		_, _, date := sp.parseDate(b)
		if number || date {
			return true
		}
	}
	return false
}

// allowed says what the field accepts, for the finding about a value it did not.
func (sp *spec) allowed(rule *schemas.Rule, value string) string {
	switch rule {
	case schemas.RuleUnknownCode:
		return sp.allowedCodes(value)
	case schemas.RuleBadDate, schemas.RuleTimeOfDay:
		return sp.allowedDate()
	case schemas.RuleBadInteger:
		return sp.allowedWhole()
	case schemas.RuleBadNumber:
		return "a number with the decimal mark " + string(rune(sp.mark))
	case schemas.RuleOutOfRange:
		return sp.allowedRange()
	case schemas.RulePattern:
		return "a text of the form " + sp.field.Pattern
	}
	return ""
}

func (sp *spec) allowedDate() string {
	var forms []string
	if sp.serial {
		forms = append(forms, "a date cell of the workbook, without a time")
	}
	if len(sp.layouts) > 0 {
		texts := make([]schemas.Layout, len(sp.layouts))
		for i, l := range sp.layouts {
			texts[i] = l.text
		}
		forms = append(forms, "a date written "+schemas.JoinLayouts(texts))
	}
	if len(forms) == 0 {
		return sp.allowedWhole()
	}
	return strings.Join(forms, ", or ")
}

func (sp *spec) allowedWhole() string {
	if sp.factor != 0 {
		return fmt.Sprintf("a number of %s", sp.unit)
	}
	if sp.offsets {
		return "a whole number of days"
	}
	if sp.field.Unit == string(schemas.Days) {
		return fmt.Sprintf("a whole number of days; where the column counts months or years, declare it in the study plan: units: {%s: years}", sp.field.Name)
	}
	return "a whole number"
}

// shownCodes is how many codes of a long list a message names.
const shownCodes = 12

func (sp *spec) allowedCodes(value string) string {
	codes := make([]string, len(sp.field.Codes))
	for i := range codes {
		codes[i] = sp.field.Codes[i].Value
	}
	near, ok := schemas.Nearest(value, codes)
	text := "one of: " + strings.Join(codes[:min(shownCodes, len(codes))], ", ")
	if len(codes) > shownCodes {
		text += fmt.Sprintf(" and %d more", len(codes)-shownCodes)
	}
	if ok {
		text += "; nearest: " + near
	}
	return text
}

func (sp *spec) allowedRange() string {
	low, high := !math.IsInf(sp.low, -1), !math.IsInf(sp.high, 1)
	switch {
	case low && high:
		return "from " + sp.limit(sp.low) + " to " + sp.limit(sp.high)
	case low:
		return "at least " + sp.limit(sp.low)
	default:
		return "at most " + sp.limit(sp.high)
	}
}

func (sp *spec) limit(x float64) string {
	if sp.field.Type == schemas.Date && !sp.offsets {
		return schemas.FormatDay(int32(x))
	}
	if sp.factor != 0 {
		return strconv.FormatFloat(x, 'f', -1, 64) + " days"
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

func planProblem(src *schemas.Source, what, allowed, remedy string) *schemas.Problem {
	return &schemas.Problem{Kind: schemas.PlanProblem, Where: src.Plan, What: what, Allowed: allowed, Remedy: remedy}
}
