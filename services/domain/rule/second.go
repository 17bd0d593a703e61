package rule

import "slices"

// SecondPerson refuses a person as the second pair of eyes beside a first one: both
// must be different persons, who were stated to be two people. stated are the persons
// who were stated to be another than the second.
func SecondPerson(field, first, second string, stated []string) error {
	switch {
	case second == first:
		return Broken{Reason: SecondPersonNeeded, Field: field, Value: second, Rule: "this needs a second person, and you are the first", Hint: "ask another of the desk"}
	case !slices.Contains(stated, first):
		return Broken{
			Reason: TwoPeopleNotStated, Field: field, Value: second,
			Rule: "nobody has stated that you and " + first + " are two people", Hint: "ask a third person, a registrar or approver who knows both, to state it",
		}
	}
	return nil
}
