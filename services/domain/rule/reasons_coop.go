package rule

// Reasons of the co-op's desk: standing, keys, payouts, disputes, corrections, stock.
const (
	StandsOtherwise     Reason = "STANDS_OTHERWISE"      // a member or person is suspended, removed or neither
	OwnStanding         Reason = "OWN_STANDING"          // nobody suspends themselves
	RoleNotThere        Reason = "ROLE_NOT_THERE"        // the person doesn't have it
	KeyStandsOtherwise  Reason = "KEY_STANDS_OTHERWISE"  // revoked, lost or in use
	SecondPersonNeeded  Reason = "SECOND_PERSON_NEEDED"  // the same person twice
	TwoPeopleNotStated  Reason = "TWO_PEOPLE_NOT_STATED" // nobody said that they are two
	PersonErased        Reason = "PERSON_ERASED"         // nothing personal is kept
	RunStandsOtherwise  Reason = "RUN_STANDS_OTHERWISE"  // not prepared, not approved
	LineStandsOtherwise Reason = "LINE_STANDS_OTHERWISE" // the bank has answered
	NothingPayable      Reason = "NOTHING_PAYABLE"       // all earned money is paid or in a run
	AboveWhatIsEarned   Reason = "ABOVE_WHAT_IS_EARNED"  // money moved since the run was prepared
	PaysTheApprover     Reason = "PAYS_THE_APPROVER"     // a run that pays them
	BankEditedByYou     Reason = "BANK_EDITED_BY_YOU"    // the last to edit the payee's bank details
	BankCoolingOff      Reason = "BANK_COOLING_OFF"      // an edit of bank details is too fresh
	BankChanged         Reason = "BANK_CHANGED"          // other bank details than when prepared
	DisputeOver         Reason = "DISPUTE_OVER"          // resolved or withdrawn
	NotAParty           Reason = "NOT_A_PARTY"           // the amount isn't theirs to dispute
	AboveWhatIsTheirs   Reason = "ABOVE_WHAT_IS_THEIRS"  // no more than what they have earned there
	NothingToCorrect    Reason = "NOTHING_TO_CORRECT"    // no such fact at that position
	CorrectionStands    Reason = "CORRECTION_STANDS"     // decided already
	SameAsRecorded      Reason = "SAME_AS_RECORDED"      // right as it is
	CorrectedSince      Reason = "CORRECTED_SINCE"       // another correction came first
	NothingHere         Reason = "NOTHING_HERE"          // no such exception is open
	AlreadyClosed       Reason = "ALREADY_CLOSED"        // an exception that was looked into
)
