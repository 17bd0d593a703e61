package coop

import (
	"cmp"
	"context"

	"google.golang.org/protobuf/proto"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/correction"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"
)

// CorrectAmount implements coopv1.CoopServiceServer.
func (s *Server) CorrectAmount(ctx context.Context, req *coopv1.CorrectAmountRequest) (*coopv1.CorrectAmountResponse, error) {
	var unreadable rule.All
	right := correction.Facts{StoneID: req.GetStoneId(), Amount: wire.Amount(&unreadable, "amount", req.GetAmount())}
	c, at, err := s.correct(ctx, req, req.GetCorrects(), right, unreadable, req.GetReason())
	if err != nil {
		return nil, err
	}
	return &coopv1.CorrectAmountResponse{Correction: c, Position: at}, nil
}

// CorrectMass implements coopv1.CoopServiceServer.
func (s *Server) CorrectMass(ctx context.Context, req *coopv1.CorrectMassRequest) (*coopv1.CorrectMassResponse, error) {
	right := correction.Facts{
		Part: req.GetPart(), WentIn: req.GetWentIn(), StoneID: req.GetStoneId(), Weighing: wire.ReadWeighing(req.GetWeighing()), Total: wire.ReadWeighing(req.GetTotal()),
	}
	c, at, err := s.correct(ctx, req, req.GetCorrects(), right, nil, req.GetReason())
	if err != nil {
		return nil, err
	}
	return &coopv1.CorrectMassResponse{Correction: c, Position: at}, nil
}

// CorrectSize implements coopv1.CoopServiceServer.
func (s *Server) CorrectSize(ctx context.Context, req *coopv1.CorrectSizeRequest) (*coopv1.CorrectSizeResponse, error) {
	c, at, err := s.correct(ctx, req, req.GetCorrects(), correction.Facts{Size: wire.ReadSize(req.GetSize())}, nil, req.GetReason())
	if err != nil {
		return nil, err
	}
	return &coopv1.CorrectSizeResponse{Correction: c, Position: at}, nil
}

// CorrectStone implements coopv1.CoopServiceServer.
func (s *Server) CorrectStone(ctx context.Context, req *coopv1.CorrectStoneRequest) (*coopv1.CorrectStoneResponse, error) {
	right := &correctionv1.StoneSaid{
		Outline: stonev1.Outline(req.GetOutline()), Kind: eventv1.Kind(req.GetKind()), Treatment: eventv1.Treatment(req.GetTreatment()),
		Hydrophane: stonev1.Hydrophane(req.GetHydrophane()), Composite: stonev1.Composite(req.GetComposite()),
	}
	onlyOutline := proto.Equal(right, &correctionv1.StoneSaid{Outline: right.GetOutline()}) && right.GetOutline() != 0
	record, err := s.said(ctx, req.GetMinPosition(), stream.Stone.Stream(req.GetStoneId()), func(event proto.Message) bool {
		e, _ := event.(*stonev1.Event)
		return e.GetFinished() != nil || onlyOutline && e.GetRecut() != nil
	})
	if err != nil {
		return nil, err
	}
	if record == 0 {
		return nil, rule.NotThere("stone_id", "stone")
	}
	c, at, err := s.correct(ctx, req, record, correction.Facts{Stone: right}, nil, req.GetReason())
	if err != nil {
		return nil, err
	}
	return &coopv1.CorrectStoneResponse{Correction: c, Position: at}, nil
}

// CorrectPiece implements coopv1.CoopServiceServer.
func (s *Server) CorrectPiece(ctx context.Context, req *coopv1.CorrectPieceRequest) (*coopv1.CorrectPieceResponse, error) {
	record, err := s.said(ctx, req.GetMinPosition(), stream.Piece.Stream(req.GetPieceId()), func(event proto.Message) bool {
		e, _ := event.(*piecev1.Event)
		return e.GetDescribed() != nil
	})
	if err != nil {
		return nil, err
	}
	if record == 0 {
		return nil, rule.NotThere("piece_id", "piece")
	}
	right := &correction.Piece{Kind: eventv1.Kind(req.GetKind()), ClaimID: req.GetClaimId(), ClaimStays: req.ClaimId == nil}
	c, at, err := s.correct(ctx, req, record, correction.Facts{Piece: right}, nil, req.GetReason())
	if err != nil {
		return nil, err
	}
	return &coopv1.CorrectPieceResponse{Correction: c, Position: at}, nil
}

// said is the position of a thing's newest record that says what it is; 0: there is none.
func (s *Server) said(ctx context.Context, min uint64, of eventstore.Stream, is func(proto.Message) bool) (position uint64, err error) {
	err = s.before(ctx, min, func(q *eventstore.Query) error {
		records, err := q.Records(of)
		for _, r := range records {
			if is(r.Event) {
				position = uint64(r.Position)
			}
		}
		return err
	})
	return position, err
}

// correct asks for a correction, and does it where no second person is needed.
func (s *Server) correct(ctx context.Context, req command.Request, corrects uint64, right correction.Facts, unreadable rule.All, reason string) (*coopv1.Correction, uint64, error) {
	who := access.Caller(ctx)
	id, unexplainedUg := command.NewID(), int64(0)
	if err := unreadable.Err(); err != nil {
		return nil, 0, err
	}
	record, err := s.recordAt(ctx, req.GetMinPosition(), corrects)
	if err != nil {
		return nil, 0, err
	}
	did, err := command.Run(ctx, s.node, req, stream.Correction, func(tx *eventstore.Tx) (*command.Thing[correction.State], error) {
		w, err := findWrong(tx, record, right)
		if err != nil {
			return nil, err
		}
		if right.Said() && w.saidBy != who.Member {
			if right.Stone != nil {
				return nil, rule.NotThere("stone_id", "stone")
			}
			return nil, rule.NotThere("piece_id", "piece")
		}
		right := right.Over(w.was)
		c, err := command.Open(tx, stream.Correction, id)
		if err != nil {
			return nil, err
		}
		second, err := paidSince(tx, w)
		if err != nil {
			return nil, err
		}
		second = second || right.Said()
		events, err := c.State.Propose(correction.Proposal{
			ID: id, Corrects: corrects, About: string(record.Stream), Was: w.was, Right: right, Newest: uint64(w.newest),
			Person: who.Person, Reason: reason, SecondNeeded: second,
		})
		if err != nil {
			return nil, err
		}
		// Also where it waits: what can't be done is refused now.
		apply, err := w.fit(right)
		if err != nil {
			return nil, err
		}
		for _, event := range events {
			c.Record(event)
		}
		if !second {
			unexplainedUg = apply(c.State, who.Person)
		}
		return c, nil
	})
	if err != nil {
		return nil, 0, err
	}
	shown := shownCorrection(did.State)
	shown.UnexplainedUg = unexplainedUg
	return shown, uint64(did.Position), nil
}

// ConfirmCorrection implements coopv1.CoopServiceServer.
func (s *Server) ConfirmCorrection(ctx context.Context, req *coopv1.ConfirmCorrectionRequest) (*coopv1.ConfirmCorrectionResponse, error) {
	who := access.Caller(ctx)
	waiting, err := s.correction(ctx, req.GetMinPosition(), req.GetCorrectionId())
	if err != nil {
		return nil, err
	}
	record, err := s.recordAt(ctx, req.GetMinPosition(), waiting.Corrects)
	if err != nil {
		return nil, err
	}
	did, err := command.Run(ctx, s.node, req, stream.Correction, func(tx *eventstore.Tx) (*command.Thing[correction.State], error) {
		w, err := findWrong(tx, record, waiting.Facts)
		if err != nil {
			return nil, err
		}
		c, err := command.Open(tx, stream.Correction, req.GetCorrectionId())
		if err != nil {
			return nil, err
		}
		by, _, err := eventstore.Load(tx, stream.Person, who.Person)
		if err != nil {
			return nil, err
		}
		confirmed, err := c.State.Confirm(who.Person, by.NotThem, uint64(w.newest))
		if err != nil {
			return nil, err
		}
		apply, err := w.fit(c.State.Facts)
		if err != nil {
			return nil, err
		}
		apply(c.State, c.State.ProposedBy)
		c.Record(confirmed)
		return c, nil
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.ConfirmCorrectionResponse{Correction: shownCorrection(did.State), Position: uint64(did.Position)}, nil
}

// RefuseCorrection implements coopv1.CoopServiceServer.
func (s *Server) RefuseCorrection(ctx context.Context, req *coopv1.RefuseCorrectionRequest) (*coopv1.RefuseCorrectionResponse, error) {
	who := access.Caller(ctx)
	did, err := command.Run(ctx, s.node, req, stream.Correction, func(tx *eventstore.Tx) (*command.Thing[correction.State], error) {
		c, err := command.Open(tx, stream.Correction, req.GetCorrectionId())
		if err != nil {
			return nil, err
		}
		by, _, err := eventstore.Load(tx, stream.Person, who.Person)
		if err != nil {
			return nil, err
		}
		refused, err := c.State.Refuse(who.Person, by.NotThem, req.GetReason())
		if err != nil {
			return nil, err
		}
		c.Record(refused)
		return c, nil
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.RefuseCorrectionResponse{Correction: shownCorrection(did.State), Position: uint64(did.Position)}, nil
}

func (s *Server) correction(ctx context.Context, min uint64, id string) (c correction.State, err error) {
	err = s.before(ctx, min, func(q *eventstore.Query) error {
		c, _, err = eventstore.Load(q, stream.Correction, id)
		if err == nil && c.ID == "" {
			err = rule.NotThere("correction_id", "correction")
		}
		return err
	})
	return c, err
}

// ListCorrections implements coopv1.CoopServiceServer.
func (s *Server) ListCorrections(ctx context.Context, req *coopv1.ListCorrectionsRequest) (*coopv1.ListCorrectionsResponse, error) {
	all, next, position, err := query.List(ctx, s.lists, req, registered("correction"), func(q *eventstore.Query, id string) (*coopv1.Correction, error) {
		c, _, err := eventstore.Load(q, stream.Correction, id)
		if err != nil {
			return nil, err
		}
		shown := shownCorrection(c)
		was, err := amountBefore(q, c)
		shown.Was = wire.MoneyOf(was)
		return shown, err
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.ListCorrectionsResponse{Corrections: all, NextPageToken: next, Position: position}, nil
}

// paidSince tells whether a party to money that would move was paid by a run that is
// as of the wrong record or later.
func paidSince(tx *eventstore.Tx, w wrong) (bool, error) {
	v := view.Payouts{}
	for _, id := range w.parcels {
		lot, _, err := eventstore.Load(tx, stream.Parcel, id)
		if err != nil {
			return false, err
		}
		for _, m := range view.PartiesOf(lot) {
			t, err := v.Taken(tx.View(v.Name()), w.was.Amount.GetCurrency(), m)
			if err != nil {
				return false, err
			}
			if t.AsOf >= w.record.Position {
				return true, nil
			}
		}
	}
	return false, nil
}

// amountBefore is the amount that a correction takes the place of: that of the record, or of the newest correction of it
// then. nil: it corrects no amount, or one of many in the record, such as a stone's price.
func amountBefore(q *eventstore.Query, c correction.State) (*eventv1.Amount, error) {
	if c.Facts.Amount == nil || c.Facts.StoneID != "" {
		return nil, nil
	}
	r, err := q.RecordAt(eventstore.Position(cmp.Or(c.Newest, c.Corrects)))
	return recordedIn(r.Event).amount, err
}

func shownCorrection(c correction.State) *coopv1.Correction {
	shown := &coopv1.Correction{
		Id: c.ID, Stage: c.Stage.String(), Corrects: c.Corrects, About: c.About, Amount: wire.MoneyOf(c.Facts.Amount), Weighing: wire.Weighing(c.Facts.Weighing), Total: wire.Weighing(c.Facts.Total), WentIn: c.Facts.WentIn,
		Size: wire.Size(c.Facts.Size), Part: c.Facts.Part, StoneId: c.Facts.StoneID, Reason: c.Reason, ProposedBy: c.ProposedBy, DecidedBy: c.DecidedBy,
	}
	if st := c.Facts.Stone; st != nil {
		shown.Stone = &coopv1.CorrectedStone{
			Outline: typev1.Outline(st.GetOutline()), Kind: typev1.Kind(st.GetKind()), Treatment: typev1.Treatment(st.GetTreatment()),
			Hydrophane: typev1.Hydrophane(st.GetHydrophane()), Composite: typev1.Composite(st.GetComposite()),
		}
	}
	if p := c.Facts.Piece; p != nil {
		shown.Piece = &coopv1.CorrectedPiece{Kind: typev1.Kind(p.Kind), ClaimId: p.ClaimID}
	}
	return shown
}
