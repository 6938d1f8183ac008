package schemas

import "fmt"

// Ledger is the account of one table's rows. Each number is counted where it arises, so that an account that closes
// says something: every row read was used, set aside by a rule, or left over because it could not be linked.
type Ledger struct {
	Table    string `json:"table"`
	Read     int    `json:"read"`      // rows of the export
	Used     int    `json:"used"`      // rows that link made a record of
	SetAside int    `json:"set_aside"` // rows that a rule took out
	Unlinked int    `json:"unlinked"`  // rows that belong to no shoulder of the study
}

// Close returns an error when the account does not add up. It is a fault of the program, never of the data, and a run
// must not go on from it.
func (l *Ledger) Close() error {
	if sum := l.Used + l.SetAside + l.Unlinked; sum != l.Read {
		return fmt.Errorf("the rows of table %q do not add up: %d read, but %d used + %d set aside + %d unlinked = %d; "+
			"this is a fault of the program, please report it", l.Table, l.Read, l.Used, l.SetAside, l.Unlinked, sum)
	}
	return nil
}
