package trials

import (
	"fmt"
	"math"
)

// Direction says which way an effect of the second arm is a success.
type Direction uint8

// The directions.
const (
	Lower  Direction = iota // fewer events, a lower hazard or score
	Higher                  // a higher score, a longer time
)

// Options say how studies are simulated.
type Options struct {
	Seed  uint64
	Level float64 // significance level, of both sides together
	Sides int     // 1 or 2
	// Better is the side that counts with one side; with two sides both count.
	Better Direction
	Looks  *Looks // nil: one analysis at the end
	// Error is the Monte-Carlo standard error of the power that is small enough; 0 asks for Most
	// replicates whatever the error.
	Error float64
	// Batch is the number of replicates after which the error is looked at, Most how many there
	// may be at all; 0 stands for 1,000 and 10,000.
	Batch, Most int
}

const mostReplicates = 10_000_000

func (o Options) normal() (Options, error) {
	if o.Batch == 0 {
		o.Batch = 1000
	}
	if o.Most == 0 {
		o.Most = 10_000
	}
	switch {
	case !(o.Error >= 0) || math.IsInf(o.Error, 0):
		return o, impossible("bound of the Monte-Carlo error", o.Error, "0 or more", "")
	case o.Batch < 1:
		return o, impossible("size of a batch", o.Batch, "1 or more", "")
	case o.Most < 1 || o.Most > mostReplicates:
		return o, impossible("number of replicates", o.Most, fmt.Sprintf("1 to %d", mostReplicates), "")
	case o.Better > Higher:
		return o, impossible("better side", o.Better, "lower or higher", "")
	}
	return o, checkLevel(o.Level, o.Sides)
}
