package schemas

import (
	"bufio"
	"cmp"
	"container/heap"
	"encoding/binary"
	"io"
	"os"
)

// An export can be wrong in every cell, and then there are more findings than memory holds. Beyond some number the findings
// in memory are sorted and written, as one run, to a file that nobody else can open: it has no name any more as soon as it is
// there, so that it is gone when the program ends, however it ends. Who goes through the findings reads all runs side by side.

// When findings are written out: so many of them, or so many letters.
const (
	mostRecords = 1 << 20
	mostLetters = 32 << 20
)

// entry is a finding without its kind's words.
type entry struct {
	kind          uint32
	line          int32
	value, detail string
}

// spill is the file of runs.
type spill struct {
	file *os.File
	runs []span
	n    int // findings in all runs
}

type span struct{ from, to int64 }

// openSpill makes a file without a name.
func openSpill() (*spill, error) {
	f, err := os.CreateTemp("", "deltoid-findings-*") // with permissions for its owner only
	if err != nil {
		return nil, err
	}
	if err := os.Remove(f.Name()); err != nil {
		_ = f.Close() // it holds nothing yet
		return nil, err
	}
	return &spill{file: f}, nil
}

// write adds a run of sorted entries.
func (p *spill) write(n int, entries func(yield func(*entry) bool)) error {
	from := int64(0)
	if len(p.runs) > 0 {
		from = p.runs[len(p.runs)-1].to
	}
	if _, err := p.file.Seek(from, io.SeekStart); err != nil {
		return err
	}
	w := bufio.NewWriterSize(p.file, 1<<16)
	size := int64(0)
	var buf []byte
	for e := range entries {
		buf = binary.AppendUvarint(buf[:0], uint64(e.kind))
		buf = binary.AppendUvarint(buf, uint64(e.line))
		for _, s := range []string{e.value, e.detail} {
			buf = append(binary.AppendUvarint(buf, uint64(len(s))), s...)
		}
		size += int64(len(buf))
		if _, err := w.Write(buf); err != nil {
			return err
		}
	}
	if err := w.Flush(); err != nil {
		return err
	}
	p.runs = append(p.runs, span{from, from + size})
	p.n += n
	return nil
}

// runReader reads one run; next holds the entry that has been read and not handed out.
type runReader struct {
	r    *bufio.Reader
	next entry
}

// read goes to the next entry; false at the end.
func (r *runReader) read() (bool, error) {
	kind, err := binary.ReadUvarint(r.r)
	if err == io.EOF {
		return false, nil
	}
	line, err2 := binary.ReadUvarint(r.r)
	value, err3 := r.text()
	detail, err4 := r.text()
	r.next = entry{uint32(kind), int32(line), value, detail}
	return err == nil, cmp.Or(err, err2, err3, err4)
}

func (r *runReader) text() (string, error) {
	n, err := binary.ReadUvarint(r.r)
	if err != nil {
		return "", err
	}
	b := make([]byte, n)
	_, err = io.ReadFull(r.r, b)
	return string(b), err
}

// merge is a heap of runs by their next entry.
type merge struct {
	runs  []*runReader
	order func(a, b *entry) int
}

func (m *merge) Len() int           { return len(m.runs) }
func (m *merge) Less(i, j int) bool { return m.order(&m.runs[i].next, &m.runs[j].next) < 0 }
func (m *merge) Swap(i, j int)      { m.runs[i], m.runs[j] = m.runs[j], m.runs[i] }
func (m *merge) Push(x any)         { m.runs = append(m.runs, x.(*runReader)) }
func (m *merge) Pop() any {
	last := m.runs[len(m.runs)-1]
	m.runs = m.runs[:len(m.runs)-1]
	return last
}

// each goes through the entries of all runs and of a further sorted sequence, in order.
func (p *spill) each(order func(a, b *entry) int, rest func(yield func(*entry) bool), yield func(*entry) bool) error {
	m := &merge{order: order}
	for _, s := range p.runs {
		r := &runReader{r: bufio.NewReaderSize(io.NewSectionReader(p.file, s.from, s.to-s.from), 1<<16)}
		if more, err := r.read(); err != nil {
			return err
		} else if more {
			heap.Push(m, r)
		}
	}
	var failed error
	ended := false
	upTo := func(bound *entry) bool { // hands out what stands before bound, or all of it
		for m.Len() > 0 && (bound == nil || order(&m.runs[0].next, bound) <= 0) {
			if !yield(&m.runs[0].next) {
				ended = true
				return false
			}
			more, err := m.runs[0].read()
			if failed = err; err != nil {
				return false
			}
			if more {
				heap.Fix(m, 0)
			} else {
				heap.Pop(m)
			}
		}
		return true
	}
	for e := range rest {
		if !upTo(e) || !yield(e) {
			return failed
		}
	}
	if !ended {
		upTo(nil)
	}
	return failed
}
