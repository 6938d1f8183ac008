package render

import (
	"bytes"
	"strings"
	"testing"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/extension"
	"golang.org/x/net/html"
	"pgregory.net/rapid"
)

// shownBy renders Markdown by a reader of the GitHub dialect and parses the result.
func shownBy(t interface{ Fatal(...any) }, source string) *html.Node {
	var out bytes.Buffer
	if err := goldmark.New(goldmark.WithExtensions(extension.GFM)).Convert([]byte(source), &out); err != nil {
		t.Fatal(err)
	}
	root, err := html.Parse(&out)
	if err != nil {
		t.Fatal(err)
	}
	return root
}

// Whatever is typed, a Markdown reader shows just that: alone, in a list and in a cell.
func TestEscapedTextIsShownAsTyped(t *testing.T) {
	check := func(t interface {
		Fatal(...any)
		Fatalf(string, ...any)
	}, label string) {
		want := strings.Join(strings.Fields(plain(label)), " ")
		if want == "" {
			return
		}
		typed := escape(strings.TrimSpace(want))
		for frame, source := range map[string]string{"p": typed, "li": "- " + typed, "td": "| h |\n| --- |\n| " + typed + " |"} {
			var got []string
			for _, n := range elements(shownBy(t, source)) {
				if n.Data == frame {
					got = append(got, strings.Join(strings.Fields(textOf(n)), " "))
				}
			}
			if len(got) != 1 || got[0] != want {
				t.Fatalf("%q in %s is shown as %q", want, frame, got)
			}
		}
	}
	for _, label := range hostile {
		check(t, label)
	}
	rapid.Check(t, func(t *rapid.T) {
		check(t, rapid.StringOf(rapid.RuneFrom([]rune("ab1 .)-+=*_`~#<>&|$[]()!\\\"':/@é"))).Draw(t, "label"))
	})
}

// The Markdown has the tables of the page: the same texts in the same order of cells.
func TestMarkdownTablesEqualThePage(t *testing.T) {
	for name, doc := range documents() {
		if name == "empty section" {
			continue
		}
		files, err := words(mustOpen(t, doc))
		if err != nil {
			t.Fatal(err)
		}
		root, _ := pageOf(t, doc)
		mine, theirs := cells(shownBy(t, string(files[0].Data))), cells(root)
		if len(mine) != len(theirs) {
			t.Fatalf("%s: %d cells, the page has %d", name, len(mine), len(theirs))
		}
		for i := range mine {
			if mine[i] != theirs[i] {
				t.Errorf("%s: cell %d is %q, on the page %q", name, i, mine[i], theirs[i])
			}
		}
	}
}

func cells(root *html.Node) []string {
	var out []string
	for _, n := range elements(root) {
		if text := strings.Join(strings.Fields(textOf(n)), " "); text != "" && (n.Data == "td" || n.Data == "th") {
			out = append(out, text)
		}
	}
	return out
}

func TestMarkdownLinksItsFigures(t *testing.T) {
	files, err := words(mustOpen(t, sample(threeGroups, 3)))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, n := range elements(shownBy(t, string(files[0].Data))) {
		if src, ok := attr(n, "src"); ok {
			got = append(got, src)
		}
	}
	if want := "figures/flow.svg figures/cumulative-revision.svg figures/survival-revision.svg"; strings.Join(got, " ") != want {
		t.Errorf("figures %v, want %s", got, want)
	}
}
