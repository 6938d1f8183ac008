package ingest

import (
	"encoding/binary"
	"errors"
	"math/bits"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"
)

// checkedPages looks into every page before the library decodes it. When the levels or the delta blocks of a page end
// too early, the library's reader goes round for ever; a delta block may also ask for any amount of memory.
type checkedPages struct {
	file.PageReader
	optional bool // values can be null
	bad      error
	at       valuesPage // the page that was gone to, unless it is a dictionary
}

// valuesPage is a page of values with what its check has found out.
type valuesPage struct {
	levels   []byte // of one bit, which says whether a value is there; nil when all are
	packed   bool   // the levels are plain bits, the highest of each byte first
	body     []byte
	values   int // with those that are missing
	present  int
	encoding parquet.Encoding
}

// Next goes to the next page; false at the end and when the page cannot be decoded.
func (p *checkedPages) Next() bool {
	if p.bad != nil || !p.PageReader.Next() {
		return false
	}
	p.bad = p.check()
	return p.bad == nil
}

// Err returns what ended the pages, nil for their end.
func (p *checkedPages) Err() error {
	if p.bad != nil {
		return p.bad
	}
	return p.PageReader.Err()
}

var (
	errShortLevels = errors.New("a page has fewer levels than values")
	errShortDeltas = errors.New("a page of differences ends too early")
)

func (p *checkedPages) check() error {
	var levels, body []byte
	values := int(p.Page().NumValues())
	packed := false
	switch page := p.Page().(type) {
	case *file.DataPageV1:
		body = page.Data()
		if packed = page.DefinitionLevelEncoding() == parquet.Encodings.BitPacked; p.optional {
			var ok bool
			if levels, body, ok = splitLevels(body, values, packed); !ok {
				return errShortLevels
			}
		}
	case *file.DataPageV2:
		repeats, n := int(page.RepetitionLevelByteLen()), int(page.DefinitionLevelByteLen())
		if repeats < 0 || n < 0 || repeats+n > len(page.Data()) {
			return errShortLevels
		}
		levels, body = page.Data()[repeats:repeats+n], page.Data()[repeats+n:]
	default:
		return nil
	}
	p.at = valuesPage{packed: packed, body: body, values: values, present: values, encoding: parquet.Encoding(p.Page().Encoding())}
	if p.optional {
		var ok bool
		if p.at.present, ok = countPresent(levels, values, packed); !ok {
			return errShortLevels
		}
		if p.at.present < values {
			p.at.levels = levels
		}
	}
	return checkDeltas(p.at.encoding, body, p.at.present)
}

// splitLevels parts the levels of a first-version page from its values. Levels of one bit are enough: nested columns
// are not read.
func splitLevels(body []byte, values int, packed bool) (levels, rest []byte, ok bool) {
	n, skip := (values+7)/8, 0
	if !packed {
		if len(body) < 4 {
			return nil, nil, false
		}
		n, skip = int(binary.LittleEndian.Uint32(body)), 4
	}
	if n > len(body)-skip {
		return nil, nil, false
	}
	return body[skip : skip+n], body[skip+n:], true
}

// countPresent counts the ones among n levels of one bit, written in runs and bit-packed groups of eight.
func countPresent(b []byte, n int, packed bool) (present int, ok bool) {
	if packed { // one run of bits, in another order, which the count does not see but for the last byte
		for i := range n {
			present += int(b[i/8]>>(7-i%8)) & 1
		}
		return present, true
	}
	for n > 0 {
		head, size := binary.Uvarint(b)
		if size <= 0 || head>>1 == 0 || head>>1 > 1<<31 {
			return 0, false
		}
		b = b[size:]
		run := int(head >> 1)
		if head&1 == 0 {
			if len(b) == 0 || b[0] > 1 {
				return 0, false
			}
			present += min(run, n) * int(b[0])
			b, n = b[1:], n-run
			continue
		}
		if run > len(b) {
			return 0, false
		}
		present += countOnes(b[:run], n)
		b, n = b[run:], n-8*run
	}
	return present, true
}

// countOnes counts the ones among the first n bits, the lowest of each byte first.
func countOnes(b []byte, n int) int {
	ones := 0
	for i, v := range b {
		if left := n - 8*i; left < 8 {
			return ones + bits.OnesCount8(v&(1<<max(left, 0)-1))
		}
		ones += bits.OnesCount8(v)
	}
	return ones
}

// checkDeltas walks through the delta blocks of the encodings that have them.
func checkDeltas(encoding parquet.Encoding, body []byte, values int) error {
	lists := 0
	switch encoding {
	case parquet.Encodings.DeltaBinaryPacked, parquet.Encodings.DeltaLengthByteArray:
		lists = 1
	case parquet.Encodings.DeltaByteArray: // lengths of prefixes, then of the rests
		lists = 2
	}
	if values == 0 {
		return nil
	}
	w := walker{b: body}
	for range lists {
		if err := w.deltas(uint64(values)); err != nil {
			return err
		}
	}
	return nil
}

// deltas steps over one list of differences, which must have the wanted number of values.
func (w *walker) deltas(values uint64) error {
	var head [3]uint64 // values in a block, miniblocks in a block, values in all
	for i := range head {
		v, err := w.varint()
		if err != nil {
			return errShortDeltas
		}
		head[i] = v
	}
	if _, err := w.varint(); err != nil { // the first value
		return errShortDeltas
	}
	block, minis := head[0], head[1]
	if head[2] != values || minis == 0 || minis > uint64(len(w.b)) || block > 1<<31 || block%minis != 0 || block/minis%8 != 0 || block == 0 {
		return errShortDeltas
	}
	for left := int64(values) - 1; left > 0; left -= int64(block) {
		if err := w.deltaBlock(int(block/minis), int(minis), left); err != nil {
			return err
		}
	}
	return nil
}

// deltaBlock steps over one block. Miniblocks after the last value have a width and no bytes.
func (w *walker) deltaBlock(size, minis int, left int64) error {
	if _, err := w.varint(); err != nil { // the smallest difference
		return errShortDeltas
	}
	widths := w.pos
	if w.skip(minis) != nil {
		return errShortDeltas
	}
	for i := range minis {
		if left <= 0 {
			return nil
		}
		width := int(w.b[widths+i])
		if width > 64 || w.skip(size/8*width) != nil {
			return errShortDeltas
		}
		left -= int64(size)
	}
	return nil
}
