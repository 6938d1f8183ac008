package ingest

import (
	"context"
	"runtime"

	"deltoid/schemas"
)

// EachPart reads a source as [Read] does and hands its rows on in parts, in the order of the files, without ever holding all
// of them: a text file in parts of some megabytes, a Parquet file by row groups. Each part is a table by itself, with the
// lines of its file; the rules about cells have been applied to it. A part must not be kept. What part returns as an error
// ends the reading.
//
// Memory does not grow with the rows, but for a workbook, which is one part, and for a Parquet file whose row groups are large.
func EachPart(ctx context.Context, s *schemas.Schema, src schemas.Source, found *schemas.Findings, progress func(bytesDone, bytesTotal int64),
	part func(*schemas.Table) error) error {
	r := &reader{schema: s, src: &src, progress: progress, chunkSize: chunkSize, workers: runtime.GOMAXPROCS(0), patience: patience, memory: childMemory, part: part}
	_, err := r.read(ctx, found)
	return err
}

// handOn makes a table of one chunk and hands it on.
func (r *reader) handOn(c *chunk) error {
	one := &reader{schema: r.schema, src: r.src, specs: r.specs, made: r.made, wide: r.wide, workers: 1, bindings: []*binding{c.file}, chunks: []*chunk{c}}
	t, ps := one.merge()
	if len(ps) > 0 {
		return ps
	}
	one.setAside(t)
	if err := r.part(t); err != nil {
		return handedBack{err}
	}
	return nil
}

// handedBack is an error of whoever takes the parts. It says nothing about a file.
type handedBack struct{ error }
