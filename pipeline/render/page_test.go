package render

import (
	"bytes"
	"regexp"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"deltoid/pipeline/report"
)

func pageOf(t *testing.T, doc report.Document) (*html.Node, string) {
	t.Helper()
	files, err := page(mustOpen(t, doc))
	if err != nil {
		t.Fatal(err)
	}
	root, err := html.Parse(bytes.NewReader(files[0].Data))
	if err != nil {
		t.Fatal(err)
	}
	return root, string(files[0].Data)
}

func elements(root *html.Node) []*html.Node {
	var out []*html.Node
	for n := range root.Descendants() {
		if n.Type == html.ElementNode {
			out = append(out, n)
		}
	}
	return out
}

func attr(n *html.Node, key string) (string, bool) {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val, true
		}
	}
	return "", false
}

func textOf(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data)
		}
	}
	return b.String()
}

// Every number leads to an estimate and says what it is.
func TestEveryNumberHasItsEstimate(t *testing.T) {
	for name, doc := range documents() {
		b := mustOpen(t, doc)
		root, _ := pageOf(t, doc)
		for _, n := range elements(root) {
			ids, ok := attr(n, "data-estimate")
			if n.Data == "data" && !ok {
				t.Errorf("%s: a number %q without its estimate", name, textOf(n))
			}
			for _, id := range strings.Fields(ids) {
				if b.byID[id] == nil {
					t.Errorf("%s: %q leads to no estimate", name, id)
				}
			}
			if title, _ := attr(n, "title"); n.Data == "data" && !strings.HasPrefix(title, ids) {
				t.Errorf("%s: the tooltip of %q is %q", name, ids, title)
			}
		}
	}
}

// Outside numbers that carry their estimate, the running text of the sample shows no digit but those its author typed.
func TestNoLooseNumbers(t *testing.T) {
	doc := sample(threeGroups, 50)
	root, _ := pageOf(t, doc)
	for _, n := range elements(root) {
		class, _ := attr(n, "class")
		if n.Data != "td" && class != "answer" {
			continue
		}
		for d := range n.Descendants() {
			if d.Type == html.TextNode && strings.ContainsAny(d.Data, "0123456789") && d.Parent.Data != "data" {
				t.Errorf("a loose number in %q", d.Data)
			}
		}
	}
}

var inSVG = regexp.MustCompile(`url\(|@import`)

// The page works without a network: no script, and every address is a file of the report or a place on the page.
func TestPageIsSelfContained(t *testing.T) {
	for name, doc := range documents() {
		root, source := pageOf(t, doc)
		ids := map[string]bool{}
		for _, n := range elements(root) {
			if id, ok := attr(n, "id"); ok {
				if ids[id] {
					t.Errorf("%s: id %q is there twice", name, id)
				}
				ids[id] = true
			}
		}
		for _, n := range elements(root) {
			if n.Data == "script" || n.Data == "link" || n.Data == "iframe" || n.Data == "object" {
				t.Errorf("%s: a <%s>", name, n.Data)
			}
			for _, a := range n.Attr {
				checkAttribute(t, name, a, ids)
			}
		}
		if inSVG.MatchString(source) {
			t.Errorf("%s: a style fetches something", name)
		}
	}
}

func checkAttribute(t *testing.T, name string, a html.Attribute, ids map[string]bool) {
	t.Helper()
	switch {
	case strings.HasPrefix(a.Key, "on"):
		t.Errorf("%s: %s=%q", name, a.Key, a.Val)
	case a.Key == "src" || a.Key == "srcset" || a.Key == "action":
		t.Errorf("%s: %s=%q", name, a.Key, a.Val)
	case a.Key == "href" && strings.HasPrefix(a.Val, "#"):
		if !ids[a.Val[1:]] {
			t.Errorf("%s: %q leads nowhere", name, a.Val)
		}
	case a.Key == "href" && !strings.HasPrefix(a.Val, "figures/") && !strings.HasPrefix(a.Val, "tables/"):
		t.Errorf("%s: href=%q", name, a.Val)
	case a.Key == "aria-labelledby":
		for _, id := range strings.Fields(a.Val) {
			if !ids[id] {
				t.Errorf("%s: aria-labelledby names %q, which is not there", name, id)
			}
		}
	}
}

// What WCAG 2.2 asks of the structure: language, one h1, no heading level skipped, headers of tables with scope,
// captions, named drawings, and a skip link first.
func TestPageStructure(t *testing.T) {
	for name, doc := range documents() {
		root, _ := pageOf(t, doc)
		level, ones := 0, 0
		for _, n := range elements(root) {
			switch n.Data {
			case "html":
				if lang, _ := attr(n, "lang"); lang != "en-GB" {
					t.Errorf("%s: lang %q", name, lang)
				}
			case "h1", "h2", "h3":
				now := int(n.Data[1] - '0')
				if now > level+1 {
					t.Errorf("%s: %q follows a heading of level %d", name, textOf(n), level)
				}
				if level = now; now == 1 {
					ones++
				}
			case "th":
				if scope, _ := attr(n, "scope"); scope != "row" && scope != "col" {
					t.Errorf("%s: a header without scope", name)
				}
			case "svg":
				if role, _ := attr(n, "role"); role != "img" {
					t.Errorf("%s: a drawing with role %q", name, role)
				}
			case "table":
				if first := n.FirstChild.NextSibling; first == nil || first.Data != "caption" {
					t.Errorf("%s: a table without a caption", name)
				}
			}
		}
		if ones != 1 {
			t.Errorf("%s: %d headings of level 1", name, ones)
		}
	}
}

func TestInventedDataIsSaidFirst(t *testing.T) {
	doc := sample(threeGroups, 3)
	_, source := pageOf(t, doc)
	if at := strings.Index(source, "Invented data."); at < 0 || at > strings.Index(source, "<h1>") {
		t.Error("an invented report does not say so above its title")
	}
	doc.Invented = false
	if _, source = pageOf(t, doc); strings.Contains(source, "Invented data.") {
		t.Error("a report on real data says that it is invented")
	}
}

// A section goes from the question by answer, picture and table to method and notes, and the page ends with cautions.
func TestOrderOnThePage(t *testing.T) {
	root, _ := pageOf(t, sample(threeGroups, 3))
	text := textOf(root)
	from := strings.LastIndex(text, "How many shoulders are revised")
	for _, part := range []string{"After fracture,", "Numbers at risk", "Cumulative revision at 1, 5 and 10 years", "Method",
		"Notes", "How long does the implant last", "How each number can be traced", "Decisions belong to licensed clinicians."} {
		at := strings.Index(text[from:], part)
		if at < 0 {
			t.Fatalf("%q is not there, or too early", part)
		}
		from += at
	}
}

// Labels stand on the page as they were typed, in the table and in the drawing's rows.
func TestLabelsAreShownAsTyped(t *testing.T) {
	root, _ := pageOf(t, sample(hostileGroups(), 3))
	rows := map[string]bool{}
	for _, n := range elements(root) {
		if n.Data == "th" {
			rows[textOf(n)] = true
		}
	}
	for _, label := range hostile {
		if !rows[plain(label)] {
			t.Errorf("%q is not a row of a table", label)
		}
	}
}

func TestMaskedGroup(t *testing.T) {
	root, source := pageOf(t, maskedSample())
	if !strings.Contains(textOf(root), "[masked]") || !strings.Contains(source, "masked: fewer than 5") {
		t.Error("masked numbers, or why they are masked, are not said")
	}
	if c := styleOf(2).colour.hex(); strings.Contains(source, `stroke="`+c+`" stroke-width="1.7"`) {
		t.Error("the curve of the masked group is drawn")
	}
}
