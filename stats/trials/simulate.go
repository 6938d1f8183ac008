package trials

import (
	"runtime"

	"deltoid/stats/covariates"
	"deltoid/stats/random"
)

// Simulate draws studies from a source and runs a test on each. Replicate i is drawn from the
// stream (seed, "study", i), and the number of replicates is decided batch by batch from the
// results alone, so that the same seed gives the same result on any number of processors. Two
// sources with one seed share their random numbers, so that their difference is more certain than
// either.
//
// The error is an *Impossible.
func Simulate(source Source, test Test, o Options) (*Result, error) {
	o, boundary, err := prepare(source, o)
	if err != nil {
		return nil, err
	}
	s := &simulation{source: source, test: test, Options: o, end: source.Length(), boundary: boundary}
	s.workers = make([]*worker, runtime.GOMAXPROCS(0))
	for !s.done() {
		s.batch()
	}
	return s.result(), nil
}

// Check says what would keep studies from being simulated, without drawing any; nil if nothing would. The
// error is an *Impossible.
func Check(source Source, o Options) error {
	_, _, err := prepare(source, o)
	return err
}

// prepare fills in the options and works out the limits of the looks.
func prepare(source Source, o Options) (Options, *Boundary, error) {
	o, err := o.normal()
	if err = first(err, source.Check()); err != nil || o.Looks == nil {
		return o, nil, err
	}
	if err := o.Looks.fits(source); err != nil {
		return o, nil, err
	}
	b, err := o.Looks.boundary(o.Level, o.Sides)
	return o, b, err
}

type simulation struct {
	Options
	source   Source
	test     Test
	end      int32
	boundary *Boundary
	workers  []*worker
	outcomes []outcome
	held     []held // by replicate, by look
	found    int
}

// worker is the memory of one goroutine.
type worker struct {
	artist
	sample, view Sample
	days         []int32
}

func (s *simulation) looks() int {
	if s.boundary == nil {
		return 0
	}
	return len(s.boundary.Limit)
}

// done says whether the replicates drawn so far are enough.
func (s *simulation) done() bool {
	n := len(s.outcomes)
	return n >= s.Most || n > 0 && s.certain()
}

func (s *simulation) certain() bool {
	return s.Error > 0 && monteCarlo(s.found, len(s.outcomes)) <= s.Error
}

// perJob is how many replicates a goroutine takes at a time.
const perJob = 16

func (s *simulation) batch() {
	from := len(s.outcomes)
	n := min(s.Batch, s.Most-from)
	s.outcomes = append(s.outcomes, make([]outcome, n)...)
	s.held = append(s.held, make([]held, n*s.looks())...)
	covariates.InParallel((n+perJob-1)/perJob, func(w, job int) {
		if s.workers[w] == nil {
			s.workers[w] = &worker{artist: s.source.artist(), days: make([]int32, s.looks())}
		}
		for i := from + job*perJob; i < min(from+n, from+(job+1)*perJob); i++ {
			s.replicate(s.workers[w], i)
		}
	})
	for i := from; i < from+n; i++ {
		if s.counts(s.outcomes[i].found) {
			s.found++
		}
	}
}

// counts says whether finding an effect on a side is what the study was for.
func (s *simulation) counts(found int8) bool {
	if s.Sides == 2 {
		return found != 0
	}
	return found == s.side()
}

// side is the sign of Z on the better side.
func (o Options) side() int8 {
	if o.Better == Higher {
		return 1
	}
	return -1
}

func (s *simulation) replicate(w *worker, i int) {
	w.draw(random.Stream(s.Seed, "study", uint64(i)), &w.sample)
	out := &s.outcomes[i]
	if s.boundary == nil {
		out.verdict = s.test.Run(&w.sample)
		out.found = s.decide(out.verdict)
		out.measure(&w.sample, s.end)
		return
	}
	out.short = !s.Looks.days(&w.sample, s.end, w.days)
	at := s.held[i*s.looks() : (i+1)*s.looks()]
	last := s.looks() - 1
	for k, day := range w.days {
		// A look that had to wait for the end is the last one.
		if k < last && day == s.end && w.days[last] == s.end {
			continue
		}
		w.sample.asOf(day, &w.view)
		out.verdict, out.look = s.test.Run(&w.view), int32(k)
		at[k] = held{day, int32(w.view.Events()), w.view.patients()}
		if out.found = s.crossed(out.verdict, s.boundary.Limit[k]); out.found != 0 && (s.Sides == 2 || out.found == s.side()) {
			break
		}
	}
	out.measure(&w.view, w.days[out.look])
}

// decide holds the verdict of a study without looks against the level.
func (s *simulation) decide(v Verdict) int8 {
	level := s.Level
	if s.Sides == 1 {
		level *= 2
	}
	switch {
	case v.Reason != "" || v.P > level:
		return 0
	case v.Z < 0:
		return -1
	}
	return 1
}

// crossed holds a verdict against the limit of a look.
func (s *simulation) crossed(v Verdict, limit float64) int8 {
	switch {
	case v.Reason != "":
		return 0
	case v.Z >= limit:
		return 1
	case v.Z <= -limit:
		return -1
	}
	return 0
}

func (o *outcome) measure(s *Sample, day int32) {
	o.day, o.rows, o.patients = day, int32(len(s.Exit)), s.patients()
	for i, c := range s.Cause {
		o.person += int64(s.Exit[i])
		switch c {
		case Event:
			o.events++
		case Died:
			o.deaths++
		}
		if s.Lost[i] {
			o.lost++
		}
	}
	o.beyond = int32(s.beyond)
	if v := len(s.Seen); v > 0 {
		for _, seen := range s.Seen[v-1] {
			if seen {
				o.seen++
			}
		}
	}
}

// patients counts the patients of the rows; those of one patient stand together.
func (s *Sample) patients() (n int32) {
	for i, p := range s.Patient {
		if i == 0 || p != s.Patient[i-1] {
			n++
		}
	}
	return n
}
