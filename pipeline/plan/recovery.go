package plan

import (
	"slices"
	"strconv"

	"go.yaml.in/yaml/v3"

	"deltoid/cohorts"
	"deltoid/schemas"
)

// Scored is what an analysis of scores asks for.
type Scored struct {
	Instrument string
	Before     string   // id of the visit before the operation; empty where the state alone is asked about
	Visits     []string // ids of the visits after it, in order of time
	Thresholds []Threshold
	Revised    Ruling // what becomes of a shoulder that was revised before the visit
	Died       Ruling // and of one whose patient died before it
	Anchor     *Anchor
	Acceptable *Acceptable
	// Reliability is that of one score, from 0 to 1; 0 when the plan does not say.
	Reliability float64
	Cuts        []float64 // of agreement: the scores at which categories begin
	Positive    *Positive // of discrimination: which shoulders are to be found
}

// Threshold is what a shoulder must reach to count as improved, or as well. Exactly one of Points, State, Published and
// Derived is set. There is none by default: published thresholds of one score differ by more than half.
type Threshold struct {
	Points    float64 // of improvement
	State     float64 // score to be reached at the visit
	IsState   bool
	Reason    string // why Points or State was chosen
	Published string // id of a published threshold
	Derived   string // id of an analysis of the kind thresholds before this one
	Of        Benefit
	Method    ThresholdMethod
	Place     string // file:line in the plan
}

// Benefit is which threshold of an analysis of thresholds is meant.
type Benefit string

// The benefits.
const (
	Minimal     Benefit = "minimal"     // minimal clinically important difference
	Substantial Benefit = "substantial" // substantial clinical benefit
	Accepted    Benefit = "acceptable"  // patient acceptable symptom state
)

// ThresholdMethod is how a threshold was found.
type ThresholdMethod string

// The methods by which an own threshold may be chosen.
const (
	MeanChange         ThresholdMethod = "mean change"
	MeanDifference     ThresholdMethod = "difference of mean changes"
	Youden             ThresholdMethod = "Youden"
	ClosestToCorner    ThresholdMethod = "closest to corner"
	Predictive         ThresholdMethod = "predictive"
	PredictiveAdjusted ThresholdMethod = "predictive adjusted"
	PredictiveReliable ThresholdMethod = "predictive reliable"
	Quartile           ThresholdMethod = "quartile of acceptable"
	HalfSD             ThresholdMethod = "half a standard deviation"
	Detectable95       ThresholdMethod = "smallest detectable change"
)

var thresholdMethods = []ThresholdMethod{MeanChange, MeanDifference, Youden, ClosestToCorner, Predictive, PredictiveAdjusted, PredictiveReliable, Quartile,
	HalfSD, Detectable95}

// Ruling says how a shoulder counts whose score cannot be had any more.
type Ruling string

// The rulings.
const (
	NotImproved Ruling = "not improved"
	LeftOut     Ruling = "left out"
	Missing     Ruling = "missing" // as one that was not assessed
)

var rulings = []Ruling{NotImproved, LeftOut, Missing}

// Anchor is a question about change and what its answers mean.
type Anchor struct {
	Instrument                      string
	Unchanged, Minimal, Substantial int // values of the answers; Substantial is that which means a substantial benefit
	HasSubstantial                  bool
	Reliability                     float64 // of the answers, from 0 to 1; 0 when the plan does not say
	Floor                           float64 // least rank correlation with the change that supports a threshold
}

// Acceptable is a question about the state, and the lowest answer that calls it acceptable.
type Acceptable struct {
	Instrument  string
	From        int
	Reliability float64 // of the answers, from 0 to 1; 0 when the plan does not say
	Floor       float64 // least rank correlation with the score that supports a threshold
}

// thresholdReplicates is how often patients are drawn again when the plan does not say; defaultFloor is the least correlation
// of an anchor with the change, after Revicki and others 2008.
const (
	thresholdReplicates = 1000
	defaultFloor        = 0.3
)

// aboutScores reports whether a kind is about scores and takes the keys below.
func (k Kind) aboutScores() bool {
	return slices.Contains([]Kind{Recovery, ThresholdsKind, RepeatedScores, WithinPatient, Agreement, Discrimination}, k)
}

// Visit returns the visit with an id, or nil.
func (p *Plan) Visit(id string) *cohorts.Window {
	for i := range p.Visits {
		if p.Visits[i].ID == id {
			return &p.Visits[i]
		}
	}
	return nil
}

// scored reads the keys of the kinds that are about scores.
func (r *reader) scored(s section, a *Analysis) {
	w := &a.Scores
	if a.Kind.aboutScores() {
		w.Revised, w.Died = NotImproved, LeftOut
		if a.Kind == ThresholdsKind {
			a.Replicates, a.Seed = thresholdReplicates, defaultSeed
			r.resampling(s, a)
		}
	}
	if v := s.values["instrument"]; v != nil {
		w.Instrument = r.instrument(v, "instrument", false)
	}
	r.whichVisits(s, a)
	if v := s.values["thresholds"]; v != nil {
		for _, entry := range r.entries(v, "thresholds") {
			w.Thresholds = append(w.Thresholds, r.threshold(entry, a))
		}
	}
	r.ruling(s, "revised", &w.Revised)
	r.ruling(s, "died", &w.Died)
	if v := s.values["anchor"]; v != nil {
		w.Anchor = r.anchor(v)
	}
	if v := s.values["acceptable"]; v != nil {
		w.Acceptable = r.acceptable(v)
	}
	if v := s.values["reliability"]; v != nil {
		w.Reliability = r.share(v, "reliability")
	}
	r.fitScores(s, a)
}

// instrument reads an instrument of the scores; a question is one with words for answers.
func (r *reader) instrument(n *yaml.Node, name string, question bool) string {
	code, ok := r.code(n, name)
	scores := r.tables["scores"]
	if !ok {
		return ""
	}
	if scores == nil {
		if len(r.tables) > 0 {
			r.wrong(n, name+" is "+quote(code)+", but no export holds scores", "a table scores under exports", "add the table, or remove the analysis")
		}
		return code
	}
	if !r.hasCode(n, scores.field("instrument")) {
		return ""
	}
	i, known := schemas.InstrumentOf(code)
	switch {
	case known && question && !i.IsQuestion():
		r.wrong(n, quote(code)+" is a score, not a question with a few answers", join(questions(true)), "name the question that patients were asked")
		return ""
	case known && !question && i.IsQuestion():
		r.wrong(n, quote(code)+" is a question with a few answers, not a score", join(questions(false)), "name a score")
		return ""
	}
	return code
}

// questions lists the instruments that are questions, or those that are scores.
func questions(question bool) (codes []string) {
	for _, i := range schemas.Instruments() {
		if i.IsQuestion() == question {
			codes = append(codes, i.Code)
		}
	}
	return codes
}

// whichVisits reads which visits are compared: without a word, the only one before the operation with all after it.
func (r *reader) whichVisits(s section, a *Analysis) {
	w := &a.Scores
	if v := s.values["before"]; v != nil {
		if visit := r.visitNamed(v, "before"); visit != nil {
			w.Before = visit.ID
			if visit.To > 0 {
				r.wrong(v, "the visit "+quote(visit.Label)+" may be after the operation", "a visit whose window ends on the day of the operation", "name a visit before it")
			}
		}
	} else if a.Kind.aboutScores() && a.Kind != Agreement && a.Kind != Discrimination {
		for _, visit := range r.plan.Visits {
			if visit.To <= 0 {
				w.Before = visit.ID
			}
		}
	}
	if v := s.values["visits"]; v != nil {
		for _, node := range r.distinct(r.entries(v, "visits of an analysis"), "visits of an analysis") {
			if visit := r.visitNamed(node, "an entry of visits"); visit != nil {
				w.Visits = append(w.Visits, visit.ID)
				if visit.To <= 0 && a.Kind != Agreement {
					r.wrong(node, "the visit "+quote(visit.Label)+" is before the operation", "a visit after it", "name it under before")
				}
			}
		}
		return
	}
	if a.Kind.aboutScores() {
		for _, visit := range r.plan.Visits {
			if visit.From > 0 {
				w.Visits = append(w.Visits, visit.ID)
			}
		}
	}
}

func (r *reader) visitNamed(n *yaml.Node, name string) *cohorts.Window {
	label, ok := r.code(n, name)
	if !ok {
		return nil
	}
	var labels []string
	for i := range r.plan.Visits {
		if r.plan.Visits[i].Label == label {
			return &r.plan.Visits[i]
		}
		labels = append(labels, r.plan.Visits[i].Label)
	}
	if len(labels) > 0 {
		what, allowed, remedy := unknown("visit", label, labels, "describe it under visits")
		r.wrong(n, what, allowed, remedy)
	}
	return nil
}

// threshold reads what has to be reached. Whatever it is, the plan says where it comes from.
func (r *reader) threshold(n *yaml.Node, a *Analysis) Threshold {
	t := Threshold{Place: r.place(n)}
	s := r.section(n, "a threshold", "points", "state", "reason", "published", "derived", "of", "method")
	given := 0
	for _, key := range []string{"points", "state", "published", "derived"} {
		if s.values[key] != nil {
			given++
		}
	}
	if given != 1 && n.Kind == yaml.MappingNode {
		r.malformed(n, "a threshold has "+strconv.Itoa(given)+" of points, state, published and derived", "one of the four", "keep the one that is meant")
	}
	if v := s.values["points"]; v != nil {
		const allowed = "a number of points of improvement, above 0"
		x, ok := r.number(v, "points", allowed)
		if ok && !(x > 0) {
			r.malformed(v, "points is "+cut(v.Value), allowed, "write how many points better counts, whichever way the scale runs")
		}
		t.Points = x
	}
	if v := s.values["state"]; v != nil {
		t.State, _ = r.number(v, "state", "a score")
		t.IsState = true
		r.onScale(v, a.Scores.Instrument, t.State)
	}
	r.thresholdReason(s, &t)
	if v := s.values["published"]; v != nil {
		t.Published = r.published(v, a.Scores.Instrument)
		p, _ := schemas.PublishedOf(t.Published)
		t.IsState = p.Of == "state"
	}
	if v := s.values["derived"]; v != nil {
		r.derived(v, s, &t, a)
	}
	for _, key := range []string{"of", "method"} {
		if v := s.values[key]; v != nil && s.values["derived"] == nil {
			r.malformed(v, key+" stands without derived", key+" with a threshold that is derived", "remove the key")
		}
	}
	return t
}

func (r *reader) thresholdReason(s section, t *Threshold) {
	number := s.values["points"] != nil || s.values["state"] != nil
	if v := s.values["reason"]; v != nil {
		t.Reason, _ = r.text(v, "reason")
		if !number {
			r.malformed(v, "reason stands without points or state", "reason with a number of the plan's own", "remove the key")
		}
	} else if number {
		r.malformed(s.node, "a threshold is a number without a reason", "a reason with each number", "add \"reason: …\": who found it, in whom, and how")
	}
}

// onScale reports a score that the instrument cannot give.
func (r *reader) onScale(n *yaml.Node, instrument string, x float64) {
	if i, ok := schemas.InstrumentOf(instrument); ok && (x < i.Minimum || x > i.Maximum) {
		r.wrong(n, "state is "+cut(n.Value)+", which "+i.Title+" cannot give", "from "+number(i.Minimum)+" to "+number(i.Maximum),
			"write a score on the scale that deltoid takes")
	}
}

// published looks up a published threshold. Those that were not read at their source are no choice.
func (r *reader) published(n *yaml.Node, instrument string) string {
	id, ok := r.code(n, "published")
	if !ok || instrument == "" {
		return ""
	}
	var offered []string
	for _, p := range schemas.PublishedFor(instrument) {
		if p.Offered() {
			offered = append(offered, p.ID)
		}
	}
	if slices.Contains(offered, id) {
		return id
	}
	if p, known := schemas.PublishedOf(id); known && p.Instrument == instrument {
		r.wrong(n, quote(id)+" cannot be chosen: it is a range, or nobody has read it at its source", orNoThreshold(offered), "name another one, or give its points with your reason")
		return ""
	}
	what, allowed, remedy := unknown("published threshold", id, offered, "name one that is listed, or give points and a reason")
	if len(offered) == 0 {
		allowed = orNoThreshold(nil)
	}
	r.wrong(n, what+" of "+quote(instrument), allowed, remedy)
	return ""
}

func orNoThreshold(offered []string) string {
	if len(offered) == 0 {
		return "none: no published threshold of this instrument is listed"
	}
	return join(offered)
}

// derived reads which threshold of an analysis before this one is meant.
func (r *reader) derived(n *yaml.Node, s section, t *Threshold, a *Analysis) {
	id, ok := r.code(n, "derived")
	if !ok {
		return
	}
	t.Derived, t.Of = id, Minimal
	if v := s.values["of"]; v != nil {
		word, _ := r.choice(v, "of", words([]Benefit{Minimal, Substantial, Accepted}))
		t.Of = Benefit(word)
	}
	t.IsState = t.Of == Accepted
	if v := s.need("method", "say by which of the methods, as in \"method: predictive adjusted\""); v != nil {
		word, _ := r.choice(v, "method", words(thresholdMethods))
		t.Method = ThresholdMethod(word)
	}
	at := slices.IndexFunc(r.plan.Analyses, func(o Analysis) bool { return o.ID == id && o.Kind == ThresholdsKind })
	switch {
	case at < 0:
		r.wrong(n, "no analysis of the kind "+quote(string(ThresholdsKind))+" before this one has the id "+quote(id), "an analysis further up", "put it before this one, and give it this id")
	case a.Scores.Instrument != "" && r.plan.Analyses[at].Scores.Instrument != a.Scores.Instrument:
		r.wrong(n, "the analysis "+quote(id)+" is about "+quote(r.plan.Analyses[at].Scores.Instrument), "one about "+quote(a.Scores.Instrument), "name an analysis of the same instrument")
	case t.Of == Accepted && r.plan.Analyses[at].Scores.Acceptable == nil,
		t.Of == Substantial && (r.plan.Analyses[at].Scores.Anchor == nil || !r.plan.Analyses[at].Scores.Anchor.HasSubstantial),
		t.Of == Minimal && r.plan.Analyses[at].Scores.Anchor == nil && t.Method != HalfSD && t.Method != Detectable95:
		r.wrong(n, "the analysis "+quote(id)+" asks for no "+string(t.Of)+" threshold", "one that it asks for", "add what it needs to that analysis")
	}
}

func (r *reader) ruling(s section, key string, out *Ruling) {
	if v := s.values[key]; v != nil {
		word, _ := r.choice(v, key, words(rulings))
		*out = Ruling(word)
	}
}

// anchor reads a question about change.
func (r *reader) anchor(n *yaml.Node) *Anchor {
	a := &Anchor{Floor: defaultFloor}
	s := r.section(n, "anchor", "instrument", "unchanged", "minimal", "substantial", "reliability", "floor")
	if v := s.need("instrument", "name the question, as in \"instrument: rating\""); v != nil {
		a.Instrument = r.instrument(v, "the instrument of the anchor", true)
	}
	if v := s.need("unchanged", "say which answer means about the same"); v != nil {
		a.Unchanged = r.answer(v, "unchanged", a.Instrument)
	}
	if v := s.need("minimal", "say which answer means just better enough to matter"); v != nil {
		a.Minimal = r.answer(v, "minimal", a.Instrument)
	}
	if v := s.values["substantial"]; v != nil {
		a.Substantial, a.HasSubstantial = r.answer(v, "substantial", a.Instrument), true
	}
	r.qualities(s, &a.Reliability, &a.Floor)
	if s.values["unchanged"] != nil && s.values["minimal"] != nil && a.Minimal <= a.Unchanged {
		r.wrong(s.values["minimal"], "minimal is "+strconv.Itoa(a.Minimal)+", no better an answer than unchanged", "an answer above "+strconv.Itoa(a.Unchanged), "put the two right")
	}
	if a.HasSubstantial && s.values["minimal"] != nil && a.Substantial <= a.Minimal {
		r.wrong(s.values["substantial"], "substantial is "+strconv.Itoa(a.Substantial)+", no better an answer than minimal", "an answer above "+strconv.Itoa(a.Minimal), "put the two right")
	}
	return a
}

// answer reads a value that the question can have.
func (r *reader) answer(n *yaml.Node, name, instrument string) int {
	x, ok := r.number(n, name, "a whole number")
	if ok && x != float64(int(x)) {
		r.malformed(n, name+" is "+cut(n.Value), "a whole number", "write the value of an answer")
		return 0
	}
	i, known := schemas.InstrumentOf(instrument)
	if _, is := i.Answer(x); ok && known && !is {
		var answers []string
		for _, a := range i.Answers {
			answers = append(answers, number(a.Value)+" "+a.Words)
		}
		r.wrong(n, cut(n.Value)+" is no answer of "+quote(instrument), join(answers), "write one of these numbers")
	}
	return int(x)
}

func (r *reader) acceptable(n *yaml.Node) *Acceptable {
	a := &Acceptable{From: 1, Floor: defaultFloor}
	s := r.section(n, "acceptable", "instrument", "from", "reliability", "floor")
	if v := s.need("instrument", "name the question, as in \"instrument: acceptable\""); v != nil {
		a.Instrument = r.instrument(v, "the instrument of acceptable", true)
	}
	if v := s.need("from", "say from which answer on the state is acceptable, as in \"from: 1\""); v != nil {
		a.From = r.answer(v, "from", a.Instrument)
	}
	r.qualities(s, &a.Reliability, &a.Floor)
	return a
}

// qualities read how reliable answers are, and how closely they have to go with the score.
func (r *reader) qualities(s section, reliability, floor *float64) {
	if v := s.values["reliability"]; v != nil {
		*reliability = r.share(v, "reliability")
	}
	if v := s.values["floor"]; v != nil {
		*floor = r.share(v, "floor")
	}
}

// share reads a number between 0 and 1.
func (r *reader) share(n *yaml.Node, name string) float64 {
	const allowed = "a number above 0, at most 1"
	x, ok := r.number(n, name, allowed)
	if ok && !(x > 0 && x <= 1) {
		r.malformed(n, name+" is "+cut(n.Value), allowed, "write for instance 0.9")
	}
	return x
}

// fitScores reports what does not go together in an analysis of scores.
func (r *reader) fitScores(s section, a *Analysis) {
	w := &a.Scores
	if !a.Kind.aboutScores() {
		return
	}
	if len(r.plan.Visits) == 0 {
		r.wrong(s.node, "an analysis of scores stands in a plan without visits", "visits at the top of the plan",
			"say when scores are due, as in \"visits: [{label: 1 year, at: 12, from: 9, to: 18}]\"")
		return
	}
	if a.Kind == ThresholdsKind && w.Anchor == nil && w.Acceptable == nil && s.values["anchor"] == nil && s.values["acceptable"] == nil && w.Reliability == 0 {
		r.wrong(s.node, "an analysis of thresholds has no question to go by, and no reliability", "anchor, acceptable, reliability, or several of them", "add \"anchor: …\"")
	}
	r.paired(s, a)
	states := 0
	for _, t := range w.Thresholds {
		if t.IsState {
			states++
		}
	}
	if states > 0 && states < len(w.Thresholds) {
		r.wrong(s.values["thresholds"], "thresholds of improvement stand beside thresholds of a state", "one of the two kinds in one analysis", "ask for the others in an analysis of their own")
	}
	ofChange := !slices.Contains([]Kind{RepeatedScores, Agreement, Discrimination}, a.Kind) && states < max(1, len(w.Thresholds))
	if w.Before == "" && s.values["before"] == nil && ofChange {
		r.wrong(s.node, "no visit is before the operation, so that nothing can be said about change", "a visit whose window ends on the day of the operation or before it", "add it under visits")
	}
	if len(w.Visits) == 0 && s.values["visits"] == nil {
		r.wrong(s.node, "no visit is after the operation", "a visit whose window begins after the day of the operation", "add it under visits")
	}
	for _, c := range a.AdjustFor {
		if c.Knots > 0 {
			r.wrong(s.values["adjust_for"], "a spline stands in an analysis of the kind "+quote(string(a.Kind)), "straight lines, bands and codes", "remove spline, or write bands")
		}
	}
}

// scored lists what an analysis of scores asks for.
func (l *settings) scored(key string, a *Analysis) {
	w := &a.Scores
	l.groups(key, a)
	l.add(key+".instrument", w.Instrument)
	l.add(key+".before", w.Before)
	l.add(key+".visits", join(w.Visits))
	for i, t := range w.Thresholds {
		l.add(key+".thresholds."+strconv.Itoa(i+1), t.words())
	}
	if a.Kind == Recovery {
		l.add(key+".revised", string(w.Revised))
		l.add(key+".died", string(w.Died))
	}
	if a.Kind == RepeatedScores {
		l.repeated(key, a)
	}
	if q := w.Anchor; q != nil {
		l.add(key+".anchor", q.words())
	}
	if q := w.Acceptable; q != nil {
		l.add(key+".acceptable", q.words())
	}
	l.add(key+".instruments", join(a.Instruments))
	l.add(key+".cuts", join(numbers(w.Cuts)))
	if w.Positive != nil {
		l.add(key+".positive", w.Positive.words())
	}
	if w.Reliability > 0 {
		l.add(key+".reliability", number(w.Reliability))
	}
	if a.Kind == ThresholdsKind {
		l.add(key+".replicates", strconv.Itoa(a.Replicates))
		l.add(key+".seed", strconv.FormatUint(a.Seed, 10))
	}
	for _, c := range a.AdjustFor {
		l.add(key+".adjust_for."+c.Field, c.words())
	}
	l.add(key+".level", number(a.Level))
}

func (t *Threshold) words() string {
	switch {
	case t.Published != "":
		return "published: " + t.Published
	case t.Derived != "":
		return "derived by " + t.Derived + ": " + string(t.Of) + ", " + string(t.Method)
	case t.IsState:
		return "state " + number(t.State) + ": " + t.Reason
	}
	return number(t.Points) + " points: " + t.Reason
}

func (q *Acceptable) words() string {
	text := q.Instrument + " from " + strconv.Itoa(q.From)
	if q.Reliability > 0 {
		text += ", reliability " + number(q.Reliability)
	}
	return text + ", floor " + number(q.Floor)
}

func (q *Anchor) words() string {
	text := q.Instrument + ", unchanged " + strconv.Itoa(q.Unchanged) + ", minimal " + strconv.Itoa(q.Minimal)
	if q.HasSubstantial {
		text += ", substantial " + strconv.Itoa(q.Substantial)
	}
	if q.Reliability > 0 {
		text += ", reliability " + number(q.Reliability)
	}
	return text + ", floor " + number(q.Floor)
}
