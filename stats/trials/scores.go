package trials

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Scores are measured at visits; the first visit is the baseline. At each visit scores are normal
// with the mean of the arm and the SD of the visit.
type Scores struct {
	Visits []int32     // days from entry, rising
	Mean   [][]float64 // by arm, by visit
	SD     []float64   // by visit
	// Correlation of the visits of one shoulder; see EqualCorrelation and FadingCorrelation.
	Correlation [][]float64
	// Shoulders is the correlation of a patient's two shoulders, in what is left between them once
	// the hospital is known; Hospital is the share of the variance that lies between hospitals.
	Shoulders, Hospital float64
	Missing             Missing
}

// Missing says which scores are not there. The log odds that a score is missing are those of its
// Share, plus Known for each SD by which the last score that was seen lies above the mean of the first
// arm at its visit, plus Unknown for each SD by which the score itself does: with both 0 scores are missing
// completely at random, with Unknown 0 at random given what was seen, otherwise not at random.
type Missing struct {
	Share          []float64 // by visit; nil: none
	Known, Unknown float64
	// Dropout says that after a missing score none follows.
	Dropout bool
}

// EqualCorrelation is r between any two visits.
func EqualCorrelation(visits int, r float64) [][]float64 {
	return correlation(visits, func(int) float64 { return r })
}

// FadingCorrelation is r between neighbouring visits, r² between the next, and so on.
func FadingCorrelation(visits int, r float64) [][]float64 {
	return correlation(visits, func(apart int) float64 { return math.Pow(r, float64(apart)) })
}

func correlation(visits int, at func(apart int) float64) [][]float64 {
	out := make([][]float64, visits)
	for i := range out {
		out[i] = make([]float64, visits)
		for j := range out[i] {
			if out[i][j] = 1; i != j {
				out[i][j] = at(max(i-j, j-i))
			}
		}
	}
	return out
}

func (s *Scores) check(arms int) error {
	if s == nil {
		return nil
	}
	if len(s.Visits) == 0 {
		return impossible("number of visits", 0, "1 or more", "")
	}
	before := int32(-1)
	for v, day := range s.Visits {
		if day <= before {
			return impossible(fmt.Sprintf("day of visit %d", v+1), day, fmt.Sprintf("after %d", before), "give the visits in their order")
		}
		before = day
	}
	return first(s.checkMeans(arms), s.checkSpread(), s.checkMissing())
}

func (s *Scores) checkMeans(arms int) error {
	if len(s.Mean) != arms {
		return impossible("number of arms with mean scores", len(s.Mean), fmt.Sprint(arms), "")
	}
	for a, m := range s.Mean {
		if len(m) != len(s.Visits) {
			return impossible(fmt.Sprintf("number of mean scores of arm %d", a+1), len(m), fmt.Sprint(len(s.Visits)), "")
		}
		for v, x := range m {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				return impossible(fmt.Sprintf("mean of arm %d at visit %d", a+1, v+1), x, "a finite number", "")
			}
		}
	}
	return nil
}

func (s *Scores) checkSpread() error {
	if len(s.SD) != len(s.Visits) {
		return impossible("number of standard deviations", len(s.SD), fmt.Sprint(len(s.Visits)), "")
	}
	for v, sd := range s.SD {
		if !(sd > 0) || math.IsInf(sd, 0) {
			return impossible(fmt.Sprintf("standard deviation at visit %d", v+1), sd, "above 0", "")
		}
	}
	if _, err := s.factor(); err != nil {
		return err
	}
	return first(share("correlation of a patient's shoulders", s.Shoulders), share("share of variance between hospitals", s.Hospital))
}

func (s *Scores) checkMissing() error {
	m := s.Missing
	if m.Share == nil {
		return nil
	}
	if len(m.Share) != len(s.Visits) {
		return impossible("number of missing shares", len(m.Share), fmt.Sprint(len(s.Visits)), "")
	}
	for v, p := range m.Share {
		if !(p >= 0 && p < 1) {
			return impossible(fmt.Sprintf("share missing at visit %d", v+1), p, "0 or more and below 1", "")
		}
	}
	return nil
}

// factor is the lower triangle L with L Lᵀ the correlation, or says why there is none.
func (s *Scores) factor() ([][]float64, error) {
	n := len(s.Visits)
	if len(s.Correlation) != n {
		return nil, impossible("rows of the correlation of visits", len(s.Correlation), fmt.Sprint(n), "")
	}
	l := make([][]float64, n)
	for i, row := range s.Correlation {
		if len(row) != n {
			return nil, impossible(fmt.Sprintf("columns of the correlation of visit %d", i+1), len(row), fmt.Sprint(n), "")
		}
		l[i] = make([]float64, n)
		for j := range i + 1 {
			if err := s.checkPair(i, j); err != nil {
				return nil, err
			}
			rest := row[j]
			for k := range j {
				rest -= float64(l[i][k] * l[j][k])
			}
			if i != j {
				l[i][j] = rest / l[j][j]
				continue
			}
			if rest < 1e-12 {
				return nil, impossible("correlations of visits", "a set that no scores can have", "a positive definite matrix", "bring the correlations closer to one another")
			}
			l[i][i] = math.Sqrt(rest)
		}
	}
	return l, nil
}

func (s *Scores) checkPair(i, j int) error {
	r := s.Correlation[i][j]
	switch {
	case i == j && r != 1:
		return impossible(fmt.Sprintf("correlation of visit %d with itself", i+1), r, "1", "")
	case !(r > -1 && r < 1) && i != j:
		return impossible(fmt.Sprintf("correlation of visits %d and %d", j+1, i+1), r, "above -1 and below 1", "")
	case r != s.Correlation[j][i]:
		return impossible(fmt.Sprintf("correlation of visits %d and %d", i+1, j+1), r, fmt.Sprintf("%v, as the other way round", s.Correlation[j][i]), "")
	}
	return nil
}

// normals fills z with standard normal scores of one subject, correlated over visits by l.
func normals(r *rand.Rand, l [][]float64, raw, z []float64) {
	for v := range raw {
		raw[v] = r.NormFloat64()
	}
	for v := range z {
		sum := 0.0
		for k := range v + 1 {
			sum += float64(l[v][k] * raw[k])
		}
		z[v] = sum
	}
}

// scorer draws the scores of a design.
type scorer struct {
	*Scores
	l        [][]float64
	raw      []float64
	own      []float64
	shared   []float64
	hospital []float64
	odds     []float64 // log odds of being missing, by visit
}

func (s *Scores) newScorer(hospitals int) *scorer {
	l, err := s.factor()
	if err != nil {
		panic(err) // checked before anything is drawn
	}
	n := len(s.Visits)
	out := &scorer{Scores: s, l: l, raw: make([]float64, n), own: make([]float64, n), shared: make([]float64, n), hospital: make([]float64, hospitals)}
	for _, p := range s.Missing.Share {
		out.odds = append(out.odds, math.Log(p/(1-p)))
	}
	return out
}

// start draws what the patients of each hospital share.
func (s *scorer) start(r *rand.Rand) {
	for h := range s.hospital {
		s.hospital[h] = r.NormFloat64()
	}
}

// patient draws what the shoulders of one patient share.
func (s *scorer) patient(r *rand.Rand) {
	if s.Shoulders > 0 {
		normals(r, s.l, s.raw, s.shared)
	}
}

// row draws the scores of a row that was watched until its exit.
func (s *scorer) row(r *rand.Rand, out *Sample, i int) {
	normals(r, s.l, s.raw, s.own)
	ended, last := false, 0.0
	for v := range s.Visits {
		z := s.own[v]
		if s.Shoulders > 0 {
			z = float64(math.Sqrt(s.Shoulders)*s.shared[v]) + float64(math.Sqrt(1-s.Shoulders)*z)
		}
		if s.Hospital > 0 && len(s.hospital) > 0 {
			z = float64(math.Sqrt(s.Hospital)*s.hospital[out.Hospital[i]]) + float64(math.Sqrt(1-s.Hospital)*z)
		}
		out.Score[v][i] = s.Mean[out.Group[i]][v] + float64(s.SD[v]*z)
		z += (s.Mean[out.Group[i]][v] - s.Mean[0][v]) / s.SD[v]
		missing := s.missing(r, v, last, z)
		ended = ended || missing && s.Missing.Dropout
		seen := !missing && !ended && s.Visits[v] <= out.Exit[i]
		if out.Seen[v][i] = seen; seen {
			last = z
		}
	}
}

func (s *scorer) missing(r *rand.Rand, v int, last, now float64) bool {
	if s.odds == nil {
		return false
	}
	u := r.Float64()
	odds := s.odds[v] + float64(s.Missing.Known*last) + float64(s.Missing.Unknown*now)
	return u < 1/(1+math.Exp(-odds))
}
