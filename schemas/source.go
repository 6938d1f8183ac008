package schemas

import (
	"path"
	"strings"
)

// Source says where the rows of one table are and how their columns, codes and dates become ours. The study plan
// fills it in; package ingest reads by it.
type Source struct {
	Table     string            // name of the schema
	Files     []string          // paths as they are opened, in reading order
	Shown     []string          // the same paths as messages and records show them: relative to the plan
	Format    Format            // by the file's ending when not declared
	Encoding  Encoding          // of text files
	Sheet     string            // of a workbook; its only sheet when not declared
	Delimiter rune              // 0: found from the header line, and stated
	Decimal   rune              // '.' (also when 0) or ','
	Columns   map[string]string // field → column in the file; a field not named here has its own name
	Recode    map[string]map[string]string
	Layouts   map[string][]Layout // field → layouts of its dates, of which no two can read one text; ISO when not declared
	Zones     map[string]string   // field → time zone in which a moment becomes a day, by its name in the IANA database
	Wide      []WideScore         // columns of scores of a table with one row for each shoulder; empty for one row for each score
	Items     []ItemScore         // scores that are worked out from columns of items
	Scales    map[string]string   // instrument → scale of its values in the file, by name; its own when not declared
	Missing   []string            // tokens that mean missing, beside the empty cell
	Units     map[string]Unit     // field → unit of a length of time in the file; Days when not declared
	Extra     []Field             // columns beyond the schema, kept as covariates
	SHA256    map[string]string   // shown path → hash that the file must have, in lower-case hexadecimal
	Reviewed  map[string]string   // column of the file → why it may stay although it looks as if it could identify people
	Drop      []string            // columns of the file that are known to be there and are not read
	Warn      []string            // ids of rules whose severity the plan lowers to a warning
	Plan      string              // file:line of the source in the plan, for messages
}

// Format is a file format of an export.
type Format uint8

// The formats of an export.
const (
	ByEnding Format = iota
	CSV
	Parquet
	Workbook // one sheet of an .xlsx file
)

// formats are the formats that an ending declares.
var formats = map[string]Format{".csv": CSV, ".tsv": CSV, ".txt": CSV, ".parquet": Parquet, ".xlsx": Workbook}

// FormatOf returns the format that the ending of a path declares, [ByEnding] when it declares none. A text file may be
// compressed: .csv.gz and .csv.zst are text files too.
func FormatOf(name string) Format {
	name = strings.ToLower(name)
	for _, packed := range []string{".gz", ".zst"} {
		if inner, ok := strings.CutSuffix(name, packed); ok && formats[path.Ext(inner)] == CSV {
			return CSV
		}
	}
	return formats[path.Ext(name)]
}

// Endings returns the endings that declare a format.
func Endings() []string {
	return []string{".csv", ".tsv", ".txt", ".parquet", ".xlsx"}
}

// Encoding says how the letters of a text file are written. A byte order mark says it too, and must agree.
type Encoding string

// The encodings. UTF-16 always begins with a byte order mark and need not be declared.
const (
	UTF8        Encoding = "utf-8" // also when not declared
	Windows1252 Encoding = "windows-1252"
)

// WideScore is one column of scores in a table that has a row for each shoulder and a column for each instrument and
// visit. Each of its cells that holds something becomes a row of its own.
type WideScore struct {
	Column     string // of the file
	Instrument string // code of the instrument
	Day        string // column with the day of the visit, or with the day that After counts from
	After      Length // from that day to the visit; none when Number is 0
}

// ItemScore is one score of a table that has the answers to the items of an instrument in columns. Each row in which an
// item is answered becomes a score, worked out by the scoring of the instrument.
type ItemScore struct {
	Instrument string            // code of the instrument
	Day        string            // column with the day of the visit, or with the day that After counts from
	After      Length            // from that day to the visit; none when Number is 0
	Columns    map[string]string // code of the item → column of the file
}

// Length is a length of time as a plan gives it, in whole units.
type Length struct {
	Number int
	Unit   Unit
}

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
