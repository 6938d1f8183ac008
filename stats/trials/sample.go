package trials

// Sample is one drawn study, as an analysis gets it: one row for each shoulder, in columns of
// equal length. An analysis reads it and keeps nothing of it: the memory is used again.
type Sample struct {
	// Exit is the day, from entry, on which observation ended; Cause why: 0 for censored, 1 for the
	// event, 2 for death.
	Exit  []int32
	Cause []uint8
	// Lost says of the censored that they were lost, and not watched to the end.
	Lost []bool
	// Group is the arm, Patient the patient, Hospital and Stratum are 0 where there are none.
	Group, Patient, Hospital, Stratum []int32
	// Enter is the day of the study on which the row entered.
	Enter []int32
	// Score[v][i] is the score of row i at visit v, and means something where Seen[v][i] is true.
	Score [][]float64
	Seen  [][]bool
	// Covariate[j][i] is a covariate of the cohort that was drawn from; a Design has none.
	Covariate [][]float64

	Groups, Patients, Hospitals, Strata int
	// Bilateral says that patients may have two rows.
	Bilateral bool

	visits []int32 // days of the visits
	beyond int     // rows whose follow-up goes on for longer than anybody's in the cohort they come from
	scratch
}

// scratch is memory that analyses use again from one replicate to the next.
type scratch struct {
	table    []uint32
	x, y     []float64
	drift    []float64 // by day
	sums     []float64 // by cluster
	numbers  [][]float64
	calendar []uint32
}

// Censored, Event and Died are the causes of Sample.Cause.
const (
	Censored uint8 = iota
	Event
	Died
)

// resize gives every column n rows.
func (s *Sample) resize(n, visits, covariates int) {
	s.Exit, s.Cause, s.Lost = room(s.Exit, n), room(s.Cause, n), room(s.Lost, n)
	s.Group, s.Patient, s.Enter = room(s.Group, n), room(s.Patient, n), room(s.Enter, n)
	s.Hospital, s.Stratum = room(s.Hospital, n), room(s.Stratum, n)
	s.Score, s.Seen = room(s.Score, visits), room(s.Seen, visits)
	for v := range visits {
		s.Score[v], s.Seen[v] = room(s.Score[v], n), room(s.Seen[v], n)
	}
	s.Covariate = room(s.Covariate, covariates)
	for j := range covariates {
		s.Covariate[j] = room(s.Covariate[j], n)
	}
}

// room returns a slice of n elements, in the memory of x if there is enough.
func room[T any](x []T, n int) []T {
	if cap(x) >= n {
		return x[:n]
	}
	grown := make([]T, n)
	copy(grown, x)
	return grown
}

// Events returns the number of rows with the event.
func (s *Sample) Events() int { return s.count(Event) }

func (s *Sample) count(cause uint8) (n int) {
	for _, c := range s.Cause {
		if c == cause {
			n++
		}
	}
	return n
}

// asOf fills view with what is known on a day of the study.
func (s *Sample) asOf(day int32, view *Sample) {
	view.Groups, view.Patients, view.Hospitals, view.Strata = s.Groups, s.Patients, s.Hospitals, s.Strata
	view.Bilateral, view.visits, view.beyond = s.Bilateral, s.visits, s.beyond
	view.resize(len(s.Exit), len(s.Score), len(s.Covariate))
	n := 0
	for i, enter := range s.Enter {
		if enter >= day {
			continue
		}
		s.copyRow(i, day-enter, view, n)
		n++
	}
	view.resize(n, len(s.Score), len(s.Covariate))
}

func (s *Sample) copyRow(i int, watched int32, view *Sample, n int) {
	view.Exit[n], view.Cause[n], view.Lost[n] = s.Exit[i], s.Cause[i], s.Lost[i]
	if s.Exit[i] > watched {
		view.Exit[n], view.Cause[n], view.Lost[n] = watched, Censored, false
	}
	view.Group[n], view.Patient[n], view.Enter[n] = s.Group[i], s.Patient[i], s.Enter[i]
	view.Hospital[n], view.Stratum[n] = s.Hospital[i], s.Stratum[i]
	for v := range s.Score {
		view.Score[v][n] = s.Score[v][i]
		view.Seen[v][n] = s.Seen[v][i] && s.visits[v] <= watched
	}
	for j := range s.Covariate {
		view.Covariate[j][n] = s.Covariate[j][i]
	}
}
