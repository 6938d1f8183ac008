package cohorts

import (
	"slices"

	"deltoid/schemas"
)

// The rules between tables. One principle stands behind all of them: the row that cannot be attached to its index
// procedure is set aside, and the index procedure stays. [Rules] returns the list. A plan may lower those whose row can be
// used as it is: the earlier complication and the earlier score tell at least that the patient was seen, and a second day
// of death changes nothing, since the earliest that fits counts.
var (
	// RuleSecondPrimary is broken by a primary on a shoulder that has an index procedure and was not revised since.
	RuleSecondPrimary = &schemas.Rule{ID: "second-primary", Severity: schemas.SetsAside,
		Sentence: "The shoulder already has an index procedure, and no revision lies between the two.",
		Remedy:   "Correct the side or the day, or record the later procedure as a revision."}

	// RuleRevisionBeforePrimary is broken by a revision that is earlier than the index procedure of its shoulder.
	RuleRevisionBeforePrimary = &schemas.Rule{ID: "revision-before-primary", Severity: schemas.SetsAside,
		Sentence: "The revision is earlier than the index procedure of the shoulder.",
		Remedy:   "Correct the day or the side of the revision or of the index procedure."}

	// RuleRevisionAfterDeath is broken by a revision later than the patient's death.
	RuleRevisionAfterDeath = &schemas.Rule{ID: "revision-after-death", Severity: schemas.SetsAside,
		Sentence: "The revision is later than the death of the patient.",
		Remedy:   "Correct the day of the revision or of the death, or the pseudonym of one of them."}

	// RuleComplicationBeforePrimary is broken by a complication earlier than the index procedure of its shoulder.
	RuleComplicationBeforePrimary = &schemas.Rule{ID: "complication-before-primary", Severity: schemas.SetsAside, MayWarn: true, Between: true,
		Sentence: "The complication is earlier than the index procedure of the shoulder.",
		Remedy:   "Correct the day or the side of the complication or of the index procedure."}

	// RuleScoreBeforePrimary is broken by a score of an instrument that asks about the time after an operation, earlier than
	// the index procedure of its shoulder.
	RuleScoreBeforePrimary = &schemas.Rule{ID: "score-before-primary", Severity: schemas.SetsAside, MayWarn: true, Between: true,
		Sentence: "The score is earlier than the index procedure of the shoulder, and its instrument asks about the time after it.",
		Remedy:   "Correct the day, the side or the instrument."}

	// RuleRecordAfterDeath is broken by a complication, score or contact later than the patient's death.
	RuleRecordAfterDeath = &schemas.Rule{ID: "record-after-death", Severity: schemas.SetsAside,
		Sentence: "The record is later than the death of the patient.",
		Remedy:   "Correct the day of the record or of the death, or the pseudonym of one of them."}

	// RuleDeathBeforeProcedure is broken by a death earlier than an index procedure of the patient.
	RuleDeathBeforeProcedure = &schemas.Rule{ID: "death-before-procedure", Severity: schemas.SetsAside,
		Sentence: "The death is earlier than an index procedure of the patient.",
		Remedy: "Correct the day of the death or of the procedure, or the pseudonym of one of them; until then the patient " +
			"counts as alive."}

	// RuleSecondDeath is broken by every death of a patient after the earliest that fits.
	RuleSecondDeath = &schemas.Rule{ID: "second-death", Severity: schemas.SetsAside, MayWarn: true, Between: true,
		Sentence: "The patient already has a day of death.",
		Remedy:   "Find out which of the two is right and delete the other; until then the earlier one is used."}

	// RuleNoIndexProcedure is broken by a row whose patient, or whose shoulder where the row has a side, has no index
	// procedure among the rows in use.
	RuleNoIndexProcedure = &schemas.Rule{ID: "no-index-procedure", Severity: schemas.Unlinks,
		Sentence: "No index procedure belongs to the row.",
		Remedy: "Export the primary procedure too, or correct the pseudonym or the side; rows about shoulders outside the " +
			"study may stay as they are."}

	// RuleSecondStageAlone is broken by the second stage of an exchange whose first stage is not on record.
	RuleSecondStageAlone = &schemas.Rule{ID: "second-stage-alone", Severity: schemas.Warns,
		Sentence: "The second stage of an exchange has no first stage on record before it, so it counts as the revision.",
		Remedy:   "Export the first stage too, or correct the stage."}

	// RuleAfterDataCut is broken by a row later than the data cut. It stays in use, but nothing after the cut counts.
	RuleAfterDataCut = &schemas.Rule{ID: "after-data-cut", Severity: schemas.Warns,
		Sentence: "The row is later than the data cut, and what it says is not counted.",
		Remedy:   "Correct the day, or move the data cut if follow-up is complete until then."}
)

var rules = []*schemas.Rule{
	RuleSecondPrimary, RuleRevisionBeforePrimary, RuleRevisionAfterDeath, RuleComplicationBeforePrimary, RuleScoreBeforePrimary,
	RuleRecordAfterDeath, RuleDeathBeforeProcedure, RuleSecondDeath, RuleNoIndexProcedure, RuleSecondStageAlone,
	RuleAfterDataCut,
}

// Rules returns every rule that linking can find broken.
func Rules() []*schemas.Rule { return slices.Clone(rules) }
