package ingest

import (
	"bytes"
	"encoding/binary"
	"math/bits"
)

// cell is the place of one cell's text in its chunk. The top bits of end are flags.
type cell struct{ start, end uint32 }

// The flags of a cell.
const (
	quoted  = 1 << 31 // the text stood in quotes
	doubled = 1 << 30 // it holds doubled quotes
	stray   = 1 << 29 // something follows its closing quote
	lost    = 1 << 28 // its row is ragged
	special = doubled | stray | lost
	place   = lost - 1 // the bits of end that are a place
)

// blockRows is how many rows are cut into cells before their columns are read: few enough to stay in the cache.
const blockRows = 256

// scanner cuts a chunk into cells.
type scanner struct {
	buf    []byte // ends with a line feed; may be read beyond its end
	pos    int
	delim  byte
	width  int    // cells in a row, by the header
	cells  []cell // of a block: row after row
	lines  []int32
	line   int32 // lines before pos
	blank  int
	ragged []raggedRow
}

// raggedRow is a row with another number of cells than the header.
type raggedRow struct{ row, cells int }

func newScanner(chunk []byte, delim byte, width, rows int) *scanner {
	return &scanner{buf: chunk[:len(chunk)+padding], delim: delim, width: width, cells: make([]cell, blockRows*width),
		lines: make([]int32, 0, rows)}
}

// block cuts up to [blockRows] rows and returns their number, 0 at the end. end is the end of the chunk.
func (s *scanner) block(end int) int {
	n := 0
	for n < blockRows && s.pos < end {
		row := s.cells[n*s.width : (n+1)*s.width]
		first := s.line
		got := s.record(row)
		s.line++
		if got == 1 && row[0].start == row[0].end { // not quoted, nothing in it
			s.blank++
			continue
		}
		if got != s.width {
			s.ragged = append(s.ragged, raggedRow{len(s.lines), got})
			for i := range row {
				row[i] = cell{0, lost}
			}
		}
		s.lines = append(s.lines, first)
		n++
	}
	return n
}

// record cuts one record and returns the number of its cells, of which row keeps those it has room for. One long loop:
// this is where the time goes.
func (s *scanner) record(row []cell) int {
	buf, i := s.buf, s.pos
	delims, n := uint64(s.delim)*eachByte, 0
	for {
		var c cell
		if buf[i] == '"' {
			c, i = s.quotedCell(i)
		} else {
			start := i
			for {
				w := binary.LittleEndian.Uint64(buf[i:])
				if m := zeroBytes(w^delims) | zeroBytes(w^eachByte*'\n'); m != 0 {
					i += bits.TrailingZeros64(m) / 8
					break
				}
				i += 8
			}
			c = trim(buf, start, i)
		}
		if n < len(row) {
			row[n] = c
		}
		n++
		i++
		if buf[i-1] == '\n' {
			s.pos = i
			return n
		}
	}
}

const eachByte = 0x0101010101010101

// zeroBytes sets the high bit of the lowest zero byte of w. Bytes above it may be marked wrongly.
func zeroBytes(w uint64) uint64 { return (w - eachByte) &^ w & (eachByte << 7) }

// trim takes spaces and tabs off both ends of an unquoted cell, and the carriage return before a line feed.
func trim(buf []byte, start, end int) cell {
	if start == end || buf[end-1] > ' ' && buf[start] > ' ' {
		return cell{uint32(start), uint32(end)}
	}
	if end > start && buf[end-1] == '\r' && buf[end] == '\n' {
		end--
	}
	for end > start && (buf[end-1] == ' ' || buf[end-1] == '\t') {
		end--
	}
	for end > start && (buf[start] == ' ' || buf[start] == '\t') {
		start++
	}
	return cell{uint32(start), uint32(end)}
}

// quotedCell cuts a cell that begins with a quote at place i and returns it with the place of the delimiter or the line
// feed after it.
func (s *scanner) quotedCell(i int) (cell, int) {
	start, flags := i+1, uint32(quoted)
	i = start
	for {
		i += bytes.IndexByte(s.buf[i:], '"')
		if s.buf[i+1] != '"' {
			break
		}
		flags |= doubled
		i += 2
	}
	end := i
	s.line += int32(bytes.Count(s.buf[start:end], newline))
	i++
	if s.buf[i] == '\r' && s.buf[i+1] == '\n' {
		i++
	}
	if s.buf[i] != s.delim && s.buf[i] != '\n' {
		flags |= stray
		for s.buf[i] != s.delim && s.buf[i] != '\n' {
			i++
		}
		end = i
	}
	return cell{uint32(start), uint32(end) | flags}, i
}
