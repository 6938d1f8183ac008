package ingest

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/apache/arrow/go/v15/arrow"

	"deltoid/schemas"
)

// frame is what a child says: that a file begins, a column of a row group, or that it is done. It is written as the
// length of its JSON form, that form, and for a column the values as they lie in memory.
type frame struct {
	Start    *fileStart        `json:",omitempty"`
	Column   *columnFrame      `json:",omitempty"`
	Problems []schemas.Problem `json:",omitempty"`
	Done     bool              `json:",omitempty"`
}

// fileStart is what the footer of a file says.
type fileStart struct {
	Header []string
	At     []int
	Notes  []string
	Rows   []int64 // of each row group
}

// columnFrame describes the values that follow it.
type columnFrame struct {
	Group, Spec, Rows int
	Taken             int64 // bytes of the file
	Bytes, Flaws      int   // lengths of the texts, and of what is wrong
	Levels            []string
	Recoded           []int
	Rounded           int
	Written           []int
	TooLarge          bool
	column            *column
}

func (w *frameWriter) send(f *frame) {
	w.lock.Lock()
	defer w.lock.Unlock()
	if w.err != nil {
		return
	}
	var parts [][]byte
	if f.Column != nil {
		parts = f.Column.pack()
	}
	text, err := json.Marshal(f)
	if err != nil {
		w.err = err
		return
	}
	head := append(binary.LittleEndian.AppendUint32(nil, uint32(len(text))), text...)
	for _, b := range append([][]byte{head}, parts...) {
		if _, err := w.w.Write(b); err != nil {
			w.err = err
			return
		}
	}
}

// pack fills in what is said of a column and returns its values as bytes.
func (f *columnFrame) pack() [][]byte {
	c := f.column
	flaws := packFlaws(c.flaws)
	f.Rows, f.Bytes, f.Flaws, f.Recoded, f.Rounded, f.Written, f.TooLarge = c.rows(), len(c.bytes), len(flaws), c.recoded, c.rounded, c.written, c.tooLarge
	if c.levels != nil {
		f.Levels = c.levels.keys
	}
	return [][]byte{c.values(), c.bytes, flaws}
}

// values returns the memory of the column's values; for texts, of where each ends.
func (c *column) values() []byte {
	switch c.field.Type {
	case schemas.Date:
		return arrow.Int32Traits.CastToBytes(c.days)
	case schemas.Integer:
		return arrow.Int64Traits.CastToBytes(c.ints)
	case schemas.Number:
		return arrow.Float64Traits.CastToBytes(c.numbers)
	case schemas.Code:
		return arrow.Int16Traits.CastToBytes(c.places)
	}
	return arrow.Int32Traits.CastToBytes(c.ends)
}

// resize gives an empty column room for its rows.
func (c *column) resize(rows int) {
	switch c.field.Type {
	case schemas.Date:
		c.days = make([]int32, rows)
	case schemas.Integer:
		c.ints = make([]int64, rows)
	case schemas.Number:
		c.numbers = make([]float64, rows)
	case schemas.Code:
		c.places = make([]int16, rows)
	default:
		c.ends = make([]int32, rows)
	}
}

// packFlaws writes each flaw as its row, the place of its rule, and the length and the letters of the value.
func packFlaws(flaws []flaw) (b []byte) {
	rules := schemas.Rules()
	for _, f := range flaws {
		b = binary.LittleEndian.AppendUint32(b, uint32(f.row))
		b = binary.LittleEndian.AppendUint16(b, uint16(slices.Index(rules, f.rule)))
		b = binary.LittleEndian.AppendUint16(b, uint16(len(f.value)))
		b = append(b, f.value...)
	}
	return b
}

var errFrame = errors.New("the process that reads the file does not keep to the form agreed")

func unpackFlaws(b []byte, rows int) (flaws []flaw, err error) {
	rules := schemas.Rules()
	const head = 8
	for len(b) > 0 {
		if len(b) < head {
			return nil, errFrame
		}
		row, rule, length := int(binary.LittleEndian.Uint32(b)), int(binary.LittleEndian.Uint16(b[4:])), int(binary.LittleEndian.Uint16(b[6:]))
		if row >= rows || rule >= len(rules) || length > len(b)-head {
			return nil, errFrame
		}
		flaws = append(flaws, flaw{row: row, rule: rules[rule], value: string(b[head : head+length])})
		b = b[head+length:]
	}
	return flaws, nil
}

// longestFrame bounds the JSON form of a frame: the most codes a column can hold, of some length.
const longestFrame = 64 << 20

func readFrame(r io.Reader, f *frame) error {
	var head [4]byte
	if _, err := io.ReadFull(r, head[:]); err != nil {
		return err
	}
	n := binary.LittleEndian.Uint32(head[:])
	if n > longestFrame {
		return errFrame
	}
	text := make([]byte, n)
	if _, err := io.ReadFull(r, text); err != nil {
		return err
	}
	return json.Unmarshal(text, f)
}

// share gives an empty column some rows of the room that another has.
func (c *column) share(whole *column, first, rows int) {
	end := first + rows
	switch c.field.Type {
	case schemas.Date:
		c.days = whole.days[first:end:end]
	case schemas.Integer:
		c.ints = whole.ints[first:end:end]
	case schemas.Number:
		c.numbers = whole.numbers[first:end:end]
	case schemas.Code:
		c.places = whole.places[first:end:end]
	default:
		c.ends = whole.ends[first:end:end]
	}
}

// unpack reads the values that follow into a column that has room for its rows.
func (f *columnFrame) unpack(r io.Reader, c *column) error {
	sp := c.spec
	c.recoded, c.rounded, c.written, c.tooLarge = f.Recoded, f.Rounded, f.Written, f.TooLarge
	if len(f.Recoded) != len(sp.recodes) || f.Written != nil && len(f.Written) != len(sp.layouts) || f.Bytes < 0 || f.Flaws < 0 {
		return errFrame
	}
	if sp.field.Type == schemas.Code && sp.codes == nil {
		c.levels = &codeIndex{keys: f.Levels}
	}
	c.bytes = make([]byte, f.Bytes)
	flaws := make([]byte, f.Flaws)
	for _, b := range [][]byte{c.values(), c.bytes, flaws} {
		if _, err := io.ReadFull(r, b); err != nil {
			return fmt.Errorf("%w: %w", errFrame, err)
		}
	}
	var err error
	c.flaws, err = unpackFlaws(flaws, f.Rows)
	return err
}
