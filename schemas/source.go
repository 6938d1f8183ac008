package schemas

// Source says where the rows of one table are and how their columns, codes and dates become ours. The study plan
// fills it in; package ingest reads by it.
type Source struct {
	Table     string            // name of the schema
	Files     []string          // paths as they are opened, in reading order
	Shown     []string          // the same paths as messages and records show them: relative to the plan
	Format    Format            // by the file's ending when not declared
	Delimiter rune              // 0: found from the header line, and stated
	Decimal   rune              // '.' (also when 0) or ','
	Columns   map[string]string // field → column in the file; a field not named here has its own name
	Recode    map[string]map[string]string
	Layouts   map[string]Layout // field → layout of its dates; ISO when not declared
	Missing   []string          // tokens that mean missing, beside the empty cell
	Units     map[string]Unit   // field → unit of a length of time in the file; Days when not declared
	Extra     []Field           // columns beyond the schema, kept as covariates
	SHA256    map[string]string // shown path → hash that the file must have, in lower-case hexadecimal
	Reviewed  map[string]string // column of the file → why it may stay although it looks as if it could identify people
	Drop      []string          // columns of the file that are known to be there and are not read
	Warn      []string          // ids of rules whose severity the plan lowers to a warning
	Plan      string            // file:line of the source in the plan, for messages
}

// Format is a file format of an export.
type Format uint8

// The formats of an export.
const (
	ByEnding Format = iota
	CSV
	Parquet
)

// Layout is a declared layout of dates, built from the parts YYYY, MM and DD with any separators ("DD/MM/YYYY"), or
// [DayNumber].
type Layout string

// ISODate is the layout of dates when none is declared.
const ISODate Layout = "YYYY-MM-DD"

// DayNumber is the layout of a column that holds whole-day offsets in place of dates.
const DayNumber Layout = "day number"

// Unit is a unit of time. Lengths of time become whole days when they are read.
type Unit string

// The units of time. A year is 365.25 days and a month is a twelfth of a year.
const (
	Days   Unit = "days"
	Weeks  Unit = "weeks"
	Months Unit = "months"
	Years  Unit = "years"
)

// DaysPer returns the length of a unit in days, and false for a unit that does not exist.
func DaysPer(u Unit) (float64, bool) {
	switch u {
	case Days:
		return 1, true
	case Weeks:
		return 7, true
	case Months:
		return 365.25 / 12, true
	case Years:
		return 365.25, true
	}
	return 0, false
}
