package record

import (
	"cmp"
	"context"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
)

// Change says how a file differs from what the record says of it.
type Change string

// The ways in which a file can differ.
const (
	Changed Change = "changed" // its bytes are others
	Missing Change = "missing" // it is not there
	Extra   Change = "extra"   // it is there and the record does not name it
)

// Difference is one file of a report's folder that is not as its run record says.
type Difference struct {
	Name    string
	Change  Change
	Private bool   // a private file; a report that was passed on lacks them rightly
	Want    string // SHA-256 in the record; empty for an extra file
	Got     string // SHA-256 of the file; empty for a missing one and for what is no file
}

// Check hashes the files of a report's folder again and returns what does not match its record, by name. The error is
// that of [Read], or of a file that is there and cannot be read.
func Check(folder string) ([]Difference, error) {
	run, err := Read(folder)
	if err != nil {
		return nil, err
	}
	names, err := list(folder)
	if err != nil {
		return nil, problem(err, folder)
	}
	named := map[string]Output{}
	for _, o := range run.Outputs {
		named[o.Name] = o
	}
	differences := missing(run.Outputs, names)
	for _, n := range names {
		if n == Name {
			continue
		}
		o, known := named[n]
		d, differs, err := compare(folder, n, o, known)
		if err != nil {
			return nil, err
		}
		if differs {
			differences = append(differences, d)
		}
	}
	slices.SortFunc(differences, func(x, y Difference) int { return cmp.Compare(x.Name, y.Name) })
	return differences, nil
}

func missing(outputs []Output, present []string) []Difference {
	var ds []Difference
	for _, o := range outputs {
		if _, found := slices.BinarySearch(present, o.Name); !found {
			ds = append(ds, Difference{Name: o.Name, Change: Missing, Private: o.Private, Want: o.SHA256})
		}
	}
	return ds
}

// compare holds one file against its entry in the record.
func compare(folder, name string, o Output, known bool) (d Difference, differs bool, err error) {
	d = Difference{Name: name, Change: Changed, Private: o.Private, Want: o.SHA256}
	if !known {
		d.Change = Extra
	}
	place := filepath.Join(folder, filepath.FromSlash(name))
	info, err := os.Lstat(place)
	if err != nil {
		return d, false, problem(err, place)
	}
	if !info.Mode().IsRegular() {
		return d, true, nil
	}
	files, err := HashFiles(context.Background(), []string{place})
	if err != nil {
		return d, false, err
	}
	d.Got = files[0].SHA256
	return d, !known || d.Got != d.Want, nil
}

// list returns the files below a folder, and whatever else is no folder, by name.
func list(folder string) ([]string, error) {
	var names []string
	err := filepath.WalkDir(folder, func(p string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		rel, err := filepath.Rel(folder, p)
		names = append(names, filepath.ToSlash(rel))
		return err
	})
	slices.Sort(names)
	return names, err
}
