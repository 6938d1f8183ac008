// Package schemas says what an export must look like and what is wrong with the one at hand.
//
// A [Schema] describes one kind of export table in the terms of the Table Schema standard
// (https://datapackage.org/standard/table-schema/): fields with a type, a unit, codes and constraints. The schemas that
// deltoid ships lie in the folder files and are part of the program.
//
// A [Table] holds what was read: one typed column for each field, and for each row the file and line it came from.
// Nothing is guessed and nothing is dropped: a cell that does not fit its field becomes missing, its row is set aside,
// and a [Finding] says where, what was found, what is allowed and how to mend it.
//
// # Whole days
//
// A day is a count of days. In a study with calendar dates it counts from 1970-01-01; in a study with day offsets it
// counts from whatever day the export calls 0. The two are never mixed in one study.
package schemas
