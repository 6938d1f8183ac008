package ingest

import (
	"encoding/binary"
	"io"
	"unicode/utf16"
	"unicode/utf8"
)

// noLetter stands for what is no letter in the encoding of a file. UTF-8 has no such byte, so that the cell it lies in is
// found by the rule about texts, at its place. The libraries put U+FFFD there, which is a letter like any other.
const noLetter = 0xff

// turner appends to out, in UTF-8, the letters that in begins with, and returns how many bytes of in it has used up. It
// leaves what may go on after in, unless that is the last there is.
type turner func(out, in []byte, last bool) ([]byte, int)

// transcoder reads a stream as UTF-8.
type transcoder struct {
	r    io.Reader
	turn turner
	in   []byte
	out  []byte
	at   int // place in out of what has not been read
	err  error
}

func (t *transcoder) Read(p []byte) (int, error) {
	for t.at == len(t.out) {
		if t.err != nil {
			return 0, t.err
		}
		t.more()
	}
	n := copy(p, t.out[t.at:])
	t.at += n
	return n, nil
}

// more turns some more of the stream.
func (t *transcoder) more() {
	const step = 1 << 16
	left := len(t.in)
	if cap(t.in) < step {
		t.in = append(make([]byte, 0, step), t.in...)
	}
	var n int
	n, t.err = t.r.Read(t.in[left:step])
	t.in = t.in[:left+n]
	var used int
	t.out, used = t.turn(t.out[:0], t.in, t.err == io.EOF)
	t.at = 0
	t.in = t.in[:copy(t.in, t.in[used:])]
}

// fromUTF16 turns UTF-16 of either byte order. Half a pair of surrogates is no letter.
func fromUTF16(big bool) turner {
	var order binary.ByteOrder = binary.LittleEndian
	if big {
		order = binary.BigEndian
	}
	return func(out, in []byte, last bool) ([]byte, int) {
		at := 0
		for at+2 <= len(in) {
			r := rune(order.Uint16(in[at:]))
			switch {
			case !utf16.IsSurrogate(r):
				out = utf8.AppendRune(out, r)
			case at+4 > len(in) && !last:
				return out, at
			default:
				pair := rune(utf8.RuneError)
				if at+4 <= len(in) {
					pair = utf16.DecodeRune(r, rune(order.Uint16(in[at+2:])))
				}
				if pair == utf8.RuneError {
					out = append(out, noLetter)
				} else {
					out = utf8.AppendRune(out, pair)
					at += 2
				}
			}
			at += 2
		}
		if last && at < len(in) {
			return append(out, noLetter), len(in)
		}
		return out, at
	}
}

// windows1252 holds the letters of the bytes from 0x80 to 0x9f; the others are those of Unicode
// (https://www.unicode.org/Public/MAPPINGS/VENDORS/MICSFT/WINDOWS/CP1252.TXT). Five bytes are no letters.
var windows1252 = [32]rune{'€', 0, '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', 0, 'Ž', 0,
	0, '‘', '’', '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', 0, 'ž', 'Ÿ'}

func fromWindows1252(out, in []byte, _ bool) ([]byte, int) {
	for _, c := range in {
		switch {
		case c < 0x80:
			out = append(out, c)
		case c >= 0xa0:
			out = utf8.AppendRune(out, rune(c))
		case windows1252[c-0x80] == 0:
			out = append(out, noLetter)
		default:
			out = utf8.AppendRune(out, windows1252[c-0x80])
		}
	}
	return out, len(in)
}
