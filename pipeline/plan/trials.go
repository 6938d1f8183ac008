package plan

import (
	"strconv"

	"go.yaml.in/yaml/v3"

	"deltoid/stats/trials"
)

// Simulated is one study of a plan for power that no formula answers: it is drawn many times. Times are years, shares are of 1.
type Simulated struct {
	ID, Place             string
	Outcome, Measured     string
	Groups                [2]string
	Patients              int     // 0: looked for
	Power                 float64 // 0: looked for
	Significance          float64
	Sides                 int
	Better                trials.Direction // the side that counts with one side, and on which the smallest effect is looked for
	Allocation            float64          // patients in the second group for each one in the first
	Curve                 []ShareBy        // of the first group with the event, in order
	Ratios                []RatioFrom      // hazard ratio of the second group, in order; empty: looked for
	Deaths, Loss          float64          // shares within a year
	Recruitment, FollowUp float64
	FollowedFor           float64 // 0: until the study ends
	Pattern               string
	BothShoulders         float64
	Dependence            trials.Dependence
	Treated               trials.Sides
	Hospitals             trials.Hospitals
	Scores                *SimulatedScores
	Test                  string
	Margin, Horizon       float64
	Looks                 *SimulatedLooks
	Error                 float64 // Monte-Carlo error of the power that is small enough; 0: all replicates
	Replicates            int
	Seed                  uint64
	Threshold             float64 // of a responder
}

// ShareBy is the share with the event by a time, if nothing else happened.
type ShareBy struct{ By, Share float64 }

// RatioFrom is the hazard ratio from a time on.
type RatioFrom struct{ From, Ratio float64 }

// SimulatedLooks are looks at the study while it goes on.
type SimulatedLooks struct {
	Schedule trials.Schedule
	At       []int32
	Shape    trials.Shape
}

// SimulatedScores are scores at visits; the first visit is the baseline.
type SimulatedScores struct {
	Visits        []float64
	First, Second []float64 // means
	SD            []float64
	Correlation   float64
	Fading        bool // the correlation is of neighbouring visits, and fades with each further one
	Shoulders     float64
	Hospital      float64
	Missing       trials.Missing
}

// The tests of a simulated study, in the order of the documentation. The first of each kind is the usual one.
var (
	testsOfFollowUp = []string{"log-rank", "weighted late", "weighted early", "Cox", "Gray", "Fine and Gray", "restricted mean", "rate ratio", "shares"}
	testsOfScores   = []string{"adjusted scores", "scores", "changes", "responders"}
	limitNames      = []string{"Pocock", "O'Brien-Fleming", "spending like Pocock", "spending like O'Brien-Fleming"}
	copulaNames     = []string{"Clayton", "Gaussian"}
)

// The usual choices of a simulated study.
const (
	usualReplicates = 10_000
	fewestDrawn     = 100
	mostDrawn       = 1_000_000
	mostSimulated   = 1_000_000 // patients
)

// dial is one number of a simulated study: its key, what it is, where it lies, and where it goes.
type dial struct {
	key, words string
	low, high  float64
	in         bool // low itself is possible
	to         func(s *Simulated) *float64
}

var dials = []dial{
	{"power", "power that is asked for; left out, it is what is looked for", 0, 1, false, func(s *Simulated) *float64 { return &s.Power }},
	{"significance", "level of the test, of both sides together; usual: 0.05", 0, 0.5, false, func(s *Simulated) *float64 { return &s.Significance }},
	{"allocation", "patients in the second group for each one in the first; usual: 1", 0, 1000, false, func(s *Simulated) *float64 { return &s.Allocation }},
	{"margin", "hazard ratio that has to be excluded, for non-inferiority; with Cox or Fine and Gray", 0, 100, false, func(s *Simulated) *float64 { return &s.Margin }},
	{"horizon", "years up to which mean times, or shares with the event, are compared", 0, 100, false, func(s *Simulated) *float64 { return &s.Horizon }},
	{"deaths", "share of the patients who die within a year; 0 when nobody dies", 0, 1, true, func(s *Simulated) *float64 { return &s.Deaths }},
	{"loss", "share lost to follow-up within a year; 0 when nobody is lost", 0, 1, true, func(s *Simulated) *float64 { return &s.Loss }},
	{"recruitment", "years of recruitment; 0 when all enter at once", 0, 100, true, func(s *Simulated) *float64 { return &s.Recruitment }},
	{"follow_up", "years of follow-up after recruitment has ended", 0, 100, true, func(s *Simulated) *float64 { return &s.FollowUp }},
	{"followed_for", "years after which each shoulder leaves; left out, each is followed until the study ends", 0, 100, false, func(s *Simulated) *float64 { return &s.FollowedFor }},
	{"both_shoulders", "share of the patients with both shoulders in; usual: 0", 0, 1, true, func(s *Simulated) *float64 { return &s.BothShoulders }},
	{"concordance", "Kendall's tau of the times of a patient's two shoulders; usual: 0", -1, 1, false, func(s *Simulated) *float64 { return &s.Dependence.Tau }},
	{"hospital_variance", "variance between hospitals of what multiplies the hazard; usual: 0", 0, 100, true, func(s *Simulated) *float64 { return &s.Hospitals.Frailty }},
	{"threshold", "rise of the score that makes a responder; below 0 a fall", -1e6, 1e6, false, func(s *Simulated) *float64 { return &s.Threshold }},
	{"error", "Monte-Carlo error of the power that is small enough to stop; left out, all replicates are drawn", 0, 0.5, false, func(s *Simulated) *float64 { return &s.Error }},
}

// choosing is one word of a simulated study.
type choosing struct {
	key, words string
	among      []string
	take       func(s *Simulated, at int)
}

var choosings = []choosing{
	{"better", "side that counts with one side, and on which the smallest effect is looked for; usual: lower of hazards, higher of scores", []string{"lower", "higher"}, func(s *Simulated, at int) { s.Better = trials.Direction(at) }},
	{"pattern", "how recruitment goes; usual: even", []string{"even", "rising", "falling"}, func(s *Simulated, at int) { s.Pattern = []string{"even", "rising", "falling"}[at] }},
	{"copula", "how the times of two shoulders hang together; usual: Clayton", copulaNames, func(s *Simulated, at int) { s.Dependence.Copula = trials.Copula(at + 1) }},
	{"treated", "both shoulders of a patient alike, in one group, or apart, one in each; usual: alike", []string{"alike", "apart"}, func(s *Simulated, at int) { s.Treated = trials.Sides(at) }},
	{"allocated", "who is allocated to the groups; usual: patients", []string{"patients", "hospitals"}, func(s *Simulated, at int) { s.Hospitals.Allocated = at == 1 }},
}

var simulatedKeys = []string{"id", "outcome", "groups", "measured", "patients", "sides", "first", "at", "curve", "hazard_ratio", "hazard_ratios", "hospitals", "test", "looks",
	"scores", "replicates", "seed"}

func keysOfSimulated() []string {
	keys := append([]string(nil), simulatedKeys...)
	for _, d := range dials {
		keys = append(keys, d.key)
	}
	for _, c := range choosings {
		keys = append(keys, c.key)
	}
	return keys
}

// simulatedStudies reads the studies that are drawn.
func (r *reader) simulatedStudies(n *yaml.Node, designs []Planned) []Simulated {
	var list []Simulated
	lines := map[string]bool{}
	for _, d := range designs {
		lines[d.ID] = true
	}
	for _, node := range r.entries(n, "simulated") {
		s := r.simulated(node)
		if s.ID != "" && lines[s.ID] {
			r.wrong(node, "two studies have the id "+quote(s.ID), "each id once, of designs and of simulated studies", "add or change an \"id\"")
		}
		lines[s.ID] = true
		list = append(list, s)
	}
	return list
}

func (r *reader) simulated(n *yaml.Node) Simulated {
	out := Simulated{Place: r.place(n), Significance: defaultSignificance, Sides: 2, Allocation: 1, Pattern: "even", Replicates: usualReplicates, Seed: firstSeed}
	s := r.section(n, "a simulated study", keysOfSimulated()...)
	before := len(r.faults)
	words := Planned{Outcome: defaultOutcome, Measured: defaultMeasured, Groups: defaultGroups}
	r.wordsOf(section{r: r, node: s.node, name: s.name, values: pick(s.values, "id", "outcome", "groups", "measured")}, &words)
	out.ID, out.Outcome, out.Measured, out.Groups = words.ID, words.Outcome, words.Measured, words.Groups
	if out.ID == "" && s.need("id", "name the study, as in \"id: with-looks\"") == nil {
		out.ID = ""
	}
	out.Better = trials.Lower
	if s.values["scores"] != nil {
		out.Better = trials.Higher
	}
	for _, d := range dials {
		r.turn(s, d, &out)
	}
	for _, c := range choosings {
		r.choose(s, c, &out)
	}
	r.wholes(s, &out)
	r.hazards(s, &out)
	if v := s.values["scores"]; v != nil {
		out.Scores = r.scoresOf(v)
	}
	if v := s.values["looks"]; v != nil {
		out.Looks = r.looks(v)
	}
	r.testOf(s, &out)
	if len(r.faults) == before {
		r.possible(s, &out)
	}
	return out
}

func pick(values map[string]*yaml.Node, keys ...string) map[string]*yaml.Node {
	out := map[string]*yaml.Node{}
	for _, k := range keys {
		if v := values[k]; v != nil {
			out[k] = v
		}
	}
	return out
}

// turn reads one number.
func (r *reader) turn(s section, d dial, out *Simulated) {
	v := s.values[d.key]
	if v == nil {
		return
	}
	low := "above "
	if d.in {
		low = "from "
	}
	allowed := "a number " + low + number(d.low) + " and below " + number(d.high)
	x, ok := r.number(v, d.key, allowed)
	if !ok {
		return
	}
	if !(x > d.low || d.in && x == d.low) || !(x < d.high || d.key == "both_shoulders" && x == d.high) {
		r.malformed(v, d.key+" is "+cut(v.Value), allowed, "correct the value: "+d.words)
		return
	}
	*d.to(out) = x
}

func (r *reader) choose(s section, c choosing, out *Simulated) {
	if v := s.values[c.key]; v != nil {
		word, ok := r.choice(v, c.key, c.among)
		for i, w := range c.among {
			if ok && w == word {
				c.take(out, i)
			}
		}
	}
}

// wholes reads the whole numbers.
func (r *reader) wholes(s section, out *Simulated) {
	count := func(key string, least, most int, to *int) {
		v := s.values[key]
		if v == nil {
			return
		}
		allowed := "a whole number from " + strconv.Itoa(least) + " to " + strconv.Itoa(most)
		n, ok := r.whole(v, key, least, allowed)
		if ok && n > most {
			r.malformed(v, key+" is "+cut(v.Value), allowed, "write a number that is allowed")
			return
		}
		*to = n
	}
	count("patients", 2, mostSimulated, &out.Patients)
	count("sides", 1, 2, &out.Sides)
	count("hospitals", 0, 100_000, &out.Hospitals.Number)
	count("replicates", fewestDrawn, mostDrawn, &out.Replicates)
	seed := int(out.Seed)
	count("seed", 0, 1_000_000, &seed)
	out.Seed = uint64(seed)
}

// testOf reads the test, or takes the usual one.
func (r *reader) testOf(s section, out *Simulated) {
	tests := testsOfFollowUp
	if out.Scores != nil || s.values["scores"] != nil {
		tests = testsOfScores
	}
	out.Test = tests[0]
	if v := s.values["test"]; v != nil {
		all := append(append([]string(nil), testsOfFollowUp...), testsOfScores...)
		word, ok := r.choice(v, "test", all)
		if !ok {
			return
		}
		out.Test = word
		for _, t := range tests {
			if t == word {
				return
			}
		}
		r.wrong(v, "the test "+quote(word)+" does not go with what is studied", join(tests), "write one of the words allowed")
	}
}
