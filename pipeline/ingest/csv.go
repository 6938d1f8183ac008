package ingest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"unicode/utf8"

	"golang.org/x/sync/errgroup"

	"deltoid/schemas"
)

// chunk is what was read from one part of a file.
type chunk struct {
	file    *binding
	columns []*column // for each spec; nil when the file has no such column
	lines   []int32   // of each row, from the first line of the chunk; later from the first line of the file
	height  int       // line feeds in the chunk; rows of a row group
	first   int       // of a row group, the row of the file that it begins with
	left    int       // of a row group, the columns that are to come
	blank   int
	ragged  []raggedRow
	aside   []bool    // rows that are set aside; nil when there are none
	made    []*column // for each column of the table; those that were read, unless scores stand in columns
	which   []uint16  // of each row, the place of its column of scores, where scores stand in columns
	unfold  unfolded  // then: what became of the rows of the file
}

// readCSV reads one text file: one goroutine cuts it into chunks, the others read them.
func (r *reader) readCSV(ctx context.Context, f io.Reader, size int64, b *binding) error {
	text, err := openText(&counted{r: f, taken: &b.taken}, b, r.src)
	if err != nil {
		return err
	}
	rest, err := openCSV(text, b, r.specs, r.src)
	if err != nil {
		return err
	}
	split := &splitter{r: rest, delim: b.delim, size: int(min(int64(r.chunkSize), 4*size+1))} // what is compressed is longer
	blank, line, err := r.readChunks(ctx, split, b)
	if err != nil && !errors.Is(err, errUnclosed) && !errors.Is(err, errLongRecord) {
		if errors.As(err, new(schemas.Problems)) || errors.As(err, new(handedBack)) {
			return err
		}
		return b.unreadable(err)
	}
	if err != nil {
		return b.noEnd(err, int(line)+split.open+1)
	}
	if blank > 0 {
		b.notes = append(b.notes, fmt.Sprintf("blank lines skipped: %d", blank))
	}
	return nil
}

// noEnd says where a record begins that has no end.
func (b *binding) noEnd(err error, line int) *schemas.Problem {
	return &schemas.Problem{Kind: schemas.ExportProblem, Where: fmt.Sprintf("%s:%d", b.shown, line), What: err.Error(),
		Allowed: "a quote at the beginning of a cell has one at its end", Remedy: "close the quote, or export the table again", Cause: err}
}

type piece struct {
	place int
	buf   []byte
}

// readChunks reads the chunks of a file in parallel and settles them in the order of the file. It returns the number of
// blank lines, and the line up to which it came: all chunks before a record without an end are settled.
func (r *reader) readChunks(ctx context.Context, split *splitter, b *binding) (blank int, line int32, err error) {
	g, ctx := errgroup.WithContext(ctx)
	work := make(chan piece)
	free := make(chan []byte, r.workers+2) // as many buffers as there will ever be
	for range cap(free) {
		free <- nil
	}
	var cut error
	g.Go(func() error {
		defer close(work)
		cut = r.cutChunks(ctx, split, free, work)
		return nil
	})
	waiting, next := map[int]*chunk{}, 0
	line = int32(b.first)
	for range r.workers {
		g.Go(func() error {
			for p := range work {
				c := readChunk(r.specs, b, p.buf)
				r.lock.Lock()
				waiting[p.place] = c
				var err error
				for err == nil && waiting[next] != nil {
					blank += waiting[next].blank
					line, err = r.settleAt(waiting[next], line)
					delete(waiting, next)
					next++
				}
				r.report(b.taken.Swap(0))
				r.lock.Unlock()
				if err != nil {
					return err
				}
				free <- p.buf
			}
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		return blank, line, err
	}
	return blank, line, cut
}

// settleAt settles a chunk that begins on a line, and returns that of the next.
func (r *reader) settleAt(c *chunk, line int32) (int32, error) {
	for i := range c.lines {
		c.lines[i] += line + 1
	}
	return line + int32(c.height), r.settle(c)
}

func (r *reader) cutChunks(ctx context.Context, split *splitter, free <-chan []byte, work chan<- piece) error {
	for n := 0; ; n++ {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case buf := <-free:
			buf, err := split.next(buf)
			if err == io.EOF {
				return nil
			}
			if err != nil {
				return err
			}
			select {
			case work <- piece{n, buf}:
			case <-ctx.Done():
				return ctx.Err()
			}
		}
	}
}

// readChunk reads one chunk of whole records.
func readChunk(specs []*spec, b *binding, buf []byte) *chunk {
	rows := bytes.Count(buf, newline)
	c := &chunk{file: b, columns: make([]*column, len(specs)), height: rows}
	checked, quotes := utf8.Valid(buf), bytes.IndexByte(buf, '"') >= 0
	for i, at := range b.at {
		if at >= 0 {
			c.columns[i] = newColumn(specs[i], rows)
			c.columns[i].checked, c.columns[i].quotes = checked, quotes
		}
	}
	width := len(b.header)
	s := newScanner(buf, b.delim, width, rows)
	for n := s.block(len(buf)); n > 0; n = s.block(len(buf)) {
		for i, at := range b.at {
			if at >= 0 {
				c.columns[i].read(s.buf, s.cells[at:n*width], width)
			}
		}
		if len(s.lines) == n {
			c.reserve(n, rows)
		}
	}
	c.lines, c.blank, c.ragged = s.lines, s.blank, s.ragged
	return c
}

// reserve makes room for the texts of all rows, as long as those of the first.
func (c *chunk) reserve(first, rows int) {
	for _, col := range c.columns {
		if col != nil && len(col.bytes) > 0 {
			col.bytes = slices.Grow(col.bytes, len(col.bytes)*(rows-first)/first)
		}
	}
}

// raggedDetail says what a row should have been.
func raggedDetail(b *binding, cells int) string {
	return fmt.Sprintf("%d cells, as in the header; found %d", len(b.header), cells)
}

// cause returns the innermost message of an error, without the paths of the machine it happened on.
func cause(err error) string {
	for inner := errors.Unwrap(err); inner != nil; inner = errors.Unwrap(err) {
		err = inner
	}
	return err.Error()
}
