package plan

import (
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"deltoid/schemas"
)

// files reads the files of a table, in the order named; what a pattern matches is sorted by name.
func (r *reader) files(n *yaml.Node, source *schemas.Source) {
	nodes := []*yaml.Node{n}
	if n.Kind == yaml.SequenceNode {
		nodes = r.entries(n, "files")
	}
	for _, node := range nodes {
		pattern, ok := r.text(node, "files")
		if !ok {
			continue
		}
		for _, name := range r.match(node, pattern) {
			r.addFile(node, name, source)
		}
	}
}

func (r *reader) addFile(n *yaml.Node, name string, source *schemas.Source) {
	switch {
	case slices.Contains(source.Shown, name):
		r.wrong(n, "the file "+quote(name)+" is named twice for one table", "each file once",
			"remove it here, or narrow the pattern")
	case source.Format == schemas.ByEnding && schemas.FormatOf(name) == schemas.ByEnding:
		r.wrong(n, "the ending of "+quote(name)+" does not say what the file is",
			join(schemas.Endings())+", or another ending with \"format\"",
			"add \"format: csv\", \"format: parquet\" or \"format: workbook\"; save other files as one of these first")
	default:
		source.Shown = append(source.Shown, name)
		source.Files = append(source.Files, filepath.Join(r.dir, filepath.FromSlash(name)))
	}
}

// match returns the files that a path or pattern means, relative to the plan.
func (r *reader) match(n *yaml.Node, pattern string) []string {
	if leaves(pattern) {
		r.wrong(n, "the path "+quote(pattern)+" leaves the folder of the plan",
			"a path within that folder, with / between folders",
			"copy or link the export into the folder of the plan, and name it from there")
		return nil
	}
	folder := os.DirFS(r.dir)
	name := path.Clean(pattern)
	info, err := fs.Stat(folder, name)
	switch {
	case err == nil && info.IsDir():
		r.wrong(n, "the path "+quote(pattern)+" is a folder", "a file, a list of files, or a pattern",
			"write for instance "+quote(path.Join(name, "*.csv")))
		return nil
	case err == nil:
		return []string{name}
	case strings.ContainsAny(name, "*?["):
		return r.expand(n, folder, name)
	}
	r.noFile(n, folder, name)
	return nil
}

// driveLetter begins an absolute path of another operating system.
var driveLetter = regexp.MustCompile(`^[A-Za-z]:`)

// leaves reports a path that is absolute, goes up, or is written for one operating system only.
func leaves(name string) bool {
	return path.IsAbs(name) || driveLetter.MatchString(name) || strings.ContainsAny(name, "\\\x00") ||
		slices.Contains(strings.Split(name, "/"), "..")
}

// expand returns what a pattern matches. A name that begins with a point is matched only by a pattern that does.
func (r *reader) expand(n *yaml.Node, folder fs.FS, pattern string) []string {
	matches, err := fs.Glob(folder, pattern)
	if err != nil {
		r.wrong(n, "the pattern "+quote(pattern)+" is not complete",
			"* for any letters, ? for one, [ab] for one of those", "close the bracket")
		return nil
	}
	var names []string
	for _, m := range matches {
		if strings.HasPrefix(path.Base(m), ".") && !strings.HasPrefix(path.Base(pattern), ".") {
			continue
		}
		if info, err := fs.Stat(folder, m); err == nil && !info.IsDir() {
			names = append(names, m)
		}
	}
	if len(names) == 0 {
		held, _ := holds(folder, firstPlain(pattern))
		r.wrong(n, "the pattern "+quote(pattern)+" matches no file", held, "correct the pattern")
	}
	slices.Sort(names)
	return names
}

// firstPlain returns the part of a pattern before its first folder with a wildcard.
func firstPlain(pattern string) string {
	dir := path.Dir(pattern)
	for strings.ContainsAny(dir, "*?[") {
		dir = path.Dir(dir)
	}
	return dir
}

// noFile reports a file that does not exist, with what its folder holds.
func (r *reader) noFile(n *yaml.Node, folder fs.FS, name string) {
	// The first part of the path that is missing is the one to mend.
	dir, missing, rest := ".", name, ""
	for {
		first, after, deeper := strings.Cut(missing, "/")
		info, err := fs.Stat(folder, path.Join(dir, first))
		if !deeper || err != nil || !info.IsDir() {
			missing, rest = first, after
			break
		}
		dir, missing = path.Join(dir, first), after
	}
	held, names := holds(folder, dir)
	r.wrong(n, "the file "+quote(name)+" does not exist", held, meant(folder, dir, missing, rest, names))
}

// meant guesses the file behind a path whose part missing is not in the folder dir.
func meant(folder fs.FS, dir, missing, rest string, names []string) string {
	if near, ok := schemas.Nearest(cut(missing), names); ok {
		guess := path.Join(dir, near, rest)
		if _, err := fs.Stat(folder, guess); err != nil {
			guess = path.Join(dir, near)
		}
		return "did you mean " + quote(guess) + "?"
	}
	for _, name := range names {
		guess := path.Join(dir, name, missing, rest)
		if info, err := fs.Stat(folder, guess); err == nil && !info.IsDir() {
			return "did you mean " + quote(guess) + "?"
		}
	}
	return "correct the path; it is read from the folder of the plan"
}

// holds says which folders and tables lie in a folder beside the plan, and returns the names of everything there.
func holds(folder fs.FS, dir string) (sentence string, names []string) {
	entries, err := fs.ReadDir(folder, dir)
	shown := "the folder " + quote(dir)
	if dir == "." {
		shown = "the folder of the plan"
	}
	if err != nil {
		return shown + " cannot be read", nil
	}
	var listed []string
	for _, e := range entries {
		name := e.Name()
		if strings.HasPrefix(name, ".") {
			continue
		}
		names = append(names, name)
		if e.IsDir() {
			listed = append(listed, plain(name)+"/")
		} else if schemas.FormatOf(name) != schemas.ByEnding {
			listed = append(listed, plain(name))
		}
	}
	if len(listed) == 0 {
		return shown + " holds no table", names
	}
	return shown + " holds " + join(some(listed)), names
}
