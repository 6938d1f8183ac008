package plan

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// The limits of a plan's tree. References (YAML's anchors and aliases) are followed, and each use counts in full, so a few
// lines that stand for millions are refused before anything is built from them.
const (
	maxNodes = 50_000
	maxDepth = 50
)

// parse turns the bytes into the root of a tree without references, or reports why it cannot.
func (r *reader) parse(data []byte) *yaml.Node {
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	if !r.isText(data) || !r.indentedWithSpaces(data) {
		return nil
	}
	var doc yaml.Node
	decoder := yaml.NewDecoder(bytes.NewReader(data))
	err := decoder.Decode(&doc)
	if errors.Is(err, io.EOF) || (err == nil && isNothing(&doc)) {
		r.at(1, 1, "the plan is empty", "", `start with "plan: 1"; pipeline/plan/README.md lists the keys`)
		return nil
	}
	if err != nil {
		r.notYAML(err, data)
		return nil
	}
	root := r.withoutReferences(doc.Content[0])
	if root == nil || !r.isLast(decoder, data) {
		return nil
	}
	return root
}

// isLast reports anything that follows the document.
func (r *reader) isLast(decoder *yaml.Decoder, data []byte) bool {
	var next yaml.Node
	err := decoder.Decode(&next)
	if err == nil {
		r.at(next.Line, next.Column, "a second document follows after \"---\"", "one plan in a file",
			"put it into a file of its own")
	} else if !errors.Is(err, io.EOF) {
		r.notYAML(err, data)
	}
	return errors.Is(err, io.EOF)
}

func isNothing(doc *yaml.Node) bool {
	return len(doc.Content) == 0 || doc.Content[0].ShortTag() == "!!null"
}

func (r *reader) isText(data []byte) bool {
	if utf8.Valid(data) {
		return true
	}
	good := 0
	for good < len(data) {
		c, size := utf8.DecodeRune(data[good:])
		if c == utf8.RuneError && size == 1 {
			break
		}
		good += size
	}
	line := 1 + bytes.Count(data[:good], []byte("\n"))
	column := 1 + utf8.RuneCount(data[1+bytes.LastIndexByte(data[:good], '\n'):good])
	r.at(line, column, fmt.Sprintf("the byte 0x%02X is not UTF-8 text", data[good]), "",
		"save the plan with the encoding UTF-8")
	return false
}

// indentedWithSpaces looks for tabs before the first letter of a line. YAML refuses most of them with a message about
// something else and swallows the rest.
func (r *reader) indentedWithSpaces(data []byte) bool {
	clean := true
	number := 0
	for line := range bytes.Lines(data) {
		number++
		text := bytes.TrimLeft(line, " \t\r\n")
		blank := line[:len(line)-len(text)]
		if i := bytes.IndexByte(blank, '\t'); i >= 0 && len(text) > 0 {
			r.at(number, i+1, "the line is indented with a tab", "spaces",
				"replace the tab with spaces, as many as in the lines beside it")
			clean = false
		}
	}
	return clean
}

// notYAML reports what the parser said. It gives a line in front of its message, and none when it means the first.
func (r *reader) notYAML(err error, data []byte) {
	line, what := 1, strings.TrimPrefix(err.Error(), "yaml: ")
	if rest, ok := strings.CutPrefix(what, "line "); ok {
		if number, message, ok := strings.Cut(rest, ": "); ok {
			if n, err := strconv.Atoi(number); err == nil {
				line, what = n, message
			}
		}
	}
	if _, name, ok := strings.Cut(what, "unknown anchor '"); ok {
		name, _, _ = strings.Cut(name, "'")
		line = 1 + bytes.Count(data[:max(0, bytes.Index(data, []byte("*"+name)))], []byte("\n"))
	}
	r.at(line, 0, "the plan is not YAML here: "+what, "",
		"look at this line and the lines beside it; put a text that holds any of "+
			": # [ ] { } , & * ! | > ' % @ between double quotes")
}

// withoutReferences returns the tree with every reference replaced by what it stands for, or nil when that is too much.
func (r *reader) withoutReferences(root *yaml.Node) *yaml.Node {
	count := 0
	var follow func(n *yaml.Node, depth int) *yaml.Node
	follow = func(n *yaml.Node, depth int) *yaml.Node {
		if n.Kind == yaml.AliasNode {
			n = n.Alias
		}
		count++
		if count > maxNodes || depth > maxDepth {
			return nil
		}
		copied := *n
		copied.Content = make([]*yaml.Node, len(n.Content))
		for i, child := range n.Content {
			if copied.Content[i] = follow(child, depth+1); copied.Content[i] == nil {
				return nil
			}
		}
		return &copied
	}
	tree := follow(root, 0)
	if tree == nil {
		r.at(root.Line, root.Column,
			"the plan holds too much, or is nested too deeply, once its references (& and *) are followed",
			fmt.Sprintf("%d values, %d levels", maxNodes, maxDepth), "write the plan out without references")
	}
	return tree
}
