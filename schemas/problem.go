package schemas

import (
	"fmt"
	"strings"
)

// Kind says which kind of input a [Problem] lies in. The program's exit codes follow it.
type Kind uint8

// The kinds of problem.
const (
	PlanProblem       Kind = iota + 1 // the study plan or the command line is wrong
	ExportProblem                     // an export cannot be read at all
	CohortProblem                     // nothing is left to analyse
	IdentifierProblem                 // a column may identify people, and nobody has said that it was looked at
)

// Problem is an error that the person at the keyboard can mend: where it is, what was found, what is allowed and what
// to do. Parts that do not apply are empty.
type Problem struct {
	Kind    Kind
	Where   string // file:line:column, or file, as far as known
	What    string // what was found
	Allowed string // what is allowed instead
	Remedy  string // what to do
	Cause   error
}

// Error writes the problem on one line, part after part.
func (p *Problem) Error() string {
	var b strings.Builder
	if p.Where != "" {
		b.WriteString(p.Where + ": ")
	}
	b.WriteString(p.What)
	if p.Allowed != "" {
		b.WriteString("; allowed: " + p.Allowed)
	}
	if p.Remedy != "" {
		b.WriteString("; to mend it: " + p.Remedy)
	}
	return b.String()
}

// Unwrap returns the underlying error, if any.
func (p *Problem) Unwrap() error { return p.Cause }

// Problems is every problem found in one pass, so that nobody has to mend and try again one at a time.
type Problems []*Problem

// Error writes one problem a line. A fault that several files have is told once, of the first of them.
func (ps Problems) Error() string {
	var told []Problem
	others := map[string]int{}
	for _, p := range ps {
		fault := (&Problem{What: p.What, Allowed: p.Allowed, Remedy: p.Remedy}).Error()
		if _, before := others[fault]; before && p.Kind == ExportProblem {
			others[fault]++
			continue
		}
		others[fault] = 0
		told = append(told, *p)
	}
	lines := make([]string, len(told))
	for i, p := range told {
		switch n := others[(&Problem{What: p.What, Allowed: p.Allowed, Remedy: p.Remedy}).Error()]; {
		case p.Kind != ExportProblem || n == 0:
		case n == 1:
			p.Where += " and 1 more file"
		default:
			p.Where += fmt.Sprintf(" and %d more files", n)
		}
		lines[i] = p.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap returns the problems one by one.
func (ps Problems) Unwrap() []error {
	errs := make([]error, len(ps))
	for i, p := range ps {
		errs[i] = p
	}
	return errs
}
