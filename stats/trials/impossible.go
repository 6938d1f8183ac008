package trials

import "fmt"

// Impossible says which assumption of a design cannot be, what was found, what is allowed, and
// what would make it possible. It is the error of every check in this package.
type Impossible struct {
	// Assumption in plain words, such as "allocation of arm 2".
	Assumption string
	Found      string
	Want       string
	// Instead is what can be done; empty where Want says it all.
	Instead string
}

func (e *Impossible) Error() string {
	text := fmt.Sprintf("%s is %s, want %s", e.Assumption, e.Found, e.Want)
	if e.Instead != "" {
		text += "; " + e.Instead
	}
	return text
}

func impossible(assumption string, found any, want, instead string) error {
	return &Impossible{assumption, fmt.Sprint(found), want, instead}
}

// first returns the first error there is.
func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// share refuses what is no share of something, with 0 and 1 allowed.
func share(assumption string, p float64) error {
	if !(p >= 0 && p <= 1) {
		return impossible(assumption, p, "0 to 1", "")
	}
	return nil
}
