package ingest

import "encoding/binary"

// runs reads whole numbers of a fixed width below 33 bits, written in runs of one value and in packed groups of eight:
// the indices of a dictionary, and the levels that say which values are there. The form is the section "RLE/Bit-packing
// hybrid" of https://parquet.apache.org/docs/file-format/data-pages/encodings/.
type runs struct {
	b     []byte // what has not been read
	width int
	left  int    // values left in the run
	value uint32 // of a run of one value
	group []byte // of a packed run; nil in a run of one value
	bit   int    // place in group of the next value
}

// fill reads as many values as out is long; false when there are fewer.
func (r *runs) fill(out []uint32) bool {
	for len(out) > 0 {
		if r.left == 0 && !r.open() {
			return false
		}
		n := min(r.left, len(out))
		if r.group != nil {
			r.unpack(out[:n])
		} else {
			for i := range out[:n] {
				out[i] = r.value
			}
		}
		r.left, out = r.left-n, out[n:]
	}
	return true
}

// open begins the next run; false when there is none, or none that makes sense.
func (r *runs) open() bool {
	head, n := binary.Uvarint(r.b)
	if n <= 0 || head>>1 == 0 || head>>1 > 1<<31 {
		return false
	}
	r.b = r.b[n:]
	if r.left = int(head >> 1); head&1 == 0 {
		return r.openSame()
	}
	size := min(r.left*r.width, len(r.b)) // a writer may leave out the end of the last group
	r.left *= 8
	if r.width > 0 {
		r.left = min(r.left, size*8/r.width)
	}
	r.group, r.b, r.bit = r.b[:size], r.b[size:], 0
	return r.left > 0
}

// openSame begins a run of one value.
func (r *runs) openSame() bool {
	size := (r.width + 7) / 8
	if size > len(r.b) {
		return false
	}
	r.group, r.value = nil, 0
	for i, c := range r.b[:size] {
		r.value |= uint32(c) << (8 * i)
	}
	r.b = r.b[size:]
	return true
}

// unpack reads values of a packed run, the lowest bits first: as many at a time as eight bytes hold from any bit on.
func (r *runs) unpack(out []uint32) {
	const word, inByte = 64, 7
	mask := uint64(1)<<r.width - 1
	atOnce := len(out)
	if r.width > 0 {
		atOnce = (word - inByte) / r.width
	}
	i, bit := 0, r.bit
	for i < len(out) && bit>>3+8 <= len(r.group) {
		x := binary.LittleEndian.Uint64(r.group[bit>>3:]) >> (bit & inByte)
		some := out[i:min(i+atOnce, len(out))]
		for k := range some {
			some[k] = uint32(x & mask)
			x >>= r.width
		}
		i, bit = i+len(some), bit+len(some)*r.width
	}
	for ; i < len(out); i++ {
		var last [8]byte
		copy(last[:], r.group[min(bit>>3, len(r.group)):])
		out[i] = uint32(binary.LittleEndian.Uint64(last[:]) >> (bit & 7) & mask)
		bit += r.width
	}
	r.bit = bit
}
