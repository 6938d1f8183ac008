package record

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"

	"deltoid/schemas"

	"github.com/google/go-cmp/cmp"
)

// sumABC is the SHA-256 of "abc": FIPS 180-4 example, NIST "Examples with Intermediate Values", SHA256.
const sumABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

func sample() Run {
	run := New("1.2.3", "cuff")
	seed := uint64(7)
	run.Seed = &seed
	run.Plan = File{"plan.yaml", 3, sumABC}
	run.Inputs = []File{{"exports/<procedures>.csv", 3, sumABC}}
	run.Settings = []Setting{{"level", "0.95"}, {"interval", "log-log"}}
	run.Rows = []schemas.Ledger{{Table: "procedures", Read: 10, Used: 7, SetAside: 2, Unlinked: 1}}
	return run
}

// The record is an interface: this is its text, key by key.
func TestRecordText(t *testing.T) {
	target := filepath.Join(t.TempDir(), "study")
	f, err := Stage(target)
	must(t, err)
	must(t, f.WritePrivate("set-aside/deaths.csv", []byte("abc")))
	must(t, f.Write("report.html", nil))
	must(t, f.Commit(sample()))
	got, err := os.ReadFile(filepath.Join(target, Name))
	must(t, err)
	// The SHA-256 of no bytes at all is from the same NIST examples.
	want := `{
  "record_format": 1,
  "program": "deltoid",
  "version": "1.2.3",
  "go": "` + runtime.Version() + `",
  "study": "cuff",
  "plan": {
    "path": "plan.yaml",
    "bytes": 3,
    "sha256": "` + sumABC + `"
  },
  "inputs": [
    {
      "path": "exports/<procedures>.csv",
      "bytes": 3,
      "sha256": "` + sumABC + `"
    }
  ],
  "settings": [
    {
      "key": "level",
      "value": "0.95"
    },
    {
      "key": "interval",
      "value": "log-log"
    }
  ],
  "seed": 7,
  "outputs": [
    {
      "name": "report.html",
      "bytes": 0,
      "sha256": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
      "private": false
    },
    {
      "name": "set-aside/deaths.csv",
      "bytes": 3,
      "sha256": "` + sumABC + `",
      "private": true
    }
  ],
  "rows": [
    {
      "table": "procedures",
      "read": 10,
      "used": 7,
      "set_aside": 2,
      "unlinked": 1
    }
  ]
}
`
	if diff := cmp.Diff(want, string(got)); diff != "" {
		t.Error(diff)
	}
	run, err := Read(target)
	must(t, err)
	wantRun := sample()
	wantRun.Outputs = f.Outputs()
	if diff := cmp.Diff(wantRun, run); diff != "" {
		t.Error("read back otherwise: " + diff)
	}
}

// Two runs in different places give one and the same record, and it does not tell the place.
func TestSameBytesTwice(t *testing.T) {
	var texts [2]string
	for i := range texts {
		dir := t.TempDir()
		target := filepath.Join(dir, "study")
		f, err := Stage(target)
		must(t, err)
		order := []string{"a.csv", "b.csv"}
		for k := range order {
			must(t, f.Write(order[(k+i)%2], []byte("abc")))
		}
		must(t, f.Commit(sample()))
		text, err := os.ReadFile(filepath.Join(target, Name))
		must(t, err)
		if strings.Contains(string(text), dir) {
			t.Error("the record tells where the folder is")
		}
		texts[i] = string(text)
	}
	if texts[0] != texts[1] {
		t.Error(cmp.Diff(texts[0], texts[1]))
	}
}

func TestEmptyListsAreLists(t *testing.T) {
	text, err := New("1", "s").encode()
	must(t, err)
	var m map[string]any
	must(t, json.Unmarshal(text, &m))
	for _, k := range []string{"inputs", "settings", "outputs", "rows"} {
		if _, isList := m[k].([]any); !isList {
			t.Errorf("%s is %v", k, m[k])
		}
	}
}

func TestAbsolutePathsAreRefused(t *testing.T) {
	run := sample()
	run.Inputs[0].Path = "/home/somebody/procedures.csv"
	if _, err := run.encode(); err == nil {
		t.Error("an absolute path went into the record")
	}
}

func TestShownPath(t *testing.T) {
	for _, c := range [][3]string{
		{"study", "study/exports/a.csv", "exports/a.csv"},
		{"study", "elsewhere/a.csv", "a.csv"},
		{"/data/study", "/data/study/plan.yaml", "plan.yaml"},
		{"/data/study", "/home/somebody/plan.yaml", "plan.yaml"},
	} {
		if got := ShownPath(filepath.FromSlash(c[0]), filepath.FromSlash(c[1])); got != c[2] {
			t.Errorf("%s seen from %s is %q, want %q", c[1], c[0], got, c[2])
		}
	}
}

func TestReadProblems(t *testing.T) {
	good, err := sample().encode()
	must(t, err)
	for text, want := range map[string]string{
		"not json":           "not a run record",
		`{"program":"else"}`: "not a run record",
		strings.Replace(string(good), `"outputs": []`, `"outputs": [{"name":"../x"}]`, 1): "not a run record",
		strings.Replace(string(good), `"record_format": 1`, `"record_format": 2`, 1):      "allowed: formats 1 to 1",
	} {
		dir := t.TempDir()
		must(t, os.WriteFile(filepath.Join(dir, Name), []byte(text), 0o600))
		_, err := Read(dir)
		wantProblem(t, err, want)
	}
	_, err = Read(t.TempDir())
	wantProblem(t, err, "there is no run record here")
	if !errors.Is(err, fs.ErrNotExist) {
		t.Error("a missing record is not fs.ErrNotExist")
	}
}

func TestHashFiles(t *testing.T) {
	dir := t.TempDir()
	var paths []string
	var want []File
	for i := range 20 {
		p := filepath.Join(dir, fmt.Sprint(i))
		must(t, os.WriteFile(p, []byte("abc"), 0o600))
		paths, want = append(paths, p), append(want, File{p, 3, sumABC})
	}
	got, err := HashFiles(context.Background(), paths)
	must(t, err)
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	_, err = HashFiles(context.Background(), append(paths, filepath.Join(dir, "gone")))
	wantProblem(t, err, "the file is not there")
	stopped, stop := context.WithCancel(context.Background())
	stop()
	if _, err := HashFiles(stopped, paths); !errors.Is(err, context.Canceled) {
		t.Errorf("a stopped run gives %v", err)
	}
}

func TestCheck(t *testing.T) {
	target := filepath.Join(t.TempDir(), "study")
	f, err := Stage(target)
	must(t, err)
	for _, n := range []string{"changed", "gone", "linked", "same"} {
		must(t, f.Write(n, []byte("abc")))
	}
	must(t, f.WritePrivate("set-aside/gone.csv", []byte("abc")))
	must(t, f.Commit(sample()))
	if differences, err := Check(target); err != nil || len(differences) > 0 {
		t.Fatalf("untouched, and yet %v, %v", differences, err)
	}
	in := func(name string) string { return filepath.Join(target, name) }
	must(t, os.WriteFile(in("changed"), nil, 0o600))
	must(t, os.WriteFile(in("added"), []byte("abc"), 0o600))
	must(t, os.Remove(in("gone")))
	must(t, os.Remove(in("linked")))
	must(t, os.Symlink(in("same"), in("linked")))
	must(t, os.RemoveAll(in("set-aside")))
	got, err := Check(target)
	must(t, err)
	want := []Difference{
		{"added", Extra, false, "", sumABC},
		{"changed", Changed, false, sumABC, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"},
		{"gone", Missing, false, sumABC, ""},
		{"linked", Changed, false, sumABC, ""},
		{"set-aside/gone.csv", Missing, true, sumABC, ""},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

func TestProblems(t *testing.T) {
	for code, c := range map[syscall.Errno]struct {
		want string
		kind schemas.Kind
	}{
		syscall.ENOSPC: {"the disk is full", 0},
		syscall.EROFS:  {"can only be read", schemas.PlanProblem},
		syscall.EACCES: {"the permission", schemas.PlanProblem},
		syscall.EPERM:  {"the permission", schemas.PlanProblem},
	} {
		err := problem(&fs.PathError{Op: "write", Path: "x", Err: code}, "out/x")
		wantProblem(t, err, c.want)
		var p *schemas.Problem
		if errors.As(err, &p) && (p.Kind != c.kind || p.Where != "out/x" || p.Remedy == "" || !errors.Is(err, code)) {
			t.Errorf("%v becomes %+v", code, p)
		}
	}
	if odd := errors.New("odd"); problem(odd, "x") != odd || problem(nil, "x") != nil {
		t.Error("an error without a remedy did not stay as it is")
	}
}
