// Package ingest reads the exports of a study into typed tables. It drops no row, guesses no type and changes no value
// except by a recode or a unit that the study plan declares.
//
// # Text files
//
// The form is that of RFC 4180 with a declared or detected delimiter: records end with a line feed, with or without a
// carriage return before it; a cell that begins with a double quote ends with one, may hold delimiters and line breaks,
// and writes a quote of its own twice. The last record need not end with a line feed. Blank lines are skipped and
// counted. The encoding is UTF-8, with or without a byte order mark, UTF-16 with one, or Windows-1252 where that is
// declared; a byte that is no letter is found in its cell. Files may be compressed with gzip or zstd, which is seen from
// their first bytes and stated.
//
//   - Spaces and tabs around an unquoted cell do not belong to it; inside quotes everything belongs to the value. This
//     holds for every type.
//   - A cell is missing when it is empty, quoted or not, or when it is one of the declared tokens.
//   - The order is: recode, then missing-value token, then type. What a recode puts in place of a value is not looked
//     up among the tokens.
//   - A row with too few or too many cells is one finding; all its values are missing, since nobody can say which cell
//     belongs where. The row stays in the table, set aside.
//
// # Types
//
//	Integer   [+-] digits                                 range of int64
//	Number    [+-] digits [e [+-] digits]                 finite float64; one decimal mark, the declared one, may
//	                                                    stand before, among or after the first digits
//	Date      the declared layout of YYYY, MM and DD      years 0001 to 9999, days of the calendar only
//	          or one of several, no two of which can
//	          read the same text
//	          or, in a workbook, a date cell
//	          or, for day numbers, as Integer             range of int32
//	Code      one of the field's codes                    without a list: any text, levels sorted
//	Text      any text                                    of the field's pattern, if it has one
//
// A length of time with a declared unit is read as a Number, multiplied by the days of the unit and rounded to whole
// days, half away from zero; how many values were not whole is stated in the note of the file.
//
// # Parquet
//
// A Parquet column goes through the same rules: strings as quoted cells, other types as the text they would have in a
// text file with the declared decimal mark. A moment in a time zone becomes the day that it falls on in a declared zone,
// and is refused without one; one of the old form of twelve bytes does not say whether it has a zone, and has one where the
// plan declares it. Only the columns needed are read, row group by row group, in a process of their own with a
// limit of memory: a damaged file is a problem with a name, never the end of the program, and never all of its memory.
// How many values are missing, the smallest and the largest must be those that the footer states.
//
// Of dictionaries each entry goes through the rules once. Findings are made chunk by chunk, as the chunks of a file come to
// stand in order, so that a file that is wrong in every cell costs no more memory than one that is right; [EachPart] hands the
// chunks on one by one and keeps none.
//
// # Workbooks
//
// Of an .xlsx workbook one sheet is read, row by row; its first row that holds anything is the header. A cell is what its
// type says: a text is an unquoted cell, a number has a decimal point whatever mark is declared, the result of a formula
// is the one stored. A date cell is a number, which counts days in the date system of the workbook. An error, a formula
// without a result, a cell that is covered by a merged area and a number too long to have been kept whole are found.
//
// # Scores in columns
//
// A table with a row for each shoulder and a column for each instrument and visit becomes one with a row for each cell that
// holds a score. Each keeps the line and the column of its cell, and the note of the file says how rows times columns is
// scores and empty cells. A wrong cell that belongs to no score makes a row of its own, which is set aside.
package ingest
