package coop_test

import (
	"slices"
	"strings"
	"testing"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/view"
)

// TestSameTradingName: two businesses may have one name, which the registrar is told.
func TestSameTradingName(t *testing.T) {
	d := openDesks(t)
	for name, want := range map[string][]string{"billycart  DIGGINGS": {d.billycart.Member}, "Billycart Diggings Two": nil} {
		got, err := d.Desk.Coop().AdmitMember(t.Context(), &coopv1.AdmitMemberRequest{RequestId: command.NewID(), TradingName: name, Roles: []typev1.Role{miner}})
		if err != nil || !slices.Equal(got.GetSameNameMemberIds(), want) {
			t.Errorf("%q: got %v, %v, want %v", name, got, err, want)
		}
	}
}

// TestCountsApartAtHandover: the exception names what either side counted.
func TestCountsApartAtHandover(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	total := cooptest.Grams(10_000_000)
	listed, err := d.billycart.Miner().PublishParcel(ctx, &minerv1.PublishParcelRequest{
		RequestId: command.NewID(), Label: "P1", Treatment: typev1.Treatment_TREATMENT_NOT_KNOWN, OpenAtAsking: true, Agreement: cooptest.RisingShare(160000), Total: total,
		Pieces: []*minerv1.NewPiece{{Label: "1", Weighing: total, Kind: typev1.Kind_KIND_MATRIX, Count: 10}},
	})
	if err != nil {
		t.Fatal(err)
	}
	id := listed.GetParcel().GetId()
	if _, err := d.wetWheel.Cutter().TakeParcel(ctx, &cutterv1.TakeParcelRequest{RequestId: command.NewID(), ParcelId: id}); err != nil {
		t.Fatal(err)
	}
	if _, err := d.billycart.Miner().HandOverParcel(ctx, &minerv1.HandOverParcelRequest{RequestId: command.NewID(), ParcelId: id, Count: 11, Total: total}); err != nil {
		t.Fatal(err)
	}
	if _, err := d.wetWheel.Cutter().ReceiveParcel(ctx, &cutterv1.ReceiveParcelRequest{RequestId: command.NewID(), ParcelId: id, Count: 10, Total: total}); err != nil {
		t.Fatal(err)
	}
	for _, e := range exceptions(t, d.audit, false) {
		if e.GetKind() == view.HandoverDifference && strings.Contains(e.GetWhat(), "the buyer counted 10 stones and the seller 11") {
			return
		}
	}
	t.Errorf("got %v", exceptions(t, d.audit, false))
}
