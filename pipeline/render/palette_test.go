package render

import (
	"math"
	"slices"
	"testing"
)

// linear is a colour in linear-light sRGB (IEC 61966-2-1).
type linear [3]float64

func (c colour) linear() linear {
	var out linear
	for i, v := range []uint8{c.r, c.g, c.b} {
		x := float64(v) / 255
		if x <= 0.04045 {
			out[i] = x / 12.92
		} else {
			out[i] = math.Pow((x+0.055)/1.055, 2.4)
		}
	}
	return out
}

// contrastOnWhite is the contrast ratio of WCAG 2.2 against white.
func contrastOnWhite(c colour) float64 {
	l := c.linear()
	return 1.05 / (0.2126*l[0] + 0.7152*l[1] + 0.0722*l[2] + 0.05)
}

type lab struct{ l, a, b float64 }

// lab converts to CIE L*a*b*, white D65, by the matrix of IEC 61966-2-1.
func (c linear) lab() lab {
	f := func(t float64) float64 {
		if t > 216.0/24389 {
			return math.Cbrt(t)
		}
		return (24389.0/27*t + 16) / 116
	}
	x := f((0.4124564*c[0] + 0.3575761*c[1] + 0.1804375*c[2]) / 0.95047)
	y := f(0.2126729*c[0] + 0.7151522*c[1] + 0.0721750*c[2])
	z := f((0.0193339*c[0] + 0.1191920*c[1] + 0.9503041*c[2]) / 1.08883)
	return lab{116*y - 16, 500 * (x - y), 200 * (y - z)}
}

func degrees(rad float64) float64 { return rad * 180 / math.Pi }
func radians(deg float64) float64 { return deg * math.Pi / 180 }

// difference is CIEDE2000 with unit weights, written after Sharma, Wu and Dalal, Color Research and Application 30
// (2005) 21–30, equations 2–22.
func difference(p, q lab) float64 {
	power7 := func(x float64) float64 { return math.Pow(x, 7) }
	mean := (math.Hypot(p.a, p.b) + math.Hypot(q.a, q.b)) / 2
	g := 0.5 * (1 - math.Sqrt(power7(mean)/(power7(mean)+power7(25))))
	c1, c2 := math.Hypot((1+g)*p.a, p.b), math.Hypot((1+g)*q.a, q.b)
	h1 := math.Mod(degrees(math.Atan2(p.b, (1+g)*p.a))+360, 360)
	h2 := math.Mod(degrees(math.Atan2(q.b, (1+g)*q.a))+360, 360)
	dh, hm := h2-h1, (h1+h2)/2
	switch {
	case c1*c2 == 0:
		dh, hm = 0, h1+h2
	case dh > 180:
		dh -= 360
		hm = math.Mod(hm+180, 360)
	case dh < -180:
		dh += 360
		hm = math.Mod(hm+180, 360)
	}
	dH := 2 * math.Sqrt(c1*c2) * math.Sin(radians(dh)/2)
	lm, cm := (p.l+q.l)/2, (c1+c2)/2
	t := 1 - 0.17*math.Cos(radians(hm-30)) + 0.24*math.Cos(radians(2*hm)) + 0.32*math.Cos(radians(3*hm+6)) -
		0.20*math.Cos(radians(4*hm-63))
	theta := 30 * math.Exp(-math.Pow((hm-275)/25, 2))
	rc := 2 * math.Sqrt(power7(cm)/(power7(cm)+power7(25)))
	sl := 1 + 0.015*math.Pow(lm-50, 2)/math.Sqrt(20+math.Pow(lm-50, 2))
	sc, sh := 1+0.045*cm, 1+0.015*cm*t
	rt := -math.Sin(radians(2*theta)) * rc
	l, c, h := (q.l-p.l)/sl, (c2-c1)/sc, dH/sh
	return math.Sqrt(l*l + c*c + h*h + rt*c*h)
}

// Pairs 1, 7, 17 and 25 of table 1 of Sharma, Wu and Dalal (2005), from memory, to the four places printed there.
func TestDifferenceAgainstPublishedPairs(t *testing.T) {
	for _, c := range []struct {
		p, q lab
		want float64
	}{
		{lab{50, 2.6772, -79.7751}, lab{50, 0, -82.7485}, 2.0425},
		{lab{50, 0, 0}, lab{50, -1, 2}, 2.3669},
		{lab{50, 2.5, 0}, lab{73, 25, -18}, 27.1492},
		{lab{60.2574, -34.0099, 36.2677}, lab{60.4626, -34.1751, 39.4387}, 1.2644},
	} {
		if got := difference(c.p, c.q); math.Abs(got-c.want) > 0.00005 {
			t.Errorf("difference(%v, %v) = %.4f, want %.4f", c.p, c.q, got, c.want)
		}
	}
}

// sights are how a colour is seen: normally, and in the three dichromacies. The matrices are those for severity 1.0 of
// Machado, Oliveira and Fernandes, IEEE Transactions on Visualization and Computer Graphics 15 (2009) 1291–1298, table 1,
// from memory; each row adds up to 1, which the test checks, since white stays white.
var sights = []struct {
	name string
	m    [3][3]float64
}{
	{"normal", [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}},
	{"protanopia", [3][3]float64{{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}}},
	{"deuteranopia", [3][3]float64{{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}}},
	{"tritanopia", [3][3]float64{{1.255528, -0.076749, -0.178779}, {-0.078411, 0.930809, 0.147602}, {0.004733, 0.691367, 0.303900}}},
}

func seen(m [3][3]float64, c colour) lab {
	l := c.linear()
	var out linear
	for i := range out {
		out[i] = math.Max(0, math.Min(1, m[i][0]*l[0]+m[i][1]*l[1]+m[i][2]*l[2]))
	}
	return out.lab()
}

// leastDifference is the CIEDE2000 difference that any two groups keep in any sight; about 2 can just be told apart side
// by side.
const leastDifference = 15

func TestGroupsCanBeToldApart(t *testing.T) {
	for _, s := range sights {
		for _, row := range s.m {
			if math.Abs(row[0]+row[1]+row[2]-1) > 2e-6 {
				t.Errorf("%s: a row of the matrix adds up to %v", s.name, row[0]+row[1]+row[2])
			}
		}
		for i, a := range groupColours {
			for _, b := range groupColours[:i] {
				if d := difference(seen(s.m, a), seen(s.m, b)); d < leastDifference {
					t.Errorf("%s: %s and %s differ by %.1f, want %d", s.name, a.hex(), b.hex(), d, leastDifference)
				}
			}
		}
	}
}

// WCAG 2.2 asks for 3:1 for lines (1.4.11) and 4.5:1 for text (1.4.3).
func TestContrast(t *testing.T) {
	for i, c := range groupColours {
		want := 3.0
		if i < 3 {
			want = 4.5
		}
		if got := contrastOnWhite(c); got < want {
			t.Errorf("%s has contrast %.2f on white, want %.1f", c.hex(), got, want)
		}
	}
	for _, c := range []colour{ink, quiet} {
		if got := contrastOnWhite(c) / contrastOnWhite(wash); got < 4.5 {
			t.Errorf("text %s has contrast %.2f on a box, want 4.5", c.hex(), got)
		}
	}
}

// Colour is never the only difference, and 36 groups look different.
func TestStylesDiffer(t *testing.T) {
	if len(groupColours) < 6 || len(groupDashes) != len(groupColours) {
		t.Fatalf("%d colours, %d rhythms", len(groupColours), len(groupDashes))
	}
	for i := range 36 {
		for j := range i {
			a, b := styleOf(i), styleOf(j)
			if slices.Equal(a.dash, b.dash) && (a.colour == b.colour || i < len(groupColours)) {
				t.Errorf("styles %d and %d: %v and %v", j, i, b, a)
			}
		}
	}
	if got, want := styleOf(-1), styleOf(0); got.colour != want.colour {
		t.Errorf("style of a negative number is %v", got)
	}
}
