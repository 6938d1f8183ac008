package demo

import (
	"runtime"
	"strconv"
	"time"

	"golang.org/x/sync/errgroup"

	"deltoid/schemas"
)

// column says how one column of an export is made from its rows. Exactly one of code, day, number and patient is set.
type column[R any] struct {
	field   string // our name
	header  string // the registry's name
	list    *codeList
	code    func(*R) int16
	day     func(*R) int32
	dotted  bool // the registry writes the day as DD.MM.YYYY, in text
	number  func(*R) float64
	patient func(*R) int32
}

// tongue is whose names and codes a table is written in.
type tongue uint8

const (
	ours tongue = iota
	theirs
)

// table makes the columns of one export, several at once.
func table[R any](s *schemas.Schema, file string, columns []column[R], batches [][]R, in tongue) (*schemas.Table, error) {
	made := make([]*schemas.Column, len(columns))
	schema := s
	if in == theirs {
		schema = asTheyWrite(s, columns)
	}
	var g errgroup.Group
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i := range columns {
		g.Go(func() error {
			c := &columns[i]
			f := s.Field(c.field)
			if in == theirs {
				f = schema.Field(c.header)
			}
			made[i] = c.make(f, batches, in)
			made[i].Header, made[i].Position = c.header, i+1
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		return nil, err
	}
	n := count(batches)
	return schemas.NewTable(schema, []schemas.Piece{{File: file, Rows: n}}, lines(n), made), nil
}

// lines numbers the lines of a CSV file with a header line.
func lines(n int) []int32 {
	l := make([]int32, n)
	for i := range l {
		l[i] = int32(i) + 2
	}
	return l
}

// asTheyWrite is the schema of the registry's own export: its names, and text where it writes dates in its own layout.
func asTheyWrite[R any](s *schemas.Schema, columns []column[R]) *schemas.Schema {
	own := &schemas.Schema{Name: s.Name, Title: s.Title, Description: "Invented."}
	for i := range columns {
		f := *s.Field(columns[i].field)
		f.Name, f.Codes = columns[i].header, nil
		switch {
		case columns[i].dotted:
			f.Type = schemas.Text
		case columns[i].code != nil:
			f.Type = schemas.Code
		}
		own.Fields = append(own.Fields, f)
	}
	return own
}

func (c *column[R]) make(f *schemas.Field, batches [][]R, in tongue) *schemas.Column {
	switch {
	case c.code != nil && in == ours && f.Type == schemas.Text:
		return textColumn(f, batches, func(b []byte, r *R) []byte {
			if code := c.code(r); code != missing {
				b = append(b, c.list.ours[code]...)
			}
			return b
		})
	case c.code != nil:
		levels, most := c.list.levels(in)
		return schemas.CodeColumn(f, levels, values(batches, func(r *R) int16 { return c.list.write(c.code(r), most, in) }))
	case c.day != nil && c.dotted && in == theirs:
		return textColumn(f, batches, func(b []byte, r *R) []byte { return appendDotted(b, c.day(r)) })
	case c.day != nil:
		return schemas.DateColumn(f, values(batches, func(r *R) int32 { return possible(c.day(r)) }))
	case c.number != nil:
		return schemas.NumberColumn(f, values(batches, c.number))
	default:
		return textColumn(f, batches, func(b []byte, r *R) []byte { return appendPatient(b, c.patient(r)) })
	}
}

// levels returns the codes of a column, and how many of them stand for a value in this tongue.
func (l *codeList) levels(in tongue) (levels []string, most int16) {
	if in == ours {
		return l.ours, int16(len(l.ours))
	}
	levels = append(levels, l.theirs...)
	if l.unknown != "" {
		levels = append(levels, l.unknown)
	}
	most = int16(len(levels))
	if l.token {
		levels = append(levels, missingToken)
	}
	return levels, most
}

// missingToken is what the registry writes in some columns when a value is not recorded.
const missingToken = "NA"

// write turns a drawn code into one of the levels: a code without translation becomes missing among ours, a missing one
// becomes the token where they write it.
func (l *codeList) write(code, most int16, in tongue) int16 {
	if code >= most {
		return schemas.NoCode
	}
	if code == missing && in == theirs && l.token {
		return most
	}
	return code
}

func possible(day int32) int32 {
	if day == impossible {
		return schemas.NoDay
	}
	return day
}

func values[R, V any](batches [][]R, of func(*R) V) []V {
	v := make([]V, 0, count(batches))
	for _, b := range batches {
		for i := range b {
			v = append(v, of(&b[i]))
		}
	}
	return v
}

func textColumn[R any](f *schemas.Field, batches [][]R, add func([]byte, *R) []byte) *schemas.Column {
	n := count(batches)
	offsets, data := make([]int32, 1, n+1), make([]byte, 0, 8*n)
	for _, b := range batches {
		for i := range b {
			data = add(data, &b[i])
			offsets = append(offsets, int32(len(data)))
		}
	}
	return schemas.TextColumn(f, offsets, data)
}

// appendPatient writes a pseudonym: P and seven digits.
func appendPatient(b []byte, number int32) []byte {
	return strconv.AppendInt(append(b, 'P'), int64(number)+1_000_000, 10)
}

// appendDotted writes a day as DD.MM.YYYY.
func appendDotted(b []byte, day int32) []byte {
	if day == impossible {
		return append(b, "31.02.2016"...)
	}
	return time.Unix(int64(day)*86400, 0).UTC().AppendFormat(b, "02.01.2006")
}
