package coop

import (
	"context"
	"errors"
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/fault"
	"seamshare.example/services/personal"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
)

// bankField is the field that a member's bank details are bound to.
const bankField = "BANK_DETAILS"

func (s *Server) keeper() (*personal.Keys, error) {
	if s.keys == nil {
		return nil, fault.New(fault.NodeKeepsNoKeys, "%s", fault.NodeKeepsNoKeys.About())
	}
	return s.keys, nil
}

func (s *Server) bound(person, seal, field string) personal.Bound {
	return personal.Bound{Coop: s.node.Coop(), Person: person, Seal: seal, Field: field}
}

// sealed seals a fact before the decision, and gives the request as the log may know
// it: with a keyed fingerprint in the fact's place, so that nobody can try facts
// against the log once the key is gone. Nothing is made for a person who isn't there or
// was erased, nor a second key where the first is elsewhere: what the first sealed would
// never open again.
func (s *Server) sealed(ctx context.Context, b personal.Bound, fact string, min uint64) (sealed []byte, print string, err error) {
	keys, err := s.keeper()
	if err != nil {
		return nil, "", err
	}
	_, err = query.At(ctx, s.node, min, func(q *eventstore.Query) error {
		p, _, err := eventstore.Load(q, stream.Person, b.Person)
		if err == nil && (p.ID == "" || p.Erased) {
			// The rule that the decision would refuse by.
			_, err = p.Seal(member.Sealed{Field: memberv1.PersonalField_PERSONAL_FIELD_NAME, Data: []byte{0}})
		}
		if err != nil {
			return err
		}
		v := view.Members{}
		banks, err := v.BanksUnder(q.View(v.Name()), p.ID)
		if err != nil || len(p.Sealed)+len(banks) == 0 {
			return err
		}
		has, err := keys.Has(b.Person)
		if err == nil && !has {
			err = keyElsewhere()
		}
		return err
	})
	if err != nil {
		return nil, "", err
	}
	if sealed, err = keys.Seal(b, []byte(fact)); err != nil {
		return nil, "", err
	}
	print, err = keys.Fingerprint(b.Person, []byte(fact))
	return sealed, print, err
}

// undo destroys a key that was made for somebody who was erased meanwhile.
func (s *Server) undo(person string, err error) error {
	if broken, ok := rule.Of(err); ok && broken.First().Reason == rule.PersonErased {
		return errors.Join(err, s.keys.Destroy(person))
	}
	return err
}

// mayKnow refuses a caller whom a person's facts don't concern: anyone but the person
// themselves and a registrar.
func mayKnow(l eventstore.Loader, who access.Identity, person string) error {
	if who.Person == person {
		return nil
	}
	if err := access.Recheck(l, who, memberv1.Role_ROLE_REGISTRAR); err != nil {
		return rule.NotThere("person_id", "person")
	}
	return nil
}

// RecordPersonal implements coopv1.CoopServiceServer.
func (s *Server) RecordPersonal(ctx context.Context, req *coopv1.RecordPersonalRequest) (*coopv1.RecordPersonalResponse, error) {
	who := access.Caller(ctx)
	id, seal := req.GetPersonId(), command.NewID()
	field := memberv1.PersonalField(req.GetField())
	if err := s.before(ctx, req.GetMinPosition(), func(q *eventstore.Query) error { return mayKnow(q, who, id) }); err != nil {
		return nil, err
	}
	sealed, print, err := s.sealed(ctx, s.bound(id, seal, field.String()), req.GetValue(), req.GetMinPosition())
	if err != nil {
		return nil, err
	}
	known := proto.CloneOf(req)
	known.Value = print
	did, err := command.Run(ctx, s.node, known, stream.Person, func(tx *eventstore.Tx) (*command.Thing[member.Person], error) {
		if err := mayKnow(tx, who, id); err != nil {
			return nil, err
		}
		p, err := command.Open(tx, stream.Person, id)
		if err != nil {
			return nil, err
		}
		event, err := p.State.Seal(member.Sealed{Field: field, SealID: seal, Data: sealed})
		if err != nil {
			return nil, err
		}
		p.Record(event)
		return p, nil
	})
	if err != nil {
		return nil, s.undo(id, err)
	}
	return &coopv1.RecordPersonalResponse{PersonId: did.ID, Position: uint64(did.Position)}, nil
}

// before asks something of the present state, before work that the decision repeats.
func (s *Server) before(ctx context.Context, min uint64, ask func(*eventstore.Query) error) error {
	_, err := query.At(ctx, s.node, min, ask)
	return err
}

// GetPersonal implements coopv1.CoopServiceServer.
func (s *Server) GetPersonal(ctx context.Context, req *coopv1.GetPersonalRequest) (*coopv1.GetPersonalResponse, error) {
	who := access.Caller(ctx)
	out := &coopv1.GetPersonalResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		if err := mayKnow(q, who, req.GetPersonId()); err != nil {
			return err
		}
		p, _, err := eventstore.Load(q, stream.Person, req.GetPersonId())
		if err == nil && p.ID == "" {
			err = rule.NotThere("person_id", "person")
		}
		if err != nil {
			return err
		}
		out.Erased = p.Erased
		for _, f := range p.Sealed {
			fact, err := s.open(s.bound(p.ID, f.SealID, f.Field.String()), f.Data)
			if err != nil {
				return err
			}
			out.Facts = append(out.Facts, &coopv1.PersonalFact{Field: typev1.PersonalField(f.Field), Value: fact})
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

func (s *Server) open(b personal.Bound, sealed []byte) (string, error) {
	keys, err := s.keeper()
	if err != nil {
		return "", err
	}
	fact, err := keys.Open(b, sealed)
	if errors.Is(err, personal.ErrNoKey) {
		return "", keyElsewhere().Because(err)
	}
	return string(fact), err
}

// keyElsewhere: something was sealed under a person's key, and this node hasn't got it.
func keyElsewhere() *fault.Error {
	return fault.New(fault.NodeKeepsNoKeys, "this node has not the person's key; ask the node that keeps the keys, or put their copy back")
}

// ErasePerson implements coopv1.CoopServiceServer. The record comes first; where
// the caller leaves before the key's end, the node ends it (FollowErasures), and after a
// crash the next start does (personal.Keys.Replay).
func (s *Server) ErasePerson(ctx context.Context, req *coopv1.ErasePersonRequest) (*coopv1.ErasePersonResponse, error) {
	who := access.Caller(ctx)
	keys, err := s.keeper()
	if err != nil {
		return nil, err
	}
	did, err := command.Run(ctx, s.node, req, stream.Person, func(tx *eventstore.Tx) (*command.Thing[member.Person], error) {
		p, err := command.Open(tx, stream.Person, req.GetPersonId())
		if err != nil {
			return nil, err
		}
		banks, err := banksUnder(tx, p.State)
		if err != nil {
			return nil, err
		}
		erased, err := p.State.Erase(banks, who.Person, req.GetReason())
		if err != nil {
			return nil, err
		}
		for _, m := range banks {
			tx.Record(stream.Member.Stream(m), erased)
		}
		p.Record(erased)
		return p, nil
	})
	if err != nil {
		return nil, err
	}
	if err := keys.Destroy(did.ID); err != nil {
		return nil, fmt.Errorf("the erasure of person %s is recorded, but their key is still there; restart the node to repeat it: %w", did.ID, err)
	}
	out := &coopv1.ErasePersonResponse{Position: uint64(did.Position)}
	err = s.before(ctx, uint64(did.Position), func(q *eventstore.Query) (err error) {
		out.Receipt, err = receipt(q, did.ID)
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// banksUnder are the members whose bank details are sealed under a person's key.
func banksUnder(tx *eventstore.Tx, p member.Person) (banks []string, err error) {
	v := view.Members{}
	members, err := v.BanksUnder(tx.View(v.Name()), p.ID)
	if err != nil {
		return nil, err
	}
	for _, id := range members {
		m, _, err := eventstore.Load(tx, stream.Member, id)
		if err != nil {
			return nil, err
		}
		if m.Bank.PersonID == p.ID {
			banks = append(banks, id)
		}
	}
	return banks, nil
}

// GetErasure implements coopv1.CoopServiceServer.
func (s *Server) GetErasure(ctx context.Context, req *coopv1.GetErasureRequest) (*coopv1.GetErasureResponse, error) {
	out := &coopv1.GetErasureResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) (err error) {
		out.Receipt, err = receipt(q, req.GetPersonId())
		return err
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

func receipt(q *eventstore.Query, person string) (*coopv1.Erasure, error) {
	v := view.Members{}
	at, err := v.ErasedAt(q.View(v.Name()), person)
	if err != nil {
		return nil, err
	}
	if at == 0 {
		return nil, rule.NotThere("person_id", "person who was erased")
	}
	rec, err := q.RecordAt(at)
	if err != nil {
		return nil, err
	}
	event, _ := rec.Event.(*memberv1.Event)
	e := event.GetPersonErased().GetPrivate()
	out := &coopv1.Erasure{
		PersonId: person, BankDetailsOf: e.GetBankDetailsOf(), ErasedBy: e.GetErasedBy(), Reason: e.GetReason(),
		Position: uint64(at), At: rec.DecidedAt.Format(time.RFC3339),
	}
	for _, f := range e.GetFields() {
		out.Fields = append(out.Fields, typev1.PersonalField(f))
	}
	return out, nil
}

// bankRoles are the desk's who may see and edit a member's bank details.
var bankRoles = []memberv1.Role{memberv1.Role_ROLE_BOOKKEEPER, memberv1.Role_ROLE_APPROVER}

// mayBank refuses a caller whom a member's bank details don't concern: anyone but who
// trades for it, a bookkeeper and an approver.
func mayBank(l eventstore.Loader, who access.Identity, memberID string) error {
	roles := bankRoles
	if who.Member == memberID {
		roles = append([]memberv1.Role{memberv1.Role_ROLE_MINER, memberv1.Role_ROLE_CUTTER, memberv1.Role_ROLE_JEWELLER}, bankRoles...)
	}
	if err := access.Recheck(l, who, roles...); err != nil {
		return rule.NotThere("member_id", "member")
	}
	return nil
}

// SetBankDetails implements coopv1.CoopServiceServer.
func (s *Server) SetBankDetails(ctx context.Context, req *coopv1.SetBankDetailsRequest) (*coopv1.SetBankDetailsResponse, error) {
	who := access.Caller(ctx)
	id, under, seal := req.GetMemberId(), req.GetPersonId(), command.NewID()
	if under == "" {
		under = who.Person
	}
	if err := s.before(ctx, req.GetMinPosition(), func(q *eventstore.Query) error { return mayBank(q, who, id) }); err != nil {
		return nil, err
	}
	sealed, print, err := s.sealed(ctx, s.bound(under, seal, bankField), req.GetValue(), req.GetMinPosition())
	if err != nil {
		return nil, err
	}
	known := proto.CloneOf(req)
	known.Value = print
	did, err := command.Run(ctx, s.node, known, stream.Member, func(tx *eventstore.Tx) (*command.Thing[member.Member], error) {
		if err := mayBank(tx, who, id); err != nil {
			return nil, err
		}
		m, err := command.Open(tx, stream.Member, id)
		if err != nil {
			return nil, err
		}
		owner, _, err := eventstore.Load(tx, stream.Person, under)
		if err != nil {
			return nil, err
		}
		coop, _, err := eventstore.Load(tx, stream.Coop, s.node.Coop())
		if err != nil {
			return nil, err
		}
		event, err := m.State.SealBank(owner, seal, sealed, who.Person, tx.Now().Add(coop.BankCoolOffAt(tx.Now())))
		if err != nil {
			return nil, err
		}
		m.Record(event)
		return m, nil
	})
	if err != nil {
		return nil, s.undo(under, err)
	}
	return &coopv1.SetBankDetailsResponse{
		MemberId: did.ID, CoolOffUntil: did.State.Bank.CoolOffUntil.Format(time.RFC3339), Position: uint64(did.Position),
	}, nil
}

// GetBankDetails implements coopv1.CoopServiceServer.
func (s *Server) GetBankDetails(ctx context.Context, req *coopv1.GetBankDetailsRequest) (*coopv1.GetBankDetailsResponse, error) {
	who := access.Caller(ctx)
	out := &coopv1.GetBankDetailsResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		if err := mayBank(q, who, req.GetMemberId()); err != nil {
			return err
		}
		m, _, err := eventstore.Load(q, stream.Member, req.GetMemberId())
		if err == nil && m.ID == "" {
			err = rule.NotThere("member_id", "member")
		}
		if err != nil || m.Bank.SealID == "" {
			return err
		}
		out.EditedBy, out.CoolOffUntil = m.Bank.EditedBy, m.Bank.CoolOffUntil.Format(time.RFC3339)
		out.Value, err = s.open(s.bound(m.Bank.PersonID, m.Bank.SealID, bankField), m.Bank.Data)
		return err
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}
