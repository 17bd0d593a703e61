// Package coop is the gRPC services of the co-operative itself: its desk, the way in
// for persons, and the node.
package coop

import (
	"cmp"
	"context"
	"strings"
	"sync"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/page"
	"seamshare.example/services/personal"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
)

// Server implements coopv1.CoopServiceServer.
type Server struct {
	coopv1.UnimplementedCoopServiceServer
	node  *eventstore.Node
	lists query.Lists
	days  days
	keys  *personal.Keys // nil where this node keeps none
	// sound are the ids of payout runs that were reckoned anew and came out as they say.
	// What was recorded by then never changes, so that each is reckoned once a process.
	sound sync.Map
}

// New makes the desk's service of a node. keys are the personal keys, nil where another
// node of the co-op keeps them.
func New(node *eventstore.Node, tokens page.Token, keys *personal.Keys) *Server {
	return &Server{node: node, lists: query.Lists{Node: node, Tokens: tokens}, keys: keys}
}

// RecordField implements coopv1.CoopServiceServer.
func (s *Server) RecordField(ctx context.Context, req *coopv1.RecordFieldRequest) (*coopv1.RecordFieldResponse, error) {
	id := command.NewID()
	did, err := command.Run(ctx, s.node, req, stream.Field, func(tx *eventstore.Tx) (*command.Thing[member.Field], error) {
		field, err := command.Open(tx, stream.Field, id)
		if err != nil {
			return nil, err
		}
		recorded, err := field.State.Record(id, req.GetName(), req.GetCountry())
		if err != nil {
			return nil, err
		}
		v := view.Members{}
		switch f, taken, err := v.FieldNamed(tx.View(v.Name()), req.GetName()); {
		case err != nil:
			return nil, err
		case taken:
			return nil, member.NameTaken("field", f.Name, f.ID)
		}
		field.Record(recorded)
		return field, nil
	})
	if err != nil {
		return nil, err
	}
	f := did.State
	return &coopv1.RecordFieldResponse{Field: &coopv1.Field{Id: f.ID, Name: f.Name, Country: f.Country}, Position: uint64(did.Position)}, nil
}

// ListFields implements coopv1.CoopServiceServer.
func (s *Server) ListFields(ctx context.Context, req *coopv1.ListFieldsRequest) (*coopv1.ListFieldsResponse, error) {
	v := view.Members{}
	fields, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]view.Field, string, error) {
			return v.Fields(q.View(v.Name()), after, limit)
		},
		func(_ *eventstore.Query, f view.Field) (*coopv1.Field, error) {
			return &coopv1.Field{Id: f.ID, Name: f.Name, Country: f.Country}, nil
		})
	if err != nil {
		return nil, err
	}
	return &coopv1.ListFieldsResponse{Fields: fields, NextPageToken: next, Position: position}, nil
}

// AdmitMember implements coopv1.CoopServiceServer.
func (s *Server) AdmitMember(ctx context.Context, req *coopv1.AdmitMemberRequest) (*coopv1.AdmitMemberResponse, error) {
	id := command.NewID()
	did, err := command.Run(ctx, s.node, req, stream.Member, func(tx *eventstore.Tx) (*command.Thing[member.Member], error) {
		m, err := command.Open(tx, stream.Member, id)
		if err != nil {
			return nil, err
		}
		admitted, err := m.State.AdmitTrader(id, req.GetTradingName(), storedRoles(req.GetRoles()))
		if err != nil {
			return nil, err
		}
		m.Record(admitted)
		return m, nil
	})
	if err != nil {
		return nil, err
	}
	out := &coopv1.AdmitMemberResponse{Member: shownMember(did.State), Position: uint64(did.Position)}
	_, err = query.At(ctx, s.node, uint64(did.Position), func(q *eventstore.Query) (err error) {
		out.SameNameMemberIds, err = namesakes(q, did.State)
		return err
	})
	return out, err
}

// namesakes are other members of the same trading name as people read it: capitals and spaces aside. Two businesses may
// have one name, so that it is said and not refused.
func namesakes(q *eventstore.Query, of member.Member) (ids []string, err error) {
	read := func(name string) string { return strings.ToLower(strings.Join(strings.Fields(name), "")) }
	v := view.Members{}
	rows := q.View(v.Name())
	err = through(func(after string, limit int) ([]view.Member, string, error) { return v.List(rows, after, limit) },
		func(m view.Member) (bool, error) {
			if m.ID != of.ID && read(m.TradingName) == read(of.TradingName) {
				ids = append(ids, m.ID)
			}
			return false, nil
		})
	return ids, err
}

// ListMembers implements coopv1.CoopServiceServer.
func (s *Server) ListMembers(ctx context.Context, req *coopv1.ListMembersRequest) (*coopv1.ListMembersResponse, error) {
	v := view.Members{}
	members, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]view.Member, string, error) {
			return v.List(q.View(v.Name()), after, limit)
		},
		func(q *eventstore.Query, m view.Member) (*coopv1.Member, error) {
			state, _, err := eventstore.Load(q, stream.Member, m.ID)
			return shownMember(state), err
		})
	if err != nil {
		return nil, err
	}
	return &coopv1.ListMembersResponse{Members: members, NextPageToken: next, Position: position}, nil
}

// NameMembers implements coopv1.CoopServiceServer. An id is too long to be guessed: who
// has it was shown it.
func (s *Server) NameMembers(ctx context.Context, req *coopv1.NameMembersRequest) (*coopv1.NameMembersResponse, error) {
	out := &coopv1.NameMembersResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		for _, id := range req.GetMemberIds() {
			m, _, err := eventstore.Load(q, stream.Member, id)
			if err != nil {
				return err
			}
			if m.ID != "" {
				out.Members = append(out.Members, &coopv1.MemberName{MemberId: id, TradingName: m.TradingName})
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// AddPerson implements coopv1.CoopServiceServer.
func (s *Server) AddPerson(ctx context.Context, req *coopv1.AddPersonRequest) (*coopv1.AddPersonResponse, error) {
	id := command.NewID()
	did, err := command.Run(ctx, s.node, req, stream.Person, func(tx *eventstore.Tx) (*command.Thing[member.Person], error) {
		person, err := command.Open(tx, stream.Person, id)
		if err != nil {
			return nil, err
		}
		m, _, err := eventstore.Load(tx, stream.Member, req.GetMemberId())
		if err != nil {
			return nil, err
		}
		v := view.Members{}
		owner, err := v.PersonByKey(tx.View(v.Name()), member.KeyID(req.GetPublicKey()))
		if err != nil {
			return nil, err
		}
		events, err := person.State.Add(m, member.NewPerson{
			ID: id, Label: req.GetLabel(), Key: req.GetPublicKey(), KeyOwner: owner, Roles: storedRoles(req.GetRoles()), By: access.Caller(ctx).Person,
		})
		if err != nil {
			return nil, err
		}
		for _, event := range events {
			person.Record(event)
		}
		return person, nil
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.AddPersonResponse{Person: shownPerson(did.State), Position: uint64(did.Position)}, nil
}

// GrantRole implements coopv1.CoopServiceServer.
func (s *Server) GrantRole(ctx context.Context, req *coopv1.GrantRoleRequest) (*coopv1.GrantRoleResponse, error) {
	did, err := command.Run(ctx, s.node, req, stream.Person, func(tx *eventstore.Tx) (*command.Thing[member.Person], error) {
		person, err := command.Open(tx, stream.Person, req.GetPersonId())
		if err != nil {
			return nil, err
		}
		m, _, err := eventstore.Load(tx, stream.Member, cmp.Or(req.GetMemberId(), person.State.MemberID))
		if err != nil {
			return nil, err
		}
		granted, err := person.State.Grant(access.Caller(ctx).Person, m, memberv1.Role(req.GetRole()))
		if err != nil {
			return nil, err
		}
		person.Record(granted)
		return person, nil
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.GrantRoleResponse{Person: shownPerson(did.State), Position: uint64(did.Position)}, nil
}

func shownMember(m member.Member) *coopv1.Member {
	return &coopv1.Member{Id: m.ID, TradingName: m.TradingName, Roles: shownRoles(m.Roles), Standing: m.Standing.String()}
}

func shownPerson(p member.Person) *coopv1.Person {
	shown := &coopv1.Person{
		Id: p.ID, MemberId: p.MemberID, Label: p.Label, Roles: shownRoles(p.For(p.MemberID).Roles), Standing: p.Standing.String(),
		NotThem: p.NotThem, Erased: p.Erased,
	}
	for _, m := range p.Memberships {
		shown.Memberships = append(shown.Memberships, &coopv1.Membership{MemberId: m.MemberID, Roles: shownRoles(m.Roles)})
	}
	for _, k := range p.Keys {
		key := &coopv1.Key{Id: k.ID, Stage: k.Stage.String(), AskedBy: k.AskedBy}
		if k.New != nil {
			key.NewKeyId = member.KeyID(k.New)
		}
		shown.Keys = append(shown.Keys, key)
	}
	return shown
}

// Roles of the events and of the API have the same numbers.

func shownRoles(roles []memberv1.Role) []typev1.Role {
	shown := make([]typev1.Role, len(roles))
	for i, r := range roles {
		shown[i] = typev1.Role(r)
	}
	return shown
}

func storedRoles(roles []typev1.Role) []memberv1.Role {
	stored := make([]memberv1.Role, len(roles))
	for i, r := range roles {
		stored[i] = memberv1.Role(r)
	}
	return stored
}
