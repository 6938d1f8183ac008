package change

import (
	"fmt"
	"math"

	"deltoid/stats/dist"
)

// Status says whether a number could be worked out, and if not, why not.
type Status uint8

// The states of a result. Only Estimated has a number to show.
const (
	// Estimated: there is a result.
	Estimated Status = iota
	// NoRows: no row has all that is needed.
	NoRows
	// TooFew: there are rows, but not enough of them.
	TooFew
	// NoSpread: nothing varies, so nothing can be set in relation to it.
	NoSpread
	// NotSupported: the checks of the anchor failed, so that its thresholds mean nothing.
	NotSupported
	// NotDefined: the method does not apply to what was asked, or needs something that was not given.
	NotDefined
	// OffScale: a value is infinite or lies outside the scale.
	OffScale
	// NotFitted: a model behind the number has no estimates.
	NotFitted
	// NotResampled: too many replicates of a bootstrap had no value, or none was asked for.
	NotResampled
)

var statusText = [...]string{
	Estimated: "estimated", NoRows: "no rows", TooFew: "too few rows", NoSpread: "nothing varies", NotSupported: "not supported",
	NotDefined: "not defined", OffScale: "off the scale", NotFitted: "model not fitted", NotResampled: "not resampled",
}

// String returns the status in plain words.
func (s Status) String() string {
	if int(s) < len(statusText) {
		return statusText[s]
	}
	return "unknown status"
}

// State is a status with the reason why there is no number and what can be done. The reason is empty
// where there is one.
type State struct {
	Status Status
	Reason string
}

// OK reports whether there is a number.
func (s State) OK() bool { return s.Status == Estimated }

func state(s Status, format string, args ...any) State {
	return State{s, fmt.Sprintf(format, args...)}
}

// firstTrouble returns the first state that is not OK.
func firstTrouble(states ...State) State {
	for _, s := range states {
		if !s.OK() {
			return s
		}
	}
	return State{}
}

// Estimate is a number with its interval. In any state but Estimated the numbers are 0 and not to
// be shown.
type Estimate struct {
	Value, SE    float64 // SE is 0 where the method has none
	Lower, Upper float64
	Level        float64
	N            int // rows used
	Patients     int // patients among them where rows are clustered; 0 where each row is its own
	State
}

// Interval is a pair of limits.
type Interval struct {
	Lower, Upper float64
	Level        float64
	State
}

// byNormal fills SE and limits from a standard error.
func (e Estimate) byNormal(se, level float64) Estimate {
	half := float64(dist.NormalSpread(level) * se)
	e.SE, e.Lower, e.Upper, e.Level = se, e.Value-half, e.Value+half, level
	return e
}

// refused is an estimate without numbers.
func refused(n int, level float64, s State) Estimate { return Estimate{N: n, Level: level, State: s} }

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

func checkLevel(level float64) error {
	if level > 0 && level < 1 {
		return nil
	}
	return fmt.Errorf("level %v does not lie between 0 and 1", level)
}

func checkLength(name string, got, want int) error {
	if got == want {
		return nil
	}
	return fmt.Errorf("%s has %d rows, want %d", name, got, want)
}

func checkShare(name string, x float64) error {
	if x >= 0 && x <= 1 {
		return nil
	}
	return fmt.Errorf("%s is %v, want 0 to 1", name, x)
}
