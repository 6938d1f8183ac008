package schemas

import (
	"testing"

	"pgregory.net/rapid"
)

func TestNearest(t *testing.T) {
	tables := []string{"procedures", "revisions", "complications", "deaths", "scores", "contacts", "shoulders"}
	reasons := []string{"loosening_glenoid", "loosening_humeral", "infection", "instability", "wear"}
	for _, c := range []struct {
		word    string
		allowed []string
		want    string
	}{
		{"procedures", tables, "procedures"},
		{"Procedure", tables, "procedures"},
		{"dehats", tables, "deaths"}, // neighbours swapped
		{"score", tables, "scores"},
		{"loosening glenoid", reasons, "loosening_glenoid"}, // marks between words do not count
		{"LOOSENING-HUMERAL", reasons, "loosening_humeral"},
		{"infektion", reasons, "infection"},
		{"waer", reasons, "wear"},
		{"4A", []string{"4b", "4a"}, "4a"},
		{"4c", []string{"4a", "4b"}, ""},
		{"patients", tables, ""},
		{"", tables, ""},
		{"?", []string{"-"}, ""},
		{"ab", nil, ""},
		{"cart", []string{"card", "care"}, "card"}, // equally near: the first
	} {
		got, ok := Nearest(c.word, c.allowed)
		if got != c.want || ok != (c.want != "") {
			t.Errorf("Nearest(%q) = %q, %v; want %q", c.word, got, ok, c.want)
		}
	}
}

// Worked distances: "kitten" to "sitting" is the textbook case of Levenshtein's distance (3); "ca" to "abc" is the
// textbook case that tells optimal string alignment (3) from the unrestricted Damerau distance (2). From memory.
func TestDistanceWorkedCases(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{{"kitten", "sitting", 3}, {"ca", "abc", 3}, {"ab", "ba", 1}, {"", "abc", 3}, {"abc", "abc", 0}} {
		if got := distance([]rune(c.a), []rune(c.b)); got != c.want {
			t.Errorf("%q to %q: %d, want %d", c.a, c.b, got, c.want)
		}
	}
}

// The slow twin is the definition, by recursion on the last letters.
func TestDistanceAgreesWithItsDefinition(t *testing.T) {
	word := rapid.StringOfN(rapid.RuneFrom([]rune("abc")), 0, 6, -1)
	rapid.Check(t, func(rt *rapid.T) {
		a, b := []rune(word.Draw(rt, "a")), []rune(word.Draw(rt, "b"))
		if got, want := distance(a, b), defined(a, b); got != want {
			rt.Fatalf("%q to %q: %d, want %d", string(a), string(b), got, want)
		}
	})
}

func defined(a, b []rune) int {
	n, m := len(a), len(b)
	if n == 0 || m == 0 {
		return n + m
	}
	change := 1
	if a[n-1] == b[m-1] {
		change = 0
	}
	d := min(defined(a[:n-1], b)+1, defined(a, b[:m-1])+1, defined(a[:n-1], b[:m-1])+change)
	if n > 1 && m > 1 && a[n-1] == b[m-2] && a[n-2] == b[m-1] {
		d = min(d, defined(a[:n-2], b[:m-2])+1)
	}
	return d
}
