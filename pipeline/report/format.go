package report

import (
	"math"
	"strconv"
	"strings"
)

// The units that have a form of their own. A unit that begins with "per " is a rate. Every other unit is something
// counted: "shoulders", "patients", "rows".
const (
	UnitProbability = "probability" // shown in percent
	UnitPValue      = "p value"
	UnitRatio       = "ratio" // of hazards, rates or odds
	UnitKappa       = "kappa"
	UnitSpread      = "standard deviations" // of a standardised difference
	UnitLogRatio    = "log ratio"           // natural logarithm of a ratio
	UnitScore       = "score"               // of predictions: Brier's, the distance of calibration; shown with three decimal places
	UnitCorrelation = "correlation"
	UnitArea        = "area under the curve"
	UnitYears       = "years"
	UnitDifference  = "difference of probabilities" // shown in percentage points
)

// Format turns a part of an estimate into words. It is the only place where a number becomes text, so that one estimate
// reads the same in every file. An absent part is the empty text; an absent value is the word for its status.
//
//   - Probabilities are percents: one decimal place from 1% on, two below, "<0.1%" and ">99.9%" where rounding would
//     show none or all. Exactly none is "0%", exactly all is "100%".
//   - Differences of probabilities have the same places and are called percentage points.
//   - Counts are grouped in threes: "12,345".
//   - P values: two decimal places, three below 0.1, "<0.001" and ">0.99" at the ends.
//   - Scores of predictions have three decimal places.
//   - A value shown as it was given has the digits that it was given with.
//   - Years have one decimal place; ratios, rates, kappas, correlations, areas and standardised differences two.
//
// The limits of an interval take the decimal places of their value.
func Format(e Estimate, show Show) string {
	switch show {
	case ShowWithInterval:
		return withInterval(e)
	case ShowValueAndRange:
		return withRange(e)
	case ShowN:
		return formatCount(e, e.N)
	case ShowEvents:
		return formatCount(e, e.Events)
	case ShowAt:
		return formatAt(e)
	case ShowLevel:
		return formatLevel(e)
	case ShowGiven:
		return formatGiven(e)
	case ShowOfHundred:
		return ofHundred(e)
	default:
		return formatValue(e) + unitAfter(e)
	}
}

// Trace says in one line where a number comes from: its id, what it rests on, its method, and its note.
func Trace(e Estimate) string {
	parts := []string{e.ID}
	add := func(label, text string) {
		if text != "" {
			parts = append(parts, label+text)
		}
	}
	add("n ", knownCount(e.N))
	add("events ", knownCount(e.Events))
	add("", e.Method)
	add("", e.Note)
	return strings.Join(parts, "; ")
}

// Tick is the shortest text of a mark on an axis of the given unit: "2.5%", "10".
func Tick(x float64, unit string) string {
	if unit == UnitProbability {
		return signed(strconv.FormatFloat(math.Round(x*1e8)/1e6, 'f', -1, 64)) + "%"
	}
	return group(signed(strconv.FormatFloat(math.Round(x*1e6)/1e6, 'f', -1, 64)))
}

// withInterval is the form for sentences: "3.1% (95% interval 2.2% to 4.4%)".
func withInterval(e Estimate) string {
	text := formatValue(e) + unitAfter(e)
	if !e.Lower.Known && !e.Upper.Known {
		return text
	}
	name := "interval "
	if level := formatLevel(e); level != "" {
		name = level + " interval "
	}
	return text + " (" + name + limit(e, e.Lower, percentSign(e)) + " to " + limit(e, e.Upper, percentSign(e)) + ")"
}

// ofHundred is a probability as people say it of a hundred: "82 (95% interval 78 to 86)". It never makes nobody of a few, nor
// everybody of nearly all.
func ofHundred(e Estimate) string {
	if !e.Value.Known {
		return statusWord(e.Status)
	}
	text := hundredth(e.Value.X)
	if !e.Lower.Known || !e.Upper.Known {
		return text
	}
	name := "interval "
	if level := formatLevel(e); level != "" {
		name = level + " interval "
	}
	return text + " (" + name + hundredth(e.Lower.X) + " to " + hundredth(e.Upper.X) + ")"
}

func hundredth(p float64) string {
	switch whole := math.Round(p * 100); {
	case p > 0 && whole == 0:
		return "fewer than 1"
	case p < 1 && whole == 100:
		return "more than 99"
	default:
		return strconv.FormatFloat(whole, 'f', 0, 64)
	}
}

// withRange is the form for tables: "3.1% (2.2–4.4)". Limits that may be negative are joined by "to".
func withRange(e Estimate) string {
	text := formatValue(e)
	if !e.Lower.Known && !e.Upper.Known {
		return text
	}
	dash := "–"
	if e.Lower.X < 0 || !e.Lower.Known || !e.Upper.Known {
		dash = " to "
	}
	return text + " (" + limit(e, e.Lower, "") + dash + limit(e, e.Upper, "") + ")"
}

// limit is one end of an interval; an end that is not there was not reached.
func limit(e Estimate, o Optional, sign string) string {
	if !o.Known {
		return string(NotReached)
	}
	return number(e, o.X, sign)
}

func formatValue(e Estimate) string {
	if !e.Value.Known {
		return statusWord(e.Status)
	}
	return number(e, e.Value.X, percentSign(e))
}

// statusWord stands where a value would. A masked number is bracketed, since the words around it go on as if it were
// there: "[masked] shoulders".
func statusWord(s Status) string {
	if s == Masked {
		return "[masked]"
	}
	return string(s)
}

func percentSign(e Estimate) string {
	if e.Unit == UnitProbability {
		return "%"
	}
	return ""
}

// unitAfter is the unit that follows a value in a sentence. The words around a count name what is counted.
func unitAfter(e Estimate) string {
	switch {
	case !e.Value.Known:
		return ""
	case e.Unit == UnitYears:
		return " " + plural(e.Value.X, formatValue(e))
	case isRate(e.Unit):
		return " " + e.Unit
	case e.Unit == UnitDifference:
		return " percentage points"
	default:
		return ""
	}
}

func isRate(unit string) bool { return strings.HasPrefix(unit, "per ") }

func plural(x float64, shown string) string {
	if x == 1 && shown == "1" {
		return "year"
	}
	return "years"
}

// number is one number of an estimate, in the form its unit asks for.
func number(e Estimate, x float64, sign string) string {
	switch {
	case math.IsNaN(x):
		return string(NotIdentifiable)
	case math.IsInf(x, 0):
		return string(NotReached)
	case e.Unit == UnitProbability && x >= 0:
		return percent(x, percentPlaces(e), sign)
	case e.Unit == UnitProbability || e.Unit == UnitDifference:
		return points(x, percentPlaces(e)) + sign
	case e.Unit == UnitPValue:
		return pValue(x)
	case e.Unit == UnitYears:
		return decimals(x, 1)
	case e.Unit == UnitScore:
		return decimals(x, 3)
	case e.Unit == UnitRatio || e.Unit == UnitLogRatio || e.Unit == UnitKappa || e.Unit == UnitSpread || e.Unit == UnitCorrelation || e.Unit == UnitArea || isRate(e.Unit):
		return decimals(x, 2)
	default:
		return count(x)
	}
}

// percentPlaces returns the decimal places that the value of e and its limits share.
func percentPlaces(e Estimate) int {
	x := math.Abs(e.Value.X)
	if x == 0 {
		x = math.Abs(e.Upper.X)
	}
	if x > 0 && x < 0.01 {
		return 2
	}
	return 1
}

// points writes a difference, or a limit below 0, in hundredths. About 0 it says 0.0: a difference has no end that
// rounding could reach by mistake.
func points(x float64, places int) string {
	text := strconv.FormatFloat(x*100, 'f', places, 64)
	if strings.Trim(text, "-0.") == "" {
		return strings.TrimPrefix(text, "-")
	}
	return signed(text)
}

// percent never rounds something to nothing, nor nearly all to all.
func percent(p float64, places int, sign string) string {
	switch {
	case p == 0 || p == 1:
		return strconv.Itoa(int(p*100)) + sign
	case p > 0 && p < 0.001:
		return "<0.1" + sign
	case p > 0.999 && p < 1:
		return ">99.9" + sign
	}
	return signed(strconv.FormatFloat(p*100, 'f', places, 64)) + sign
}

func pValue(p float64) string {
	switch {
	case p < 0.001:
		return "<0.001"
	case p > 0.99:
		return ">0.99"
	case p < 0.1:
		return strconv.FormatFloat(p, 'f', 3, 64)
	default:
		return strconv.FormatFloat(p, 'f', 2, 64)
	}
}

// decimals writes x with the given places. A whole number is written bare; a number that would round to none is not.
func decimals(x float64, places int) string {
	if x == 0 {
		return "0"
	}
	least := math.Pow10(-places)
	if math.Abs(x) < least/2 {
		return signed("<" + strconv.FormatFloat(least, 'f', places, 64))
	}
	text := strconv.FormatFloat(x, 'f', places, 64)
	if places == 1 && x == math.Trunc(x) {
		text = strconv.FormatFloat(x, 'f', 0, 64)
	}
	return group(signed(text))
}

// count writes a whole number bare, and one that was weighted or expected with one place.
func count(x float64) string { return decimals(x, 1) }

func formatCount(e Estimate, o Optional) string {
	if !o.Known && e.Status == Masked {
		return statusWord(Masked)
	}
	return knownCount(o)
}

func knownCount(o Optional) string {
	if !o.Known {
		return ""
	}
	return count(o.X)
}

func formatAt(e Estimate) string {
	if !e.At.Known {
		return ""
	}
	text := decimals(e.At.X, 1)
	switch e.AtUnit {
	case "":
		return text
	case UnitYears:
		return text + " " + plural(e.At.X, text)
	default:
		return text + " " + e.AtUnit
	}
}

// formatGiven writes a value that was chosen, and so has no more digits than it was written with.
func formatGiven(e Estimate) string {
	if !e.Value.Known {
		return statusWord(e.Status)
	}
	x := e.Value.X
	if e.Unit == UnitProbability || e.Unit == UnitDifference {
		x *= 100
	}
	// Nine digits behind the point take the noise of 0.07 * 100 away.
	text := group(signed(strconv.FormatFloat(math.Round(x*1e9)/1e9, 'f', -1, 64)))
	return text + percentSign(e) + unitAfter(e)
}

func formatLevel(e Estimate) string {
	if !e.Level.Known {
		return ""
	}
	// Nine places take the noise of 0.998 * 100 away, and nothing that a person chose.
	return strconv.FormatFloat(math.Round(e.Level.X*1e9)/1e7, 'f', -1, 64) + "%"
}

// signed replaces a hyphen in front by the minus sign.
func signed(s string) string {
	if rest, ok := strings.CutPrefix(s, "-"); ok {
		return "−" + rest
	}
	return s
}

// group puts commas between thousands of the whole part.
func group(s string) string {
	start := strings.IndexAny(s, "0123456789")
	if start < 0 {
		return s
	}
	end := strings.IndexByte(s, '.')
	if end < 0 {
		end = len(s)
	}
	for i := end - 3; i > start; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}
