package coop

import (
	"bytes"
	"context"
	"fmt"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/merkle"
	"seamshare.example/services/access"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
)

// GetStoneChain implements coopv1.CoopServiceServer. It waits until a checkpoint that
// covers the chain is signed, a second at most where the node works.
func (s *Server) GetStoneChain(ctx context.Context, req *coopv1.GetStoneChainRequest) (*coopv1.GetStoneChainResponse, error) {
	signer := s.node.Signer()
	if signer == nil {
		return nil, fmt.Errorf("couldn't write the chain of stone %s: %w", req.GetStoneId(), eventstore.ErrNoSigner)
	}
	out := &coopv1.GetStoneChainResponse{VerifierKey: signer.VerifierKey()}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		if err := mayTrace(q, access.Caller(ctx), req.GetStoneId()); err != nil {
			return err
		}
		links, err := view.Chain(q, req.GetStoneId())
		if err != nil {
			return err
		}
		out.Links = shownLinks(links)
		out.File, err = s.chainFile(ctx, q, signer, string(stream.Stone.Stream(req.GetStoneId())), links)
		return err
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// GetLotChain implements coopv1.CoopServiceServer. It waits as GetStoneChain does.
func (s *Server) GetLotChain(ctx context.Context, req *coopv1.GetLotChainRequest) (*coopv1.GetLotChainResponse, error) {
	signer := s.node.Signer()
	if signer == nil {
		return nil, fmt.Errorf("couldn't write the chain of lot %s: %w", req.GetLotId(), eventstore.ErrNoSigner)
	}
	out := &coopv1.GetLotChainResponse{VerifierKey: signer.VerifierKey()}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		if err := mayTraceLot(q, access.Caller(ctx), req.GetLotId()); err != nil {
			return err
		}
		links, err := view.LotChain(q, req.GetLotId())
		if err != nil {
			return err
		}
		out.Links = shownLinks(links)
		if len(links) > merkle.MaxChainLeaves {
			return nil
		}
		out.File, err = s.chainFile(ctx, q, signer, string(stream.Lot.Stream(req.GetLotId())), links)
		return err
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

func shownLinks(links []view.Link) (shown []*coopv1.ChainLink) {
	for _, l := range links {
		shown = append(shown, &coopv1.ChainLink{Position: uint64(l.Position), What: l.What, About: string(l.About)})
	}
	return shown
}

// tracer is somebody who asks for a chain, as they stand now.
type tracer struct {
	member string
	person member.Person
	own    member.Member
}

func tracing(q *eventstore.Query, who access.Identity) (t tracer, err error) {
	if err := access.Recheck(q, who); err != nil {
		return t, err
	}
	t.member = who.Member
	if t.person, _, err = eventstore.Load(q, stream.Person, who.Person); err != nil {
		return t, err
	}
	t.own, _, err = eventstore.Load(q, stream.Member, who.Member)
	return t, err
}

// sees tells whether something concerns the caller: seen by a jeweller, cut by a cutter,
// or of a parcel that is theirs.
func (t tracer) sees(seen bool, cutterID string, of parcel.State) bool {
	return t.person.Has(t.own, member.DeskRoles...) ||
		t.person.Has(t.own, memberv1.Role_ROLE_JEWELLER) && seen ||
		t.person.Has(t.own, memberv1.Role_ROLE_CUTTER) && (of.Deal.Buyer == t.member || cutterID == t.member) ||
		t.person.Has(t.own, memberv1.Role_ROLE_MINER) && of.Seller == t.member
}

// mayTraceLot refuses a caller whom the lot doesn't concern: as mayTrace does, a jeweller
// sees lots on sale or of which they have a portion.
func mayTraceLot(q *eventstore.Query, who access.Identity, lotID string) error {
	t, err := tracing(q, who)
	if err != nil {
		return err
	}
	l, _, err := eventstore.Load(q, stream.Lot, lotID)
	if err != nil {
		return err
	}
	of, _, err := eventstore.Load(q, stream.Parcel, l.Facts.GetParcelId())
	if err != nil {
		return err
	}
	if l.Facts == nil || !t.sees(l.SeenBy(who.Member), l.Facts.GetCutterId(), of) {
		return rule.NotThere("lot_id", "lot on sale or")
	}
	return nil
}

// mayTrace refuses a caller whom the stone doesn't concern: a jeweller sees the chains
// of stones on sale or bought by them, a miner and a cutter those of their own
// parcels, the co-op's desks all. Any other looks like no stone at all.
func mayTrace(q *eventstore.Query, who access.Identity, stoneID string) error {
	t, err := tracing(q, who)
	if err != nil {
		return err
	}
	st, _, err := eventstore.Load(q, stream.Stone, stoneID)
	if err != nil {
		return err
	}
	of, _, err := eventstore.Load(q, stream.Parcel, st.Facts.GetParcelId())
	if err != nil {
		return err
	}
	if st.Facts == nil || !t.sees(st.SeenBy(who.Member), st.Facts.GetCutterId(), of) {
		return rule.NotThere("stone_id", "stone on sale or")
	}
	return nil
}

// chainFile writes the links' leaves with their proofs into one signed file.
func (s *Server) chainFile(ctx context.Context, q *eventstore.Query, signer *merkle.Signer, subject string, links []view.Link) ([]byte, error) {
	chain := merkle.Chain{Subject: subject}
	indexes := make([]uint64, len(links))
	for i, l := range links {
		leaf, err := q.Leaf(l.Position)
		if err != nil {
			return nil, fmt.Errorf("couldn't read the chain's leaf at position %d: %w", l.Position, err)
		}
		indexes[i] = uint64(l.Position) - 1
		chain.Leaves = append(chain.Leaves, merkle.ChainLeaf{Index: indexes[i], Data: leaf})
	}
	var err error
	if chain.Checkpoint, err = s.node.Signed(ctx, links[len(links)-1].Position); err != nil {
		return nil, err
	}
	// Taken after the checkpoint, so it holds at least what was signed.
	proofs, err := s.node.Tree().InclusionProofs(indexes, chain.Checkpoint.Size)
	if err != nil {
		return nil, fmt.Errorf("couldn't prove the chain of %s: %w", subject, err)
	}
	for i := range proofs {
		chain.Leaves[i].Proof = proofs[i]
	}
	var file bytes.Buffer
	if err := merkle.WriteChain(&file, chain, signer); err != nil {
		return nil, fmt.Errorf("couldn't write the chain of %s: %w", subject, err)
	}
	return file.Bytes(), nil
}
