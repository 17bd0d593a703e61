package view_test

import (
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	disputev1 "seamshare.example/proto/gen/seamshare/event/dispute/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/view"
)

func (b *book) admit(id, name string, roles ...memberv1.Role) {
	b.t.Helper()
	b.record(eventstore.Stream("member/"+id), &memberv1.Event{Event: &memberv1.Event_MemberAdmitted{MemberAdmitted: &memberv1.MemberAdmitted{
		Public:  &memberv1.MemberAdmitted_Public{MemberId: id, TradingName: name},
		Private: &memberv1.MemberAdmitted_Private{Roles: roles},
	}}})
}

func TestMembers(t *testing.T) {
	b := newBook(t)
	b.found(50_000)
	// Ids that sort the other way than they were admitted.
	b.admit("z", "Billycart Diggings", memberv1.Role_ROLE_MINER)
	b.admit("m", "Wet Wheel Workshop", memberv1.Role_ROLE_CUTTER, memberv1.Role_ROLE_MINER)
	b.admit("a", "Marrow & Pin Jewellers", memberv1.Role_ROLE_JEWELLER)
	r := b.rows["members"]
	v := view.Members{}
	t.Run("the co-op is known", func(t *testing.T) {
		got, err := v.CoOp(r)
		if want := (view.CoOp{ID: "twofields", Name: "Two Fields Opal Co-operative", TimeZone: "Australia/Brisbane"}); err != nil || got != want {
			t.Errorf("got %+v, %v", got, err)
		}
	})
	t.Run("a member has its name and roles", func(t *testing.T) {
		m, ok, err := v.Member(r, "m")
		if err != nil || !ok || m.TradingName != "Wet Wheel Workshop" || !m.Has(memberv1.Role_ROLE_MINER) || m.Has(memberv1.Role_ROLE_JEWELLER) {
			t.Errorf("got %+v, %t, %v", m, ok, err)
		}
		if _, ok, err := v.Member(r, "nobody"); ok || err != nil {
			t.Errorf("nobody is a member: %t, %v", ok, err)
		}
	})
	t.Run("listed in the order of admission", func(t *testing.T) {
		var got []string
		after := ""
		for range 3 {
			some, next, err := v.List(r, after, 1)
			if err != nil || len(some) != 1 {
				t.Fatalf("got %v, %v", some, err)
			}
			got, after = append(got, some[0].ID), next
		}
		if !slices.Equal(got, []string{"z", "m", "a"}) || after != "" {
			t.Errorf("got %v, then %q", got, after)
		}
	})
	t.Run("a key is its person's", func(t *testing.T) {
		b.record("person/desk1", &memberv1.Event{Event: &memberv1.Event_KeyAdded{KeyAdded: &memberv1.KeyAdded{
			Public: &memberv1.KeyAdded_Public{PersonId: "desk1"}, Private: &memberv1.KeyAdded_Private{KeyId: "00ff", PublicKey: make([]byte, 32)},
		}}})
		if id, err := v.PersonByKey(r, "00ff"); id != "desk1" || err != nil {
			t.Errorf("got %q, %v", id, err)
		}
		if id, err := v.PersonByKey(r, "00fe"); id != "" || err != nil {
			t.Errorf("got %q, %v", id, err)
		}
	})
	t.Run("fields and a miner's own claims are listed", func(t *testing.T) {
		b.field("f2", "Sparrowpan Flat", "clay country")
		b.field("f1", "Ashbarrel Rise", "ironstone country")
		b.claim("c1", "f1", "z", "Claim 4")
		b.claim("c2", "f1", "m", "Claim 5")
		fields, next, err := v.Fields(r, "", 10)
		if want := []view.Field{{"f2", "Sparrowpan Flat", "clay country"}, {"f1", "Ashbarrel Rise", "ironstone country"}}; !slices.Equal(fields, want) || next != "" || err != nil {
			t.Errorf("got %v, %q, %v", fields, next, err)
		}
		claims, next, err := v.Claims(r, "z", "", 10)
		if want := []view.Claim{{"c1", "f1", "Claim 4", false}}; !slices.Equal(claims, want) || next != "" || err != nil {
			t.Errorf("got %v, %q, %v", claims, next, err)
		}
		if c, ok, err := v.WorkedClaim(r, "z", "f1", "claim  4"); !ok || c.ID != "c1" || c.Name != "Claim 4" || err != nil {
			t.Errorf("got %v, %t, %v", c, ok, err)
		}
		for _, of := range [][3]string{{"m", "f1", "Claim 4"}, {"z", "f2", "Claim 4"}, {"z", "f1", "Claim 5"}} {
			if c, ok, err := v.WorkedClaim(r, of[0], of[1], of[2]); ok || err != nil {
				t.Errorf("%v is %v, %v", of, c, err)
			}
		}
		if f, ok, err := v.FieldNamed(r, " sparrowpan FLAT"); !ok || f.ID != "f2" || f.Name != "Sparrowpan Flat" || err != nil {
			t.Errorf("got %v, %t, %v", f, ok, err)
		}
		b.record("claim/c1", &memberv1.Event{Event: &memberv1.Event_ClaimClosed{ClaimClosed: &memberv1.ClaimClosed{
			Public: &memberv1.ClaimClosed_Public{ClaimId: "c1"}, Private: &memberv1.ClaimClosed_Private{MemberId: "z"},
		}}})
		if claims, _, err := v.Claims(r, "z", "", 10); err != nil || len(claims) != 1 || !claims[0].Closed {
			t.Errorf("closed: got %v, %v", claims, err)
		}
		if c, ok, err := v.WorkedClaim(r, "z", "f1", "Claim 4"); ok || err != nil {
			t.Errorf("closed, but worked: %v, %v", c, err)
		}
	})
}

// What open disputes hold of is found by the parcel, whatever else is in dispute.
func TestDisputesAbout(t *testing.T) {
	b := newBook(t)
	b.found(50_000)
	v, r := view.Payouts{}, b.rows["payouts"]
	open := func(id string, parcels ...string) {
		b.record(eventstore.Stream("dispute/"+id), &disputev1.Event{Event: &disputev1.Event_Opened{Opened: &disputev1.Opened{
			Public:  &disputev1.Opened_Public{DisputeId: id},
			Private: &disputev1.Opened_Private{OpenedByMember: "a", AgainstMember: "b", Held: &eventv1.Amount{Currency: "AUD", Minor: 5}, ParcelIds: parcels},
		}}})
	}
	about := func(parcel string, want ...string) {
		t.Helper()
		got := all(t, 1, func(after string, limit int) ([]string, string, error) {
			return v.DisputesAbout(r, parcel, after, limit)
		})
		if !slices.Equal(got, want) {
			t.Errorf("of %s: got %v, want %v", parcel, got, want)
		}
	}
	open("d1", "p1")
	open("d2", "p1", "p2")
	about("p1", "d1", "d2")
	about("p2", "d2")
	b.record("dispute/d2", &disputev1.Event{Event: &disputev1.Event_Withdrawn{Withdrawn: &disputev1.Withdrawn{Public: &disputev1.Withdrawn_Public{DisputeId: "d2"}}}})
	about("p1", "d1")
	about("p2")
}

// all walks a list page by page.
func all(t rapid.TB, size int, list func(after string, limit int) ([]string, string, error)) []string {
	t.Helper()
	var got []string
	for after, more := "", true; more; more = after != "" {
		some, next, err := list(after, size)
		if err != nil {
			t.Fatal(err)
		}
		if len(some) > size || next != "" && len(some) < size {
			t.Fatalf("a page of %d has %d, then %q", size, len(some), next)
		}
		got, after = append(got, some...), next
	}
	return got
}

func TestParcelLists(t *testing.T) {
	b := newBook(t)
	for _, id := range []string{"p1", "p2", "p3"} {
		b.list(id, "billycart", 100, piece{"1", 1_000_000, "", ""})
	}
	b.list("p4", "ninthshaft", 100, piece{"1", 1_000_000, "", ""})
	b.deal("p2", "wetwheel", risingShare())
	v, r := view.Parcels{}, b.rows["parcels"]
	for name, c := range map[string]struct {
		list func(string, int) ([]string, string, error)
		want []string
	}{
		"the market without what is sold": {func(a string, n int) ([]string, string, error) { return v.Market(r, a, n) }, []string{"p1", "p3", "p4"}},
		"a seller's own":                  {func(a string, n int) ([]string, string, error) { return v.BySeller(r, "billycart", a, n) }, []string{"p1", "p2", "p3"}},
		"a buyer's own":                   {func(a string, n int) ([]string, string, error) { return v.ByBuyer(r, "wetwheel", a, n) }, []string{"p2"}},
		"nobody's":                        {func(a string, n int) ([]string, string, error) { return v.BySeller(r, "billy", a, n) }, nil},
	} {
		t.Run(name, func(t *testing.T) {
			for size := 1; size <= 4; size++ {
				if got := all(t, size, c.list); !slices.Equal(got, c.want) {
					t.Errorf("by %d: got %v, want %v", size, got, c.want)
				}
			}
		})
	}
}

func TestOrderLists(t *testing.T) {
	b := newBook(t)
	b.orderEvent("o1", placed("o1", "marrow", line{"s1", "p1", 5}))
	b.orderEvent("o2", placed("o2", "fernhook", line{"s2", "p1", 5}))
	b.orderEvent("o3", placed("o3", "marrow", line{"s3", "p1", 5}))
	got := all(t, 1, func(a string, n int) ([]string, string, error) {
		return view.Orders{}.ByBuyer(b.rows["orders"], "marrow", a, n)
	})
	if !slices.Equal(got, []string{"o1", "o3"}) {
		t.Errorf("got %v", got)
	}
}

// Stones go on and off sale in any order; the lists hold what is on sale, by outline
// and together, whatever the size of the pages.
func TestStoneListsAreWhatIsOnSale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBookRapid(t)
		b.list("p1", "billycart", 100, piece{"1", 1_000_000_000, "", ""})
		outline := map[string]stonev1.Outline{}
		onSale := map[string]bool{}
		for range rapid.IntRange(1, 40).Draw(t, "steps") {
			id := fmt.Sprintf("s%02d", rapid.IntRange(0, 12).Draw(t, "stone"))
			switch {
			case outline[id] == 0:
				outline[id] = stonev1.Outline(rapid.IntRange(1, 8).Draw(t, "outline"))
				b.stoneEvent(id, &stonev1.Event{Event: &stonev1.Event_Finished{Finished: &stonev1.Finished{Public: &stonev1.Finished_Public{StoneId: id, CutterId: "wetwheel", Outline: outline[id]}}}})
			case onSale[id]:
				onSale[id] = false
				b.stoneEvent(id, &stonev1.Event{Event: &stonev1.Event_Sold{Sold: &stonev1.Sold{Public: &stonev1.Sold_Public{StoneId: id}}}})
			default:
				onSale[id] = true
				b.putOnSale(id, 100)
			}
		}
		size := rapid.IntRange(1, 15).Draw(t, "size")
		for only := stonev1.Outline(0); only <= 8; only++ {
			var want []string
			for id := range outline {
				if onSale[id] && (only == 0 || only == outline[id]) {
					want = append(want, id)
				}
			}
			slices.Sort(want)
			got := all(t, size, func(a string, n int) ([]string, string, error) {
				return view.Stones{}.OnSale(b.rows["stones"], only, a, n)
			})
			if !slices.Equal(got, want) {
				t.Fatalf("outline %v: got %v, want %v", only, got, want)
			}
		}
		own := all(t, size, func(a string, n int) ([]string, string, error) {
			return view.Stones{}.ByCutter(b.rows["stones"], "wetwheel", a, n)
		})
		if len(own) != len(outline) {
			t.Fatalf("the cutter finished %d, listed are %v", len(outline), own)
		}
		newest := all(t, size, func(a string, n int) ([]string, string, error) {
			return view.Stones{}.ByCutter(view.Newest(b.rows["stones"]), "wetwheel", a, n)
		})
		if slices.Reverse(own); !slices.Equal(newest, own) {
			t.Fatalf("newest first they are %v, want %v", newest, own)
		}
	})
}
