package record

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"deltoid/schemas"
)

// Commit writes the run record, with the folder's outputs filled in, and puts the folder in its place; an earlier report
// there is moved aside first and removed at the end. A run that is killed before leaves the earlier report as it was;
// one killed between the two moves leaves it beside the target, where the next [Stage] puts it back.
//
// A folder of which a write failed or a file is still open is not committed. After an error the folder is still to be
// abandoned.
func (f *Folder) Commit(run Run) error {
	run.Outputs = f.Outputs()
	f.mu.Lock()
	defer f.mu.Unlock()
	switch {
	case f.temp == "":
		return errors.New("record: the folder was already committed or abandoned")
	case f.failed != nil:
		return f.failed
	case f.open > 0:
		return fmt.Errorf("record: %d files are still open", f.open)
	}
	text, err := run.encode()
	if err != nil {
		return err
	}
	if err := os.WriteFile(f.place(Name), text, 0o666); err != nil {
		return problem(err, filepath.Join(f.target, Name))
	}
	if err := exclusively(f.target, f.exchange); err != nil {
		return err
	}
	f.release()
	return nil
}

// exchange moves an earlier report aside and the new one into its place. Where the second move fails the first is taken
// back.
func (f *Folder) exchange() error {
	if err := replaceable(f.target); err != nil {
		return err
	}
	if err := os.RemoveAll(previous(f.target)); err != nil {
		return problem(err, previous(f.target))
	}
	if err := os.Rename(f.target, previous(f.target)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return problem(err, f.target)
	}
	if err := os.Rename(f.temp, f.target); err != nil {
		return problem(errors.Join(err, recoverPrevious(f.target)), f.target)
	}
	// The new report stands. What is left of the earlier one is removed now or, failing that, by the next run.
	_ = os.RemoveAll(previous(f.target))
	return nil
}

// Abandon removes what was written. After a commit it does nothing, so that it can be deferred.
func (f *Folder) Abandon() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.temp == "" {
		return nil
	}
	err := os.RemoveAll(f.temp)
	f.release()
	return err
}

func (f *Folder) release() {
	f.lock.Close()
	f.temp = ""
}

// previous is where the earlier report waits while a new one takes its place.
func previous(target string) string {
	return filepath.Join(filepath.Dir(target), "."+filepath.Base(target)+".previous")
}

// recoverPrevious puts an earlier report back that a run was killed while replacing, or removes it if the new one is
// there.
func recoverPrevious(target string) error {
	_, err := os.Lstat(target)
	switch {
	case err == nil:
		return os.RemoveAll(previous(target))
	case !errors.Is(err, fs.ErrNotExist):
		return err
	}
	err = os.Rename(previous(target), target)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// replaceable refuses a target that is something other than an earlier report, an empty folder or nothing.
func replaceable(target string) error {
	entries, err := os.ReadDir(target)
	if errors.Is(err, fs.ErrNotExist) || err == nil && len(entries) == 0 {
		return nil
	}
	p := &schemas.Problem{Kind: schemas.PlanProblem, Where: target, Cause: err, Allowed: "an earlier report of deltoid, an empty folder, or nothing"}
	if info, failed := os.Lstat(target); failed == nil && !info.IsDir() {
		p.What, p.Remedy = "there is a file where the report's folder should stand", "move the file, or give another folder with --out"
		return p
	}
	if err != nil {
		return problem(err, target)
	}
	run, err := Read(target)
	if err != nil {
		p.What = "the folder is not empty and holds no run record that can be read, so it is not replaced"
		p.Remedy, p.Cause = "give another folder with --out, or empty this one", err
		return p
	}
	added, err := addedTo(target, run)
	if err != nil {
		return problem(err, target)
	}
	if len(added) > 0 {
		p.What = "the earlier report holds files that no run wrote: " + some(added)
		p.Allowed = ""
		p.Remedy = "move them, or give another folder with --out; to replace the report would delete them"
		return p
	}
	return nil
}

// addedTo returns the files in a report's folder that its record does not name, but for those hidden by a dot, which
// other programs leave behind.
func addedTo(folder string, run Run) ([]string, error) {
	names, err := list(folder)
	if err != nil {
		return nil, err
	}
	known := map[string]bool{Name: true}
	for _, o := range run.Outputs {
		known[o.Name] = true
	}
	return slices.DeleteFunc(names, func(n string) bool {
		return known[n] || strings.HasPrefix(n, ".") || strings.Contains(n, "/.")
	}), nil
}

// some names the first of a list of files.
func some(names []string) string {
	const most = 3
	if n := len(names); n > most {
		return strings.Join(names[:most], ", ") + fmt.Sprintf(" and %d more", n-most)
	}
	return strings.Join(names, ", ")
}
