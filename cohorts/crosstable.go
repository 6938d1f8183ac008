package cohorts

import "deltoid/schemas"

// Settlement says how the indications of a cohort were settled: recorded against settled, and by which rule.
type Settlement struct {
	Codes   []string // indications that occur, in schema order; the last is empty and stands for one not recorded
	Labels  []string // of Codes
	Counts  [][]int  // [recorded][settled], by place in Codes
	By      []RuleCount
	Changed int // shoulders whose settled indication is not the recorded one
}

// RuleCount is how many shoulders a rule decided.
type RuleCount struct {
	ID       string // of the rule, or [NoFindings] or [NoRule]
	Sentence string
	Source   string // empty where no rule decided
	Settles  string // indication; empty where the recorded one stands
	N        int
	Changed  int // of N: settled is not what was recorded
}

// Settlement counts recorded against settled indications. It is nil when the registry has no findings to settle by.
func (c *Cohort) Settlement() *Settlement {
	settled, by := c.Registry.derived[SettledIndication], c.Registry.derived[SettledBy]
	if settled == nil {
		return nil
	}
	recorded := c.Registry.Table.Column("indication")
	return c.crossTable(recorded, settled, by)
}

func (c *Cohort) crossTable(recorded, settled, by *schemas.Column) *Settlement {
	levels := settled.Levels()
	n := len(levels)
	full := make([][]int, n+1)
	for i := range full {
		full[i] = make([]int, n+1)
	}
	s := &Settlement{By: c.ruleCounts(by)}
	at := map[string]int{}
	for i, l := range levels {
		at[l] = i
	}
	for _, position := range c.Shoulders {
		row := c.Registry.Shoulders[position].Row
		from, to := n, n
		if recorded != nil && recorded.Codes()[row] >= 0 {
			from = at[recorded.Levels()[recorded.Codes()[row]]]
		}
		if code := settled.Codes()[row]; code >= 0 {
			to = int(code)
		}
		full[from][to]++
		if from != to {
			s.Changed++
			s.By[by.Codes()[row]].Changed++
		}
		s.By[by.Codes()[row]].N++
	}
	s.keep(full, levels, settled.Field)
	return s
}

// ruleCounts lists the rules, and the two ways of not deciding, with nothing counted.
func (c *Cohort) ruleCounts(by *schemas.Column) []RuleCount {
	rules, _ := IndicationRules()
	counts := make([]RuleCount, len(by.Levels()))
	for i, id := range by.Levels() {
		counts[i] = RuleCount{ID: id, Sentence: by.Field.Label(id)}
		if i < len(rules) {
			counts[i].Source, counts[i].Settles = rules[i].Source, rules[i].Settles
		}
	}
	return counts
}

// keep takes the indications that occur.
func (s *Settlement) keep(full [][]int, levels []string, f *schemas.Field) {
	var kept []int
	for i := range full {
		total := 0
		for j := range full {
			total += full[i][j] + full[j][i]
		}
		if total > 0 {
			kept = append(kept, i)
		}
	}
	for _, i := range kept {
		code, label := "", NotRecorded
		if i < len(levels) {
			code, label = levels[i], f.Label(levels[i])
		}
		s.Codes, s.Labels = append(s.Codes, code), append(s.Labels, label)
		row := make([]int, len(kept))
		for j, k := range kept {
			row[j] = full[i][k]
		}
		s.Counts = append(s.Counts, row)
	}
}
