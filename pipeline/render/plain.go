package render

import (
	"strings"
	"unicode"
)

// plain takes out of a label what no reader should see and no file format should meet: broken UTF-8, control characters,
// and the marks that reverse the direction of the text after them. Line breaks and tabs become spaces.
func plain(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t' || r == '\r' || r == '\u2028' || r == '\u2029':
			return ' '
		case unicode.IsControl(r) || overridesDirection(r) || r == '\ufffe' || r == '\uffff':
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\ufffd"))
}

// overridesDirection reports the embedding, override and isolate marks of the Unicode Bidirectional Algorithm (UAX #9,
// section 2). Text of right-to-left scripts needs none of them.
func overridesDirection(r rune) bool {
	return r >= '\u202a' && r <= '\u202e' || r >= '\u2066' && r <= '\u2069'
}
