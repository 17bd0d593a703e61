package coop_test

import (
	"testing"

	"go.uber.org/goleak"

	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/coop/cooptest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const (
	miner      = typev1.Role_ROLE_MINER
	cutter     = typev1.Role_ROLE_CUTTER
	jeweller   = typev1.Role_ROLE_JEWELLER
	bookkeeper = typev1.Role_ROLE_BOOKKEEPER
	auditor    = typev1.Role_ROLE_AUDITOR
	registrar  = typev1.Role_ROLE_REGISTRAR
)

// people are a house with one member of each trade.
type people struct {
	*cooptest.House
	miner, cutter, jeweller, other, books, audit cooptest.Person
}

func open(t *testing.T) people {
	t.Helper()
	h := cooptest.Open(t, nil)
	return people{
		House: h,
		miner: h.Join(t, "Billycart Diggings", miner), cutter: h.Join(t, "Wet Wheel Workshop", cutter),
		jeweller: h.Join(t, "Marrow & Pin Jewellers", jeweller), other: h.Join(t, "Fernhook Goldsmiths", jeweller),
		books: h.Add(t, h.Desk.Member, bookkeeper), audit: h.Add(t, h.Desk.Member, auditor),
	}
}
