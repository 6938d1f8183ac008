package ingest

import (
	"bytes"
	"errors"
	"io"
)

// padding is how many bytes after its end a chunk may be read; a scanner looks at eight at a time.
const padding = 8

// maxRecord is the longest record that is believed. A quote that is never closed swallows the rest of a file; this keeps
// it from swallowing the memory too.
const maxRecord = 16 << 20

var (
	errUnclosed   = errors.New("a quote is never closed")
	errLongRecord = errors.New("a record is longer than 16 MiB")
)

// splitter cuts a stream into chunks of whole records. It follows the quotes and nothing else: outside quotes a line
// feed ends a record, and a quote opens only at the beginning of a cell.
type splitter struct {
	r     io.Reader
	delim byte
	size  int    // bytes to aim at
	carry []byte // the beginning of the next record
	ended bool
	open  int // after errUnclosed: line feeds in the chunk before the quote
}

// next fills buf with the next chunk and returns it. Every record in it ends with a line feed, also the last of the
// file; [padding] bytes after it may be read. The error is io.EOF after the last chunk.
func (s *splitter) next(buf []byte) ([]byte, error) {
	buf = append(buf[:0], s.carry...)
	var t tracker
	for want := max(s.size, 2*len(buf)); ; want = 2 * len(buf) {
		var err error
		if buf, err = s.fill(buf, want); err != nil {
			return nil, err
		}
		t.advance(buf, s.delim, s.ended)
		if s.ended {
			return s.last(buf, &t)
		}
		if t.end > 0 {
			s.carry = append(s.carry[:0], buf[t.end:]...)
			return pad(buf[:t.end]), nil
		}
		if len(buf) > maxRecord {
			return nil, s.tooLong(buf, &t)
		}
	}
}

// fill reads until buf has the wanted length or the stream ends.
func (s *splitter) fill(buf []byte, want int) ([]byte, error) {
	for len(buf) < want && !s.ended {
		if cap(buf) < want+1+padding {
			buf = append(make([]byte, 0, want+1+padding), buf...)
		}
		n, err := s.r.Read(buf[len(buf):want])
		buf = buf[:len(buf)+n]
		if err == io.EOF {
			s.ended = true
		} else if err != nil {
			return nil, err
		}
	}
	return buf, nil
}

// last returns what is left at the end of the stream.
func (s *splitter) last(buf []byte, t *tracker) ([]byte, error) {
	s.carry = s.carry[:0]
	switch {
	case len(buf) == 0:
		return nil, io.EOF
	case t.quoted:
		return nil, s.tooLong(buf, t)
	case buf[len(buf)-1] != '\n':
		buf = append(buf, '\n')
	}
	return pad(buf), nil
}

// tooLong says what is wrong with a record without an end.
func (s *splitter) tooLong(buf []byte, t *tracker) error {
	if !t.quoted {
		return errLongRecord
	}
	s.open = bytes.Count(buf[:t.opened], newline)
	return errUnclosed
}

// pad makes sure that the bytes after a chunk can be read.
func pad(buf []byte) []byte {
	if cap(buf) >= len(buf)+padding {
		return buf
	}
	return append(make([]byte, 0, len(buf)+padding), buf...)
}

var newline = []byte{'\n'}

// tracker follows the quotes through a growing buffer that begins with a record.
type tracker struct {
	seen   int  // bytes looked at
	end    int  // end of the last whole record
	quoted bool // inside quotes
	opened int  // where they began
}

// advance looks at what has been added to the buffer. At the end of the stream a quote that is the last byte closes.
func (t *tracker) advance(buf []byte, delim byte, last bool) {
	for t.seen < len(buf) {
		rest := buf[t.seen:]
		q := bytes.IndexByte(rest, '"')
		if !t.quoted {
			t.outside(buf, q, delim)
			continue
		}
		if q < 0 {
			t.seen = len(buf)
			return
		}
		at := t.seen + q
		switch {
		case at+1 == len(buf) && !last:
			t.seen = at // the next byte decides
			return
		case at+1 < len(buf) && buf[at+1] == '"':
			t.seen = at + 2
		default:
			t.quoted, t.seen = false, at+1
		}
	}
}

// outside looks at the bytes up to the next quote, at distance q, or to the end if there is none.
func (t *tracker) outside(buf []byte, q int, delim byte) {
	stop := len(buf)
	if q >= 0 {
		stop = t.seen + q
	}
	if i := bytes.LastIndexByte(buf[t.seen:stop], '\n'); i >= 0 {
		t.end = t.seen + i + 1
	}
	t.seen = stop
	if q < 0 {
		return
	}
	t.seen++
	if stop == 0 || buf[stop-1] == delim || buf[stop-1] == '\n' {
		t.quoted, t.opened = true, stop
	}
}
