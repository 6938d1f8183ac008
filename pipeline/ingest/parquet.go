package ingest

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/schema"
	"golang.org/x/sync/errgroup"

	"deltoid/schemas"
)

// readGroups reads every needed column of every row group, in parallel, and sends each as it comes. Nothing of the library
// runs on a goroutine of its own, and each of ours catches its panics.
func (r *reader) readGroups(ctx context.Context, p *parquetFile, b *binding, w *frameWriter) error {
	g, running := errgroup.WithContext(ctx)
	g.SetLimit(r.workers)
	for i := range p.NumRowGroups() {
		for k, at := range b.at {
			if at < 0 || running.Err() != nil {
				continue
			}
			g.Go(func() error {
				col, size, err := p.readColumn(i, p.leaves[at], r.specs[k])
				if err != nil {
					return fmt.Errorf("row group %d, column %q: %w", i+1, r.specs[k].header, err)
				}
				w.send(&frame{Column: &columnFrame{Group: i, Spec: k, Taken: size, column: col}})
				return w.err
			})
		}
	}
	if err := g.Wait(); err != nil {
		return err
	}
	return ctx.Err()
}

// parquetFile is an open file whose footer makes sense.
type parquetFile struct {
	*file.Reader
	source *os.File
	body   int64   // bytes before the footer
	leaves []*leaf // for each column of the header; nil for a nested one
}

// openParquet reads the footer.
func openParquet(f *os.File, size int64, b *binding) (*parquetFile, error) {
	body, err := checkFooter(f, size)
	if errors.Is(err, errNotParquet) {
		return nil, b.problem("the file is not a Parquet file", "a file that begins and ends with PAR1",
			"declare the file's format, or write it again")
	}
	if err != nil {
		return nil, b.damaged(err)
	}
	p := &parquetFile{source: f, body: body}
	if err := safely(func() error { return p.open(b) }); err != nil {
		return nil, b.damaged(err)
	}
	return p, nil
}

func (p *parquetFile) open(b *binding) (err error) {
	if p.Reader, err = file.NewParquetReader(keepOpen{p.source}); err != nil {
		return err
	}
	p.listColumns(b)
	rows := int64(0)
	for i := range p.NumRowGroups() {
		n := p.RowGroup(i).NumRows()
		if n < 0 || n > math.MaxInt32-rows {
			return fmt.Errorf("row group %d claims %d rows", i+1, n)
		}
		rows += n
	}
	if rows != p.NumRows() {
		return fmt.Errorf("the footer claims %d rows, its row groups %d", p.NumRows(), rows)
	}
	return nil
}

// keepOpen hides the file's Close from the library.
type keepOpen struct{ f *os.File }

func (k keepOpen) ReadAt(b []byte, at int64) (int, error)       { return k.f.ReadAt(b, at) }
func (k keepOpen) Seek(offset int64, whence int) (int64, error) { return k.f.Seek(offset, whence) }

// listColumns takes the top level of the file's schema as the header.
func (p *parquetFile) listColumns(b *binding) {
	root, next := p.MetaData().Schema.Root(), 0
	for i := range root.NumFields() {
		node := root.Field(i)
		b.header = append(b.header, node.Name())
		var l *leaf
		if node.Type() == schema.Primitive && node.RepetitionType() != 2 { // not repeated
			l = newLeaf(next, p.MetaData().Schema.Column(next))
		}
		p.leaves = append(p.leaves, l)
		next += countLeaves(node)
	}
}

func countLeaves(n schema.Node) int {
	g, ok := n.(*schema.GroupNode)
	if !ok {
		return 1
	}
	leaves := 0
	for i := range g.NumFields() {
		leaves += countLeaves(g.Field(i))
	}
	return leaves
}

// checkTypes finds needed columns of types that no field can be read from.
func (r *reader) checkTypes(p *parquetFile, b *binding) (ps schemas.Problems) {
	if !utf8.ValidString(strings.Join(b.header, "")) {
		ps = append(ps, b.problem("the names of the columns are not valid UTF-8", "UTF-8", "write the file again"))
	}
	for i, at := range b.at {
		if at < 0 {
			continue
		}
		what, remedy := p.leaves[at].refusal(r.specs[i])
		if other := p.unread(p.leaves[at]); what == "" && other != "" {
			what, remedy = "is written in the encoding "+other+", which is not read", "write the file again with plain encodings, or for an older version of the format"
		}
		if what != "" {
			ps = append(ps, b.problem(fmt.Sprintf("the column %q %s", b.header[at], what),
				"texts, whole and real numbers, decimals, truth values, dates, timestamps without a zone", remedy))
		}
	}
	return ps
}

// libraryEncodings are the encodings that the library reads beside those that are decoded here, each by itself.
var libraryEncodings = []parquet.Encoding{parquet.Encodings.DeltaBinaryPacked, parquet.Encodings.DeltaLengthByteArray, parquet.Encodings.DeltaByteArray}

// unread returns an encoding of a column that is not read, or nothing.
func (p *parquetFile) unread(l *leaf) (encoding string) {
	_ = safely(func() error { // a footer that makes no sense is found when the column is read
		for i := range p.NumRowGroups() {
			meta, err := p.RowGroup(i).MetaData().ColumnChunk(l.index)
			if err != nil {
				return err
			}
			for _, e := range meta.Encodings() {
				split := slices.Contains(meta.Encodings(), splitStreams)
				if !slices.Contains(ownEncodings, e) && (split || !slices.Contains(libraryEncodings, e)) {
					encoding = nameOf(e)
				}
			}
		}
		return nil
	})
	return encoding
}

// nameOf is the name of an encoding, or its number where the library has none.
func nameOf(e parquet.Encoding) string {
	if name := e.String(); !strings.HasPrefix(name, "<") {
		return name
	}
	return fmt.Sprintf("number %d", int(e))
}

// readColumn reads one column of one row group and returns it with the bytes it takes in the file.
func (p *parquetFile) readColumn(group int, l *leaf, sp *spec) (col *column, size int64, err error) {
	err = safely(func() error {
		g := p.RowGroup(group)
		meta, err := g.MetaData().ColumnChunk(l.index)
		if err != nil {
			return err
		}
		data, err := p.columnBytes(meta)
		if err != nil {
			return err
		}
		size = int64(len(data))
		if err := checkPages(data, meta.NumValues(), meta.Compression()); err != nil {
			return err
		}
		if meta.NumValues() != g.NumRows() {
			return fmt.Errorf("the column claims %d values, its row group %d rows", meta.NumValues(), g.NumRows())
		}
		pages, err := file.NewPageReader(&window{data}, meta.NumValues(), meta.Compression(), nil, nil)
		if err != nil {
			return err
		}
		col = newColumn(sp, int(g.NumRows()))
		checked := &checkedPages{PageReader: pages, optional: l.descr.MaxDefinitionLevel() > 0}
		st, err := newStated(meta)
		if err != nil {
			return err
		}
		if err := l.read(checked, meta.Encodings(), col, int(g.NumRows()), st, p.BufferPool()); err != nil {
			return err
		}
		return st.check(int(g.NumRows()))
	})
	return col, size, err
}

// errPanic wraps what the library panicked with.
var errPanic = errors.New("the library that reads Parquet gave up")

// safely turns a panic into an error.
func safely(f func() error) (err error) {
	defer func() {
		if v := recover(); v != nil {
			err = fmt.Errorf("%w: %v", errPanic, v)
		}
	}()
	return f()
}

// damaged names the file that a reading error lies in. A cancelled context stays what it is.
func (b *binding) damaged(err error) error {
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	return &schemas.Problem{Kind: schemas.ExportProblem, Where: b.shown, What: "the file is damaged: " + err.Error(),
		Remedy: "copy the file again from where it was made, or write it again", Cause: err}
}
