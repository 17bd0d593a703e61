package wire

import (
	"strings"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/stone"
)

// MarketPiece shows a piece to those who look at the market: the field where it is
// shown, but not the claim, which would name the seller.
func MarketPiece(s piece.State) *typev1.Piece {
	s.ClaimID = ""
	return Piece(s)
}

// ListedPiece shows a piece to its seller as it was listed: what a buyer cuts it into is
// the buyer's.
func ListedPiece(s piece.State) *typev1.Piece {
	p := untagged(s)
	p.Parts, p.Losses, p.UnexplainedUg = nil, nil, 0
	p.Etag = etag(p, 0)
	return p
}

// Piece shows a piece with its parts to its seller, or to the cutter who has the deal.
func Piece(s piece.State) *typev1.Piece {
	p := untagged(s)
	p.Etag = etag(p, 0)
	return p
}

// untagged is a piece without its etag, which is a digest of all that is shown in the end.
func untagged(s piece.State) *typev1.Piece {
	p := &typev1.Piece{
		Id: s.ID, ParcelId: s.ParcelID, Label: s.Label, Weighing: Weighing(s.Weighing), Size: Size(s.Size),
		Kind: typev1.Kind(s.Kind), Count: s.Count, ClaimId: s.ClaimID, FieldId: s.FieldID, Seen: s.Seen,
		SmallestUm: s.SmallestUm, LargestUm: s.LargestUm, OpenedFrom: s.OpenedFrom, MayBeOfFieldIds: s.MayBeOf,
	}
	p.Photos = photos(s.Photos)
	for _, part := range s.Parts {
		p.Parts = append(p.Parts, &typev1.PiecePart{
			Name: part.Name, Weighing: Weighing(part.Weighing), Fate: typev1.Fate(part.Fate), StoneId: part.StoneID, MayBe: mixed(part.Mixed),
		})
	}
	for _, l := range s.Losses {
		p.Losses = append(p.Losses, &typev1.Loss{Reason: typev1.Reason(l.Reason), MassUg: l.MassUg})
	}
	p.UnexplainedUg, p.OriginPieceId, p.OriginPart = s.UnexplainedUg, s.Origin.GetPieceId(), s.Origin.GetPart()
	return p
}

// Stone shows a stone. Its price is shown while it is on sale only.
func Stone(s stone.State) *typev1.Stone {
	f := s.Facts
	out := &typev1.Stone{
		Id: f.GetStoneId(), Label: f.GetLabel(), State: typev1.StoneState(s.Stage),
		PieceId: f.GetPieceId(), Part: f.GetPart(), ParcelId: f.GetParcelId(), CutterId: f.GetCutterId(),
		Weighing: Weighing(s.Weighing), Carat: Carat(s.Weighing.GetMassUg()), Size: Size(s.Size),
		Outline: typev1.Outline(f.GetOutline()), Kind: typev1.Kind(f.GetKind()), Treatment: typev1.Treatment(f.GetTreatment()),
		Hydrophane: typev1.Hydrophane(f.GetHydrophane()), Composite: typev1.Composite(f.GetComposite()),
		Grade: grade(f.GetGrade()), Remarks: s.Remarks, Check: checkState(s.Check), Photo: PhotoOf(s.Check.Photo),
		Recuts: uint32(s.Recuts), LotId: s.LotID,
	}
	if s.Stage == stone.OnSale {
		out.Price = MoneyOf(s.Price)
		out.SetId, out.SetKind, out.SetStoneIds = s.Set.ID, typev1.SetKind(s.Set.Kind), s.Set.StoneIDs
	}
	out.Etag = etag(out, 0)
	return out
}

func checkState(c stone.Check) typev1.CheckState {
	switch {
	case c.Stands():
		return typev1.CheckState_CHECK_STATE_CONFIRMED
	case c.By != "":
		return typev1.CheckState_CHECK_STATE_CHECKED
	}
	return typev1.CheckState_CHECK_STATE_UNSPECIFIED
}

// Carat is a mass in carats with two decimals, rounded down, without the unit.
func Carat(ug int64) string { return strings.TrimSuffix(measure.Mass(ug).Carats(), " ct") }

func grade(g *stonev1.Grade) *typev1.Grade {
	if g == nil {
		return nil
	}
	return &typev1.Grade{
		BodyTone: g.GetBodyTone(), Transparency: typev1.Transparency(g.GetTransparency()), Pattern: typev1.Pattern(g.GetPattern()),
		Brightness: typev1.Brightness(g.GetBrightness()), Colours: g.GetColours(), JudgedUnder: g.GetJudgedUnder(),
	}
}

// ReadGrade reads a grade.
func ReadGrade(g *typev1.Grade) *stonev1.Grade {
	if g == nil {
		return nil
	}
	return &stonev1.Grade{
		BodyTone: g.GetBodyTone(), Transparency: stonev1.Transparency(g.GetTransparency()), Pattern: stonev1.Pattern(g.GetPattern()),
		Brightness: stonev1.Brightness(g.GetBrightness()), Colours: g.GetColours(), JudgedUnder: g.GetJudgedUnder(),
	}
}
