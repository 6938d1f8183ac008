package main

import (
	"context"
	"os"
	"time"

	"deltoid/pipeline/record"
	"deltoid/schemas"
)

// verify holds the exports against the hashes that the plan gives, before anything is read and again when all is done.
func (s *study) verify(ctx context.Context, when string) error {
	var paths, shown, want, where []string
	for _, source := range s.plan.Sources {
		for i, path := range source.Files {
			if hash, ok := source.SHA256[source.Shown[i]]; ok {
				paths, shown, want, where = append(paths, path), append(shown, source.Shown[i]), append(want, hash), append(where, source.Plan)
			}
		}
	}
	files, err := record.HashFiles(ctx, paths)
	if err != nil {
		return err
	}
	var problems schemas.Problems
	for i, f := range files {
		if f.SHA256 != want[i] {
			problems = append(problems, &schemas.Problem{Kind: schemas.ExportProblem, Where: shown[i],
				What:    "the file is another one than the plan says (" + when + "): its SHA-256 is " + f.SHA256,
				Allowed: want[i] + ", as " + where[i] + " has it",
				Remedy:  "put the right file there; or, if this is the one that is meant, write its hash under sha256"})
		}
	}
	return told(problems)
}

// told returns problems as an error, nil when there are none.
func told(problems schemas.Problems) error {
	if len(problems) == 0 {
		return nil
	}
	return problems
}

// stamp is what a file system says of a file without reading it.
type stamp struct {
	size int64
	at   time.Time
}

// stamps looks at all exports, so that one that changes while it is read is noticed.
func (s *study) stamps() map[string]stamp {
	all := map[string]stamp{}
	for _, source := range s.plan.Sources {
		for i, path := range source.Files {
			if info, err := os.Stat(path); err == nil {
				all[source.Shown[i]] = stamp{info.Size(), info.ModTime()}
			}
		}
	}
	return all
}

// unchanged reports the exports that are no longer what they were.
func (s *study) unchanged(before map[string]stamp) error {
	after := s.stamps()
	var problems schemas.Problems
	for _, source := range s.plan.Sources {
		for _, file := range source.Shown {
			if after[file] != before[file] {
				problems = append(problems, &schemas.Problem{Kind: schemas.ExportProblem, Where: file, What: "the file changed while it was read",
					Remedy: "wait until it is written whole, and run the study again"})
			}
		}
	}
	return told(problems)
}

// review looks for columns that may identify people. It comes before anything is printed or written.
func (s *study) review() error {
	var problems schemas.Problems
	for _, t := range s.exports.Tables {
		suspects := schemas.Scan(t, s.exports.Findings)
		s.exports.Suspects = append(s.exports.Suspects, suspects...)
		problems = append(problems, schemas.Review(t, suspects)...)
	}
	return told(problems)
}
