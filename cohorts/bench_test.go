package cohorts_test

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"runtime"
	"syscall"
	"testing"
	"time"

	"deltoid/cohorts"
	"deltoid/schemas"
)

// The benchmarks answer: how long do linking, defining and following take for n procedures, with a tenth as many
// revisions, a quarter as many deaths, three times as many scores and as many contacts, the rows in no order at all?
var benchSizes = []int{10_000, 100_000, 1_000_000}

// wholeSizes come in pairs of which the second is the double of the first, so that what doubling costs can be read off.
var wholeSizes = []int{10_000, 100_000, 200_000, 1_000_000, 2_000_000, 5_000_000, 10_000_000}

// processorTime is the time that all processors have given this process, which tells more than the clock on a machine that
// does other work too.
func processorTime(tb testing.TB) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		tb.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// shuffled is the tables of an invented study of n procedures. Patients have eight-digit pseudonyms with a common
// prefix, a fifth of them two shoulders.
func shuffled(tb testing.TB, n int) map[string]*schemas.Table {
	tb.Helper()
	rng := rand.New(rand.NewPCG(1, 2))
	patients := n * 5 / 6
	day := func(int) int32 { return int32(rng.IntN(4000)) }
	later := func(int) int32 { return 4000 + int32(rng.IntN(4000)) }
	first := rng.Perm(n)
	anyone := func(int) int { return rng.IntN(patients) }
	owner := func(i int) int { return first[i] % patients }
	second := func(i int) int {
		if first[i] >= patients {
			return 1
		}
		return 0
	}
	left := func(int) int { return 0 }
	m := maker{tb: tb, rng: rng}
	tables := map[string]*schemas.Table{}
	tables["procedures"] = m.table("procedures", n, owner, second, day,
		m.codes("procedure", n, "reverse", "reverse", "anatomic", "hemi"), m.codes("occasion", n, "primary"),
		m.codes("indication", n, "fracture", "cuff_tear_arthropathy", "oa_deficient_cuff", "tumour"), m.codes("sex", n, "female", "male"))
	tables["procedures"] = with(tables["procedures"], m.codes("cuff", n, "intact", "full_tear", "massive_tear"),
		m.codes("arthritis_grade", n, "none", "moderate", "severe"), m.codes("superior_migration", n, "1", "3", "4b"),
		m.codes("fracture", n, "none", "none", "acute"), m.codes("head", n, "viable", "split"))
	tables["revisions"] = m.table("revisions", n/10, anyone, left, later, m.codes("reason", n/10, "infection", "instability", "wear"))
	deaths := rng.Perm(patients)
	tables["deaths"] = m.table("deaths", min(n/4, patients), func(i int) int { return deaths[i] }, nil,
		func(int) int32 { return 6000 + int32(rng.IntN(4000)) })
	tables["scores"] = with(m.table("scores", 3*n, anyone, left, day), m.codes("instrument", 3*n, "constant", "oxford"), m.numbers("value", 3*n))
	tables["contacts"] = m.table("contacts", n, anyone, nil, day)
	return tables
}

type maker struct {
	tb  testing.TB
	rng *rand.Rand
}

func (m maker) field(table, name string) *schemas.Field {
	s, err := schemas.Shipped(table)
	if err != nil {
		m.tb.Fatal(err)
	}
	return s.Field(name)
}

func (m maker) codes(name string, n int, levels ...string) *schemas.Column {
	codes := make([]int16, n)
	for i := range codes {
		codes[i] = int16(m.rng.IntN(len(levels)))
	}
	table := map[string]string{"reason": "revisions", "instrument": "scores"}[name]
	return schemas.CodeColumn(m.field(cmp.Or(table, "procedures"), name), levels, codes)
}

func (m maker) numbers(name string, n int) *schemas.Column {
	numbers := make([]float64, n)
	for i := range numbers {
		numbers[i] = float64(m.rng.IntN(100))
	}
	return schemas.NumberColumn(m.field("scores", name), numbers)
}

func (m maker) table(name string, n int, patient, side func(int) int, day func(int) int32, more ...*schemas.Column) *schemas.Table {
	s, err := schemas.Shipped(name)
	if err != nil {
		m.tb.Fatal(err)
	}
	offsets, data := make([]int32, 1, n+1), make([]byte, 0, 12*n)
	days, lines, sides := make([]int32, n), make([]int32, n), make([]int16, n)
	for i := range n {
		data = fmt.Appendf(data, "INV-%08d", patient(i))
		offsets = append(offsets, int32(len(data)))
		days[i], lines[i] = day(i), int32(i+2)
		if side != nil {
			sides[i] = int16(side(i))
		}
	}
	columns := append(more, schemas.TextColumn(s.Field("patient"), offsets, data), schemas.DateColumn(s.Field("day"), days))
	if side != nil {
		columns = append(columns, schemas.CodeColumn(s.Field("side"), []string{"left", "right"}, sides))
	}
	t := schemas.NewTable(s, []schemas.Piece{{File: name + ".csv", Rows: n}}, lines, columns)
	t.Offsets = true
	return t
}

var benchFollowUp = cohorts.FollowUp{DataCut: 9000}

func BenchmarkLink(b *testing.B) {
	for _, n := range benchSizes {
		b.Run(fmt.Sprintf("procedures=%d", n), func(b *testing.B) {
			tables := shuffled(b, n)
			b.ReportAllocs()
			for b.Loop() {
				if _, err := cohorts.Link(tables, benchFollowUp, &schemas.Findings{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkWhole takes the tables all the way: linked with all scores, settled, defined, and put into episodes.
//
// Measured on two idle cores of an AMD EPYC (Go 1.26). What is allocated in all bounds the memory above the tables.
//
//	procedures     elapsed    processor time    allocated
//	   100,000     0.063 s          0.11 s          72 MB
//	   200,000     0.130 s          0.23 s         148 MB
//	 1,000,000     1.00 s           1.8 s          648 MB
//	 2,000,000     2.2 s            4.1 s        1,172 MB
func BenchmarkWhole(b *testing.B) {
	d := cohorts.Definition{Indication: cohorts.Settled, Criteria: workedDefinition.Criteria}
	for _, n := range wholeSizes {
		b.Run(fmt.Sprintf("procedures=%d", n), func(b *testing.B) {
			tables := shuffled(b, n)
			runtime.GC()
			b.ReportAllocs()
			from := processorTime(b)
			defer func() { b.ReportMetric((processorTime(b)-from).Seconds()/float64(b.N), "processor-s/op") }()
			for b.Loop() {
				r, err := cohorts.Link(tables, benchFollowUp, &schemas.Findings{})
				if err != nil {
					b.Fatal(err)
				}
				c, _, err := cohorts.Define(r, d, benchFollowUp)
				if err != nil {
					b.Fatal(err)
				}
				if _, err := c.Episodes(anyRevision, benchFollowUp, cohorts.Grouping{By: "indication"}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// benchRegistry is a linked study of n procedures.
func benchRegistry(b *testing.B, n int) *cohorts.Registry {
	b.Helper()
	r, err := cohorts.Link(shuffled(b, n), benchFollowUp, &schemas.Findings{})
	if err != nil {
		b.Fatal(err)
	}
	return r
}

func BenchmarkDefine(b *testing.B) {
	for _, n := range benchSizes[1:] {
		b.Run(fmt.Sprintf("procedures=%d", n), func(b *testing.B) {
			r := benchRegistry(b, n)
			for b.Loop() {
				if _, _, err := cohorts.Define(r, workedDefinition, benchFollowUp); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkEpisodes(b *testing.B) {
	for _, n := range benchSizes[1:] {
		b.Run(fmt.Sprintf("procedures=%d", n), func(b *testing.B) {
			c, _, err := cohorts.Define(benchRegistry(b, n), everyone, benchFollowUp)
			if err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				if _, err := c.Episodes(infection, benchFollowUp, cohorts.Grouping{By: "indication"}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkVisits(b *testing.B) {
	windows := []cohorts.Window{{ID: "before", From: -180}, {ID: "1", Target: 365, From: 274, To: 457}, {ID: "2", Target: 730, From: 640, To: 820}}
	for _, n := range benchSizes[1:] {
		b.Run(fmt.Sprintf("procedures=%d", n), func(b *testing.B) {
			c, _, err := cohorts.Define(benchRegistry(b, n), everyone, benchFollowUp)
			if err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				if _, err := c.Visits("constant", windows, anyRevision, benchFollowUp); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
