package plan

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"deltoid/schemas"
)

// maxSize is the largest plan that is read, in bytes. A plan is written by hand; a file beyond this is something else.
const maxSize = 1 << 20

// maxProblems is the largest number of problems that are told one by one.
const maxProblems = 200

// Read reads a study plan from a file. Paths in it are read from the folder that holds it. When anything is wrong the
// error is [schemas.Problems] with everything that was found, in the order of the file, and the plan is nil.
func Read(path string) (*Plan, error) {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, onePlan(path, "the plan does not exist", "", nearPlans(path))
	case err != nil:
		return nil, onePlan(path, "the plan cannot be opened: "+err.Error(), "", "check the path and the permissions")
	case info.IsDir():
		return nil, onePlan(path, "this is a folder", "a plan: one YAML file", nearPlans(filepath.Join(path, "plan.yaml")))
	case info.Size() > maxSize:
		return nil, tooLarge(path, info.Size())
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, onePlan(path, "the plan cannot be read: "+err.Error(), "", "check the permissions of the file")
	}
	return Parse(path, data)
}

// Parse reads a study plan from memory. The path is for messages, and its folder is where the paths of the exports
// start; nothing needs to exist under the path itself. The error is as for [Read].
func Parse(path string, data []byte) (*Plan, error) {
	if len(data) > maxSize {
		return nil, tooLarge(path, int64(len(data)))
	}
	r := newReader(path)
	r.read(data)
	if len(r.faults) > 0 {
		return nil, r.problems()
	}
	return r.plan, nil
}

func newReader(path string) *reader {
	return &reader{path: path, dir: filepath.Dir(path), plan: &Plan{Path: path}}
}

func (r *reader) read(data []byte) {
	if root := r.parse(data); root != nil {
		r.document(root)
	}
}

// problems returns the faults in the order of the file, each once: a value that is used twice by reference is read twice.
func (r *reader) problems() schemas.Problems {
	slices.SortStableFunc(r.faults, func(a, b fault) int {
		return cmp.Or(cmp.Compare(a.line, b.line), cmp.Compare(a.column, b.column))
	})
	var ps schemas.Problems
	seen := map[string]bool{}
	for i, f := range r.faults {
		if len(ps) == maxProblems {
			return append(ps, &schemas.Problem{Kind: schemas.PlanProblem, Where: r.path + ":" + strconv.Itoa(f.line),
				What: fmt.Sprintf("about %d more problems follow from here", len(r.faults)-i), Remedy: "mend those above first"})
		}
		if text := f.problem.Error(); !seen[text] {
			seen[text] = true
			ps = append(ps, f.problem)
		}
	}
	return ps
}

func tooLarge(path string, size int64) error {
	return onePlan(path, fmt.Sprintf("the file has %d bytes", size), fmt.Sprintf("a plan of at most %d bytes", maxSize),
		"name the plan, not an export")
}

func onePlan(path, what, allowed, remedy string) error {
	return schemas.Problems{{Kind: schemas.PlanProblem, Where: path, What: what, Allowed: allowed, Remedy: remedy}}
}

// nearPlans says which plans lie in the folder of a path.
func nearPlans(path string) string {
	dir := filepath.Dir(path)
	entries, err := os.ReadDir(dir)
	if err != nil {
		return "check the path; the folder " + quote(dir) + " cannot be listed"
	}
	var names []string
	for _, e := range entries {
		if ext := filepath.Ext(e.Name()); !e.IsDir() && (ext == ".yaml" || ext == ".yml") {
			names = append(names, e.Name())
		}
	}
	if len(names) == 0 {
		return "check the path; no YAML file lies in the folder " + quote(dir)
	}
	if near, ok := schemas.Nearest(filepath.Base(path), names); ok {
		return "did you mean " + quote(filepath.Join(dir, near)) + "?"
	}
	return "name one of the YAML files in the folder " + quote(dir) + ": " + strings.Join(some(names), ", ")
}
