package ingest

import (
	"bytes"
	"encoding/binary"
	"math"
	"slices"
	"unicode/utf8"

	"deltoid/schemas"
)

// read adds the cells of one column of a block: every width-th of cells. The loops below take the shortest way for the
// values that are right; everything else goes to [column.cell], which knows all the rules. A loop may only add what
// cell would add.
func (c *column) read(buf []byte, cells []cell, width int) {
	switch {
	case c.codes != nil:
		c.readCodes(buf, cells, width)
	case c.field.Type == schemas.Date && c.direct && c.layout != nil && c.written == nil:
		c.readDates(buf, cells, width)
	case c.field.Type == schemas.Integer && c.direct && c.factor == 0:
		c.readIntegers(buf, cells, width)
	case c.field.Type == schemas.Number && c.direct:
		c.readNumbers(buf, cells, width)
	case c.takesTexts():
		c.readTexts(buf, cells, width)
	default:
		for i := 0; i < len(cells); i += width {
			c.cell(buf, cells[i])
		}
	}
}

// cell adds one cell of a text file.
func (c *column) cell(buf []byte, k cell) {
	b := buf[k.start:max(k.start, k.end&place)]
	switch {
	case k.end&lost != 0:
		c.skip()
	case k.end&stray != 0, k.end&quoted == 0 && bytes.IndexByte(b, '"') >= 0:
		c.bad(schemas.RuleStrayQuote, b)
	case k.end&doubled != 0:
		c.text(bytes.ReplaceAll(b, []byte(`""`), []byte(`"`)))
	default:
		c.text(b)
	}
}

func (c *column) readDates(buf []byte, cells []cell, width int) {
	l := c.layout
	for i := 0; i < len(cells); i += width {
		k := cells[i]
		k.end &^= quoted
		if k.start == k.end && !c.field.Required {
			c.days = append(c.days, schemas.NoDay)
			continue
		}
		if k.end < lost {
			if day, ok := l.parse(buf[k.start:k.end]); ok && !c.outside(float64(day)) {
				c.days = append(c.days, day)
				continue
			}
		}
		c.cell(buf, cells[i])
	}
}

func (c *column) readIntegers(buf []byte, cells []cell, width int) {
	for i := 0; i < len(cells); i += width {
		k := cells[i]
		k.end &^= quoted
		if k.start == k.end && !c.field.Required {
			c.ints = append(c.ints, schemas.NoInt)
			continue
		}
		if k.end < lost {
			if v, ok := parseInteger(buf[k.start:k.end]); ok && !c.outside(float64(v)) {
				c.ints = append(c.ints, v)
				continue
			}
		}
		c.cell(buf, cells[i])
	}
}

func (c *column) readNumbers(buf []byte, cells []cell, width int) {
	for i := 0; i < len(cells); i += width {
		k := cells[i]
		k.end &^= quoted
		if k.start == k.end && !c.field.Required {
			c.numbers = append(c.numbers, math.NaN())
			continue
		}
		if k.end < lost {
			if v, ok := parseNumber(buf[k.start:k.end], c.mark); ok && !c.outside(v) {
				c.numbers = append(c.numbers, v)
				continue
			}
		}
		c.cell(buf, cells[i])
	}
}

func (c *column) readCodes(buf []byte, cells []cell, width int) {
	for i := 0; i < len(cells); i += width {
		k := cells[i]
		k.end &^= quoted
		if k.start == k.end && !c.field.Required {
			c.places = append(c.places, schemas.NoCode)
			continue
		}
		if k.end < lost {
			if at := c.codes.find(buf[k.start:k.end]); at >= 0 && c.codes.targets[at].plain() {
				c.places = append(c.places, c.codes.targets[at].code)
				continue
			}
		}
		c.cell(buf, cells[i])
	}
}

// plain reports whether the target is a code that the export writes as we do.
func (t target) plain() bool { return t.code >= 0 && t.recode == notRecoded }

// takesTexts reports whether texts can be taken as they are, unless they are tokens or no texts at all.
func (c *column) takesTexts() bool {
	return c.field.Type == schemas.Text && c.recodeAt == nil && c.pattern == nil
}

// addPlainTexts adds n texts of a Parquet page, each with its length before it. see, if not nil, is shown each.
func (c *column) addPlainTexts(page []byte, n int, see func([]byte)) error {
	const head = 4
	c.bytes, c.ends = slices.Grow(c.bytes, max(0, len(page)-head*n)), slices.Grow(c.ends, n)
	for range n {
		if len(page) < head {
			return errShortPage
		}
		length := int(binary.LittleEndian.Uint32(page))
		if page = page[head:]; length > len(page) {
			return errShortPage
		}
		b := page[:length]
		page = page[length:]
		if see != nil {
			see(b)
		}
		if len(b) == 0 || c.mayBe[b[0]] || !utf8.Valid(b) || len(c.bytes)+len(b) > math.MaxInt32 {
			c.text(b)
			continue
		}
		c.bytes = append(c.bytes, b...)
		c.ends = append(c.ends, int32(len(c.bytes)))
	}
	return nil
}

func (c *column) readTexts(buf []byte, cells []cell, width int) {
	for i := 0; i < len(cells); i += width {
		k := cells[i]
		if k.start >= k.end&place || k.end&special != 0 {
			c.cell(buf, k)
			continue
		}
		b := buf[k.start : k.end&place]
		if c.mayBe[b[0]] || !c.checked && !utf8.Valid(b) || k.end&quoted == 0 && c.quotes && bytes.IndexByte(b, '"') >= 0 ||
			len(c.bytes)+len(b) > math.MaxInt32 {
			c.cell(buf, k)
			continue
		}
		c.bytes = append(c.bytes, b...)
		c.ends = append(c.ends, int32(len(c.bytes)))
	}
}
