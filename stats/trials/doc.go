// Package trials plans studies that closed forms cannot: it draws invented studies, many of them,
// and counts how often the analysis finds what is there. It also works out the limits of looks
// at a study while it goes on.
package trials
