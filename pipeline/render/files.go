package render

import (
	"fmt"
	"slices"
	"strings"

	"golang.org/x/sync/errgroup"

	"deltoid/pipeline/disclose"
)

// File is one file of a report. Name is relative to the report's folder and has forward slashes.
type File struct {
	Name string
	Data []byte
}

// renderer turns a book into files of one kind. It never changes the book.
type renderer struct {
	name   string
	render func(*book) ([]File, error)
}

// renderers is every output format. To add one, add a line; the suite in suite_test.go then holds it to the rules.
var renderers = []renderer{
	{"page", page},
	{"words", words},
	{"notebook", notebook},
	{"estimates", estimateTables},
	{"drawings", drawings},
	{"figure data", figureTables},
}

// Files returns every file of a cleared report, sorted by name. It writes nothing to the disk. The error names what is
// wrong with the document: a number that is in no estimate, an id that is used twice, a figure with too few numbers at
// risk.
func Files(c disclose.Cleared) ([]File, error) {
	b, err := open(c.Document())
	if err != nil {
		return nil, err
	}
	made := make([][]File, len(renderers))
	var g errgroup.Group
	for i, r := range renderers {
		g.Go(func() error {
			files, err := r.render(b)
			if err != nil {
				return fmt.Errorf("render: %s: %w", r.name, err)
			}
			made[i] = files
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		return nil, err
	}
	files := slices.Concat(made...)
	slices.SortFunc(files, func(a, b File) int { return strings.Compare(a.Name, b.Name) })
	return files, nil
}
