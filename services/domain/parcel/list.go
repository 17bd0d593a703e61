package parcel

import (
	"errors"
	"fmt"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/rule"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// Limits of a listing.
const (
	MaxPieces = 400
	MaxCount  = 10_000 // stones in one counted line
)

// Listing is what a seller says of a parcel. Its price is the agreement's.
type Listing struct {
	ID, Seller, Label string
	Pieces            []Piece
	Total             *eventv1.Weighing
	Treatment         eventv1.Treatment
	KeptWet           bool
	Mined, Split      string
	Note              string
	OpenAtAsking      bool
	Agreement         *parcelv1.Agreement
}

// Piece is a line of a listing.
type Piece struct {
	ID       string
	Label    string // also the name of the piece's first part
	Weighing *eventv1.Weighing
	Count    uint32
}

// List lists the parcel, which may be a draft of the seller's (rules 1 to 5). All that
// is wrong is said at once.
func (s State) List(l Listing) (*parcelv1.Event, error) {
	if s.ID != "" && s.Seller != l.Seller {
		return nil, rule.NotThere("draft_id", "draft")
	}
	if s.Discarded {
		return nil, s.notADraft("draft_id")
	}
	if s.ID != "" && s.Draft == nil {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: s.ID, Rule: "a parcel is listed once", Hint: "look it up under this id"}
	}
	var broken rule.All
	broken.Text("label", l.Label, 40)
	checkPieces(&broken, l.Pieces)
	broken.Weighing("total", l.Total)
	broken.Answered("treatment", int32(l.Treatment), eventv1.Treatment_name)
	if len(broken) == 0 { // sums over impossible masses say nothing
		checkBalance(&broken, l)
	}
	s.checkAgreement(&broken, "agreement", l.Agreement, l.Seller, "")
	if err := broken.Err(); err != nil {
		return nil, err
	}
	lines := make([]*parcelv1.Line, len(l.Pieces))
	for i, p := range l.Pieces {
		lines[i] = &parcelv1.Line{PieceId: p.ID, Weighing: p.Weighing, Count: p.Count}
	}
	return &parcelv1.Event{Event: &parcelv1.Event_Listed{Listed: &parcelv1.Listed{
		Public: &parcelv1.Listed_Public{
			ParcelId: l.ID, Label: l.Label, Lines: lines, Total: l.Total,
			Treatment: l.Treatment, KeptWet: l.KeptWet, Mined: l.Mined, Split: l.Split,
		},
		Private: &parcelv1.Listed_Private{
			SellerId: l.Seller, Asking: l.Agreement.GetPrice(), OpenAtAsking: l.OpenAtAsking,
			Agreement: l.Agreement, Note: l.Note,
		},
	}}}, nil
}

func checkPieces(broken *rule.All, pieces []Piece) {
	if n := len(pieces); n < 1 || n > MaxPieces {
		broken.Add(rule.Broken{
			Reason: rule.CountInvalid, Field: "pieces", Value: fmt.Sprintf("%d pieces", n),
			Rule: fmt.Sprintf("a parcel has 1 to %d lines", MaxPieces), Hint: "list chips as one counted line, or split the parcel",
		})
	}
	first := map[string]int{}
	for i, p := range pieces {
		at := fmt.Sprintf("pieces[%d].", i)
		if !broken.PartName(at+"label", p.Label) {
			// that is enough of it
		} else if j, taken := first[p.Label]; taken {
			broken.Add(rule.Broken{
				Reason: rule.NamedTwice, Field: at + "label", Value: fmt.Sprintf("%q", p.Label),
				Rule: fmt.Sprintf("labels are unique in a parcel, and pieces[%d] has it", j), Hint: "give one of them another",
			})
		} else {
			first[p.Label] = i
		}
		broken.Weighing(at+"weighing", p.Weighing)
		if p.Count < 1 || p.Count > MaxCount {
			broken.Add(rule.Broken{
				Reason: rule.CountInvalid, Field: at + "count", Value: fmt.Sprint(p.Count),
				Rule: fmt.Sprintf("a line counts 1 to %d stones", MaxCount), Hint: "1 for a piece, more for a lot of chips",
			})
		}
	}
}

// checkBalance holds rule 2.
func checkBalance(broken *rule.All, l Listing) {
	lines := make([]measure.Weighing, len(l.Pieces))
	for i, p := range l.Pieces {
		lines[i] = onScale(p.Weighing)
	}
	total := onScale(l.Total)
	err := measure.CheckBalance(lines, total)
	var off *measure.Unbalanced
	switch {
	case errors.As(err, &off):
		broken.Add(rule.Broken{
			Reason: rule.MassesDontAddUp, Field: "total.mass_ug", Value: total.Mass.OnScale(total.Division),
			Rule: fmt.Sprintf("the %d pieces add up to %s, %s apart, where the scale allows %s (half a division for each of %d weighings)",
				off.Lines, off.Sum.OnScale(total.Division), off.Apart().OnScale(total.Division), off.Tolerance, off.Lines+1),
			Hint: "weigh again and correct a piece or the total",
		})
	case err != nil:
		broken.Add(rule.Broken{Reason: rule.MassInvalid, Field: "pieces", Rule: err.Error(), Hint: "check the masses"})
	}
}

func onScale(w *eventv1.Weighing) measure.Weighing {
	return measure.Weighing{Mass: measure.Mass(w.GetMassUg()), Division: measure.Mass(w.GetDivisionUg())}
}

// PiecesAfter gives the ids of at most limit pieces that follow one in the order of the
// listing, and the last of them where more follow.
func (s State) PiecesAfter(after string, limit int) (ids []string, next string) {
	begun := after == ""
	for _, l := range s.Lines {
		if begun && len(ids) == limit {
			return ids, ids[limit-1]
		}
		if begun {
			ids = append(ids, l.PieceID)
		}
		begun = begun || l.PieceID == after
	}
	return ids, ""
}
