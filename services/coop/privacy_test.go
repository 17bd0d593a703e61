package coop_test

import (
	"bytes"
	"errors"
	"testing"

	"golang.org/x/mod/sumdb/note"
	"google.golang.org/grpc/codes"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/merkle"
	"seamshare.example/services/command"
	"seamshare.example/services/coop"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/fault"
	"seamshare.example/services/stream"
	"seamshare.example/services/tradetest"
)

// TestChainTellsOfNobodyElse: a stone that came back from a rival is sold on with a
// chain from which neither the rival's basket nor the claim can be read.
func TestChainTellsOfNobodyElse(t *testing.T) {
	h := open(t)
	ctx := t.Context()
	p := h.Cut(t, h.miner, h.cutter, 74000, 42000)
	stone, beside := p.Stones[0], p.Stones[1]
	h.Order(t, h.other, stone, beside)
	_, err := h.cutter.Cutter().AcceptReturn(ctx, &cutterv1.AcceptReturnRequest{
		RequestId: command.NewID(), StoneId: stone.GetId(), Why: "too green", Weighing: stone.GetWeighing(), Size: stone.GetSize(),
	})
	if err != nil {
		t.Fatal(err)
	}
	sale, err := h.cutter.Cutter().PutStoneOnSale(ctx, &cutterv1.PutStoneOnSaleRequest{RequestId: command.NewID(), StoneId: stone.GetId(), Price: cooptest.AUD(70000)})
	if err != nil {
		t.Fatal(err)
	}
	h.Order(t, h.jeweller, sale.GetStone())
	got, err := h.jeweller.Coop().GetStoneChain(ctx, &coopv1.GetStoneChainRequest{StoneId: stone.GetId()})
	if err != nil {
		t.Fatal(err)
	}
	claims, err := h.miner.Miner().ListClaims(ctx, &minerv1.ListClaimsRequest{})
	if err != nil || len(claims.GetClaims()) != 1 {
		t.Fatalf("got %v, %v", claims, err)
	}
	verifier, err := note.NewVerifier(got.GetVerifierKey())
	if err != nil {
		t.Fatal(err)
	}
	chain, err := merkle.ParseChain(got.GetFile(), verifier)
	if err != nil {
		t.Fatal(err)
	}
	orders := 0
	codec := eventstore.NewCodec(stream.Events()...)
	for i, leaf := range chain.Leaves {
		for what, id := range map[string]string{"the rival's other stone": beside.GetId(), "the claim": claims.GetClaims()[0].GetId()} {
			if bytes.Contains(leaf.Data, []byte(id)) {
				t.Errorf("leaf %d, %q, names %s", i, got.GetLinks()[i].GetWhat(), what)
			}
		}
		_, event, err := codec.OpenLeaf(leaf.Data)
		if err != nil {
			t.Fatal(err)
		}
		if e, ok := event.(*memberv1.Event); ok && e.GetFieldRecorded() == nil {
			t.Errorf("leaf %d is of %v", i, e)
		}
		if got.GetLinks()[i].GetWhat() == "Ordered" {
			orders++
		}
	}
	if orders != 2 || got.GetLinks()[0].GetAbout() != string(stream.Field.Stream(h.FieldID)) {
		t.Errorf("%d orders, from %v", orders, got.GetLinks()[0])
	}
}

func TestChainWithoutSigner(t *testing.T) {
	h := tradetest.Open(t)
	_, err := coop.New(h.Node, h.Tokens, nil).GetStoneChain(t.Context(), &coopv1.GetStoneChainRequest{StoneId: "s"})
	if !errors.Is(err, eventstore.ErrNoSigner) {
		t.Fatalf("got %v", err)
	}
	tradetest.Refused(t, fault.Status(err), codes.FailedPrecondition, string(fault.NodeNotSigning))
}

func TestRegistrarsStayApartFromMoney(t *testing.T) {
	h := cooptest.Open(t, nil)
	ctx := t.Context()
	t.Run("refused: a role for oneself", func(t *testing.T) {
		_, err := h.Desk.Coop().GrantRole(ctx, &coopv1.GrantRoleRequest{RequestId: "g1", PersonId: h.Desk.SignIn.Person, Role: auditor})
		tradetest.Refused(t, err, codes.FailedPrecondition, "OWN_ROLE", "person_id")
	})
	t.Run("refused: registrar and bookkeeper in one person", func(t *testing.T) {
		books := h.Add(t, h.Desk.Member, bookkeeper)
		_, err := h.Desk.Coop().GrantRole(ctx, &coopv1.GrantRoleRequest{RequestId: "g2", PersonId: books.SignIn.Person, Role: registrar})
		tradetest.Refused(t, err, codes.FailedPrecondition, "ROLES_APART", "role")
		_, err = h.Desk.Coop().AddPerson(ctx, &coopv1.AddPersonRequest{
			RequestId: "p1", MemberId: h.Desk.Member, Label: "desk 1", PublicKey: cooptest.Public(cooptest.Key(t)), Roles: []typev1.Role{registrar, bookkeeper},
		})
		tradetest.Refused(t, err, codes.FailedPrecondition, "ROLES_APART", "roles")
	})
}
