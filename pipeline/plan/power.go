package plan

import (
	"errors"
	"os"
	"slices"
	"strconv"

	"go.yaml.in/yaml/v3"

	"deltoid/schemas"
	"deltoid/stats/power"
)

// PowerVersion is the version of the format of a plan for power that this program reads.
const PowerVersion = 1

// PowerPlan is a plan for power that has been read and found right: how large the next study must be.
type PowerPlan struct {
	Path     string // as given
	Study    string // short name: letters, digits, hyphens
	Title    string
	About    string
	Invented bool
	Designs  []Planned
	// Simulated are studies that no formula answers.
	Simulated []Simulated
	Outputs   []Output
}

// Planned is one design of a plan for power.
type Planned struct {
	ID     string
	Design *power.Design
	Given  power.Given // as the plan gives it; the usual settings are filled in when it is solved
	// Outcome, Groups and Measured are words for the sentence: "revision for any reason", "first group", "points of the ASES score".
	Outcome  string
	Groups   [2]string
	Measured string
	// Simulations is how many studies are made up to check the formula; 0 for none.
	Simulations int
	Seed        uint64
	Place       string // file:line in the plan
}

// The words that stand where a plan gives none.
const (
	defaultOutcome  = "the event"
	defaultMeasured = "points"
)

var defaultGroups = [2]string{"the first group", "the second group"}

// firstSeed is the seed of the simulations when the plan gives none.
const firstSeed = 1

// leastSimulations is the number of made-up studies below which their share says little.
const leastSimulations = 100

// ReadPower reads a plan for power from a file. The error is as for [Read].
func ReadPower(path string) (*PowerPlan, error) {
	info, err := os.Stat(path)
	if err != nil || info.IsDir() || info.Size() > maxSize {
		_, err := Read(path) // says what is wrong with a file that is no plan of any kind
		return nil, err
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, onePlan(path, "the plan cannot be read: "+err.Error(), "", "check the permissions of the file")
	}
	return ParsePower(path, data)
}

// ParsePower reads a plan for power from memory. The error is as for [Read].
func ParsePower(path string, data []byte) (*PowerPlan, error) {
	if len(data) > maxSize {
		return nil, tooLarge(path, int64(len(data)))
	}
	r := newReader(path)
	p := r.readPower(data)
	if len(r.faults) > 0 {
		return nil, r.problems()
	}
	return p, nil
}

func (r *reader) readPower(data []byte) *PowerPlan {
	p := &PowerPlan{Path: r.path}
	root := r.parse(data)
	if root == nil {
		return p
	}
	if root.Kind != yaml.MappingNode {
		r.mistyped(root, "the plan", group, `a group of keys, beginning with "power: 1"`)
		return p
	}
	s := r.section(root, "the plan", "power", "study", "title", "about", "invented", "designs", "simulated", "outputs")
	if n := s.need("power", `add "power: 1" at the top`); n != nil {
		if v, ok := r.whole(n, "power", 0, "1"); ok && v != PowerVersion {
			r.malformed(n, "power is "+n.Value+", a version of the format that this program does not know", "1", "write 1, or use the version of deltoid that the plan was written for")
		}
	}
	r.heading(s)
	r.outputs(s.values["outputs"])
	p.Study, p.Title, p.About, p.Invented, p.Outputs = r.plan.Study, r.plan.Title, r.plan.About, r.plan.Invented, r.plan.Outputs
	simulated := s.values["simulated"]
	if simulated == nil {
		s.need("designs", "ask for at least one design")
	}
	if n := s.values["designs"]; n != nil {
		p.Designs = r.designs(n)
	}
	if simulated != nil {
		p.Simulated = r.simulatedStudies(simulated, p.Designs)
	}
	return p
}

// isForPower reports a plan for power where a study plan is expected.
func (r *reader) isForPower(root *yaml.Node) bool {
	if len(root.Content) == 0 || root.Content[0].Value != "power" {
		return false
	}
	r.malformed(root.Content[0], "this is a plan for power, which needs no exports", "a study plan, beginning with \"plan: 1\"", "say: deltoid power "+r.path)
	return true
}

func (r *reader) designs(n *yaml.Node) []Planned {
	var list []Planned
	lines := map[string]int{}
	for _, node := range r.entries(n, "designs") {
		d := r.planned(node)
		if line := lines[d.ID]; d.ID != "" && line > 0 {
			r.wrong(node, "two designs have the id "+quote(d.ID)+"; the first is in line "+strconv.Itoa(line), "each id once", "add or change an \"id\"")
		} else {
			lines[d.ID] = node.Line
		}
		list = append(list, d)
	}
	return list
}

// wordKeys are the keys that every design knows beside its assumptions.
var wordKeys = []string{"id", "design", "outcome", "groups", "measured", "simulations", "seed"}

// planned reads one design. Its other keys are the assumptions of the design that it names.
func (r *reader) planned(n *yaml.Node) Planned {
	d := Planned{Place: r.place(n), Given: power.Given{}, Outcome: defaultOutcome, Measured: defaultMeasured, Groups: defaultGroups, Seed: firstSeed}
	before := len(r.faults)
	named := ""
	if n.Kind == yaml.MappingNode {
		for i := 0; i+1 < len(n.Content); i += 2 {
			if n.Content[i].Value == "design" {
				named = n.Content[i+1].Value
			}
		}
	}
	keys := wordKeys
	design, known := power.Find(named)
	if known {
		keys = append(keys[:len(keys):len(keys)], assumptionNames(design)...)
	} else {
		keys = append(keys[:len(keys):len(keys)], everyAssumption()...)
	}
	s := r.section(n, "a design", keys...)
	if v := s.need("design", "add \"design: two means\", say; deltoid power lists the designs"); v != nil {
		r.choice(v, "design", designNames())
	}
	r.wordsOf(s, &d)
	if !known {
		return d
	}
	d.Design = design
	if d.ID == "" {
		d.ID = slug(design.ID)
	}
	r.assumptions(s, &d)
	if why := cannotBeMadeUp(d); d.Simulations > 0 && why != "" {
		r.wrong(s.values["simulations"], "studies are to be made up, but "+why, join(madeUp)+", one score before and one after, one spread, no hospitals", "remove \"simulations\"")
	}
	if len(r.faults) == before {
		r.solvable(s, d)
	}
	return d
}

// wordsOf reads what a design is called and how its sentence speaks.
func (r *reader) wordsOf(s section, d *Planned) {
	if v := s.values["id"]; v != nil {
		d.ID, _ = r.named(v, "id")
	}
	if v := s.values["outcome"]; v != nil {
		d.Outcome, _ = r.text(v, "outcome")
	}
	if v := s.values["measured"]; v != nil {
		d.Measured, _ = r.text(v, "measured")
	}
	if v := s.values["groups"]; v != nil {
		names := r.entries(v, "groups")
		if len(names) > 0 && len(names) != 2 {
			r.malformed(v, "groups has "+strconv.Itoa(len(names))+" entries", "two names, the group that is compared with first", "name two groups, as in [standard stem, fracture stem]")
		} else {
			for i, name := range names {
				d.Groups[i], _ = r.text(name, "a name of a group")
			}
		}
	}
	if v := s.values["simulations"]; v != nil {
		d.Simulations, _ = r.whole(v, "simulations", leastSimulations, "a whole number from "+strconv.Itoa(leastSimulations)+" up")
	}
	if v := s.values["seed"]; v != nil {
		seed, _ := r.whole(v, "seed", 0, "a whole number from 0 to 1000000")
		d.Seed = uint64(seed)
	}
}

// assumptions reads the settings of a design and refuses each that cannot be by itself.
func (r *reader) assumptions(s section, d *Planned) {
	for _, t := range d.Design.Takes {
		v := s.values[string(t.Name)]
		if v == nil {
			continue
		}
		var setting power.Setting
		if t.Unit == power.Choice {
			word, ok := r.choice(v, string(t.Name), t.Choices)
			if !ok {
				continue
			}
			setting = power.Says(word)
		} else {
			x, ok := r.number(v, string(t.Name), "a number "+t.Range())
			if !ok {
				continue
			}
			setting = power.Is(x)
		}
		if p := t.Check(setting); p != nil {
			r.malformed(v, p.What, p.Possible, "correct the value: "+t.Help)
			continue
		}
		d.Given[t.Name] = setting
	}
}

// solvable solves the design and reports what cannot be about its assumptions taken together.
func (r *reader) solvable(s section, d Planned) {
	_, err := power.Solve(d.Design, d.Given)
	var problems power.Problems
	if !errors.As(err, &problems) {
		return
	}
	for _, p := range problems {
		node := s.values[string(p.Assumption)]
		switch {
		case p.Missing:
			r.wrong(s.node, "the assumption "+quote(string(p.Assumption))+" "+p.What, "", "add \""+string(p.Assumption)+": …\"")
		case node == nil:
			r.wrong(s.node, string(p.Assumption)+": "+p.What, p.Possible, "change the assumptions until the design is possible")
		default:
			r.wrong(node, p.What, p.Possible, "change "+string(p.Assumption)+", or what it is at odds with")
		}
	}
}

// madeUp are the designs of which studies can be made up.
var madeUp = []string{"two means", "repeated scores", "survival of two groups", "cumulative incidence"}

// cannotBeMadeUp says why studies of a design cannot be made up; it is empty when they can.
func cannotBeMadeUp(d Planned) string {
	number := func(name power.Name) float64 { return d.Given[name].Number }
	switch {
	case !slices.Contains(madeUp, d.Design.ID):
		return "not for the design " + quote(d.Design.ID)
	case number(power.HospitalSize) > 1:
		return "hospitals are not drawn"
	case number(power.SDSecond) > 0, number(power.MeasuresBefore) > 1, number(power.MeasuresAfter) > 1:
		return "the groups are drawn with one spread, and with one score before and one after"
	case number(power.BothShoulders) > 0 && (d.Design.ID == "two means" || d.Design.ID == "cumulative incidence" || d.Given[power.Analysis].Word != ""):
		return "the analysis that is run on them takes shoulders as independent"
	}
	return ""
}

func assumptionNames(d *power.Design) []string {
	names := make([]string, len(d.Takes))
	for i, t := range d.Takes {
		names[i] = string(t.Name)
	}
	return names
}

// everyAssumption lists the assumptions of all designs, for a plan that names none: its other keys are then not blamed.
func everyAssumption() []string {
	var all []string
	for _, d := range power.Designs() {
		all = append(all, assumptionNames(d)...)
	}
	return all
}

func designNames() []string {
	var names []string
	for _, d := range power.Designs() {
		names = append(names, d.ID)
	}
	return names
}

// NewPlanned checks settings that did not come from a file, as those of a command line do. The error is [schemas.Problems],
// each with its place as where gives it for an assumption.
func NewPlanned(d Planned, where func(power.Name) string) (Planned, error) {
	var problems schemas.Problems
	d.ID = slug(d.Design.ID)
	if d.Outcome == "" {
		d.Outcome = defaultOutcome
	}
	if d.Measured == "" {
		d.Measured = defaultMeasured
	}
	for i := range d.Groups {
		if d.Groups[i] == "" {
			d.Groups[i] = defaultGroups[i]
		}
	}
	_, err := power.Solve(d.Design, d.Given)
	var found power.Problems
	if errors.As(err, &found) {
		for _, p := range found {
			problem := &schemas.Problem{Kind: schemas.PlanProblem, Where: where(p.Assumption), What: p.What, Allowed: p.Possible}
			if p.Missing {
				problem.Remedy = "add " + where(p.Assumption)
			}
			problems = append(problems, problem)
		}
		return d, problems
	}
	return d, nil
}
