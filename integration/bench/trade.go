package main

import (
	"context"
	"crypto/ed25519"
	"fmt"
	"sync/atomic"
	"time"

	"google.golang.org/protobuf/proto"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/stream"
)

// The command measured is a cutter's bench step, WorkPart: it is what the trade does most
// (every saw cut and every turn at the wheel is one), and an ordinary one. Its decision
// re-checks person, member and role, looks at two aggregates, the piece and the parcel
// that it came in, and holds masses against each other; it leaves one record, and changes
// a row of one view. Grinding a little off a part that keeps its name can be repeated
// as long as the part has mass, and leaves the state no larger than it was, so that the
// last command of a run finds what the first one found.

const (
	stepUg      = 1_000         // a step takes one division of the scale
	divisionUg  = 1_000         // 1 mg
	pieceUg     = 2_000_000_000 // 2 kg: two million steps
	perParcel   = parcel.MaxPieces
	cutterLabel = "at the wheel"
)

// trade is what the bench needs of a co-op: a cutter who has rough to work.
type trade struct {
	miner, cutter string // member ids
	person        string // acts for the cutter
	key           ed25519.PrivateKey
	parcels       []string
	pieces        []workpiece
}

// workpiece is a piece of rough and what is left of it. Of callers at the same time
// each has its own pieces, so that nobody's step is refused for another's.
type workpiece struct {
	id, parcel string
	part       string // its only part
	massUg     atomic.Int64
}

// piece is the n-th piece that a caller works on.
func (t *trade) piece(caller, callers, n int) *workpiece {
	each := len(t.pieces) / callers
	return &t.pieces[caller+n%each*callers]
}

// found makes the co-op, its members and the pieces, as decisions of the domain.
func found(ctx context.Context, n *eventstore.Node, pieces int) (*trade, error) {
	t := &trade{miner: command.NewID(), cutter: command.NewID(), person: command.NewID(), pieces: make([]workpiece, pieces)}
	var err error
	if t.key, err = access.NewKey(); err != nil {
		return nil, err
	}
	field, claim := command.NewID(), command.NewID()
	_, err = n.Decide(ctx, eventstore.Request{}, func(tx *eventstore.Tx) error { return t.members(tx, field, claim) })
	if err != nil {
		return nil, fmt.Errorf("couldn't found the co-op: %w", err)
	}
	for first := 0; first < pieces; first += perParcel {
		id := command.NewID()
		lot := t.pieces[first:min(pieces, first+perParcel)]
		for i := range lot {
			lot[i].id, lot[i].parcel, lot[i].part = command.NewID(), id, fmt.Sprint(i+1)
			lot[i].massUg.Store(pieceUg)
		}
		_, err := n.Decide(ctx, eventstore.Request{}, func(tx *eventstore.Tx) error { return t.list(tx, id, claim, field, lot) })
		if err != nil {
			return nil, fmt.Errorf("couldn't prepare a parcel: %w", err)
		}
		t.parcels = append(t.parcels, id)
	}
	return t, nil
}

func (t *trade) members(tx *eventstore.Tx, fieldID, claimID string) error {
	coop, err := member.Coop{}.Found(coopID, "The bench", time.UTC, 50_000)
	if err != nil {
		return err
	}
	tx.Record(stream.Coop.Stream(coopID), coop)
	members := map[string]member.Member{}
	for _, m := range []struct {
		id, name string
		role     memberv1.Role
	}{{t.miner, "The shaft", memberv1.Role_ROLE_MINER}, {t.cutter, "The wheel", memberv1.Role_ROLE_CUTTER}} {
		admitted, err := member.Member{}.Admit(m.id, m.name, []memberv1.Role{m.role})
		if err != nil {
			return err
		}
		tx.Record(stream.Member.Stream(m.id), admitted)
		members[m.id] = member.EvolveMember(member.Member{}, admitted)
	}
	cutter := members[t.cutter]
	added, err := member.Person{}.Add(cutter, member.NewPerson{
		ID: t.person, Label: cutterLabel, Roles: cutter.Roles, Key: t.key.Public().(ed25519.PublicKey),
	})
	if err != nil {
		return err
	}
	for _, e := range added {
		tx.Record(stream.Person.Stream(t.person), e)
	}
	field, err := member.Field{}.Record(fieldID, "The field", "")
	if err != nil {
		return err
	}
	tx.Record(stream.Field.Stream(fieldID), field)
	claim, err := member.Claim{}.Record(member.EvolveField(member.Field{}, field), members[t.miner], claimID, "The claim")
	if err != nil {
		return err
	}
	tx.Record(stream.Claim.Stream(claimID), claim)
	return nil
}

// list lists a parcel, and the cutter takes it and has it in hand.
func (t *trade) list(tx *eventstore.Tx, id, claimID, fieldID string, lot []workpiece) error {
	weighing := func(ug int64) *eventv1.Weighing { return &eventv1.Weighing{MassUg: ug, DivisionUg: divisionUg} }
	total := weighing(pieceUg * int64(len(lot)))
	lines := make([]parcel.Piece, len(lot))
	for i := range lot {
		lines[i] = parcel.Piece{ID: lot[i].id, Label: lot[i].part, Weighing: weighing(pieceUg), Count: 1}
	}
	var state parcel.State
	record := func(e *parcelv1.Event) {
		state = parcel.Evolve(state, e)
		tx.Record(stream.Parcel.Stream(id), e)
	}
	listed, err := state.List(parcel.Listing{
		ID: id, Seller: t.miner, Label: "rough", Pieces: lines, Total: total,
		Treatment: eventv1.Treatment_TREATMENT_NONE_KNOWN, OpenAtAsking: true, Agreement: agreement(),
	})
	if err != nil {
		return err
	}
	record(listed)
	for i := range lot {
		described, err := piece.State{}.Describe(&piecev1.Described_Public{
			PieceId: lot[i].id, ParcelId: id, Label: lot[i].part, Weighing: weighing(pieceUg), Count: 1,
			Size: &eventv1.Size{LengthUm: 200_000, WidthUm: 150_000, DepthUm: 80_000}, Kind: eventv1.Kind_KIND_BOULDER,
			FieldId: fieldID,
		}, &piecev1.Described_Private{ClaimId: claimID})
		if err != nil {
			return err
		}
		tx.Record(stream.Piece.Stream(lot[i].id), described)
	}
	taken, err := state.Take(t.cutter, tx.Now())
	if err != nil {
		return err
	}
	record(taken)
	for _, side := range []string{t.miner, t.cutter} {
		weighed, err := state.Weigh(side, uint32(len(lot)), total)
		if err != nil {
			return err
		}
		for _, e := range weighed {
			record(e)
		}
	}
	return nil
}

func agreement() *parcelv1.Agreement {
	return &parcelv1.Agreement{
		Price:      &eventv1.Amount{Currency: "AUD", Minor: 190_000},
		ParcelLevy: &parcelv1.Levy{BasisPoints: 300, BorneBy: parcel.Miner},
		SaleLevy:   &parcelv1.Levy{BasisPoints: 600},
		Tiers: []*parcelv1.Tier{
			{Form: &parcelv1.Tier_Recoup{Recoup: &parcelv1.Recoup{Party: parcel.Cutter, Target: &parcelv1.Recoup_AmountMinor{AmountMinor: 190_000}}}},
			{Form: &parcelv1.Tier_Split{Split: &parcelv1.Split{Ratios: []*parcelv1.Ratio{{Party: parcel.Cutter, Weight: 4}, {Party: parcel.Miner, Weight: 3}}}}},
		},
	}
}

// worked is the event of a step that brings a part from one mass to another, with the
// bytes that are stored of it: what the peer is given to store.
func (t *trade) worked(w *workpiece, in, out int64) (public, private []byte, err error) {
	e := &piecev1.Worked{
		Public: &piecev1.Worked_Public{
			PieceId: w.id, Part: w.part, Step: piecev1.Step_STEP_GRIND, MassIn: &eventv1.Weighing{MassUg: in, DivisionUg: divisionUg},
			PartsOut: []*piecev1.Part{{Name: w.part, Weighing: &eventv1.Weighing{MassUg: out, DivisionUg: divisionUg}, Fate: piecev1.Fate_FATE_IN_WORK}},
			LossUg:   in - out, Reason: piecev1.Reason_REASON_GROUND_OFF,
		},
		Private: &piecev1.Worked_Private{MemberId: t.cutter, How: how},
	}
	if public, err = proto.Marshal(e.Public); err != nil {
		return nil, nil, err
	}
	private, err = proto.Marshal(e.Private)
	return public, private, err
}

const how = "along the face, to the colour bar"
