package parcel

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/rule"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// sellerOf refuses who isn't the seller of a parcel that was listed.
func (s State) sellerOf(seller string) error {
	if !s.Shown() || s.Seller != seller {
		return rule.NotThere("parcel_id", "parcel")
	}
	return nil
}

// Reprice asks another price (rules 4, 5 and 16). Without tiers the agreement is as
// before, at the new price.
func (s State) Reprice(seller string, agreement *parcelv1.Agreement, openAtAsking bool) (*parcelv1.Event, error) {
	if err := s.sellerOf(seller); err != nil {
		return nil, err
	}
	if err := s.listed(); err != nil {
		return nil, err
	}
	agreement, err := s.propose(agreement)
	if err != nil {
		return nil, err
	}
	return &parcelv1.Event{Event: &parcelv1.Event_Repriced{Repriced: &parcelv1.Repriced{
		Public:  &parcelv1.Repriced_Public{ParcelId: s.ID},
		Private: &parcelv1.Repriced_Private{Asking: agreement.GetPrice(), OpenAtAsking: openAtAsking, Agreement: agreement},
	}}}, nil
}

// propose is what the seller proposes, checked.
func (s State) propose(named *parcelv1.Agreement) (*parcelv1.Agreement, error) {
	var broken rule.All
	agreement := complete(&broken, named, s.Proposed)
	broken.Currency("agreement.price", agreement.GetPrice(), s.Currency())
	s.checkAgreement(&broken, "agreement", agreement, s.Seller, "")
	return agreement, broken.Err()
}

// Withdraw takes the parcel off the market (rule 16).
func (s State) Withdraw(seller, why string) (*parcelv1.Event, error) {
	if err := s.sellerOf(seller); err != nil {
		return nil, err
	}
	if err := s.listed(); err != nil {
		return nil, err
	}
	var broken rule.All
	optional(&broken, "why", why, maxWhy)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &parcelv1.Event{Event: &parcelv1.Event_Withdrawn{Withdrawn: &parcelv1.Withdrawn{
		Public:  &parcelv1.Withdrawn_Public{ParcelId: s.ID},
		Private: &parcelv1.Withdrawn_Private{SellerId: seller, Why: why},
	}}}, nil
}

// Relist puts the parcel on the market again (rules 4, 5 and 17). Without an agreement
// it is proposed as before.
func (s State) Relist(seller string, agreement *parcelv1.Agreement, openAtAsking bool, now time.Time) (*parcelv1.Event, error) {
	if err := s.sellerOf(seller); err != nil {
		return nil, err
	}
	if stage := s.Stage(now); stage != Withdrawn && stage != FallenThrough {
		return nil, rule.Broken{
			Reason: rule.NotOffMarket, Field: "parcel_id", Value: s.ID,
			Rule: "a parcel is listed again once it is withdrawn, or its deal fell through and the rough is back; this one is " + stage.String(),
			Hint: "withdraw it first, or take the rough back",
		}
	}
	if s.PaidMinor > 0 {
		return nil, rule.Broken{
			Reason: rule.NotRefunded, Field: "parcel_id", Value: s.ID,
			Rule: fmt.Sprintf("%s of purchase money is still to be paid back", s.money(s.PaidMinor)), Hint: "ask the bookkeeper to pay it back",
		}
	}
	if agreement == nil {
		agreement = proto.CloneOf(s.Proposed)
	}
	agreement, err := s.propose(agreement)
	if err != nil {
		return nil, err
	}
	return &parcelv1.Event{Event: &parcelv1.Event_Relisted{Relisted: &parcelv1.Relisted{
		Public:  &parcelv1.Relisted_Public{ParcelId: s.ID},
		Private: &parcelv1.Relisted_Private{SellerId: seller, Asking: agreement.GetPrice(), OpenAtAsking: openAtAsking, Agreement: agreement},
	}}}, nil
}

// Opening takes pieces out of a group line.
type Opening struct {
	PieceID string
	Pieces  []Piece           // each counts one
	Left    *eventv1.Weighing // nil where nothing is left
	// Taken are the labels that the parcel's lines have already.
	Taken []string
}

// OpenLine opens a group line (rule 22). That the masses add up is the piece's rule,
// which knows what the group weighed last.
func (s State) OpenLine(member string, o Opening, now time.Time) (*parcelv1.Event, error) {
	line, err := s.openable(member, o.PieceID, now)
	if err != nil {
		return nil, err
	}
	left := int64(line.Count) - int64(len(o.Pieces))
	var broken rule.All
	checkOpening(&broken, o, left)
	if n := len(s.Lines) + len(o.Pieces); n > MaxPieces {
		broken.Add(rule.Broken{
			Reason: rule.CountInvalid, Field: "pieces", Value: fmt.Sprintf("%d lines", n),
			Rule: fmt.Sprintf("a parcel has at most %d lines", MaxPieces), Hint: "take fewer out",
		})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	pieces := make([]*parcelv1.OpenedPiece, len(o.Pieces))
	for i, p := range o.Pieces {
		pieces[i] = &parcelv1.OpenedPiece{PieceId: p.ID, Weighing: p.Weighing}
	}
	return &parcelv1.Event{Event: &parcelv1.Event_LineOpened{LineOpened: &parcelv1.LineOpened{
		Public:  &parcelv1.LineOpened_Public{ParcelId: s.ID, PieceId: o.PieceID, Pieces: pieces, LeftCount: uint32(left), Left: o.Left},
		Private: &parcelv1.LineOpened_Private{MemberId: member},
	}}}, nil
}

// openable is the group line, where the member may open it now.
func (s State) openable(member, pieceID string, now time.Time) (Line, error) {
	stage := s.Stage(now)
	switch {
	case !s.Shown(), member != s.Seller && member != s.Deal.Buyer:
		return Line{}, rule.NotThere("parcel_id", "parcel")
	case member == s.Deal.Buyer:
		if err := s.WorkedBy(member, now); err != nil {
			return Line{}, err
		}
	case s.Deal.Made() || stage == ComingBack || stage == Closed:
		return Line{}, rule.Broken{
			Reason: rule.NotInHand, Field: "parcel_id", Value: s.ID,
			Rule: "a group is opened by who has the rough, and not between deal and handover", Hint: "leave it to the buyer, after the handover",
		}
	case s.Custody() != s.Seller:
		return Line{}, s.isOut()
	}
	for _, l := range s.Lines {
		if l.PieceID != pieceID {
			continue
		}
		if l.Count < 2 {
			return Line{}, rule.Broken{Reason: rule.NotAGroup, Field: "piece_id", Value: pieceID, Rule: "the line is one piece, or empty", Hint: "choose a line that counts several stones"}
		}
		return l, nil
	}
	return Line{}, rule.NotThere("piece_id", "line of this parcel")
}

// checkOpening holds each piece by itself, and the count.
func checkOpening(broken *rule.All, o Opening, left int64) {
	labels := map[string]bool{}
	for _, l := range o.Taken {
		labels[l] = true
	}
	for i, p := range o.Pieces {
		at := fmt.Sprintf("pieces[%d].", i)
		broken.Weighing(at+"weighing", p.Weighing)
		if !broken.PartName(at+"label", p.Label) {
			continue
		}
		if labels[p.Label] {
			broken.Add(rule.Broken{Reason: rule.NamedTwice, Field: at + "label", Value: fmt.Sprintf("%q", p.Label), Rule: "labels are unique in a parcel", Hint: "give it another"})
		}
		labels[p.Label] = true
	}
	switch {
	case len(o.Pieces) == 0 || left < 0:
		broken.Add(rule.Broken{
			Reason: rule.CountInvalid, Field: "pieces", Value: fmt.Sprintf("%d pieces", len(o.Pieces)),
			Rule: fmt.Sprintf("one to %d stones can be taken out of this group", left+int64(len(o.Pieces))), Hint: "count again",
		})
	case left == 0 && o.Left != nil:
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "left", Value: "given", Rule: "all stones are taken out, so nothing is left to weigh", Hint: "leave it out, or count again"})
	case left > 0:
		broken.Weighing("left", o.Left)
	}
}
