// Package record writes the folder that a run leaves behind and says, in its run record, what went in and what came
// out.
//
// A [Folder] is filled out of sight, beside the place where it will stand, and put there by one last step: whoever looks
// sees the earlier report or the new one, whole. Everything in it is hashed while it is written. The record, a [Run] in
// the file run-record.json, holds no time, no name of a machine or person and no absolute path, so that two runs on the
// same files with the same program write the same bytes. [Check] holds a folder against its record.
package record
