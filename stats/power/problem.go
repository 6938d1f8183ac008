package power

import (
	"fmt"
	"strings"
)

// Problem says what is wrong with one assumption and what would be possible.
type Problem struct {
	Assumption Name
	Missing    bool   // it was left out; What then says what it is
	What       string // what was found
	Possible   string // what would be possible
}

// Error says the problem in one line.
func (p *Problem) Error() string {
	text := string(p.Assumption) + ": " + p.What
	if p.Possible != "" {
		text += "; possible: " + p.Possible
	}
	return text
}

// Problems are all that is wrong with what was given, in the order of the design's assumptions.
type Problems []*Problem

// Error says every problem in a line of its own.
func (ps Problems) Error() string {
	lines := make([]string, len(ps))
	for i, p := range ps {
		lines[i] = p.Error()
	}
	return strings.Join(lines, "\n")
}

// assumed holds the settings of a design while it is worked with, and what is wrong with them.
type assumed struct {
	design   *Design
	given    Given
	problems Problems
}

func (a *assumed) x(name Name) float64   { return a.given[name].Number }
func (a *assumed) word(name Name) string { return a.given[name].Word }
func (a *assumed) has(name Name) bool    { _, ok := a.given[name]; return ok }
func (a *assumed) twoSided() bool        { return a.x(Sides) == 2 }
func (a *assumed) set(n Name, x float64) { a.given[n] = Is(x) }
func (a *assumed) unknown(ns []Name) (left []Name) {
	for _, n := range ns {
		if !a.has(n) {
			left = append(left, n)
		}
	}
	return left
}

// refuse adds a problem.
func (a *assumed) refuse(name Name, possible, what string, parts ...any) {
	a.problems = append(a.problems, &Problem{Assumption: name, What: fmt.Sprintf(what, parts...), Possible: possible})
}

// ask adds a problem about an assumption that was left out.
func (a *assumed) ask(name Name, words string) {
	a.problems = append(a.problems, &Problem{Assumption: name, Missing: true, What: "is missing: " + words})
}

// with returns a copy with one setting changed.
func (a *assumed) with(name Name, x float64) *assumed {
	b := &assumed{design: a.design, given: make(Given, len(a.given)+1)}
	for n, s := range a.given {
		b.given[n] = s
	}
	b.given[name] = Is(x)
	return b
}
