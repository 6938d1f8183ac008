package power

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// settle fills in the usual settings and finds everything that is wrong. It returns the name of what is to be solved for.
func settle(d *Design, given Given) (*assumed, Name) {
	a := &assumed{design: d, given: make(Given, len(given)+4)}
	for name, s := range given {
		if _, ok := d.Taken(name); ok {
			a.given[name] = s
			continue
		}
		a.refuse(name, strings.Join(names(d), ", "), "says nothing to the design %q", d.ID)
	}
	slices.SortFunc(a.problems, func(p, q *Problem) int { return strings.Compare(string(p.Assumption), string(q.Assumption)) })
	wanted := a.wanted()
	for _, t := range d.Takes {
		switch s, ok := a.given[t.Name]; {
		case ok:
			a.possible(t, s)
		case t.Usual != nil:
			a.given[t.Name] = *t.Usual
		case t.Name != wanted && !t.Optional && !slices.Contains(d.solvable(), t.Name):
			a.ask(t.Name, t.Words+" ("+t.Help+")")
		}
	}
	if len(a.problems) == 0 {
		a.clustersAgree()
		a.goalAgrees()
	}
	if len(a.problems) == 0 {
		a.effectAgrees(wanted)
	}
	if len(a.problems) == 0 && d.check != nil {
		d.check(a)
	}
	return a, wanted
}

// solvable returns what can be looked for, the size first.
func (d *Design) solvable() []Name {
	if d.Effect == "" {
		return []Name{Size, d.Goal}
	}
	return []Name{Size, d.Goal, d.Effect}
}

// wanted finds the one of size, goal and effect that was left out.
func (a *assumed) wanted() Name {
	left := a.unknown(a.design.solvable())
	all := make([]string, 0, 3)
	for _, n := range a.design.solvable() {
		all = append(all, string(n))
	}
	switch len(left) {
	case 1:
		return left[0]
	case 0:
		a.refuse(Size, "leave one of "+strings.Join(all, ", ")+" out", "nothing is left to look for: %s are all given", strings.Join(all, ", "))
		return ""
	}
	// Two or more are missing: which of them is to be looked for is for the planner to say.
	for _, n := range left {
		t, _ := a.design.Taken(n)
		a.ask(n, t.Words+" ("+t.Help+"); all but one of "+strings.Join(all, ", ")+" are needed, and the one left out is looked for")
	}
	return ""
}

// possible refuses a setting outside its range.
func (a *assumed) possible(t Assumption, s Setting) {
	if p := t.Check(s); p != nil {
		a.problems = append(a.problems, p)
	}
}

// Check says what is wrong with a setting by itself; nil if nothing is.
func (t Assumption) Check(s Setting) *Problem {
	refused := func(possible, what string, parts ...any) *Problem {
		return &Problem{Assumption: t.Name, What: fmt.Sprintf(what, parts...), Possible: possible}
	}
	switch {
	case t.Unit == Choice && !slices.Contains(t.Choices, s.Word):
		return refused(t.Range(), "%q is not one of the choices for %s", s.Word, t.Words)
	case t.Unit == Choice:
		return nil
	case s.Word != "":
		return refused(t.Range(), "%q is no number", s.Word)
	case !t.holds(s.Number):
		return refused(t.Range(), "%s is %s, which cannot be", t.Words, brief(s.Number))
	case t.Whole() && s.Number != math.Trunc(s.Number):
		return refused(brief(math.Floor(s.Number))+" or "+brief(math.Ceil(s.Number)), "%s is %s, which is no whole number", t.Words, brief(s.Number))
	}
	return nil
}

// Whole says whether the number has to be a whole one.
func (t Assumption) Whole() bool {
	return t.Unit == Persons || t.Name == Sides || t.Name == MeasuresBefore || t.Name == MeasuresAfter
}

func (t Assumption) holds(x float64) bool {
	low := x > t.From || t.FromIn && x == t.From
	high := x < t.To || t.ToIn && x == t.To
	return low && high // false for NaN
}

// Range says in words which numbers or words are possible: "above 0 and below 1".
func (t Assumption) Range() string {
	if t.Unit == Choice {
		return strings.Join(t.Choices, ", ")
	}
	var parts []string
	switch {
	case math.IsInf(t.From, -1):
	case t.FromIn:
		parts = append(parts, "at least "+brief(t.From))
	default:
		parts = append(parts, "above "+brief(t.From))
	}
	switch {
	case math.IsInf(t.To, 1):
	case t.ToIn:
		parts = append(parts, "at most "+brief(t.To))
	default:
		parts = append(parts, "below "+brief(t.To))
	}
	if len(parts) == 0 {
		return "any number"
	}
	return strings.Join(parts, " and ")
}

// goalAgrees refuses a power that chance alone would give.
func (a *assumed) goalAgrees() {
	if a.has(Power) && a.has(Significance) && a.x(Power) <= a.x(Significance) {
		a.refuse(Power, "above "+brief(a.x(Significance))+" and below 1; 0.8 or 0.9 are usual",
			"the power %s is not above the significance %s, which a study without any effect has", brief(a.x(Power)), brief(a.x(Significance)))
	}
}

// effectAgrees refuses an effect at which there is nothing to find, and asks for the direction of one that is looked for.
func (a *assumed) effectAgrees(wanted Name) {
	d := a.design
	if d.Effect == "" || d.null == nil {
		return
	}
	_, two := d.Taken(Direction)
	if wanted == d.Effect {
		if two && !a.has(Direction) {
			t, _ := d.Taken(Direction)
			a.ask(Direction, t.Words+" ("+strings.Join(t.Choices, " or ")+")")
		}
		return
	}
	if null := d.null(a); a.x(d.Effect) == null {
		t, _ := d.Taken(d.Effect)
		a.refuse(d.Effect, t.Range()+", and other than "+brief(null), "%s is %s, so there is nothing to find", t.Words, brief(null))
	}
}

func names(d *Design) []string {
	list := make([]string, len(d.Takes))
	for i, t := range d.Takes {
		list[i] = string(t.Name)
	}
	return list
}

func brief(x float64) string { return strconv.FormatFloat(x, 'g', 6, 64) }

// Describe writes a setting as a person would.
func (s Setting) Describe() string {
	if s.Word != "" {
		return s.Word
	}
	return fmt.Sprint(brief(s.Number))
}
