package record

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"deltoid/schemas"
)

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// put writes a report with one page and one private file and commits it.
func put(t *testing.T, target, page string) {
	t.Helper()
	f, err := Stage(target)
	must(t, err)
	must(t, f.Write("report.html", []byte(page)))
	must(t, f.WritePrivate("set-aside/deaths.csv", []byte("row\n")))
	must(t, f.Commit(New("1.0.0", "study")))
}

func wantPage(t *testing.T, target, page string) {
	t.Helper()
	got, err := os.ReadFile(filepath.Join(target, "report.html"))
	must(t, err)
	if string(got) != page {
		t.Errorf("the page is %q, want %q", got, page)
	}
}

// wantAlone checks that nothing stands beside the target.
func wantAlone(t *testing.T, target string) {
	t.Helper()
	entries, err := os.ReadDir(filepath.Dir(target))
	must(t, err)
	for _, e := range entries {
		if e.Name() != filepath.Base(target) {
			t.Errorf("%s was left beside the report", e.Name())
		}
	}
}

func wantProblem(t *testing.T, err error, part string) {
	t.Helper()
	var p *schemas.Problem
	if !errors.As(err, &p) || !strings.Contains(err.Error(), part) {
		t.Errorf("error is %v, want a problem with %q", err, part)
	}
}

func TestCommitAndReplace(t *testing.T) {
	target := filepath.Join(t.TempDir(), "study")
	put(t, target, "first")
	wantPage(t, target, "first")
	put(t, target, "second")
	wantPage(t, target, "second")
	wantAlone(t, target)
}

func TestNothingIsSeenBeforeCommit(t *testing.T) {
	target := filepath.Join(t.TempDir(), "deep", "study")
	f, err := Stage(target)
	must(t, err)
	must(t, f.Write("report.html", []byte("x")))
	if _, err := os.Stat(target); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the target is there already: %v", err)
	}
	must(t, f.Abandon())
	must(t, f.Abandon())
	entries, err := os.ReadDir(filepath.Dir(target))
	must(t, err)
	if len(entries) != 0 {
		t.Errorf("abandoning left %v", entries)
	}
	if err := f.Commit(New("1", "s")); err == nil {
		t.Error("an abandoned folder was committed")
	}
}

func TestPrivateFilesAreTheOwnersOnly(t *testing.T) {
	target := filepath.Join(t.TempDir(), "study")
	put(t, target, "page")
	for name, want := range map[string]fs.FileMode{"set-aside": 0o700, "set-aside/deaths.csv": 0o600} {
		info, err := os.Stat(filepath.Join(target, name))
		must(t, err)
		if info.Mode().Perm() != want {
			t.Errorf("%s has the mode %o, want %o", name, info.Mode().Perm(), want)
		}
	}
}

func TestNamesThatAreRefused(t *testing.T) {
	f, err := Stage(filepath.Join(t.TempDir(), "study"))
	must(t, err)
	defer f.Abandon()
	for _, name := range []string{"", ".", "..", "../x", "a/../../x", "/etc/x", "a//b", "a/./b", "a/", `a\b`, "a\x00", Name} {
		if err := f.Write(name, nil); err == nil {
			t.Errorf("the name %q was accepted", name)
		}
	}
	must(t, f.Write("tables/a.csv", nil))
	if err := f.Write("tables/a.csv", nil); !errors.Is(err, fs.ErrExist) {
		t.Errorf("writing a name twice gives %v", err)
	}
	if err := f.WritePrivate("tables/b.csv", nil); err == nil {
		t.Error("a private file was put among files to pass on")
	}
}

func TestTargetsThatAreRefused(t *testing.T) {
	dir := t.TempDir()
	file, foreign, added := filepath.Join(dir, "file"), filepath.Join(dir, "thesis"), filepath.Join(dir, "added")
	must(t, os.WriteFile(file, []byte("x"), 0o600))
	must(t, os.Mkdir(foreign, 0o700))
	must(t, os.WriteFile(filepath.Join(foreign, "chapter.txt"), []byte("x"), 0o600))
	put(t, added, "page")
	must(t, os.WriteFile(filepath.Join(added, "my notes.txt"), []byte("x"), 0o600))
	for target, want := range map[string]string{
		file:                      "there is a file where the report's folder should stand",
		foreign:                   "holds no run record",
		added:                     "files that no run wrote: my notes.txt",
		filepath.Join(file, "in"): "a part of this path is a file",
	} {
		f, err := Stage(target)
		wantProblem(t, err, want)
		if err == nil {
			f.Abandon()
		}
	}
	wantPage(t, added, "page")
}

func TestTargetsThatAreAccepted(t *testing.T) {
	dir := t.TempDir()
	empty, hidden := filepath.Join(dir, "empty"), filepath.Join(dir, "hidden")
	must(t, os.Mkdir(empty, 0o700))
	put(t, empty, "page")
	wantPage(t, empty, "page")
	put(t, hidden, "first")
	must(t, os.MkdirAll(filepath.Join(hidden, ".checkpoints"), 0o700))
	must(t, os.WriteFile(filepath.Join(hidden, ".checkpoints", "x"), nil, 0o600))
	put(t, hidden, "second")
	wantPage(t, hidden, "second")
}

// A link to a folder stays a link; the folder behind it is replaced.
func TestLinkedTarget(t *testing.T) {
	dir := t.TempDir()
	real, link := filepath.Join(dir, "disk", "study"), filepath.Join(dir, "study")
	put(t, real, "first")
	must(t, os.Symlink(real, link))
	put(t, link, "second")
	wantPage(t, real, "second")
	if info, err := os.Lstat(link); err != nil || info.Mode()&fs.ModeSymlink == 0 {
		t.Errorf("the link became %v, %v", info, err)
	}
}

func TestTargetThatChangesMeanwhile(t *testing.T) {
	target := filepath.Join(t.TempDir(), "study")
	f, err := Stage(target)
	must(t, err)
	defer f.Abandon()
	must(t, os.Mkdir(target, 0o700))
	must(t, os.WriteFile(filepath.Join(target, "chapter.txt"), []byte("x"), 0o600))
	wantProblem(t, f.Commit(New("1", "s")), "holds no run record")
}

func TestOpenFilesAreNotCommitted(t *testing.T) {
	f, err := Stage(filepath.Join(t.TempDir(), "study"))
	must(t, err)
	defer f.Abandon()
	w, err := f.Create("tables/big.csv")
	must(t, err)
	if err := f.Commit(New("1", "s")); err == nil || !strings.Contains(err.Error(), "1 files are still open") {
		t.Errorf("committing with an open file gives %v", err)
	}
	_, err = io.Copy(w, strings.NewReader(strings.Repeat("0123456789", 100_000)))
	must(t, err)
	must(t, w.Close())
	if err := w.Close(); !errors.Is(err, fs.ErrClosed) {
		t.Errorf("closing twice gives %v", err)
	}
	must(t, f.Commit(New("1", "s")))
}

// A write that failed is not forgotten, even if it was noticed only when the file was closed.
func TestFailedWritesAreNotCommitted(t *testing.T) {
	f, err := Stage(filepath.Join(t.TempDir(), "study"))
	must(t, err)
	defer f.Abandon()
	w, err := f.create("page.html", false)
	must(t, err)
	w.disk.Close() // a write to a closed file fails, as one to a disk pulled out does
	_, err = w.Write([]byte("x"))
	must(t, err) // still in the buffer
	if err := w.Close(); !errors.Is(err, fs.ErrClosed) {
		t.Errorf("closing gives %v", err)
	}
	if err := f.Commit(New("1", "s")); !errors.Is(err, fs.ErrClosed) {
		t.Errorf("committing gives %v", err)
	}
}

func TestManyWritersAtOnce(t *testing.T) {
	target := filepath.Join(t.TempDir(), "study")
	f, err := Stage(target)
	must(t, err)
	var wait sync.WaitGroup
	names := []string{"a.csv", "figures/b.svg", "figures/c.svg", "tables/d.csv", "tables/e.csv"}
	for _, n := range names {
		wait.Go(func() {
			if err := f.Write(n, []byte(n)); err != nil {
				t.Error(err)
			}
		})
	}
	wait.Wait()
	must(t, f.Commit(New("1", "s")))
	run, err := Read(target)
	must(t, err)
	var got []string
	for _, o := range run.Outputs {
		got = append(got, o.Name)
	}
	if !slices.Equal(got, names) {
		t.Errorf("outputs are %v", got)
	}
}

// Several runs into one target: each commits, the last stays, nothing is left over.
func TestRunsIntoOneTarget(t *testing.T) {
	target := filepath.Join(t.TempDir(), "study")
	var wait sync.WaitGroup
	for range 8 {
		wait.Go(func() {
			f, err := Stage(target)
			if err != nil {
				t.Error(err)
				return
			}
			err = errors.Join(f.Write("report.html", []byte("page")), f.Commit(New("1", "s")))
			if err != nil {
				t.Error(err)
			}
		})
	}
	wait.Wait()
	differences, err := Check(target)
	must(t, err)
	if len(differences) > 0 {
		t.Errorf("the report does not match its record: %v", differences)
	}
	put(t, target, "last")
	wantPage(t, target, "last")
	wantAlone(t, target)
}
