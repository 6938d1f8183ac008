package plan

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"

	"go.yaml.in/yaml/v3"

	"deltoid/schemas"
)

// reader reads one plan and collects everything that is wrong with it. Its methods return what they could read, and
// false or an empty value after reporting a fault.
type reader struct {
	path   string
	dir    string // the folder of the plan
	plan   *Plan
	faults []fault
	main   *export              // the table the shoulders come from; nil when it is missing or broken
	tables map[string]*export   // every table that was declared
	ends   map[string]*declared // every endpoint that was declared, by id
}

// fault is a problem with its place. shape marks what the published JSON Schema refuses too; the other faults are of
// sense: files, fields, codes and references that only the program can look up.
type fault struct {
	line, column int
	shape        bool
	problem      *schemas.Problem
}

// at reports a fault of the text, before there is a tree. Column 0 means that it is not known.
func (r *reader) at(line, column int, what, allowed, remedy string) {
	where := r.path + ":" + strconv.Itoa(line)
	if column > 0 {
		where += ":" + strconv.Itoa(column)
	}
	r.faults = append(r.faults, fault{line: line, column: column, problem: &schemas.Problem{
		Kind: schemas.PlanProblem, Where: where, What: what, Allowed: allowed, Remedy: remedy}})
}

// wrong reports a fault of sense.
func (r *reader) wrong(n *yaml.Node, what, allowed, remedy string) {
	r.at(n.Line, n.Column, what, allowed, remedy)
}

// malformed reports a fault of shape.
func (r *reader) malformed(n *yaml.Node, what, allowed, remedy string) {
	r.at(n.Line, n.Column, what, allowed, remedy)
	r.faults[len(r.faults)-1].shape = true
}

// place returns file:line of a node, for later messages.
func (r *reader) place(n *yaml.Node) string { return r.path + ":" + strconv.Itoa(n.Line) }

// unknown words the fault of a name that is not in a list.
func unknown(kind, name string, allowed []string, otherwise string) (what, list, remedy string) {
	return "no such " + kind + " " + quote(name), join(some(allowed)), didYouMean(name, allowed, otherwise)
}

// didYouMean is the remedy that names the nearest word, or another when none is near. A word longer than any name is not
// compared: it would take long, and mean nothing.
func didYouMean(word string, allowed []string, otherwise string) string {
	if len(word) > 100 || len(allowed) > 1000 {
		return otherwise
	}
	if near, ok := schemas.Nearest(word, allowed); ok {
		return "did you mean " + quote(near) + "?"
	}
	return otherwise
}

// quote quotes a text for a message and cuts it when it is long.
func quote(s string) string { return strconv.Quote(cut(s)) }

func cut(s string) string {
	const most = 60
	if letters := []rune(s); len(letters) > most {
		s = string(letters[:most]) + "…"
	}
	return s
}

// simple is a name that needs no quotation marks in a message.
var simple = regexp.MustCompile(`^[\pL\pN_. /-]{1,60}$`)

// plain writes a name for a message, between quotation marks only when it needs them.
func plain(name string) string {
	if simple.MatchString(name) {
		return name
	}
	return quote(name)
}

// some returns the first names of a list, and how many more there are.
func some(names []string) []string {
	const most = 30
	if len(names) <= most {
		return names
	}
	return append(slices.Clone(names[:most]), fmt.Sprintf("and %d more", len(names)-most))
}

// describe says what a node is, as a person would.
func describe(n *yaml.Node) string {
	switch {
	case n.Kind == yaml.MappingNode:
		return "a group of keys"
	case n.Kind == yaml.SequenceNode:
		return "a list"
	case n.ShortTag() == "!!null":
		return "nothing"
	case n.ShortTag() == "!!int" || n.ShortTag() == "!!float":
		return "the number " + cut(n.Value)
	case n.ShortTag() == "!!bool":
		return "the value " + n.Value
	}
	return "the text " + quote(n.Value)
}
