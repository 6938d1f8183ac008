package schemas

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// The checks here are about one row, or two rows of a patient, and look at more than one column.

// reasons finds ready rows that give a reason for a revision that was none.
func (c *checker) reasons() {
	outcome, reason := c.table.Column("outcome"), c.table.Column("reason")
	if c.table.Schema.Name != "shoulders" || outcome == nil || reason == nil {
		return
	}
	revised := int16(slices.Index(outcome.Levels(), "revised"))
	codes := outcome.Codes()
	for row, why := range reason.Codes() {
		if why >= 0 && codes[row] >= 0 && codes[row] != revised {
			c.find(RuleReasonWithoutRevision, row, "reason", "the outcome is "+outcome.Levels()[codes[row]])
		}
	}
}

// scores finds values that their instrument cannot give.
func (c *checker) scores() {
	instrument, value := c.table.Column("instrument"), c.table.Column("value")
	if c.table.Schema.Name != "scores" || instrument == nil || value == nil {
		return
	}
	levels := instrument.Levels()
	known := make([]Scale, len(levels))
	for i, code := range levels {
		known[i] = c.table.ScaleOf(code)
	}
	codes, scales := instrument.Codes(), c.table.Scales()
	for row, x := range value.Numbers() {
		if codes[row] < 0 || math.IsNaN(x) {
			continue
		}
		i := &known[codes[row]]
		if scales != nil {
			its := scales(row)
			i = &its
		}
		if x < i.Minimum || x > i.Maximum {
			c.find(RuleScoreOutOfRange, row, "value", fmt.Sprintf("%s: from %s to %s%s", levels[codes[row]], plain(i.Minimum), plain(i.Maximum), otherScales(levels[codes[row]], i.Name)))
		}
	}
}

// otherScales says on which other scales an instrument is in use: a value outside one may be a value on another.
func otherScales(code, declared string) string {
	i, _ := InstrumentOf(code)
	others := slices.DeleteFunc(i.ScaleNames(), func(name string) bool { return name == declared })
	if len(others) == 0 {
		return ""
	}
	return "; if the export is on the scale " + strings.Join(others, " or ") + ", say so in the study plan under scales"
}

func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// ageSlack is by how many years two ages may be off from the days between them: a year, since ages are often whole
// years, and a little for the length of years.
const ageSlack = 1.01

// ages compares the age at each procedure with that at the first usable procedure of the patient in the table.
func (c *checker) ages() {
	columns, ok := c.table.named([]string{"patient", "day", "age"})
	if c.table.Schema.Name != "procedures" || !ok {
		return
	}
	patients := newRowSet(columns[:1], c.table.Rows())
	days, ages := columns[1].Days(), columns[2].Numbers()
	for row := range days {
		if c.table.IsAside(row) || missingAny(columns, row) {
			continue
		}
		first, again := patients.add(row)
		if !again {
			continue
		}
		years := float64(days[row]-days[first]) / 365.25
		if math.Abs(ages[row]-ages[first]-years) > ageSlack {
			c.find(RuleAgesDisagree, row, "age", fmt.Sprintf("the other row is %s; %.1f years lie between them", c.place(first), math.Abs(years)))
		}
	}
}
