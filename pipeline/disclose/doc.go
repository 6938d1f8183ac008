// Package disclose looks at a finished report before anyone else does and hides the small numbers in it.
//
// A [report.Document] goes in, a [Cleared] comes out. Package render accepts nothing but a Cleared, so no number reaches
// a page that was not looked at here.
package disclose
