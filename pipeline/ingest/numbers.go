package ingest

import (
	"bytes"
	"math"
	"strconv"
)

// parseInteger reads an optional sign and decimal digits, nothing else, within the range of int64.
func parseInteger(b []byte) (int64, bool) {
	negative, digits := sign(b)
	if len(digits) == 0 || len(digits) > 18 {
		return parseLongInteger(b, digits)
	}
	var v int64
	for _, c := range digits {
		c -= '0'
		if c > 9 {
			return 0, false
		}
		v = 10*v + int64(c)
	}
	if negative {
		v = -v
	}
	return v, true
}

// parseLongInteger handles what may not fit. The smallest int64 stands for missing and is not a value.
func parseLongInteger(b, digits []byte) (int64, bool) {
	if len(digits) == 0 || skipDigits(digits, 0) != len(digits) {
		return 0, false
	}
	v, err := strconv.ParseInt(string(b), 10, 64)
	return v, err == nil && v != math.MinInt64
}

func sign(b []byte) (negative bool, rest []byte) {
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		return b[0] == '-', b[1:]
	}
	return false, b
}

func skipDigits(b []byte, i int) int {
	for i < len(b) && b[i]-'0' <= 9 {
		i++
	}
	return i
}

// powers holds the powers of ten that float64 holds exactly.
var powers = [23]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
	1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// parseNumber reads a sign, digits with at most one decimal mark, and an exponent, and returns the nearest float64. A
// number of up to 18 digits without exponent is the quotient of two exact float64s when both are exact, and so rounded
// once (W. D. Clinger, How to read floating point numbers accurately, 1990); the others go through strconv.
func parseNumber(b []byte, mark byte) (float64, bool) {
	negative, rest := sign(b)
	var mantissa uint64
	digits, after, marked := 0, 0, false
	for i, c := range rest {
		if d := c - '0'; d <= 9 {
			mantissa = 10*mantissa + uint64(d)
			digits++
			if marked {
				after++
			}
			continue
		}
		if c == mark && !marked {
			marked = true
			continue
		}
		return parseLongNumber(b, rest, i, mark)
	}
	if digits == 0 {
		return 0, false
	}
	if digits > 18 || mantissa > 1<<53 {
		return parseLongNumber(b, rest, len(rest), mark)
	}
	v := float64(mantissa) / powers[after]
	if negative {
		v = -v
	}
	return v, true
}

// parseLongNumber checks the exponent that begins at place i of rest, if there is one, and lets strconv do the rounding.
func parseLongNumber(b, rest []byte, i int, mark byte) (float64, bool) {
	if !validMantissa(rest[:i]) || !validExponent(rest[i:]) {
		return 0, false
	}
	if mark != '.' {
		b = bytes.Replace(b, []byte{mark}, []byte{'.'}, 1)
	}
	v, err := strconv.ParseFloat(string(b), 64)
	return v, err == nil
}

// validMantissa needs one digit; that the rest is digits and one mark has been seen.
func validMantissa(b []byte) bool {
	for _, c := range b {
		if c-'0' <= 9 {
			return true
		}
	}
	return false
}

func validExponent(b []byte) bool {
	if len(b) == 0 {
		return true
	}
	if b[0] != 'e' && b[0] != 'E' {
		return false
	}
	_, digits := sign(b[1:])
	return len(digits) > 0 && skipDigits(digits, 0) == len(digits)
}
