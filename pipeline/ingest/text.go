package ingest

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"sync/atomic"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"

	"deltoid/schemas"
)

// counted counts the bytes that are taken from a file, for the progress.
type counted struct {
	r     io.Reader
	taken *atomic.Int64
}

func (c *counted) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.taken.Add(int64(n))
	return n, err
}

// largestWindow is how far back a zstd frame may reach, and so how much memory it may ask for. The strongest setting of
// common writers asks for 128 MiB.
const largestWindow = 128 << 20

// openText returns the text of a file in UTF-8 without its byte order mark. That a file is compressed is seen from its
// first bytes, whatever its name.
func openText(r io.Reader, b *binding, src *schemas.Source) (io.Reader, error) {
	text := bufio.NewReader(r)
	begin, err := peek(text, 4)
	if err != nil {
		return nil, b.unreadable(err)
	}
	switch {
	case bytes.HasPrefix(begin, []byte{0x1f, 0x8b}):
		unpacked, err := gzip.NewReader(text)
		if err != nil {
			return nil, b.unreadable(errPacked{err})
		}
		b.notes = append(b.notes, "compressed: gzip")
		text = bufio.NewReader(unpacker{unpacked})
	case bytes.Equal(begin, []byte{0x28, 0xb5, 0x2f, 0xfd}):
		unpacked, err := zstd.NewReader(text, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxWindow(largestWindow))
		if err != nil {
			return nil, b.unreadable(errPacked{err})
		}
		b.notes = append(b.notes, "compressed: zstd")
		text = bufio.NewReader(unpacker{unpacked})
	}
	return b.decode(text, src)
}

// peek looks at the first n bytes, or at all when there are fewer.
func peek(r *bufio.Reader, n int) ([]byte, error) {
	b, err := r.Peek(n)
	if err == io.EOF {
		err = nil
	}
	return b, err
}

// unpacker names the errors of compressed data, whose sudden end must not be taken for the end of the text.
type unpacker struct{ r io.Reader }

func (u unpacker) Read(p []byte) (int, error) {
	n, err := u.r.Read(p)
	if err != nil && err != io.EOF {
		err = errPacked{err}
	}
	return n, err
}

// errPacked is an error of compressed data. It has no cause to unwrap, so that it is nothing but itself.
type errPacked struct{ err error }

func (e errPacked) Error() string {
	if errors.Is(e.err, io.ErrUnexpectedEOF) {
		return "the compressed data end too early"
	}
	return "the compressed data are damaged: " + cause(e.err)
}

// decode settles the encoding: by the byte order mark, which must agree with what is declared, or as declared.
func (b *binding) decode(r *bufio.Reader, src *schemas.Source) (io.Reader, error) {
	begin, err := peek(r, 4)
	if err != nil {
		return nil, b.unreadable(err)
	}
	if b.encoding = src.Encoding; b.encoding == "" {
		b.encoding = schemas.UTF8
	}
	marked, mark, turn := markOf(begin)
	switch {
	case marked == "UTF-32":
		return nil, b.problem("the file is written in UTF-32", "UTF-8, UTF-16, or an encoding that is declared", `save it again as "CSV UTF-8"`)
	case marked != "" && b.encoding == schemas.Windows1252:
		return nil, b.problem("the file begins with the mark of "+marked+", and the study plan declares "+string(b.encoding), "one encoding",
			`take "encoding" out of the study plan`)
	case marked == "" && b.encoding == schemas.Windows1252:
		turn = fromWindows1252
		b.notes = append(b.notes, "encoding: Windows-1252")
	case turn != nil:
		b.notes = append(b.notes, "encoding: UTF-16")
	}
	_, _ = r.Discard(mark) // these bytes have been seen
	if turn == nil {
		return r, nil
	}
	return &transcoder{r: r, turn: turn}, nil
}

// markOf returns the encoding that a byte order mark speaks of, its length, and how the letters after it are turned into
// UTF-8.
func markOf(begin []byte) (encoding string, length int, turn turner) {
	switch {
	case bytes.HasPrefix(begin, []byte{0xff, 0xfe, 0, 0}), bytes.HasPrefix(begin, []byte{0, 0, 0xfe, 0xff}):
		return "UTF-32", 4, nil
	case bytes.HasPrefix(begin, []byte{0xff, 0xfe}):
		return "UTF-16", 2, fromUTF16(false)
	case bytes.HasPrefix(begin, []byte{0xfe, 0xff}):
		return "UTF-16", 2, fromUTF16(true)
	case bytes.HasPrefix(begin, []byte{0xef, 0xbb, 0xbf}):
		return "UTF-8", 3, nil
	}
	return "", 0, nil
}
