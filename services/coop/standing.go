package coop

import (
	"context"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
)

// changeMember runs a command that records one event of a member. by is the caller's
// own member.
func (s *Server) changeMember(ctx context.Context, req command.Request, id string, decide func(m member.Member, by string) (*memberv1.Event, error)) (*coopv1.Member, uint64, error) {
	by := access.Caller(ctx).Member
	did, err := command.Run(ctx, s.node, req, stream.Member, func(tx *eventstore.Tx) (*command.Thing[member.Member], error) {
		m, err := command.Open(tx, stream.Member, id)
		if err != nil {
			return nil, err
		}
		event, err := decide(m.State, by)
		if err != nil {
			return nil, err
		}
		m.Record(event)
		return m, nil
	})
	if err != nil {
		return nil, 0, err
	}
	return shownMember(did.State), uint64(did.Position), nil
}

// SuspendMember implements coopv1.CoopServiceServer.
func (s *Server) SuspendMember(ctx context.Context, req *coopv1.SuspendMemberRequest) (*coopv1.SuspendMemberResponse, error) {
	m, at, err := s.changeMember(ctx, req, req.GetMemberId(), func(m member.Member, by string) (*memberv1.Event, error) {
		return m.Suspend(by, req.GetReason())
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.SuspendMemberResponse{Member: m, Position: at}, nil
}

// ReinstateMember implements coopv1.CoopServiceServer.
func (s *Server) ReinstateMember(ctx context.Context, req *coopv1.ReinstateMemberRequest) (*coopv1.ReinstateMemberResponse, error) {
	m, at, err := s.changeMember(ctx, req, req.GetMemberId(), func(m member.Member, by string) (*memberv1.Event, error) {
		return m.Reinstate(by, req.GetReason())
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.ReinstateMemberResponse{Member: m, Position: at}, nil
}

// RemoveMember implements coopv1.CoopServiceServer.
func (s *Server) RemoveMember(ctx context.Context, req *coopv1.RemoveMemberRequest) (*coopv1.RemoveMemberResponse, error) {
	m, at, err := s.changeMember(ctx, req, req.GetMemberId(), func(m member.Member, by string) (*memberv1.Event, error) {
		return m.Remove(by, req.GetReason())
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.RemoveMemberResponse{Member: m, Position: at}, nil
}

// SetMemberRoles implements coopv1.CoopServiceServer.
func (s *Server) SetMemberRoles(ctx context.Context, req *coopv1.SetMemberRolesRequest) (*coopv1.SetMemberRolesResponse, error) {
	m, at, err := s.changeMember(ctx, req, req.GetMemberId(), func(m member.Member, _ string) (*memberv1.Event, error) {
		return m.SetRoles(storedRoles(req.GetRoles()), req.GetReason())
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.SetMemberRolesResponse{Member: m, Position: at}, nil
}

// changePerson runs a command that records one event of a person. by is the caller.
func (s *Server) changePerson(ctx context.Context, req command.Request, id string, decide func(tx *eventstore.Tx, p, by member.Person) (*memberv1.Event, error)) (*coopv1.Person, uint64, error) {
	caller := access.Caller(ctx).Person
	did, err := command.Run(ctx, s.node, req, stream.Person, func(tx *eventstore.Tx) (*command.Thing[member.Person], error) {
		p, err := command.Open(tx, stream.Person, id)
		if err != nil {
			return nil, err
		}
		by, _, err := eventstore.Load(tx, stream.Person, caller)
		if err != nil {
			return nil, err
		}
		event, err := decide(tx, p.State, by)
		if err != nil {
			return nil, err
		}
		p.Record(event)
		return p, nil
	})
	if err != nil {
		return nil, 0, err
	}
	return shownPerson(did.State), uint64(did.Position), nil
}

// SuspendPerson implements coopv1.CoopServiceServer.
func (s *Server) SuspendPerson(ctx context.Context, req *coopv1.SuspendPersonRequest) (*coopv1.SuspendPersonResponse, error) {
	p, at, err := s.changePerson(ctx, req, req.GetPersonId(), func(_ *eventstore.Tx, p, by member.Person) (*memberv1.Event, error) {
		return p.Suspend(by.ID, req.GetReason())
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.SuspendPersonResponse{Person: p, Position: at}, nil
}

// ReinstatePerson implements coopv1.CoopServiceServer.
func (s *Server) ReinstatePerson(ctx context.Context, req *coopv1.ReinstatePersonRequest) (*coopv1.ReinstatePersonResponse, error) {
	p, at, err := s.changePerson(ctx, req, req.GetPersonId(), func(_ *eventstore.Tx, p, by member.Person) (*memberv1.Event, error) {
		return p.Reinstate(by.ID, req.GetReason())
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.ReinstatePersonResponse{Person: p, Position: at}, nil
}

// RemovePerson implements coopv1.CoopServiceServer.
func (s *Server) RemovePerson(ctx context.Context, req *coopv1.RemovePersonRequest) (*coopv1.RemovePersonResponse, error) {
	p, at, err := s.changePerson(ctx, req, req.GetPersonId(), func(_ *eventstore.Tx, p, by member.Person) (*memberv1.Event, error) {
		return p.Remove(by.ID, req.GetReason())
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.RemovePersonResponse{Person: p, Position: at}, nil
}

// RevokeRole implements coopv1.CoopServiceServer.
func (s *Server) RevokeRole(ctx context.Context, req *coopv1.RevokeRoleRequest) (*coopv1.RevokeRoleResponse, error) {
	p, at, err := s.changePerson(ctx, req, req.GetPersonId(), func(_ *eventstore.Tx, p, _ member.Person) (*memberv1.Event, error) {
		return p.Revoke(req.GetMemberId(), memberv1.Role(req.GetRole()), req.GetReason())
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.RevokeRoleResponse{Person: p, Position: at}, nil
}

// owner is the person that a key belongs to; empty: nobody's.
func owner(tx *eventstore.Tx, key []byte) (string, error) {
	v := view.Members{}
	return v.PersonByKey(tx.View(v.Name()), member.KeyID(key))
}

// AddKey implements coopv1.CoopServiceServer.
func (s *Server) AddKey(ctx context.Context, req *coopv1.AddKeyRequest) (*coopv1.AddKeyResponse, error) {
	p, at, err := s.changePerson(ctx, req, req.GetPersonId(), func(tx *eventstore.Tx, p, by member.Person) (*memberv1.Event, error) {
		has, err := owner(tx, req.GetPublicKey())
		if err != nil {
			return nil, err
		}
		return p.AddKey(req.GetPublicKey(), has, by.ID)
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.AddKeyResponse{Person: p, Position: at}, nil
}

// RevokeKey implements coopv1.CoopServiceServer.
func (s *Server) RevokeKey(ctx context.Context, req *coopv1.RevokeKeyRequest) (*coopv1.RevokeKeyResponse, error) {
	p, at, err := s.changePerson(ctx, req, req.GetPersonId(), func(_ *eventstore.Tx, p, _ member.Person) (*memberv1.Event, error) {
		return p.RevokeKey(req.GetKeyId(), req.GetReason())
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.RevokeKeyResponse{Person: p, Position: at}, nil
}

// AskKeyReplacement implements coopv1.CoopServiceServer.
func (s *Server) AskKeyReplacement(ctx context.Context, req *coopv1.AskKeyReplacementRequest) (*coopv1.AskKeyReplacementResponse, error) {
	p, at, err := s.changePerson(ctx, req, req.GetPersonId(), func(tx *eventstore.Tx, p, by member.Person) (*memberv1.Event, error) {
		has, err := owner(tx, req.GetPublicKey())
		if err != nil {
			return nil, err
		}
		return p.AskKeyReplacement(req.GetKeyId(), req.GetPublicKey(), has, by, req.GetReason())
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.AskKeyReplacementResponse{Person: p, Position: at}, nil
}

// ConfirmKeyReplacement implements coopv1.CoopServiceServer.
func (s *Server) ConfirmKeyReplacement(ctx context.Context, req *coopv1.ConfirmKeyReplacementRequest) (*coopv1.ConfirmKeyReplacementResponse, error) {
	p, at, err := s.changePerson(ctx, req, req.GetPersonId(), func(tx *eventstore.Tx, p, by member.Person) (*memberv1.Event, error) {
		k, _ := p.Key(req.GetKeyId())
		has, err := owner(tx, k.New)
		if err != nil {
			return nil, err
		}
		return p.ConfirmKeyReplacement(req.GetKeyId(), has, by)
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.ConfirmKeyReplacementResponse{Person: p, Position: at}, nil
}

// RefuseKeyReplacement implements coopv1.CoopServiceServer.
func (s *Server) RefuseKeyReplacement(ctx context.Context, req *coopv1.RefuseKeyReplacementRequest) (*coopv1.RefuseKeyReplacementResponse, error) {
	p, at, err := s.changePerson(ctx, req, req.GetPersonId(), func(_ *eventstore.Tx, p, by member.Person) (*memberv1.Event, error) {
		return p.RefuseKeyReplacement(req.GetKeyId(), by, req.GetReason())
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.RefuseKeyReplacementResponse{Person: p, Position: at}, nil
}

// StateTwoPeople implements coopv1.CoopServiceServer. It records in the streams of both.
func (s *Server) StateTwoPeople(ctx context.Context, req *coopv1.StateTwoPeopleRequest) (*coopv1.StateTwoPeopleResponse, error) {
	p, at, err := s.changePerson(ctx, req, req.GetPersonId(), func(tx *eventstore.Tx, p, by member.Person) (*memberv1.Event, error) {
		other, _, err := eventstore.Load(tx, stream.Person, req.GetOtherPersonId())
		if err != nil {
			return nil, err
		}
		mine, others, err := p.StateTwoPeople(other, by, req.GetBasis())
		if err != nil {
			return nil, err
		}
		tx.Record(stream.Person.Stream(other.ID), others)
		return mine, nil
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.StateTwoPeopleResponse{Person: p, Position: at}, nil
}

// ListPersons implements coopv1.CoopServiceServer.
func (s *Server) ListPersons(ctx context.Context, req *coopv1.ListPersonsRequest) (*coopv1.ListPersonsResponse, error) {
	persons, next, position, err := query.List(ctx, s.lists, req, registered("person"), func(q *eventstore.Query, id string) (*coopv1.Person, error) {
		p, _, err := eventstore.Load(q, stream.Person, id)
		return shownPerson(p), err
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.ListPersonsResponse{Persons: persons, NextPageToken: next, Position: position}, nil
}

// registered finds the things of a kind, oldest first.
func registered(kind string) query.Finder[string] {
	return func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
		v := view.Register{}
		return v.List(q.View(v.Name()), kind, after, limit)
	}
}

// GetPerson implements coopv1.CoopServiceServer.
func (s *Server) GetPerson(ctx context.Context, req *coopv1.GetPersonRequest) (*coopv1.GetPersonResponse, error) {
	out := &coopv1.GetPersonResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		p, _, err := eventstore.Load(q, stream.Person, req.GetPersonId())
		if err == nil && p.ID == "" {
			err = rule.NotThere("person_id", "person")
		}
		out.Person = shownPerson(p)
		return err
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}
