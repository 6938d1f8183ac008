package ingest

import (
	"context"
	"encoding/json"
	"io"
	"os"
	"runtime/debug"
	"sync"

	"deltoid/schemas"
)

// Parquet is decoded in a process of its own: a copy of the running program that this package makes, in every program
// that uses it, before anything else in the program begins. A damaged file can make the library end its process from a
// goroutine that nobody can recover, ask for all memory, or go round for ever; here that ends the child and becomes a
// problem with the file's name. The child runs under a limit of memory. On Linux the kernel keeps it; elsewhere the limit
// is the runtime's, which works hard to stay below it and can be outrun.

// childMark is the first argument of a child; the second is the file.
const childMark = "decode-parquet-as-child"

func init() {
	if len(os.Args) == 3 && os.Args[1] == childMark {
		os.Exit(beChild(os.Stdin, os.Stdout, os.Args[2]))
	}
}

// request is what a child is asked.
type request struct {
	Schema  *schemas.Schema
	Source  *schemas.Source
	File    int // place of the file in the source
	Workers int
	Memory  int64 // bytes that the child may take
}

// beChild decodes one file and writes what it holds as frames. Everything that is wrong with the file is a frame too; the
// code is that of a process that was not asked properly.
func beChild(in io.Reader, out io.Writer, path string) (code int) {
	var q request
	if err := json.NewDecoder(in).Decode(&q); err != nil {
		return 1
	}
	debug.SetMemoryLimit(q.Memory / 4 * 3)
	debug.SetGCPercent(800) // what is made here is handed over and gone; the limit bounds what waits to be collected
	limitMemory(q.Memory)
	w := &frameWriter{w: out}
	if f, ok := out.(*os.File); ok {
		widenPipe(f)
	}
	err := q.decode(context.Background(), path, w)
	if w.err != nil {
		return 1 // nobody listens
	}
	last := frame{Done: true}
	if err != nil {
		var ps schemas.Problems
		if rest := collect(&ps, err); rest != nil {
			b := &binding{shown: q.shown()}
			_ = collect(&ps, b.damaged(rest))
		}
		for _, p := range ps {
			last.Problems = append(last.Problems, *p)
			last.Problems[len(last.Problems)-1].Cause = nil
		}
	}
	w.send(&last)
	if w.err != nil {
		return 1
	}
	return 0
}

func (q *request) shown() string { return (&reader{src: q.Source}).shown(q.File) }

// decode decodes one file.
func (q *request) decode(ctx context.Context, path string, w *frameWriter) error {
	r := &reader{schema: q.Schema, src: q.Source, workers: q.Workers}
	if ps := r.makeSpecs(); len(ps) > 0 {
		return ps
	}
	b := &binding{file: q.File, shown: q.shown()}
	f, err := os.Open(path)
	if err != nil {
		return b.unreadable(err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return b.unreadable(err)
	}
	p, err := openParquet(f, info.Size(), b)
	if err != nil {
		return err
	}
	if ps := append(bind(b, r.specs), r.checkTypes(p, b)...); len(ps) > 0 {
		return ps
	}
	start := &fileStart{Header: b.header, At: b.at, Notes: b.notes}
	for i := range p.NumRowGroups() {
		start.Rows = append(start.Rows, p.RowGroup(i).NumRows())
	}
	w.send(&frame{Start: start})
	if err := r.readGroups(ctx, p, b, w); err != nil {
		return b.damaged(err)
	}
	return nil
}

// frameWriter writes frames one after the other. After an error it writes nothing more.
type frameWriter struct {
	lock sync.Mutex
	w    io.Writer
	err  error
}
