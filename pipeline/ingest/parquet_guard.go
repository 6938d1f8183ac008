package ingest

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"math"
	"os"

	"github.com/apache/arrow/go/v15/parquet/compress"
	"github.com/apache/arrow/go/v15/parquet/metadata"
	"github.com/klauspost/compress/zstd"
)

// What a damaged file claims about itself must not decide how much memory is asked for: a footer can claim lists, a page
// header can claim values, and a compressed page can claim a size. The checks here look at these claims before the
// library does. The format is https://parquet.apache.org/docs/file-format/; its headers are Thrift structures in the
// compact protocol.

var (
	errNotParquet = errors.New("not a Parquet file")
	errEncrypted  = errors.New("the file is encrypted")
)

// checkFooter walks through the footer and returns where it begins.
func checkFooter(f *os.File, size int64) (int64, error) {
	const frame = 8 // length and magic
	var head, end [frame]byte
	if size < 2*frame {
		return 0, errNotParquet
	}
	if _, err := f.ReadAt(head[:4], 0); err != nil {
		return 0, err
	}
	if _, err := f.ReadAt(end[:], size-frame); err != nil {
		return 0, err
	}
	if string(end[4:]) == "PARE" {
		return 0, errEncrypted
	}
	if string(head[:4]) != "PAR1" {
		return 0, errNotParquet
	}
	if string(end[4:]) != "PAR1" {
		return 0, errors.New("its end is missing")
	}
	length := int64(binary.LittleEndian.Uint32(end[:]))
	begin := size - frame - length
	if begin < 4 {
		return 0, errors.New("the footer claims to be longer than the file")
	}
	footer := make([]byte, length)
	if _, err := f.ReadAt(footer, begin); err != nil {
		return 0, err
	}
	w := walker{b: footer}
	return begin, w.structure()
}

// columnBytes reads the bytes of one column of one row group.
func (p *parquetFile) columnBytes(meta *metadata.ColumnChunkMetaData) ([]byte, error) {
	begin := meta.DataPageOffset()
	if meta.HasDictionaryPage() && meta.DictionaryPageOffset() > 0 && meta.DictionaryPageOffset() < begin {
		begin = meta.DictionaryPageOffset()
	}
	length := meta.TotalCompressedSize()
	if begin < 4 || length < 0 || begin > p.body || length > p.body-begin {
		return nil, fmt.Errorf("the footer places %d bytes at %d, outside the file", length, begin)
	}
	data := make([]byte, length)
	_, err := p.source.ReadAt(data, begin)
	return data, err
}

// pageHeader is the part of a page's header that decides about memory.
type pageHeader struct {
	kind, full, packed int64 // type; sizes of the page before and after compression
	crc                int64
	hasCRC             bool
	values             int64
	levels             int64 // bytes of levels before the compressed part, in the second version of data pages
	unpacked           bool  // a second-version page that says that it is not compressed
}

// The types of page.
const (
	dataPage       = 0
	dictionaryPage = 2
	dataPageV2     = 3
)

// checkPages walks through the pages of a column and compares what they claim with their bytes and with the footer.
func checkPages(data []byte, values int64, codec compress.Compression) error {
	seen := int64(0)
	for seen < values {
		if len(data) == 0 {
			return fmt.Errorf("the footer claims %d values, the pages hold %d", values, seen)
		}
		h, n, err := readPageHeader(data)
		if err != nil {
			return err
		}
		data = data[n:]
		if h.packed < 0 || h.packed > int64(len(data)) || h.full < 0 || h.full > math.MaxInt32 {
			return errors.New("a page claims to be longer than its column")
		}
		if err := h.check(data[:h.packed], codec); err != nil {
			return err
		}
		if h.kind == dataPage || h.kind == dataPageV2 {
			seen += h.values
		}
		data = data[h.packed:]
	}
	if seen != values {
		return fmt.Errorf("the footer claims %d values, the pages hold %d", values, seen)
	}
	return nil
}

func (h *pageHeader) check(page []byte, codec compress.Compression) error {
	if h.hasCRC && int32(crc32.ChecksumIEEE(page)) != int32(h.crc) {
		return errors.New("a page does not agree with its checksum")
	}
	if h.values < 0 {
		return errors.New("a page claims a negative number of values")
	}
	if h.kind == dictionaryPage && h.values > h.full {
		return errors.New("a dictionary claims more values than it has bytes")
	}
	if h.levels < 0 || h.levels > h.packed || h.levels > h.full {
		return errors.New("a page claims levels longer than itself")
	}
	if h.unpacked {
		codec = compress.Codecs.Uncompressed
	}
	size, err := claimedSize(page[h.levels:], codec)
	if err != nil {
		return err
	}
	if size >= 0 && size != h.full-h.levels {
		return fmt.Errorf("a page unpacks to %d bytes and claims %d", size, h.full-h.levels)
	}
	return nil
}

// claimedSize returns the size that compressed bytes say they have when unpacked, -1 when they do not say.
func claimedSize(b []byte, codec compress.Compression) (int64, error) {
	switch codec {
	case compress.Codecs.Uncompressed:
		return int64(len(b)), nil
	case compress.Codecs.Snappy:
		size, n := binary.Uvarint(b)
		if n <= 0 || size > math.MaxInt32 {
			return 0, errors.New("a page has no valid length")
		}
		return int64(size), nil
	case compress.Codecs.Zstd:
		var h zstd.Header
		if err := h.Decode(b); err != nil {
			if len(b) == 0 {
				return 0, nil
			}
			return 0, fmt.Errorf("a page is not what its compression says: %w", err)
		}
		if h.HasFCS {
			return int64(h.FrameContentSize), nil
		}
	}
	return -1, nil
}

// readPageHeader reads the header at the beginning of data and returns its length. The numbers are those of the fields
// in parquet.thrift.
func readPageHeader(data []byte) (pageHeader, int, error) {
	var h pageHeader
	w := walker{b: data}
	err := w.fields(func(id int64, kind byte) error {
		if kind == thriftStruct && (id == 5 || id == 7 || id == 8) {
			return w.fields(func(id int64, kind byte) error {
				v, err := w.value(kind)
				h.setInner(id, v)
				return err
			})
		}
		v, err := w.value(kind)
		h.setOuter(id, v)
		return err
	})
	return h, w.pos, err
}

func (h *pageHeader) setOuter(id, v int64) {
	switch id {
	case 1:
		h.kind = v
	case 2:
		h.full = v
	case 3:
		h.packed = v
	case 4:
		h.crc, h.hasCRC = v, true
	}
}

// setInner takes a field of the part that belongs to the page's type.
func (h *pageHeader) setInner(id, v int64) {
	switch {
	case id == 1:
		h.values = v
	case h.kind == dataPageV2 && (id == 5 || id == 6):
		h.levels += v
	case h.kind == dataPageV2 && id == 7:
		h.unpacked = v == 0
	}
}

// window hands a column's bytes to the library without copying them.
type window struct{ b []byte }

func (w *window) Peek(n int) ([]byte, error) {
	if n > len(w.b) {
		return w.b, io.EOF
	}
	return w.b[:n], nil
}

func (w *window) Discard(n int) (int, error) {
	if n > len(w.b) {
		n, w.b = len(w.b), nil
		return n, io.EOF
	}
	w.b = w.b[n:]
	return n, nil
}

func (w *window) Read(p []byte) (int, error) {
	if len(w.b) == 0 {
		return 0, io.EOF
	}
	n := copy(p, w.b)
	w.b = w.b[n:]
	return n, nil
}
