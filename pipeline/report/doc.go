// Package report is the report as data: a [Document] of sections whose every number is a row of [Document.Estimates].
//
// Analyses build it, package disclose looks at it, package render turns it into files. Nothing in a document is a
// formatted number: a [Span], a [Cell] or a point of a [Figure] names an estimate and says which part of it to show, so
// that a number never loses its group, unit, level or method on the way to the page.
package report
