package schemas

import "slices"

// Every rule that reading and checking an export can find broken. The rules about one cell, and about the shape of a
// row, are applied where the export is read; the rules about a whole table are applied by [Check]. All of them are
// applied to every row in one pass. The list is closed: [Rules] returns it.
//
// Where a plan lowers a rule about one cell, the value that breaks it counts as missing and the row is used; in a field
// that every row needs the rule still sets the row aside.
var (
	// RuleBadText is broken by bytes that are not UTF-8.
	RuleBadText = &Rule{ID: "bad-text", Severity: SetsAside, MayWarn: true,
		Sentence: "The text is not valid UTF-8.",
		Remedy:   "Export the file again with the encoding UTF-8."}

	// RuleRaggedRow is broken by a row with more or fewer cells than the header line.
	RuleRaggedRow = &Rule{ID: "ragged-row", Severity: SetsAside,
		Sentence: "The row has another number of cells than the header line.",
		Remedy:   "Put quotes round values that hold the delimiter or a line break, and export the row again whole."}

	// RuleStrayQuote is broken by a double quote where the form of the file has no place for one.
	RuleStrayQuote = &Rule{ID: "stray-quote", Severity: SetsAside, MayWarn: true,
		Sentence: "The cell has a double quote inside it, or text outside its quotes.",
		Remedy:   "Put the whole cell in double quotes and write each quote that belongs to the value twice."}

	// RuleErrorCell is broken by a cell of a workbook that holds no value.
	RuleErrorCell = &Rule{ID: "error-cell", Severity: SetsAside, MayWarn: true,
		Sentence: "The cell of the workbook holds an error, or a formula whose result was not stored.",
		Remedy:   "Correct the formula, or write the value in its place; leave the cell empty when the value is not known."}

	// RuleMergedCell is broken by a cell that is covered by another.
	RuleMergedCell = &Rule{ID: "merged-cell", Severity: SetsAside, MayWarn: true,
		Sentence: "The cell is part of a merged area, of which only the first cell holds a value.",
		Remedy:   "Take the merged area apart and write the value into each row that it belongs to."}

	// RuleRoundedNumber is broken by a number where a text is wanted and a workbook cannot have kept all of it.
	RuleRoundedNumber = &Rule{ID: "rounded-number", Severity: SetsAside, MayWarn: true,
		Sentence: "The number has more digits than a workbook keeps, so that its last ones may be wrong.",
		Remedy:   "Export the column from its source again, as text."}

	// RuleBadDate is broken by a date that is not in the declared layout or does not exist in the calendar.
	RuleBadDate = &Rule{ID: "bad-date", Severity: SetsAside, MayWarn: true,
		Sentence: "The value is not a date of the calendar in the declared layout.",
		Remedy:   "Correct the date at its source, or declare the layout that the column really has."}

	// RuleTimeOfDay is broken by a moment where a whole day is wanted.
	RuleTimeOfDay = &Rule{ID: "time-of-day", Severity: SetsAside, MayWarn: true,
		Sentence: "The value has a time of day where a whole day is wanted.",
		Remedy: "Export the column as a date without a time; the day it falls on depends on a time zone that only the " +
			"source knows."}

	// RuleBadInteger is broken by a value that is not a whole number.
	RuleBadInteger = &Rule{ID: "bad-integer", Severity: SetsAside, MayWarn: true,
		Sentence: "The value is not a whole number.",
		Remedy: "Write digits only, without a unit, a decimal mark or marks between thousands; leave the cell empty " +
			"when the value is not known."}

	// RuleBadNumber is broken by a value that is not a number.
	RuleBadNumber = &Rule{ID: "bad-number", Severity: SetsAside, MayWarn: true,
		Sentence: "The value is not a number.",
		Remedy: "Write the number without a unit and without marks between thousands, with the declared decimal mark; " +
			"leave the cell empty when the value is not known."}

	// RuleUnknownCode is broken by a code that is not in the field's list.
	RuleUnknownCode = &Rule{ID: "unknown-code", Severity: SetsAside, MayWarn: true,
		Sentence: "The value is not one of the codes of this field.",
		Remedy:   "Correct the value, or add a recode from it to one of the codes in the study plan."}

	// RuleMissingRequired is broken by an empty cell where a value is needed.
	RuleMissingRequired = &Rule{ID: "missing-required", Severity: SetsAside,
		Sentence: "A value that every row needs is missing.",
		Remedy:   "Fill in the value at its source; a row without it cannot be counted."}

	// RuleOutOfRange is broken by a number or a day outside the field's limits.
	RuleOutOfRange = &Rule{ID: "out-of-range", Severity: SetsAside, MayWarn: true,
		Sentence: "The value lies outside the range that this field allows.",
		Remedy:   "Correct the value at its source, or leave the cell empty when it is not known."}

	// RulePattern is broken by a text that does not have the field's form.
	RulePattern = &Rule{ID: "pattern", Severity: SetsAside, MayWarn: true,
		Sentence: "The text does not have the form that this field asks for.",
		Remedy:   "Write the value in the form shown."}

	// RuleSameRowTwice is broken by a row that says in every field what a row with the same key says.
	RuleSameRowTwice = &Rule{ID: "same-row-twice", Severity: SetsAside,
		Sentence: "The row repeats another row in every field.",
		Remedy:   "Delete one of the two rows; until then only the first one is used."}

	// RuleDuplicateKey is broken by a row that has the key of another row and differs from it elsewhere.
	RuleDuplicateKey = &Rule{ID: "duplicate-key", Severity: SetsAside,
		Sentence: "The row has the same key as another row and says something else.",
		Remedy: "Find out which of the two rows is right and delete the other; until then only the first usable one " +
			"is used."}

	// RuleNotToldApart is broken by a row without a key that says in every field what another row says.
	RuleNotToldApart = &Rule{ID: "not-told-apart", Severity: Warns,
		Sentence: "Nothing tells the row apart from another row; both are used.",
		Remedy:   "If the two rows are two shoulders, add the side; if the export repeats a row, delete one of them."}

	// RuleFollowUpOrder is broken by a ready row that enters after day 0 and ends on its entry day or before it.
	RuleFollowUpOrder = &Rule{ID: "follow-up-order", Severity: SetsAside,
		Sentence: "The follow-up ends on or before the day on which observation begins.",
		Remedy:   "Correct the entry day or the follow-up; both are counted in days from the index procedure."}

	// RuleReasonWithoutRevision is broken by a ready row that gives a reason for revision and ends otherwise.
	RuleReasonWithoutRevision = &Rule{ID: "reason-without-revision", Severity: SetsAside, MayWarn: true,
		Sentence: "The row gives a reason for revision, but its follow-up did not end in one.",
		Remedy:   "Correct the outcome or take the reason out; a row with both says two things."}

	// RuleScoreOutOfRange is broken by a score that its instrument cannot give.
	RuleScoreOutOfRange = &Rule{ID: "score-out-of-range", Severity: SetsAside,
		Sentence: "The value lies outside the range of its instrument.",
		Remedy:   "Correct the value or the instrument; turn a value on another scale of the instrument into this one first."}

	// RuleIncompleteItems is broken by the items of an instrument of which more are missing than its scoring allows.
	RuleIncompleteItems = &Rule{ID: "incomplete-items", Severity: SetsAside,
		Sentence: "Too many items of the instrument are missing to make its total.",
		Remedy:   "Fill in the items at their source; a total is not made up from the others beyond the rule of the instrument."}

	// RuleAgesDisagree is broken by a patient whose ages at two procedures are further apart, or closer, than the days.
	RuleAgesDisagree = &Rule{ID: "ages-disagree", Severity: Warns,
		Sentence: "The patient's ages at two procedures do not fit the time between them; both rows are used.",
		Remedy:   "Correct the age or the day of one of the two, or the pseudonym if they are two patients."}
)

var rules = []*Rule{
	RuleBadText, RuleRaggedRow, RuleStrayQuote, RuleErrorCell, RuleMergedCell, RuleRoundedNumber,
	RuleBadDate, RuleTimeOfDay, RuleBadInteger, RuleBadNumber, RuleUnknownCode,
	RuleMissingRequired, RuleOutOfRange, RulePattern,
	RuleSameRowTwice, RuleDuplicateKey, RuleNotToldApart, RuleFollowUpOrder,
	RuleReasonWithoutRevision, RuleScoreOutOfRange, RuleIncompleteItems, RuleAgesDisagree,
}

// Rules returns every rule of reading and checking: first those about a row's shape, then those about a cell, then those
// about a whole table.
func Rules() []*Rule { return slices.Clone(rules) }
