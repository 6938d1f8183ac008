package schemas

import (
	"strings"
	"unicode"
)

// Nearest returns the allowed word that a mistyped one most likely means, and false when none is near enough. Case and
// the marks between words do not count. The distance is the number of letters to add, drop or change, or of neighbours
// to swap (optimal string alignment); a third of the longer word's letters may differ. Of words equally near, the first
// allowed one is returned.
func Nearest(word string, allowed []string) (string, bool) {
	best, least := "", -1
	w := letters(word)
	if len(w) == 0 {
		return "", false
	}
	for _, a := range allowed {
		l := letters(a)
		d := distance(w, l)
		if 3*d <= max(len(w), len(l)) && (least < 0 || d < least) {
			best, least = a, d
		}
	}
	return best, least >= 0
}

// letters returns the letters and digits of a word in lower case.
func letters(word string) []rune {
	return []rune(strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, word))
}

// distance fills the usual table row by row and keeps three rows.
func distance(a, b []rune) int {
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := range a {
		row[0] = i + 1
		for j := range b {
			change := last[j]
			if a[i] != b[j] {
				change++
			}
			row[j+1] = min(change, last[j+1]+1, row[j]+1)
			if i > 0 && j > 0 && a[i] == b[j-1] && a[i-1] == b[j] {
				row[j+1] = min(row[j+1], before[j-1]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(b)]
}
