package record

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"runtime"
	"strings"

	"deltoid/schemas"
)

// Name is the file name of the run record in a report's folder.
const Name = "run-record.json"

// Format is the version of the record's layout. It grows when a field changes its meaning or goes; a new field alone
// does not change it.
const Format = 1

const program = "deltoid"

// Run is what a run record says. [New] fills in the program; [Folder.Commit] fills in the outputs.
type Run struct {
	Format   int              `json:"record_format"`
	Program  string           `json:"program"`
	Version  string           `json:"version"`
	Go       string           `json:"go"` // version of Go the program was built with
	Study    string           `json:"study"`
	Plan     File             `json:"plan"`
	Inputs   []File           `json:"inputs"`
	Settings []Setting        `json:"settings"`       // all that were in effect, in the order given
	Seed     *uint64          `json:"seed,omitempty"` // of the run's random streams, if it drew any
	Rows     []schemas.Ledger `json:"-"`              // the row ledger of each table; written as "rows"
	Outputs  []Output         `json:"outputs"`        // by name; without the record itself
}

// File is a file that was read. Its path is as shown to people and never absolute; see [ShownPath].
type File struct {
	Path   string `json:"path"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"` // 64 hexadecimal digits
}

// Output is a file that was written, with its path in the folder; slashes separate.
type Output struct {
	Name    string `json:"name"`
	Bytes   int64  `json:"bytes"`
	SHA256  string `json:"sha256"`
	Private bool   `json:"private"` // holds rows of patients; not for passing on
}

// Setting is one setting that was in effect, whether the plan gave it or it is the default.
type Setting struct {
	Key   string `json:"key"`
	Value string `json:"value"`
}

// New starts the record of a run of this version of the program.
func New(version, study string) Run {
	return Run{Format: Format, Program: program, Version: version, Go: runtime.Version(), Study: study}
}

// ShownPath returns a path for the record: relative to a folder, with slashes, if the file lies below it, else the file
// name alone, so that the record does not tell where somebody keeps the data.
func ShownPath(folder, file string) string {
	a, errA := filepath.Abs(folder)
	b, errB := filepath.Abs(file)
	if errA == nil && errB == nil {
		if rel, err := filepath.Rel(a, b); err == nil && filepath.IsLocal(rel) {
			return filepath.ToSlash(rel)
		}
	}
	return filepath.Base(file)
}

// rows is a row ledger as the record writes it.
type rows struct {
	Table    string `json:"table"`
	Read     int    `json:"read"`
	Used     int    `json:"used"`
	SetAside int    `json:"set_aside"`
	Unlinked int    `json:"unlinked"`
}

// written is a run with its row ledgers in their written form, which sets the names and the order of the file.
type written struct {
	Run
	Rows []rows `json:"rows"`
}

// encode returns the bytes of the record.
func (r Run) encode() ([]byte, error) {
	if err := r.checkPaths(); err != nil {
		return nil, err
	}
	w := written{Run: r, Rows: []rows{}}
	w.Inputs, w.Settings, w.Outputs = listed(r.Inputs), listed(r.Settings), listed(r.Outputs)
	for _, l := range r.Rows {
		w.Rows = append(w.Rows, rows(l))
	}
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	err := e.Encode(w)
	return b.Bytes(), err
}

// listed makes an absent list an empty one, so that a reader in any language finds a list.
func listed[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}

// checkPaths refuses what would make the record of one run differ between two machines.
func (r Run) checkPaths() error {
	for _, f := range append([]File{r.Plan}, r.Inputs...) {
		if path.IsAbs(f.Path) || filepath.IsAbs(f.Path) || filepath.VolumeName(f.Path) != "" {
			return fmt.Errorf("record: the path %q is absolute; a record holds shown paths only", f.Path)
		}
	}
	return nil
}

// Read returns the run record of a report's folder. A folder without one gives an error for which
// errors.Is(err, fs.ErrNotExist) holds; this and a record that is damaged or of a later program is a [schemas.Problem].
func Read(folder string) (Run, error) {
	place := filepath.Join(folder, Name)
	text, err := os.ReadFile(place)
	if errors.Is(err, fs.ErrNotExist) {
		return Run{}, &schemas.Problem{Kind: schemas.PlanProblem, Where: folder, What: "there is no run record here",
			Allowed: "a folder that deltoid wrote, with " + Name + " in it", Cause: err}
	}
	if err != nil {
		return Run{}, problem(err, place)
	}
	var w written
	if err := json.Unmarshal(text, &w); err != nil || w.Program != program || w.Format < 1 || !w.localNames() {
		return Run{}, &schemas.Problem{Kind: schemas.PlanProblem, Where: place, What: "this is not a run record of deltoid, or it is damaged",
			Remedy: "take the file from a copy of the report, or run the study again into another folder", Cause: err}
	}
	if w.Format > Format {
		return Run{}, &schemas.Problem{Kind: schemas.PlanProblem, Where: place,
			What:    fmt.Sprintf("the record has format %d, from %s %s", w.Format, w.Program, w.Version),
			Allowed: fmt.Sprintf("formats 1 to %d", Format), Remedy: "use the version of deltoid that wrote the report, or a later one"}
	}
	run := w.Run
	for _, l := range w.Rows {
		run.Rows = append(run.Rows, schemas.Ledger(l))
	}
	return run, nil
}

func (r Run) localNames() bool {
	for _, o := range r.Outputs {
		if !localName(o.Name) {
			return false
		}
	}
	return true
}

// localName says whether a name is a plain path inside a folder: relative, clean, with slashes only.
func localName(name string) bool {
	return name != "." && path.Clean(name) == name && filepath.IsLocal(filepath.FromSlash(name)) && !strings.ContainsAny(name, "\\\x00")
}
