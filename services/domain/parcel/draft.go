package parcel

import (
	"fmt"

	"seamshare.example/services/domain/rule"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// SaveDraft keeps what a seller has prepared, all of it (rule 15). Only its size is
// looked at: it may be wrong until it is listed.
func (s State) SaveDraft(seller, id string, d *parcelv1.Draft) (*parcelv1.Event, error) {
	if s.ID != "" {
		if err := s.draftOf(seller); err != nil {
			return nil, err
		}
	}
	if n := len(d.GetLines()); n > MaxPieces {
		return nil, rule.Broken{
			Reason: rule.CountInvalid, Field: "draft.pieces", Value: fmt.Sprintf("%d pieces", n),
			Rule: fmt.Sprintf("a parcel has at most %d lines", MaxPieces), Hint: "list chips as one counted line, or split the parcel",
		}
	}
	return &parcelv1.Event{Event: &parcelv1.Event_DraftSaved{DraftSaved: &parcelv1.DraftSaved{
		Public:  &parcelv1.DraftSaved_Public{ParcelId: id},
		Private: &parcelv1.DraftSaved_Private{SellerId: seller, Draft: d},
	}}}, nil
}

// DiscardDraft ends a draft (rule 15).
func (s State) DiscardDraft(seller string) (*parcelv1.Event, error) {
	if err := s.draftOf(seller); err != nil {
		return nil, err
	}
	return &parcelv1.Event{Event: &parcelv1.Event_DraftDiscarded{DraftDiscarded: &parcelv1.DraftDiscarded{
		Public:  &parcelv1.DraftDiscarded_Public{ParcelId: s.ID},
		Private: &parcelv1.DraftDiscarded_Private{SellerId: seller},
	}}}, nil
}

// draftOf refuses who isn't the seller of a draft.
func (s State) draftOf(seller string) error {
	if s.ID == "" || s.Seller != seller {
		return rule.NotThere("parcel_id", "draft")
	}
	if s.Draft == nil {
		return s.notADraft("parcel_id")
	}
	return nil
}

func (s State) notADraft(field string) error {
	what := "it was listed, and is no draft any more"
	if s.Discarded {
		what = "the draft was discarded"
	}
	return rule.Broken{Reason: rule.NotADraft, Field: field, Value: s.ID, Rule: what, Hint: "begin a new draft"}
}
