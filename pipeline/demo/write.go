package demo

import (
	"bufio"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"sync"

	"golang.org/x/sync/errgroup"

	"deltoid/schemas"
)

// Write makes up a registry and writes it below dir, which is made if need be: the exports as CSV and as Parquet in
// dir/exports, a study plan for each format (plan.yaml and plan-parquet.yaml), and a README with the true parameters and
// the planted defects. It returns the path of the plan that reads the CSV exports. Equal options give equal bytes.
//
// progress, unless nil, is called now and then with the rows written so far and the rows to be written; the calls do not
// overlap. The error is a [schemas.Problem] for options out of range, or what writing came up against.
func Write(dir string, o Options, progress func(done, total int64)) (planPath string, err error) {
	r, err := Generate(o)
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(filepath.Join(dir, "exports"), 0o755); err != nil {
		return "", err
	}
	if err := r.writeExports(dir, progress); err != nil {
		return "", err
	}
	texts, err := r.texts()
	if err != nil {
		return "", err
	}
	for _, t := range texts {
		if err := os.WriteFile(filepath.Join(dir, t.name), t.content, 0o644); err != nil {
			return "", err
		}
	}
	return filepath.Join(dir, planName), nil
}

// The names of the plans.
const (
	planName        = "plan.yaml"
	planParquetName = "plan-parquet.yaml"
)

// writeExports writes the twelve files, several at once, one table in memory for each pair.
func (r *Records) writeExports(dir string, progress func(done, total int64)) error {
	tell := teller(2*r.rows(), progress)
	var g errgroup.Group
	g.SetLimit(runtime.GOMAXPROCS(0))
	for _, e := range exports {
		t, err := e.table(r, theirs)
		if err != nil {
			return err
		}
		for ending, write := range writers {
			g.Go(func() error {
				if err := toFile(filepath.Join(dir, "exports", e.name+ending), t, write); err != nil {
					return err
				}
				tell(int64(t.Rows()))
				return nil
			})
		}
	}
	return g.Wait()
}

// writers holds the formats by the ending of their files.
var writers = map[string]func(io.Writer, *schemas.Table) error{
	".csv":     func(w io.Writer, t *schemas.Table) error { return schemas.WriteCSV(w, t) },
	".parquet": schemas.WriteParquet,
}

func toFile(path string, t *schemas.Table, write func(io.Writer, *schemas.Table) error) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	w := bufio.NewWriterSize(f, 1<<20)
	if err := write(w, t); err != nil {
		_ = f.Close()
		return err
	}
	if err := w.Flush(); err != nil {
		_ = f.Close()
		return err
	}
	return f.Close()
}

// rows returns the number of rows of all tables.
func (r *Records) rows() int64 {
	return int64(count(r.operations) + count(r.reoperations) + count(r.complications) + count(r.deaths) +
		count(r.scores) + count(r.contacts))
}

// teller adds up what is done and passes it on, one call at a time.
func teller(total int64, progress func(done, total int64)) func(more int64) {
	if progress == nil {
		return func(int64) {}
	}
	var mu sync.Mutex
	var done int64
	return func(more int64) {
		mu.Lock()
		defer mu.Unlock()
		done += more
		progress(done, total)
	}
}
