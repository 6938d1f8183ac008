package demo

import (
	"fmt"
	"runtime"
	"slices"

	"golang.org/x/sync/errgroup"

	"deltoid/schemas"
)

// MaxShoulders is the largest registry that can be made up.
const MaxShoulders = 1_000_000

// Options says what to make up. Equal options give equal records, whatever the number of processors.
type Options struct {
	Shoulders int    // index procedures, 1 to MaxShoulders; planted defects come on top
	Seed      uint64 // of all random numbers
	Defects   bool   // plant defects, see [Records.Defects]
}

func (o Options) check() error {
	if o.Shoulders >= 1 && o.Shoulders <= MaxShoulders {
		return nil
	}
	return &schemas.Problem{Kind: schemas.PlanProblem, What: fmt.Sprintf("an invented registry of %d shoulders", o.Shoulders),
		Allowed: fmt.Sprintf("1 to %d shoulders", MaxShoulders), Remedy: "ask for a number in this range"}
}

// Records is a made-up registry in memory.
type Records struct {
	Options  Options
	Patients int // with a shoulder in the registry, without those made up for a defect
	TwoSided int // patients with both sides in the registry
	// Defects lists the planted defects by kind and place.
	Defects []Defect

	operations    [][]operation
	reoperations  [][]reoperation
	complications [][]complication
	deaths        [][]death
	scores        [][]score
	contacts      [][]contact
	courses       [][]course
}

// Generate makes up a registry. The error is a [schemas.Problem] for a number of shoulders outside the range.
func Generate(o Options) (*Records, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	batches := make([]*batch, (o.Shoulders+batchSize-1)/batchSize)
	plan, l := plantings(o), newLaw()
	var g errgroup.Group
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i := range batches {
		batches[i] = newBatch(o, l, i*batchSize, plan[i])
		g.Go(func() error {
			batches[i].fill()
			return nil
		})
	}
	_ = g.Wait() // no batch returns an error
	return collect(o, batches), nil
}

func collect(o Options, batches []*batch) *Records {
	r := &Records{Options: o}
	for _, b := range batches {
		r.Patients += int(b.patients)
		r.TwoSided += b.twoSided
		for _, d := range b.defects {
			r.Defects = append(r.Defects, d.at(r))
		}
		r.operations = append(r.operations, b.operations)
		r.reoperations = append(r.reoperations, b.reoperations)
		r.complications = append(r.complications, b.complications)
		r.deaths = append(r.deaths, b.deaths)
		r.scores = append(r.scores, b.scores)
		r.contacts = append(r.contacts, b.contacts)
		r.courses = append(r.courses, b.courses)
	}
	slices.SortStableFunc(r.Defects, func(a, b Defect) int { return int(a.Kind) - int(b.Kind) })
	return r
}

func count[R any](batches [][]R) int {
	n := 0
	for _, b := range batches {
		n += len(b)
	}
	return n
}

// Episodes is the course of each reverse replacement for one of [Indications] until its first revision, with what
// happened and not only what the exports say of it. The indication is the recorded one, of which [Truth] speaks; rules
// that settle it anew from the findings make other groups. The slices have equal lengths.
type Episodes struct {
	Exit    []int32  // whole days from the operation
	Cause   []uint8  // 0 at the data cut, 1 revised, 2 died
	Group   []int32  // place in Groups
	Patient []int32  // equal for two sides of one patient
	Groups  []string // Indications()
}

const (
	causeRevised uint8 = 1
	causeDied    uint8 = 2
)

var indications = []string{"oa_deficient_cuff", "cuff_tear_arthropathy", "fracture"}

// Indications returns the codes of the three indications that the demo's plan reports on.
func Indications() []string { return slices.Clone(indications) }

// Episodes returns the true courses, in the order of the operations.
func (r *Records) Episodes() Episodes {
	n := count(r.courses)
	e := Episodes{Exit: make([]int32, 0, n), Cause: make([]uint8, 0, n), Group: make([]int32, 0, n),
		Patient: make([]int32, 0, n), Groups: Indications()}
	for _, b := range r.courses {
		for _, c := range b {
			e.Exit, e.Cause = append(e.Exit, c.exit), append(e.Cause, c.cause)
			e.Group, e.Patient = append(e.Group, int32(c.indication)), append(e.Patient, c.patient)
		}
	}
	return e
}
