package demo

import "slices"

// Kind is a kind of planted defect.
type Kind uint8

// The kinds of planted defect. Each is one row more in one export; the other rows stay as they are, so the true
// parameters hold with and without defects.
const (
	ImpossibleDate         Kind = iota // an operation of an otherwise unknown patient on 31.02.2016
	UnknownSide                        // an operation of an otherwise unknown patient on side B
	MissingCell                        // an operation of an otherwise unknown patient without a kind of procedure
	OutOfRange                         // an operation of an otherwise unknown patient at the age of 190
	AfterDataCut                       // an operation of an otherwise unknown patient after the data cut
	DuplicateRow                       // an operation written twice
	SecondPrimary                      // a second first operation on the same side, 150 days later
	RevisionBeforePrimary              // a revision 40 days before the operation
	RevisionWithoutPrimary             // a revision of a patient without any operation
	DeathBeforeRevision                // a revision 20 days after the patient's death
	SecondDeath                        // a second death of the same patient, 10 days after the first
	kinds
)

// kindText is what is said of a kind in the README of the demo, and how many there are in 20,000 shoulders.
var kindText = [kinds]struct {
	text  string
	often int
}{
	ImpossibleDate:         {"operation on 31.02.2016", 3},
	UnknownSide:            {"operation on side B", 4},
	MissingCell:            {"operation without a kind of procedure", 4},
	OutOfRange:             {"operation at the age of 190", 3},
	AfterDataCut:           {"operation after the data cut", 6},
	DuplicateRow:           {"operation written twice", 5},
	SecondPrimary:          {"second first operation on one side", 3},
	RevisionBeforePrimary:  {"revision before the operation", 3},
	RevisionWithoutPrimary: {"revision of a patient without an operation", 2},
	DeathBeforeRevision:    {"revision after the patient's death", 2},
	SecondDeath:            {"second death of one patient", 2},
}

// String says what is wrong, as in the README of the demo.
func (k Kind) String() string { return kindText[k].text }

// Kinds returns every kind of planted defect.
func Kinds() []Kind {
	all := make([]Kind, kinds)
	for i := range all {
		all[i] = Kind(i)
	}
	return all
}

// Defect is one planted defect.
type Defect struct {
	Kind  Kind
	Table string // name of the schema
	Row   int    // in the table, the first being 0
	Field string // our name of the field that is wrong; empty when the whole row is meant
}

// LineCSV returns the line of the defect in the CSV export, whose first line holds the names of the columns.
func (d Defect) LineCSV() int { return d.Row + 2 }

// RowParquet returns the row of the defect in the Parquet export, the first being 1.
func (d Defect) RowParquet() int { return d.Row + 1 }

// planting is a defect to be planted beside the first patient that suits from a given shoulder of the batch on.
type planting struct {
	kind   Kind
	from   int   // shoulders before it in the batch
	number int32 // of the made-up patient, where the kind needs one
}

// firstStranger is the number of the first patient who is made up for a defect.
const firstStranger = 5_000_000

// plantings spreads the defects evenly over the batches: at least one of each kind.
func plantings(o Options) [][]planting {
	plan := make([][]planting, (o.Shoulders+batchSize-1)/batchSize)
	if !o.Defects {
		return plan
	}
	number := int32(firstStranger)
	for k := range kinds {
		n := max(1, kindText[k].often*o.Shoulders/20_000)
		for i := range n {
			at := (2*i + 1) * o.Shoulders / (2 * n)
			plan[at/batchSize] = append(plan[at/batchSize], planting{k, at % batchSize, number})
			number++
		}
	}
	return plan
}

// planted is a defect with its row in the batch.
type planted struct {
	kind  Kind
	table string
	row   int
	field string
}

// at turns a place in a batch into one in the registry that holds the batches before it.
func (p planted) at(r *Records) Defect {
	before := 0
	switch p.table {
	case "procedures":
		before = count(r.operations)
	case "revisions":
		before = count(r.reoperations)
	case "deaths":
		before = count(r.deaths)
	}
	return Defect{Kind: p.kind, Table: p.table, Row: before + p.row, Field: p.field}
}

// plant plants the first defect that is due and suits the patient just recorded. One patient bears one defect, so that
// each is found for its own sake; in a very small registry some find no patient and are not planted.
func (b *batch) plant(p *person) {
	for i, d := range b.pending {
		if d.from < b.shoulders && b.spoil(d, p) {
			b.pending = slices.Delete(b.pending, i, i+1)
			return
		}
	}
}

// spoil adds the row that is wrong, and reports false when the patient does not suit.
func (b *batch) spoil(d planting, p *person) bool {
	if d.kind < SecondPrimary {
		return b.spoilOperation(d)
	}
	if d.kind == SecondPrimary {
		return b.spoilSecondPrimary(p)
	}
	if d.kind == SecondDeath {
		return b.spoilDeath(p)
	}
	return b.spoilRevision(d, p)
}

func (b *batch) spoilOperation(d planting) bool {
	op, field := b.lastPrimary(), ""
	if d.kind != DuplicateRow {
		op.patient = d.number
	}
	switch d.kind {
	case ImpossibleDate:
		op.day, field = impossible, "day"
	case UnknownSide:
		op.side, field = unknownSide, "side"
	case MissingCell:
		op.procedure, field = missing, "procedure"
	case OutOfRange:
		op.age, field = 190, "age"
	case AfterDataCut:
		op.day, field = dataCut+45, "day"
	}
	b.addOperation(d.kind, op, field)
	return true
}

// spoilSecondPrimary wants a shoulder without revision whose patient lives on well beyond the second operation.
func (b *batch) spoilSecondPrimary(p *person) bool {
	op := b.lastPrimary()
	op.day += 150
	if b.revised(p) || op.day >= dataCut || float64(op.day-p.day) >= p.life-1 {
		return false
	}
	b.addOperation(SecondPrimary, op, "")
	return true
}

func (b *batch) spoilDeath(p *person) bool {
	day, dead := p.death()
	if !dead || day+10 > dataCut {
		return false
	}
	b.defects = append(b.defects, planted{SecondDeath, "deaths", len(b.deaths), ""})
	b.deaths = append(b.deaths, death{p.number, day + 10})
	return true
}

func (b *batch) spoilRevision(d planting, p *person) bool {
	op := b.lastPrimary()
	rev := reoperation{patient: op.patient, day: op.day - 40, side: op.side, reason: otherReason, exchanged: exchangedModular}
	switch d.kind {
	case RevisionWithoutPrimary:
		rev.patient, rev.day = d.number, op.day
	case DeathBeforeRevision:
		day, dead := p.death()
		if !dead || day+20 > dataCut {
			return false
		}
		rev.day = day + 20
	}
	if d.kind != RevisionWithoutPrimary && (b.revised(p) || rev.day < opens) {
		return false
	}
	b.defects = append(b.defects, planted{d.kind, "revisions", len(b.reoperations), ""})
	b.reoperations = append(b.reoperations, rev)
	return true
}

func (b *batch) addOperation(k Kind, op operation, field string) {
	b.defects = append(b.defects, planted{k, "procedures", len(b.operations), field})
	b.operations = append(b.operations, op)
}

// lastPrimary returns the first operation on a shoulder that was written down last.
func (b *batch) lastPrimary() operation {
	for i := len(b.operations) - 1; ; i-- {
		if b.operations[i].occasion == primaryOccasion {
			return b.operations[i]
		}
	}
}

// revised reports whether the patient recorded last has had a revision.
func (b *batch) revised(p *person) bool {
	n := len(b.reoperations)
	return n > 0 && b.reoperations[n-1].patient == p.number
}
