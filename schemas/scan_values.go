package schemas

import (
	"regexp"
	"strconv"
	"strings"
	"time"
)

// A sign is one form of value that tells of an identifier.
type sign struct {
	identifier int
	what       string  // completes "12 of 40 values look like …"
	least      int     // how many values must have the form
	share      float64 // and what share of those that are not missing
	needs      traits  // a value that lacks one of these is not looked at
	some       traits  // nor is one that has none of these, where any are named
	match      func(string) bool
}

// traits are what a value holds, one bit each; they decide in one look which forms a value can have.
type traits uint16

const (
	hasLetter traits = 1 << iota
	hasDigit
	hasBlank
	hasAt
	hasDot
	hasColon
	hasDash // also a stroke
	hasPlus
	hasComma
	hasBracket
)

var traitOf = func() (of [256]traits) {
	for c := range 256 {
		switch {
		case c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= 0x80:
			of[c] = hasLetter
		case c >= '0' && c <= '9':
			of[c] = hasDigit
		}
	}
	of[' '], of['\n'], of['\t'], of['@'], of['.'], of[':'] = hasBlank, hasBlank, hasBlank, hasAt, hasDot, hasColon
	of['-'], of['/'], of['+'], of[','], of['('] = hasDash, hasDash, hasPlus, hasComma, hasBracket
	return of
}()

func traitsOf(s string) (t traits) {
	for i := range len(s) {
		t |= traitOf[s[i]]
	}
	return t
}

// longestLooked is how much of a value is looked at. A value this long is free text whatever it says.
const longestLooked = 400

// signs is every form that is looked for, in the order in which they are told.
var signs = []sign{
	{idMail, "e-mail addresses", 1, 0, hasLetter | hasAt | hasDot, 0, expression(`(?i)[a-z0-9._%+-]+@[a-z0-9-]+(\.[a-z0-9-]+)*\.[a-z]{2,}`)},
	{idWeb, "web addresses", 1, 0, hasLetter, hasColon | hasDot, expression(`(?i)\b(https?://|www\.)[a-z0-9]`)},
	{idAddress, "internet addresses of computers", 2, 0.5, hasDigit | hasDot, 0, isInternetAddress},
	{idAddress, "internet addresses of computers", 1, 0, hasDigit | hasColon, 0, expression(`(?i)^([0-9a-f]{1,4}:){7}[0-9a-f]{1,4}$`)},
	{idDevice, "addresses of devices", 1, 0, hasDigit, hasColon | hasDash | hasBracket, expression(`(?i)^([0-9a-f]{2}[:-]){5}[0-9a-f]{2}$|^\(01\)[0-9]{14}`)},
	{idSocial, "national numbers", 1, 0, hasDigit | hasDash, 0, expression(`^[0-9]{3}-[0-9]{2}-[0-9]{4}$`)},
	{idSocial, "national numbers with a date of birth", 2, 0.5, hasDigit, 0, isDatedNumber},
	{idSocial, "national numbers with a check digit", 3, 0.8, hasDigit, 0, isCheckedNumber},
	{idSocial, "national numbers", 2, 0.5, hasDigit | hasLetter, 0, isLetteredNumber},
	{idTelephone, "telephone numbers", 1, 0, hasDigit | hasPlus, 0, expression(`(?:^|[\s:])\+[1-9][0-9]{0,2}[ ()./-]*(?:[0-9][ ()./-]*){7,12}(?:$|[^0-9])`)},
	{idTelephone, "telephone numbers", 2, 0.2, hasDigit, hasBlank | hasDash | hasDot | hasBracket, isTelephone},
	{idDate, "full dates", 1, 0, hasDigit, hasDash | hasDot, holdsDate},
	{idPlace, "street addresses", 1, 0, hasDigit | hasLetter | hasBlank, 0, expression(`(?i)\b[0-9]{1,4}[a-z]?,? (?:[\pL.'-]+ ){1,3}(?:street|st|road|rd|avenue|ave|lane|drive|close|court)\b\.?` +
		`|(?i)stra(?:ss|ß)e [0-9]{1,4}\b|(?i)[\pL-]{2,}(?:str\.|gasse|weg|platz|straat|laan|gata|gatan|gate|vej|vei|veien) [0-9]{1,4}\b|(?i)\b(?:rue|calle|via|avenue|boulevard) (?:[\pL.'-]+ ){1,4},? ?[0-9]{1,4}\b` +
		`|(?i)\b[0-9]{1,4},? (?:rue|avenue|boulevard) [\pL]`)},
	{idPlace, "full postcodes", 2, 0.5, hasDigit, hasBlank | hasDash, expression(`^(?:[A-Z]{1,2}[0-9][A-Z0-9]? [0-9][A-Z]{2}|[A-Z][0-9][A-Z] [0-9][A-Z][0-9]|[0-9]{4} [A-Z]{2}|[0-9]{5}-[0-9]{4})$`)},
	{idName, "names with a title", 1, 0, hasLetter | hasBlank, 0, expression(`^(?:Mr|Mrs|Ms|Miss|Dr|Prof|Frau|Herr|Mme|Mlle|Sr|Sra|Dhr|Mevr)\.? \p{Lu}\pL+`)},
	{idName, "names written as Surname, Forename", 2, 0.5, hasLetter | hasComma, 0, expression(`^\p{Lu}[\pL'-]+, ?\p{Lu}[\pL'-]+(?: \p{Lu}[\pL.'-]*)?$`)},
	{idName, "common forenames", 2, 0.3, hasLetter, 0, holdsForename},
	{idOther, "free text", 1, 0, hasLetter | hasBlank, 0, isLongText},
	{idOther, "free text", 1, 0.1, hasLetter | hasBlank, 0, func(s string) bool { return wordCount(s) >= 5 }},
}

func expression(pattern string) func(string) bool { return regexp.MustCompile(pattern).MatchString }

func isInternetAddress(s string) bool {
	parts := strings.Split(s, ".")
	for _, p := range parts {
		if n, err := strconv.Atoi(p); err != nil || n < 0 || n > 255 || len(p) > 3 {
			return false
		}
	}
	return len(parts) == 4
}

// isTelephone takes a number of 9 to 15 digits that begins with 0 or a bracket and has blanks or marks between its groups.
func isTelephone(s string) bool {
	if s == "" || s[0] != '0' && s[0] != '(' {
		return false
	}
	digits, marks := 0, 0
	for _, c := range s {
		switch {
		case c >= '0' && c <= '9':
			digits++
		case strings.ContainsRune(" ()/-.", c):
			marks++
		default:
			return false
		}
	}
	return digits >= 9 && digits <= 15 && marks > 0
}

var dateForm = regexp.MustCompile(`\b(?:(?:19|20)[0-9]{2}[-/.](?:0[1-9]|1[0-2])[-/.](?:0[1-9]|[12][0-9]|3[01])|(?:0?[1-9]|[12][0-9]|3[01])[-/.](?:0?[1-9]|[12][0-9]|3[01])[-/.](?:19|20)[0-9]{2})\b`)

func holdsDate(s string) bool { return len(s) >= 8 && dateForm.MatchString(s) }

// isDatedNumber takes the personal numbers that begin with a date of birth: six or eight digits, then a mark and three or
// four more (Nordic countries), eleven digits in a row whose check digits fit (Norway), or thirteen to fifteen that begin
// with sex, year and month (France).
func isDatedNumber(s string) bool {
	if len(s) < 10 || len(s) > 21 {
		return false
	}
	mark := strings.IndexAny(s, "-+")
	digits := onlyDigits(s)
	switch {
	case len(digits) == 10 && mark == 6:
		return isDayOf(digits[:6], "060102") || isDayOf(digits[:6], "020106")
	case len(digits) == 12 && mark == 8:
		return isDayOf(digits[:8], "20060102")
	case len(digits) == 11 && mark < 0:
		return weighs(digits[:10], []int{3, 7, 6, 1, 8, 9, 4, 5, 2, 1}, 11) && weighs(digits, []int{5, 4, 3, 2, 7, 6, 5, 4, 3, 2, 1}, 11) &&
			isDayOf(digits[:6], "020106")
	case (len(digits) == 13 || len(digits) == 15) && (s[0] == '1' || s[0] == '2') && mark < 0:
		return digits[3:5] >= "01" && digits[3:5] <= "12"
	}
	return false
}

// onlyDigits takes the blanks and marks out of a number; empty when something else is in it.
func onlyDigits(s string) string {
	plain := true
	for i := range len(s) {
		switch c := s[i]; {
		case c >= '0' && c <= '9':
		case c == ' ' || c == '-' || c == '+':
			plain = false
		default:
			return ""
		}
	}
	if plain {
		return s
	}
	return strings.Map(func(r rune) rune {
		if r < '0' {
			return -1
		}
		return r
	}, s)
}

var letteredForm = regexp.MustCompile(`^(?:[A-Z]{2}[0-9]{6}[A-D]|[A-Z]{6}[0-9]{2}[A-EHLMPRST][0-9]{2}[A-Z][0-9]{3}[A-Z])$`)

// isLetteredNumber takes the form of the national insurance number of the United Kingdom and of the Italian tax code.
func isLetteredNumber(s string) bool {
	return (len(s) == 9 || len(s) == 16) && letteredForm.MatchString(s)
}

func isDayOf(digits, layout string) bool {
	_, err := time.Parse(layout, digits)
	return err == nil
}

// isCheckedNumber takes numbers whose last digit or letter is worked out from the others: ten digits (NHS, England),
// eleven (PESEL, Poland), nine (BSN, Netherlands), eight and a letter (DNI, Spain).
func isCheckedNumber(s string) bool {
	if len(s) < 9 || len(s) > 14 {
		return false
	}
	if last := s[len(s)-1]; len(s) == 9 && last >= 'A' && last <= 'Z' {
		n, err := strconv.ParseUint(s[:8], 10, 64)
		return err == nil && "TRWAGMYFPDXBNJZSQVHLCKE"[n%23] == last
	}
	switch digits := onlyDigits(s); len(digits) {
	case 9:
		return weighs(digits, []int{9, 8, 7, 6, 5, 4, 3, 2, -1}, 11)
	case 10:
		return weighs(digits, []int{10, 9, 8, 7, 6, 5, 4, 3, 2, 1}, 11)
	case 11:
		return weighs(digits, []int{1, 3, 7, 9, 1, 3, 7, 9, 1, 3, 1}, 10)
	}
	return false
}

// weighs reports whether the weighted sum of the digits is a multiple of the modulus.
func weighs(digits string, weights []int, modulus int) bool {
	sum := 0
	for i, w := range weights {
		sum += w * int(digits[i]-'0')
	}
	return sum%modulus == 0
}

func wordCount(s string) int { return len(strings.Fields(s)) }

func isLongText(s string) bool { return len(s) >= longestLooked || wordCount(s) >= 8 }

// forenames are common forenames that are not also everyday words of the languages above or words of the trade.
var forenames = func() map[string]bool {
	all := map[string]bool{}
	for _, n := range strings.Fields("anna maria peter thomas michael john james robert william richard joseph charles daniel matthew andrew david " +
		"mary patricia jennifer elizabeth barbara susan jessica sarah karen margaret emma olivia sophie charlotte hannah laura julia katharina ursula " +
		"hans klaus juergen wolfgang heinz helmut stefan christian andreas martin sebastian jean pierre marie jacques philippe nathalie isabelle francoise " +
		"jose carlos manuel antonio francisco juan pedro luis carmen josefa giuseppe giovanni francesco luigi lucia giulia jan johannes willem hendrik " +
		"lars anders erik johan karin ingrid astrid bjoern sven ole knut nils mohammed fatima ahmed") {
		all[n] = true
	}
	return all
}()

func holdsForename(s string) bool {
	start := -1
	for i := 0; i <= len(s); i++ {
		letter := i < len(s) && traitOf[s[i]] == hasLetter
		switch {
		case letter && start < 0:
			start = i
		case !letter && start >= 0:
			if n := i - start; n >= 3 && n <= 12 && forenames[strings.ToLower(s[start:i])] {
				return true
			}
			start = -1
		}
	}
	return false
}

// tally counts the values of one column by sign.
type tally struct {
	values int
	found  []int
	first  []int // row of the first of each
}

func newTally() *tally { return &tally{found: make([]int, len(signs)), first: make([]int, len(signs))} }

// add looks at one value.
func (t *tally) add(s string, row int) {
	t.values++
	has := traitsOf(s)
	s = s[:min(len(s), longestLooked)]
	for i := range signs {
		if sign := &signs[i]; sign.needs&^has == 0 && (sign.some == 0 || sign.some&has != 0) && sign.match(s) {
			if t.found[i] == 0 {
				t.first[i] = row
			}
			t.found[i]++
		}
	}
}

// enough reports whether a column shows a sign often enough for it to be told.
func (t *tally) enough(i int) bool {
	return t.found[i] >= signs[i].least && float64(t.found[i]) >= float64(signs[i].share*float64(t.values))
}
