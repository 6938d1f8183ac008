// Package plan reads the study plan: the YAML file in which a study says where its exports are, how their columns and
// codes become ours, who is counted, what is analysed and what is written.
//
// [Read] finds everything that is wrong in one pass and says for each where it stands (file:line:column), what is
// allowed and, for a mistyped word, the nearest right one. Package schemas publishes the JSON Schema of the file.
package plan
