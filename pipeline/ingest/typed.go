package ingest

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"math"
	"math/big"
	"strconv"
	"time"

	"github.com/apache/arrow/go/v15/parquet"

	"deltoid/schemas"
)

// The methods here add values that come typed. Each takes the short way where the field has the same type and nothing
// can be mistaken; otherwise it writes the value as a text file would hold it and goes the way of all texts.

func (c *column) signed(v int64) {
	if c.direct && !c.outside(float64(v)) && v != schemas.NoInt {
		switch {
		case c.field.Type == schemas.Integer && c.factor == 0:
			c.ints = append(c.ints, v)
			return
		case c.field.Type == schemas.Number:
			c.numbers = append(c.numbers, float64(v))
			return
		}
	}
	var b [20]byte
	c.text(strconv.AppendInt(b[:0], v, 10))
}

func (c *column) unsigned(v uint64) {
	if v <= math.MaxInt64 {
		c.signed(int64(v))
		return
	}
	c.text(strconv.AppendUint(nil, v, 10))
}

func (c *column) double(v float64) {
	if c.direct && c.field.Type == schemas.Number && !c.outside(v) && !math.IsNaN(v) && !math.IsInf(v, 0) {
		c.numbers = append(c.numbers, v)
		return
	}
	c.digits(v, 64)
}

// single takes the shortest decimal number that reads back to the same float32: 0.1 stays 0.1.
func (c *column) single(v float32) { c.digits(float64(v), 32) }

// digits goes by the text of a number: digits alone when it is whole and not huge.
func (c *column) digits(v float64, size int) {
	var room [32]byte
	if v == math.Trunc(v) && math.Abs(v) <= 1<<53 {
		c.marked(strconv.AppendFloat(room[:0], v, 'f', -1, size))
		return
	}
	c.marked(strconv.AppendFloat(room[:0], v, 'g', -1, size))
}

// marked goes by a text with a decimal point, which becomes the declared mark.
func (c *column) marked(b []byte) {
	if c.mark != '.' {
		if at := bytes.IndexByte(b, '.'); at >= 0 {
			b[at] = c.mark
		}
	}
	c.text(b)
}

func (c *column) decimal(v int64, scale int) {
	if scale == 0 {
		c.signed(v)
		return
	}
	c.scaled(strconv.AppendInt(nil, v, 10), scale)
}

// bigDecimal takes an unscaled number as big-endian two's complement.
func (c *column) bigDecimal(b []byte, scale int) {
	v := new(big.Int).SetBytes(b)
	if len(b) > 0 && b[0]&0x80 != 0 {
		v.Sub(v, new(big.Int).Lsh(big.NewInt(1), uint(8*len(b))))
	}
	c.scaled(v.Append(nil, 10), scale)
}

// scaled puts a decimal point into a number and takes off the zeros that follow its last digit.
func (c *column) scaled(b []byte, scale int) {
	negative, digits := sign(b)
	if short := scale + 1 - len(digits); short > 0 {
		digits = append(bytes.Repeat([]byte{'0'}, short), digits...)
	}
	var text []byte
	if negative {
		text = append(text, '-')
	}
	text = append(text, digits[:len(digits)-scale]...)
	if rest := bytes.TrimRight(digits[len(digits)-scale:], "0"); len(rest) > 0 {
		text = append(append(text, '.'), rest...)
	}
	c.marked(text)
}

func (c *column) truth(v bool) { c.text(strconv.AppendBool(nil, v)) }

func (c *column) uuid(b []byte) {
	if len(b) != 16 {
		c.bad(schemas.RuleBadText, b)
		return
	}
	h := hex.AppendEncode(nil, b)
	c.text(bytes.Join([][]byte{h[:8], h[8:12], h[12:16], h[16:20], h[20:]}, []byte("-")))
}

// calendar adds a day counted from 1970-01-01.
func (c *column) calendar(day int64) {
	switch {
	case day < firstDay || day > lastDay:
		c.bad(schemas.RuleBadDate, strconv.AppendInt([]byte("day "), day, 10))
	case len(c.layouts) == 0:
		c.text([]byte(schemas.FormatDay(int32(day))))
	case c.direct && !c.outside(float64(day)):
		c.days = append(c.days, int32(day))
	default:
		c.text(c.layouts[0].format(int32(day)))
	}
}

// moment adds a moment without a zone, which must be midnight to be a day.
func (c *column) moment(v, perDay int64) {
	day := v / perDay
	rest := v % perDay
	if rest < 0 {
		day--
		rest += perDay
	}
	if rest == 0 || day < firstDay || day > lastDay {
		c.calendar(day)
		return
	}
	at := time.Unix(day*86400, 0).UTC().Add(time.Duration(rest * (86400e9 / perDay)))
	text := []byte(at.Format("2006-01-02T15:04:05.999999999"))
	if len(c.layouts) > 0 {
		c.bad(schemas.RuleTimeOfDay, text)
		return
	}
	c.text(text)
}

// oldMoment adds a moment of twelve bytes: nanoseconds of the day, and the day of the Julian calendar's count. The file does
// not say whether it is meant in UTC; it is where the plan declares a zone.
func (c *column) oldMoment(v parquet.Int96) {
	const dayOf1970, perDay, thousandths = 2440588, 86400e6, 1000
	nanos, day := int64(binary.LittleEndian.Uint64(v[:])), int64(binary.LittleEndian.Uint32(v[8:]))-dayOf1970
	if day < firstDay || day > lastDay || nanos < 0 || nanos >= perDay*thousandths {
		c.bad(schemas.RuleBadDate, hex.AppendEncode([]byte("twelve bytes "), v[:]))
		return
	}
	micros := min((nanos+thousandths-1)/thousandths, perDay-1) // only midnight is midnight
	if c.zone != nil {
		c.zoned(day*perDay+micros, perDay)
		return
	}
	c.moment(day*perDay+micros, perDay)
}

// zoned adds the day that a moment falls on in the declared zone. A field of texts keeps the moment as it is.
func (c *column) zoned(v, perDay int64) {
	perSecond := perDay / 86400
	seconds := v / perSecond
	if v%perSecond < 0 {
		seconds--
	}
	if c.zone == nil {
		rest := (v - seconds*perSecond) * (1e9 / perSecond)
		c.text(time.Unix(seconds, rest).UTC().AppendFormat(nil, time.RFC3339Nano))
		return
	}
	_, offset := time.Unix(seconds, 0).In(c.zone).Zone()
	local := seconds + int64(offset)
	day := local / 86400
	if local%86400 < 0 {
		day--
	}
	c.calendar(day)
}
