package ingest

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/metadata"
)

// stated holds what a footer states of one column of a row group against what is read: how many values are missing, the
// smallest and the largest. Pages without a checksum of their own can be wrong without anybody noticing; these numbers
// notice some of it. A footer may cut long texts short, so that texts are only held to lie between the two.
type stated struct {
	stats    metadata.TypedStatistics // nil when the footer states nothing
	present  int64
	unsigned bool
	wrong    bool // a text lies outside
	ints     extent[int64]
	floats   extent[float64]
}

// extent is the smallest and the largest of the values seen.
type extent[T int64 | float64] struct {
	low, high T
	any       bool
}

func (e *extent[T]) see(v T) {
	if !e.any {
		e.low, e.high, e.any = v, v, true
	}
	e.low, e.high = min(e.low, v), max(e.high, v)
}

func (e *extent[T]) agrees(low, high T) bool { return !e.any || e.low == low && e.high == high }

var errLimits = errors.New("the smallest and the largest value are not those that the footer states")

func newStated(meta *metadata.ColumnChunkMetaData) (*stated, error) {
	stats, err := meta.Statistics()
	return &stated{stats: stats}, err
}

// limits reports whether smallest and largest value are stated.
func (s *stated) limits() bool { return s.stats != nil && s.stats.HasMinMax() }

// Numbers without a sign are left out: the library that most programs in Go write with states wrong limits for them.

func (s *stated) int32s(unsigned bool) func([]int32) {
	if s.unsigned = unsigned; unsigned || !s.limits() {
		return nil
	}
	return func(values []int32) {
		for _, v := range values {
			s.ints.see(int64(v))
		}
	}
}

func (s *stated) int64s(unsigned bool) func([]int64) {
	if s.unsigned = unsigned; unsigned || !s.limits() {
		return nil
	}
	return func(values []int64) {
		for _, v := range values {
			s.ints.see(v)
		}
	}
}

func (s *stated) float32s() func([]float32) {
	if !s.limits() {
		return nil
	}
	return func(values []float32) {
		for _, v := range values {
			s.float(float64(v))
		}
	}
}

func (s *stated) float64s() func([]float64) {
	if !s.limits() {
		return nil
	}
	return func(values []float64) {
		for _, v := range values {
			s.float(v)
		}
	}
}

// float leaves out what is no number, as the footer does.
func (s *stated) float(v float64) {
	if !math.IsNaN(v) {
		s.floats.see(v)
	}
}

// text returns what holds a text against the two that the footer states; nil when it states none. Most are told by their
// first eight letters.
func (s *stated) text() func([]byte) {
	stats, ok := s.stats.(*metadata.ByteArrayStatistics)
	if !ok || !s.limits() {
		return nil
	}
	low, high := stats.Min(), stats.Max()
	above, below := firstLetters(low), firstLetters(high)
	return func(v []byte) {
		if len(v) >= 8 {
			if letters := binary.BigEndian.Uint64(v); letters > above && letters < below {
				return
			}
		}
		s.wrong = s.wrong || bytes.Compare(v, low) < 0 || bytes.Compare(v, high) > 0
	}
}

// firstLetters is the number that the first eight letters of a text make, with zeros behind a shorter one.
func firstLetters(b []byte) uint64 {
	var room [8]byte
	copy(room[:], b)
	return binary.BigEndian.Uint64(room[:])
}

func (s *stated) texts() func([]parquet.ByteArray) {
	see := s.text()
	if see == nil {
		return nil
	}
	return func(values []parquet.ByteArray) {
		for _, v := range values {
			see(v)
		}
	}
}

// check compares what was read with what is stated.
func (s *stated) check(rows int) error {
	if s.stats == nil {
		return nil
	}
	if nulls := int64(rows) - s.present; s.stats.HasNullCount() && s.stats.NullCount() != nulls {
		return fmt.Errorf("the footer states %d missing values, the pages hold %d", s.stats.NullCount(), nulls)
	}
	if s.limits() && (s.wrong || !s.agrees()) {
		return errLimits
	}
	return nil
}

func (s *stated) agrees() bool {
	switch stats := s.stats.(type) {
	case *metadata.Int32Statistics:
		return s.unsigned || s.ints.agrees(int64(stats.Min()), int64(stats.Max()))
	case *metadata.Int64Statistics:
		return s.unsigned || s.ints.agrees(stats.Min(), stats.Max())
	case *metadata.Float32Statistics:
		return s.floats.agrees(float64(stats.Min()), float64(stats.Max()))
	case *metadata.Float64Statistics:
		return s.floats.agrees(stats.Min(), stats.Max())
	}
	return true
}
