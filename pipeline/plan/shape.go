package plan

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// pair is one key of a group with its value.
type pair struct{ key, value *yaml.Node }

// pairs reads a group whose keys are free: each is a text or code of its own, and none stands twice.
func (r *reader) pairs(n *yaml.Node, name string) []pair {
	if n.Kind != yaml.MappingNode {
		r.mistyped(n, name, group, `a group of keys, as in "key: value"`)
		return nil
	}
	var pairs []pair
	first := map[string]int{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key := n.Content[i]
		if _, ok := r.code(key, "a key of "+name); !ok {
			continue
		}
		if line, twice := first[key.Value]; twice {
			r.wrong(key, "the key "+quote(key.Value)+" stands twice; the first is in line "+strconv.Itoa(line),
				"each key once", "delete one of the two")
			continue
		}
		first[key.Value] = key.Line
		pairs = append(pairs, pair{key, n.Content[i+1]})
	}
	return pairs
}

// section is a group with a closed list of keys.
type section struct {
	r      *reader
	node   *yaml.Node
	name   string
	values map[string]*yaml.Node
}

// section reads a group with a closed list of keys. Its name is for messages.
func (r *reader) section(n *yaml.Node, name string, keys ...string) section {
	s := section{r: r, node: n, name: name, values: map[string]*yaml.Node{}}
	for _, p := range r.pairs(n, name) {
		if slices.Contains(keys, p.key.Value) {
			s.values[p.key.Value] = p.value
			continue
		}
		what, allowed, remedy := unknown("key", p.key.Value, keys, "remove the key, or move it to where it belongs")
		r.malformed(p.key, what, allowed, remedy)
	}
	return s
}

// need returns the value of a key that must be there, or nil after reporting that it is not.
func (s section) need(key, remedy string) *yaml.Node {
	v := s.values[key]
	if v == nil && s.node.Kind == yaml.MappingNode {
		s.r.malformed(s.node, "the key "+quote(key)+" is missing from "+s.name, "", remedy)
	}
	return v
}

// form is how a value is laid out.
type form int

const (
	single form = iota // one text, code, number or date
	list
	group
)

// mistyped reports a value of the wrong kind.
func (r *reader) mistyped(n *yaml.Node, name string, wanted form, allowed string) {
	r.malformed(n, name+" is "+describe(n), allowed, reshape(n, wanted))
}

// reshape says how a value becomes one of the form that is wanted.
func reshape(n *yaml.Node, wanted form) string {
	switch {
	case n.ShortTag() == "!!null":
		return "write a value after the colon, or remove the key"
	case wanted == group:
		return "write keys with their values, indented below or between braces"
	case wanted == list && n.Kind == yaml.MappingNode:
		return "begin each entry with a hyphen"
	case wanted == list:
		return "put it between brackets: [" + plain(n.Value) + "]"
	case n.Kind == yaml.SequenceNode:
		return "write one value, without brackets and hyphens"
	case n.Kind == yaml.MappingNode:
		return "write one value, without keys"
	case n.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle) != 0 && decimal.MatchString(n.Value):
		return "remove the quotation marks"
	}
	return "correct the value"
}

// text reads a text. A number is refused: as a title or label it is nearly always a slip. A date is as good as any text.
func (r *reader) text(n *yaml.Node, name string) (string, bool) {
	tag := n.ShortTag()
	if n.Kind != yaml.ScalarNode || tag == "!!null" {
		r.mistyped(n, name, single, "a text")
		return "", false
	}
	if tag != "!!str" && tag != "!!timestamp" {
		r.malformed(n, name+" is "+describe(n), "a text", "put it between double quotes if it is meant: "+quote(n.Value))
		return "", false
	}
	if strings.Trim(n.Value, " \t\n\r\f") == "" {
		r.malformed(n, name+" is empty", "a text", "write a text, or remove the key")
		return "", false
	}
	return n.Value, true
}

// code reads a code, a name of a column or another word of somebody else's making. It keeps the letters as they stand,
// so that 010 stays 010.
func (r *reader) code(n *yaml.Node, name string) (string, bool) {
	switch {
	case n.Kind == yaml.ScalarNode && n.ShortTag() == "!!null" && n.Value != "":
		r.malformed(n, name+" is "+n.Value+", which YAML reads as nothing", "a code or a text",
			"put it between double quotes if it is meant: "+strconv.Quote(n.Value))
	case n.Kind != yaml.ScalarNode || n.ShortTag() == "!!null":
		r.mistyped(n, name, single, "a code or a text")
	case n.Value == "":
		r.malformed(n, name+" is empty", "a code or a text", "write a value, or remove it")
	default:
		return n.Value, true
	}
	return "", false
}

// codes reads one code or a list of them, each once.
func (r *reader) codes(n *yaml.Node, name string) []*yaml.Node {
	nodes := []*yaml.Node{n}
	if n.Kind == yaml.SequenceNode {
		nodes = r.entries(n, name)
	}
	return r.distinct(nodes, name)
}

// entries reads a list that is not empty.
func (r *reader) entries(n *yaml.Node, name string) []*yaml.Node {
	if n.Kind != yaml.SequenceNode {
		r.mistyped(n, name, list, "a list, as in [a, b]")
		return nil
	}
	if len(n.Content) == 0 {
		r.malformed(n, name+" is an empty list", "at least one entry", "name an entry, or remove the key")
	}
	return n.Content
}

// distinct keeps the nodes that are codes and not repeated.
func (r *reader) distinct(nodes []*yaml.Node, name string) []*yaml.Node {
	var kept []*yaml.Node
	seen := map[string]bool{}
	for _, n := range nodes {
		v, ok := r.code(n, name)
		switch {
		case !ok:
		case seen[v]:
			r.wrong(n, quote(v)+" stands twice in "+name, "each entry once", "delete one of the two")
		default:
			seen[v] = true
			kept = append(kept, n)
		}
	}
	return kept
}

// decimal is a number as a plan writes it: digits, with a point and an exponent at most.
var decimal = regexp.MustCompile(`^[-+]?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][-+]?[0-9]{1,2})?$`)

// number reads a number.
func (r *reader) number(n *yaml.Node, name, allowed string) (float64, bool) {
	if n.Kind == yaml.ScalarNode && (n.ShortTag() == "!!int" || n.ShortTag() == "!!float") && decimal.MatchString(n.Value) {
		if v, err := strconv.ParseFloat(n.Value, 64); err == nil {
			return v, true
		}
	}
	r.mistyped(n, name, single, allowed)
	return 0, false
}

// whole reads a whole number of at least least.
func (r *reader) whole(n *yaml.Node, name string, least int, allowed string) (int, bool) {
	if n.Kind == yaml.ScalarNode && n.ShortTag() == "!!int" && decimal.MatchString(n.Value) {
		if v, err := strconv.Atoi(n.Value); err == nil && v >= least && v <= 1_000_000 {
			return v, true
		}
	}
	r.mistyped(n, name, single, allowed)
	return 0, false
}

// choice reads one word of a closed list.
func (r *reader) choice(n *yaml.Node, name string, allowed []string) (string, bool) {
	if n.Kind == yaml.ScalarNode && n.ShortTag() != "!!null" && slices.Contains(allowed, n.Value) {
		return n.Value, true
	}
	if n.Kind != yaml.ScalarNode || n.ShortTag() == "!!null" {
		r.mistyped(n, name, single, join(allowed))
		return "", false
	}
	otherwise := "write one of the words allowed"
	if len(allowed) == 1 {
		otherwise = "write " + quote(allowed[0])
	}
	r.malformed(n, name+" is "+quote(n.Value), join(allowed), didYouMean(n.Value, allowed, otherwise))
	return "", false
}
