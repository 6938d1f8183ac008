package main

import (
	"bytes"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"testing"
)

// TestSameBytes runs one study with one and with two processors, and from CSV twice: every file of the report, the record
// and the rows set aside among them, is the same to the byte.
func TestSameBytes(t *testing.T) {
	dir := t.TempDir()
	if code, _, stderr := call("demo", "--shoulders", "3000", "--out", dir); code != exitDone {
		t.Fatal(stderr)
	}
	plan := filepath.Join(dir, "plan.yaml")
	first := runAt(t, 1, plan)
	for _, processors := range []int{1, 2, 7} {
		again := runAt(t, processors, plan)
		if len(again) != len(first) {
			t.Fatalf("%d files, then %d", len(first), len(again))
		}
		for name, want := range first {
			if !bytes.Equal(again[name], want) {
				t.Errorf("%s differs with %d processors", name, processors)
			}
		}
	}
}

func runAt(t *testing.T, processors int, plan string) map[string][]byte {
	t.Helper()
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(processors))
	out := filepath.Join(t.TempDir(), "report")
	if code, _, stderr := call("run", plan, "--quiet", "--out", out); code != exitDone {
		t.Fatal(stderr)
	}
	files := map[string][]byte{}
	err := filepath.WalkDir(out, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		name, err := filepath.Rel(out, path)
		if err != nil {
			return err
		}
		files[name], err = os.ReadFile(path)
		return err
	})
	if err != nil || len(files) < 8 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	return files
}
