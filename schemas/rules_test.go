package schemas

import (
	"go/ast"
	"go/parser"
	"go/token"
	"regexp"
	"strings"
	"testing"
)

// The list is closed and complete: every variable of rules.go whose name begins with Rule is in it, once.
func TestEveryRuleIsListedOnce(t *testing.T) {
	file, err := parser.ParseFile(token.NewFileSet(), "rules.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	declared := 0
	ast.Inspect(file, func(n ast.Node) bool {
		if v, ok := n.(*ast.ValueSpec); ok && strings.HasPrefix(v.Names[0].Name, "Rule") {
			declared++
		}
		return true
	})
	seen := map[string]bool{}
	for _, r := range Rules() {
		if seen[r.ID] {
			t.Errorf("rule %q is listed twice", r.ID)
		}
		seen[r.ID] = true
	}
	if declared != len(seen) {
		t.Errorf("%d rules are declared and %d listed", declared, len(seen))
	}
}

func TestRulesAreSaidInSentences(t *testing.T) {
	id, words := regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`), regexp.MustCompile(`^[A-Z][^\n]*\.$`)
	for _, r := range Rules() {
		if !id.MatchString(r.ID) || !words.MatchString(r.Sentence) || !words.MatchString(r.Remedy) {
			t.Errorf("%+v", *r)
		}
	}
}

func TestRulesCannotBeChangedThroughTheList(t *testing.T) {
	Rules()[0] = nil
	if Rules()[0] == nil {
		t.Error("Rules hands out its own slice")
	}
}
