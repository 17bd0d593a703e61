package wholetest_test

import (
	"testing"

	"google.golang.org/grpc/codes"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tablestest"
	"seamshare.example/services/tradetest"
)

// TestAFallenDealIsOver: what was booked under a deal that fell through says nothing of the
// parcel once that is on the market again, or sold anew.
func TestAFallenDealIsOver(t *testing.T) {
	w := tablestest.NewWorld(t)
	ctx := w.Ctx()
	id := listed(w)
	take := func(who cooptest.Person) {
		_, err := who.Cutter().TakeParcel(ctx, &cutterv1.TakeParcelRequest{RequestId: command.NewID(), ParcelId: id})
		w.Must(err)
	}
	take(w.Cutter)
	cost, err := w.Books.Coop().RecordCost(ctx, &coopv1.RecordCostRequest{RequestId: command.NewID(), ParcelId: id, Amount: cooptest.AUD(3_850), Reference: "carrier", Kind: "freight"})
	w.Must(err)
	_, err = w.Cutter.Cutter().CallOffMisdescribedDeal(ctx, &cutterv1.CallOffMisdescribedDealRequest{RequestId: command.NewID(), ParcelId: id, Why: "glued"})
	w.Must(err)
	_, err = w.Miner.Miner().RelistParcel(ctx, &minerv1.RelistParcelRequest{RequestId: command.NewID(), ParcelId: id, OpenAtAsking: true})
	w.Must(err)
	correct := func() error {
		_, err := w.Books.Coop().CorrectAmount(ctx, &coopv1.CorrectAmountRequest{RequestId: command.NewID(), Corrects: cost.GetPosition(), Amount: cooptest.AUD(3_580), Reason: "misread"})
		return err
	}
	shares := func() (*coopv1.GetSharesResponse, error) {
		return w.Books.Coop().GetShares(ctx, &coopv1.GetSharesRequest{ParcelId: id})
	}
	t.Run("refused: on the market its cost can't be corrected", func(t *testing.T) {
		tradetest.Refused(t, correct(), codes.FailedPrecondition, "NOTHING_TO_CORRECT", "corrects")
	})
	t.Run("refused: on the market it has no shares", func(t *testing.T) {
		_, err := shares()
		tradetest.Refused(t, err, codes.FailedPrecondition, "NO_DEAL", "parcel_id")
	})
	take(w.OtherCutter)
	t.Run("refused: sold anew its cost can't be corrected", func(t *testing.T) {
		tradetest.Refused(t, correct(), codes.FailedPrecondition, "NOTHING_TO_CORRECT", "corrects")
	})
	t.Run("its new deal begins with nothing", func(t *testing.T) {
		got, err := shares()
		w.Must(err)
		if s := got.GetStatement(); len(s.GetOpen()) > 0 && s.GetOpen()[0].GetAmount().GetUnits() == 38 {
			t.Errorf("the freight of the deal before is recouped: %v", s)
		}
	})
}
