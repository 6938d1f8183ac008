package ingest

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"slices"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"
)

// Pages whose values are plain, split into streams or places in a dictionary are decoded here; the library unpacks them. It
// would look at each value of a dictionary as often as it stands, and knows neither split streams nor the old moments of
// twelve bytes. Every length is held against the bytes that are there before it is believed.

// splitStreams is the encoding in which the first bytes of all values stand together, then the second ones, and so on
// (BYTE_STREAM_SPLIT). The library has no name for it.
const splitStreams = parquet.Encoding(9)

// ownEncodings are those of columns that are decoded here. RLE and bit-packed are the encodings of their levels.
var ownEncodings = []parquet.Encoding{parquet.Encodings.Plain, parquet.Encodings.PlainDict, parquet.Encodings.RLEDict, parquet.Encodings.RLE,
	parquet.Encodings.BitPacked, splitStreams}

// physical is how the values of a type lie in plain pages.
type physical[T any] struct {
	size int // bytes of a value; 0 when each has a length of its own
	get  func(b []byte) T
}

// The physical types. Texts share the memory of their page.
var (
	plainInt32  = physical[int32]{4, func(b []byte) int32 { return int32(binary.LittleEndian.Uint32(b)) }}
	plainInt64  = physical[int64]{8, func(b []byte) int64 { return int64(binary.LittleEndian.Uint64(b)) }}
	plainSingle = physical[float32]{4, func(b []byte) float32 { return math.Float32frombits(binary.LittleEndian.Uint32(b)) }}
	plainDouble = physical[float64]{8, func(b []byte) float64 { return math.Float64frombits(binary.LittleEndian.Uint64(b)) }}
	plainInt96  = physical[parquet.Int96]{12, func(b []byte) parquet.Int96 { return parquet.Int96(b[:12]) }}
	plainTexts  = physical[parquet.ByteArray]{0, func(b []byte) parquet.ByteArray { return b }}
)

func plainFixed(size int) physical[parquet.FixedLenByteArray] {
	return physical[parquet.FixedLenByteArray]{size, func(b []byte) parquet.FixedLenByteArray { return b[:size:size] }}
}

var errShortPage = errors.New("a page has fewer values than it claims")

// plain reads n values one after the other and appends them to out.
func (p physical[T]) plain(out []T, b []byte, n int) ([]T, error) {
	if p.size > 0 {
		if n > len(b)/p.size {
			return nil, errShortPage
		}
		out = slices.Grow(out, n)
		for i := range n {
			out = append(out, p.get(b[i*p.size:]))
		}
		return out, nil
	}
	const head = 4
	if n > len(b)/head {
		return nil, errShortPage
	}
	out = slices.Grow(out, n)
	for range n {
		if len(b) < head {
			return nil, errShortPage
		}
		length := int(binary.LittleEndian.Uint32(b))
		if b = b[head:]; length > len(b) {
			return nil, errShortPage
		}
		out = append(out, p.get(b[:length:length]))
		b = b[length:]
	}
	return out, nil
}

// split reads n values whose bytes are spread over as many streams as a value has bytes.
func (p physical[T]) split(out []T, b []byte, n int) ([]T, error) {
	if p.size == 0 || n > len(b)/p.size {
		return nil, errShortPage
	}
	together := make([]byte, n*p.size)
	for k := range p.size {
		for i, c := range b[k*n : (k+1)*n] {
			together[i*p.size+k] = c
		}
	}
	return p.plain(out, together, n)
}

// decoder reads the pages of a column of one row group.
type decoder[T any] struct {
	physical[T]
	c       *column
	adds    func(*column) func(T) // what adds a value to a column
	add     func(T)
	see     func([]T)    // what holds the values against the footer; nil when the footer states nothing
	seeText func([]byte) // the same for one text
	st      *stated
	known   *dictionary[T]
	values  []T
	levels  []uint32 // of a batch: whether a value is there
	places  []uint32 // of a batch, in the dictionary; one more than values
	rows    []uint32 // of a batch: the same with the missing ones in their rows
}

// batch is how many values are taken at a time: few enough to stay in the cache.
const batch = 1 << 12

// decode adds all values of the pages to the column.
func (d *decoder[T]) decode(pages *checkedPages, rows int) error {
	d.add = d.adds(d.c)
	d.levels, d.places, d.rows = make([]uint32, batch), make([]uint32, batch+1), make([]uint32, batch)
	got := 0
	for got < rows && pages.Next() {
		if dict, ok := pages.Page().(*file.DictionaryPage); ok {
			if err := d.takeDictionary(dict); err != nil {
				return err
			}
			continue
		}
		if got += pages.at.values; got > rows {
			return fmt.Errorf("the pages hold more than %d values", rows)
		}
		if err := d.page(&pages.at); err != nil {
			return err
		}
		d.st.present += int64(pages.at.present)
	}
	if err := pages.Err(); err != nil {
		return err
	}
	if got != rows {
		return fmt.Errorf("%d values read of %d", got, rows)
	}
	d.known.settle(d)
	return nil
}

func (d *decoder[T]) takeDictionary(page *file.DictionaryPage) error {
	if d.known != nil {
		return errors.New("the column has two dictionaries")
	}
	entries, err := d.plain(nil, page.Data(), int(page.NumValues()))
	if err != nil {
		return err
	}
	d.known = newDictionary(d, entries)
	return nil
}

// page adds the values of one page.
func (d *decoder[T]) page(p *valuesPage) (err error) {
	switch p.encoding {
	case parquet.Encodings.Plain:
		if d.size == 0 && p.levels == nil && d.c.takesTexts() {
			return d.c.addPlainTexts(p.body, p.present, d.seeText)
		}
		d.values, err = d.plain(d.values[:0], p.body, p.present)
	case splitStreams:
		d.values, err = d.split(d.values[:0], p.body, p.present)
	case parquet.Encodings.PlainDict, parquet.Encodings.RLEDict:
		return d.lookUp(p)
	default:
		return fmt.Errorf("the page has the encoding %v, which the footer does not name", p.encoding)
	}
	if err != nil {
		return err
	}
	if d.see != nil {
		d.see(d.values)
	}
	return d.spread(p)
}

// spread adds the values of a page, with missing ones in their places.
func (d *decoder[T]) spread(p *valuesPage) error {
	if p.levels == nil {
		for _, v := range d.values {
			d.add(v)
		}
		return nil
	}
	there, next := p.whichAreThere(), 0
	for left := p.values; left > 0; left -= batch {
		levels := d.levels[:min(batch, left)]
		if !there(levels) {
			return errShortLevels
		}
		for _, level := range levels {
			if level == 0 {
				d.c.missing()
				continue
			}
			d.add(d.values[next])
			next++
		}
	}
	return nil
}

// whichAreThere returns what fills a batch with the levels of the page. Their number of ones has been counted.
func (p *valuesPage) whichAreThere() func([]uint32) bool {
	if !p.packed {
		r := &runs{b: p.levels, width: 1}
		return r.fill
	}
	at := 0
	return func(out []uint32) bool {
		for i := range out {
			out[i] = uint32(p.levels[at/8]>>(7-at%8)) & 1
			at++
		}
		return true
	}
}

var errPlaces = errors.New("a page names a value that its dictionary does not have")

// lookUp adds the values of a page that holds places in the dictionary.
func (d *decoder[T]) lookUp(p *valuesPage) error {
	if d.known == nil {
		return errors.New("a page refers to a dictionary, and there is none")
	}
	if p.present == 0 {
		return d.spreadPlaces(p, nil)
	}
	if len(p.body) == 0 || p.body[0] > 32 {
		return errShortPage
	}
	return d.spreadPlaces(p, &runs{b: p.body[1:], width: int(p.body[0])})
}

func (d *decoder[T]) spreadPlaces(p *valuesPage, places *runs) error {
	there := func([]uint32) bool { return true }
	if p.levels != nil {
		there = p.whichAreThere()
	}
	for left := p.values; left > 0; left -= batch {
		levels := d.levels[:min(batch, left)]
		if !there(levels) {
			return errShortLevels
		}
		present := len(levels)
		if p.levels != nil {
			present = 0
			for _, level := range levels {
				present += int(level)
			}
		}
		if present > 0 && !places.fill(d.places[:present]) {
			return errShortPage
		}
		if !d.known.has(d.places[:present]) {
			return errPlaces
		}
		rows := d.places[:present]
		if present < len(levels) {
			rows = d.known.spread(d.rows[:len(levels)], d.places, levels)
		}
		d.known.add(d, rows)
	}
	return nil
}
