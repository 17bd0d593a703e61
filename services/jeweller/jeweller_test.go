package jeweller_test

import (
	"slices"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tradetest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// shop is a house with stones on sale and two who want them.
type shop struct {
	*cooptest.House
	miner, cutter, marrow, fernhook, books cooptest.Person
	stones                                 []*typev1.Stone
}

func open(t *testing.T, prices ...int64) shop {
	t.Helper()
	return openAt(t, nil, prices...)
}

// openAt is a shop with a clock of its own.
func openAt(t *testing.T, clock func() time.Time, prices ...int64) shop {
	t.Helper()
	h := cooptest.Open(t, clock)
	s := shop{
		House: h, miner: h.Join(t, "Billycart Diggings", typev1.Role_ROLE_MINER), cutter: h.Join(t, "Wet Wheel Workshop", typev1.Role_ROLE_CUTTER),
		marrow: h.Join(t, "Marrow & Pin Jewellers", typev1.Role_ROLE_JEWELLER), fernhook: h.Join(t, "Fernhook Goldsmiths", typev1.Role_ROLE_JEWELLER),
		books: h.Add(t, h.Desk.Member, typev1.Role_ROLE_BOOKKEEPER),
	}
	if len(prices) > 0 {
		s.stones = h.Cut(t, s.miner, s.cutter, prices...).Stones
	}
	return s
}

// stock is what is on sale, read page by page.
func (s shop) stock(t *testing.T, outline typev1.Outline, size int32) []string {
	t.Helper()
	var got []string
	req := &jewellerv1.ListStockRequest{Outline: outline, PageSize: size}
	for {
		page, err := s.marrow.Jeweller().ListStock(t.Context(), req)
		if err != nil {
			t.Fatal(err)
		}
		for _, st := range page.GetStones() {
			got = append(got, st.GetId())
		}
		if req.PageToken = page.GetNextPageToken(); req.PageToken == "" {
			return got
		}
	}
}

// idsOf are the stones' ids in the order of the lists: that of the ids, whose time is
// to the millisecond.
func idsOf(stones ...*typev1.Stone) []string {
	ids := make([]string, len(stones))
	for i, s := range stones {
		ids[i] = s.GetId()
	}
	slices.Sort(ids)
	return ids
}

func TestListStock(t *testing.T) {
	s := open(t, 100, 200, 300, 400, 500)
	for size := int32(1); size <= 6; size++ {
		if got := s.stock(t, 0, size); !slices.Equal(got, idsOf(s.stones...)) {
			t.Errorf("by %d: got %v", size, got)
		}
	}
	if got := s.stock(t, typev1.Outline_OUTLINE_OVAL, 1); !slices.Equal(got, idsOf(s.stones[0], s.stones[3])) {
		t.Errorf("ovals: got %v", got)
	}
	s.Order(t, s.marrow, s.stones[1])
	if got := s.stock(t, 0, 2); !slices.Equal(got, idsOf(s.stones[0], s.stones[2], s.stones[3], s.stones[4])) {
		t.Errorf("after a sale: got %v", got)
	}
	t.Run("refused: a page token of another list", func(t *testing.T) {
		page, err := s.marrow.Jeweller().ListStock(t.Context(), &jewellerv1.ListStockRequest{PageSize: 1})
		if err != nil {
			t.Fatal(err)
		}
		_, err = s.marrow.Jeweller().ListStock(t.Context(), &jewellerv1.ListStockRequest{PageToken: page.GetNextPageToken(), Outline: typev1.Outline_OUTLINE_OVAL})
		tradetest.Refused(t, err, codes.InvalidArgument, "PAGE_TOKEN_INVALID")
	})
	t.Run("refused: a cutter", func(t *testing.T) {
		_, err := s.cutter.Jeweller().ListStock(t.Context(), &jewellerv1.ListStockRequest{})
		tradetest.Refused(t, err, codes.PermissionDenied, "ROLE_MISSING")
	})
}

func TestGetStone(t *testing.T) {
	s := open(t, 100, 200)
	get := func(who cooptest.Person, id string) (*typev1.Stone, error) {
		got, err := who.Jeweller().GetStone(t.Context(), &jewellerv1.GetStoneRequest{StoneId: id})
		return got.GetStone(), err
	}
	if got, err := get(s.fernhook, s.stones[0].GetId()); err != nil || got.GetCarat() != "3.04" || got.GetPrice().GetUnits() != 1 {
		t.Errorf("on sale: got %v, %v", got, err)
	}
	s.Order(t, s.marrow, s.stones[0])
	if got, err := get(s.marrow, s.stones[0].GetId()); err != nil || got.GetState() != typev1.StoneState_STONE_STATE_SOLD {
		t.Errorf("bought: got %v, %v", got, err)
	}
	_, sold := get(s.fernhook, s.stones[0].GetId())
	tradetest.Refused(t, sold, codes.NotFound, "NOT_FOUND")
	if _, missing := get(s.fernhook, "nothing"); sold.Error() != missing.Error() {
		t.Errorf("another's reads\n%v\nmissing reads\n%v", sold, missing)
	}
}

func TestPlaceOrder(t *testing.T) {
	s := open(t, 100, 200, 300, 400)
	place := func(who cooptest.Person, req *jewellerv1.PlaceOrderRequest) error {
		_, err := who.Jeweller().PlaceOrder(t.Context(), req)
		return err
	}
	order := s.Order(t, s.marrow, s.stones[0], s.stones[1])
	if len(order.GetLines()) != 2 || order.GetTotal().GetUnits() != 3 || order.GetLines()[1].GetStoneId() != s.stones[1].GetId() {
		t.Errorf("got %v", order)
	}
	before := s.Node.Checkpoint().Position
	t.Run("refused: one of its stones is sold, and every such stone is named", func(t *testing.T) {
		err := place(s.fernhook, cooptest.OrderOf(s.stones[2], s.stones[0], s.stones[1]))
		tradetest.Refused(t, err, codes.FailedPrecondition, "STONE_NOT_FOR_SALE", "items[1].stone_id", "items[2].stone_id")
	})
	t.Run("refused: no such stone", func(t *testing.T) {
		err := place(s.fernhook, cooptest.OrderOf(s.stones[2], &typev1.Stone{Id: "nothing", Price: s.stones[2].GetPrice()}))
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND")
	})
	t.Run("refused: another price is asked", func(t *testing.T) {
		req := cooptest.OrderOf(s.stones[2], s.stones[3])
		req.Items[1].Price = cooptest.AUD(399)
		tradetest.Refused(t, place(s.fernhook, req), codes.FailedPrecondition, "PRICE_MOVED", "items[1].price")
	})
	t.Run("refused: a stone named twice", func(t *testing.T) {
		err := place(s.fernhook, cooptest.OrderOf(s.stones[2], s.stones[2]))
		tradetest.Refused(t, err, codes.InvalidArgument, "NAMED_TWICE")
	})
	t.Run("refused: two currencies", func(t *testing.T) {
		req := cooptest.OrderOf(s.stones[2], s.stones[3])
		req.Items[1].Price = proto.CloneOf(req.Items[1].Price)
		req.Items[1].Price.CurrencyCode = "NZD"
		tradetest.Refused(t, place(s.fernhook, req), codes.InvalidArgument, "CURRENCY_DIFFERS")
	})
	t.Run("a refusal leaves nothing behind", func(t *testing.T) {
		if after := s.Node.Checkpoint().Position; after != before {
			t.Errorf("%d records were made", after-before)
		}
		if got := s.stock(t, 0, 10); !slices.Equal(got, idsOf(s.stones[2], s.stones[3])) {
			t.Errorf("on sale are %v", got)
		}
	})
}

// Many ask for the same pair, some for the pair, some for one half of it and another
// stone: the pair goes to one order as a whole, or apart, but no stone goes twice.
func TestNobodyGetsHalfAPair(t *testing.T) {
	s := open(t, 100, 200, 300)
	var orders sync.Map
	var all sync.WaitGroup
	for n := range 24 {
		who := []cooptest.Person{s.marrow, s.fernhook}[n%2]
		wanted := [][]*typev1.Stone{{s.stones[0], s.stones[1]}, {s.stones[1], s.stones[0]}, {s.stones[1], s.stones[2]}}[n%3]
		all.Go(func() {
			got, err := who.Jeweller().PlaceOrder(t.Context(), cooptest.OrderOf(wanted...))
			switch {
			case err == nil:
				orders.Store(got.GetOrder().GetId(), got.GetOrder())
			case status.Code(err) != codes.FailedPrecondition:
				t.Errorf("got %v", err)
			}
		})
	}
	all.Wait()
	won := 0
	orders.Range(func(_, order any) bool {
		won++
		if lines := order.(*jewellerv1.Order).GetLines(); len(lines) != 2 {
			t.Errorf("an order got %d of 2 stones", len(lines))
		}
		return true
	})
	if won != 1 { // every wish holds the second stone
		t.Errorf("%d orders got the second stone", won)
	}
}

func TestOrdersAreTheirBuyers(t *testing.T) {
	s := open(t, 10000, 20000, 30000)
	ctx := t.Context()
	req := cooptest.OrderOf(s.stones[0], s.stones[1])
	first, err := s.marrow.Jeweller().PlaceOrder(ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	id := first.GetOrder().GetId()
	_, err = s.books.Coop().RecordOrderPayment(ctx, &coopv1.RecordOrderPaymentRequest{RequestId: command.NewID(), OrderId: id, Amount: cooptest.AUD(15000), Reference: "bank"})
	if err != nil {
		t.Fatal(err)
	}
	_, err = s.cutter.Cutter().AcceptReturn(ctx, &cutterv1.AcceptReturnRequest{
		RequestId: command.NewID(), StoneId: s.stones[0].GetId(), Weighing: s.stones[0].GetWeighing(), Size: s.stones[0].GetSize(), Why: "chipped",
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Run("show what was paid and what went back", func(t *testing.T) {
		got, err := s.marrow.Jeweller().GetOrder(ctx, &jewellerv1.GetOrderRequest{OrderId: id})
		if err != nil {
			t.Fatal(err)
		}
		o := got.GetOrder()
		if l := o.GetLines()[0]; !l.GetReturned() || l.GetRefunded() || l.GetPaid().GetUnits() != 100 {
			t.Errorf("got %v", l)
		}
		if o.GetTotal().GetUnits() != 200 || o.GetPaid().GetUnits() != 150 || o.GetEtag() == first.GetOrder().GetEtag() {
			t.Errorf("got %v", o)
		}
	})
	t.Run("a repeat answers with the order as it was placed", func(t *testing.T) {
		again, err := s.marrow.Jeweller().PlaceOrder(ctx, req)
		if err != nil || !proto.Equal(again, first) {
			t.Errorf("got %v, %v\nwant %v", again, err, first)
		}
	})
	t.Run("refused: another's reads like missing", func(t *testing.T) {
		_, another := s.fernhook.Jeweller().GetOrder(ctx, &jewellerv1.GetOrderRequest{OrderId: id})
		tradetest.Refused(t, another, codes.NotFound, "NOT_FOUND")
		if _, missing := s.fernhook.Jeweller().GetOrder(ctx, &jewellerv1.GetOrderRequest{OrderId: "nothing"}); another.Error() != missing.Error() {
			t.Errorf("%v\n%v", another, missing)
		}
	})
	t.Run("are listed to their buyer, oldest first", func(t *testing.T) {
		second := s.Order(t, s.marrow, s.stones[2])
		got, err := s.marrow.Jeweller().ListOrders(ctx, &jewellerv1.ListOrdersRequest{PageSize: 1})
		if err != nil || len(got.GetOrders()) != 1 || got.GetOrders()[0].GetId() != id || got.GetNextPageToken() == "" {
			t.Fatalf("got %v, %v", got, err)
		}
		got, err = s.marrow.Jeweller().ListOrders(ctx, &jewellerv1.ListOrdersRequest{PageSize: 1, PageToken: got.GetNextPageToken()})
		if err != nil || len(got.GetOrders()) != 1 || got.GetOrders()[0].GetId() != second.GetId() || got.GetNextPageToken() != "" {
			t.Errorf("got %v, %v", got, err)
		}
		if got, err := s.fernhook.Jeweller().ListOrders(ctx, &jewellerv1.ListOrdersRequest{}); err != nil || len(got.GetOrders()) != 0 {
			t.Errorf("another sees %v, %v", got, err)
		}
	})
}
