package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const root = "../.."

// room is one row of the import table in DEVELOPERS.md.
type room struct {
	ours, libraries, never []string
}

var quoted = regexp.MustCompile("`([^`]+)`")

// readHouseTable reads the import table that a newcomer reads, so that the two cannot drift apart.
func readHouseTable(t *testing.T) map[string]room {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(root, "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	rooms := map[string]room{}
	inside := false
	for line := range strings.Lines(string(text)) {
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "|"), "|")
		if len(cells) == 4 && strings.TrimSpace(cells[0]) == "package" {
			inside = true
			continue
		}
		if inside && !strings.HasPrefix(line, "|") {
			break
		}
		if !inside || strings.HasPrefix(line, "| ---") {
			continue
		}
		for _, name := range words(cells[0]) {
			rooms[name] = room{ours: words(cells[1]), libraries: words(cells[2]), never: words(cells[3])}
		}
	}
	if len(rooms) < 15 {
		t.Fatalf("the import table of DEVELOPERS.md has %d packages; is its header row still \"| package |\"?", len(rooms))
	}
	return rooms
}

func words(cell string) []string {
	var all []string
	for _, m := range quoted.FindAllStringSubmatch(cell, -1) {
		all = append(all, m[1])
	}
	return all
}

// sources calls visit for every Go file below the root with its package folder.
func sources(t *testing.T, visit func(dir, file string, f *ast.File)) {
	t.Helper()
	set := token.NewFileSet()
	err := filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(p, ".go") {
			return err
		}
		f, err := parser.ParseFile(set, p, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, p)
		visit(path.Dir(filepath.ToSlash(rel)), filepath.ToSlash(rel), f)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// TestImportsFollowTheTable holds every package against the import table of DEVELOPERS.md.
func TestImportsFollowTheTable(t *testing.T) {
	rooms := readHouseTable(t)
	seen := map[string]bool{}
	sources(t, func(dir, file string, f *ast.File) {
		r, known := rooms[dir]
		if !known {
			t.Errorf("%s: package %s has no row in the import table of DEVELOPERS.md", file, dir)
			return
		}
		seen[dir] = true
		if strings.HasSuffix(file, "_test.go") {
			return
		}
		for _, imp := range f.Imports {
			name, _ := strconv.Unquote(imp.Path.Value)
			checkImport(t, file, name, r)
		}
		checkNever(t, file, f, r.never)
	})
	for name := range rooms {
		if !seen[name] {
			t.Errorf("DEVELOPERS.md has a row for %s, which has no Go file", name)
		}
	}
}

func checkImport(t *testing.T, file, name string, r room) {
	t.Helper()
	if own, ok := strings.CutPrefix(name, "deltoid/"); ok {
		if !slices.Contains(r.ours, own) {
			t.Errorf("%s imports %s; its row of the table allows %v", file, own, r.ours)
		}
		return
	}
	if slices.Contains(r.never, name) {
		t.Errorf("%s imports %s, which its row of the table forbids", file, name)
	}
	if !strings.Contains(strings.Split(name, "/")[0], ".") {
		return // standard library
	}
	if !slices.ContainsFunc(r.libraries, func(l string) bool { return name == l || strings.HasPrefix(name, l+"/") }) {
		t.Errorf("%s imports %s; its row of the table allows the libraries %v", file, name, r.libraries)
	}
}

// checkNever looks for forbidden functions such as time.Now. It goes by the names in the text: an import under another
// name would escape it, and would be seen in review.
func checkNever(t *testing.T, file string, f *ast.File, never []string) {
	t.Helper()
	ast.Inspect(f, func(n ast.Node) bool {
		sel, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		if x, ok := sel.X.(*ast.Ident); ok && slices.Contains(never, x.Name+"."+sel.Sel.Name) {
			t.Errorf("%s uses %s.%s, which its row of the table forbids", file, x.Name, sel.Sel.Name)
		}
		return true
	})
}

// TestFoldersAreTheHouse holds the top level and the depth of the folders.
func TestFoldersAreTheHouse(t *testing.T) {
	top := []string{"pipeline", "stats", "cohorts", "schemas", "notebooks-out", "testdata", "go.mod", "go.sum", "README.md",
		"DEVELOPERS.md", "LICENSE"}
	entries, err := os.ReadDir(root)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !slices.Contains(top, e.Name()) && !strings.HasPrefix(e.Name(), ".") {
			t.Errorf("%s stands at the top level, where only %v belong", e.Name(), top)
		}
	}
	sources(t, func(dir, file string, _ *ast.File) {
		if strings.Count(dir, "/") > 1 {
			t.Errorf("%s lies on a third level; packages lie in a room or directly below one", file)
		}
	})
}
