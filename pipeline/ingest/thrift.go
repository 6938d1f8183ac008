package ingest

import (
	"encoding/binary"
	"errors"
)

// The types of the compact protocol
// (https://github.com/apache/thrift/blob/master/doc/specs/thrift-compact-protocol.md).
const (
	thriftStop   = 0
	thriftTrue   = 1
	thriftFalse  = 2
	thriftByte   = 3
	thriftI16    = 4
	thriftI32    = 5
	thriftI64    = 6
	thriftDouble = 7
	thriftBinary = 8
	thriftList   = 9
	thriftSet    = 10
	thriftMap    = 11
	thriftStruct = 12
)

// deepest is how far structures may lie in one another.
const deepest = 64

var errThrift = errors.New("a header makes no sense")

// walker steps over Thrift values without keeping them. No count it meets may be larger than the bytes that are left.
type walker struct {
	b     []byte
	pos   int
	depth int
}

// structure steps over a structure.
func (w *walker) structure() error {
	return w.fields(func(_ int64, kind byte) error {
		_, err := w.value(kind)
		return err
	})
}

// fields calls step at every field of a structure; step steps over its value.
func (w *walker) fields(step func(id int64, kind byte) error) error {
	if w.depth++; w.depth > deepest {
		return errThrift
	}
	defer func() { w.depth-- }()
	id := int64(0)
	for {
		head, err := w.octet()
		if err != nil {
			return err
		}
		if head == thriftStop {
			return nil
		}
		if head>>4 != 0 {
			id += int64(head >> 4)
		} else if id, err = w.zigzag(); err != nil {
			return err
		}
		if err := step(id, head&15); err != nil {
			return err
		}
	}
}

// value steps over one value. It returns a whole number, 1 or 0 for a truth value in a field, and 0 for anything else.
func (w *walker) value(kind byte) (int64, error) {
	switch kind {
	case thriftTrue:
		return 1, nil
	case thriftFalse:
		return 0, nil
	case thriftByte:
		v, err := w.octet()
		return int64(int8(v)), err
	case thriftI16, thriftI32, thriftI64:
		return w.zigzag()
	case thriftDouble:
		return 0, w.skip(8)
	case thriftBinary:
		n, err := w.count()
		if err != nil {
			return 0, err
		}
		return 0, w.skip(n)
	case thriftList, thriftSet:
		return 0, w.list()
	case thriftMap:
		return 0, w.mapping()
	case thriftStruct:
		return 0, w.structure()
	}
	return 0, errThrift
}

func (w *walker) list() error {
	head, err := w.octet()
	if err != nil {
		return err
	}
	n := int(head >> 4)
	if n == 15 {
		if n, err = w.count(); err != nil {
			return err
		}
	}
	for range n {
		if err := w.element(head & 15); err != nil {
			return err
		}
	}
	return nil
}

func (w *walker) mapping() error {
	n, err := w.count()
	if n == 0 || err != nil {
		return err
	}
	kinds, err := w.octet()
	if err != nil {
		return err
	}
	for range n {
		if err := errors.Join(w.element(kinds>>4), w.element(kinds&15)); err != nil {
			return err
		}
	}
	return nil
}

// element steps over one value of a list. A truth value takes a byte there.
func (w *walker) element(kind byte) error {
	if kind == thriftTrue || kind == thriftFalse {
		return w.skip(1)
	}
	_, err := w.value(kind)
	return err
}

// count reads how many things follow, of which each takes at least a byte.
func (w *walker) count() (int, error) {
	n, err := w.varint()
	if err != nil || n > uint64(len(w.b)-w.pos) {
		return 0, errThrift
	}
	return int(n), nil
}

func (w *walker) zigzag() (int64, error) {
	v, err := w.varint()
	return int64(v>>1) ^ -int64(v&1), err
}

func (w *walker) varint() (uint64, error) {
	v, n := binary.Uvarint(w.b[w.pos:])
	if n <= 0 {
		return 0, errThrift
	}
	w.pos += n
	return v, nil
}

func (w *walker) octet() (byte, error) {
	if w.pos >= len(w.b) {
		return 0, errThrift
	}
	w.pos++
	return w.b[w.pos-1], nil
}

func (w *walker) skip(n int) error {
	if n > len(w.b)-w.pos {
		return errThrift
	}
	w.pos += n
	return nil
}
