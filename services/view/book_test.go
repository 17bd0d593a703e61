package view_test

import (
	"encoding/csv"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/storetest"
	"seamshare.example/services/view"
)

// rows is eventstore.Rows over a memory store: the rows of one view.
type rows struct {
	eventstore.Snapshot
	store *storetest.MemoryStore
}

func newRows() *rows {
	store := storetest.NewMemoryStore()
	return &rows{store.Snapshot(), store}
}

func (r *rows) Set(key, value []byte) { r.write(eventstore.Change{Key: key, Value: value}) }
func (r *rows) Delete(key []byte)     { r.write(eventstore.Change{Key: key}) }

func (r *rows) write(c eventstore.Change) {
	if err := r.store.Write([]eventstore.Change{c}); err != nil {
		panic(err) // a memory store fails only where a test asks it to
	}
	r.Snapshot = r.store.Snapshot()
}

// book is a log without a store: records in order, and the rows of every view.
type book struct {
	t        rapid.TB
	position eventstore.Position
	records  map[eventstore.Stream][]eventstore.Record
	rows     map[string]*rows
}

func newBook(t testing.TB) *book { t.Helper(); return newBookRapid(t) }

func newBookRapid(t rapid.TB) *book {
	t.Helper()
	b := &book{t: t, records: map[eventstore.Stream][]eventstore.Record{}, rows: map[string]*rows{}}
	for _, v := range view.All() {
		if b.rows[v.Name()] != nil {
			t.Fatalf("two views are named %s", v.Name())
		}
		b.rows[v.Name()] = newRows()
	}
	return b
}

// try records an event where every view can follow it.
func (b *book) try(stream eventstore.Stream, event proto.Message) error {
	rec := eventstore.Record{
		Position: b.position + 1, Sequence: eventstore.Sequence(b.position + 1),
		DecidedAt: time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC).Add(time.Duration(b.position) * time.Minute),
		Stream:    stream, Version: uint64(len(b.records[stream]) + 1), Event: event,
	}
	for _, v := range view.All() {
		if err := v.Apply(b.rows[v.Name()], rec); err != nil {
			return err
		}
	}
	b.position++
	b.records[stream] = append(b.records[stream], rec)
	return nil
}

func (b *book) record(stream eventstore.Stream, event proto.Message) {
	b.t.Helper()
	if err := b.try(stream, event); err != nil {
		b.t.Fatalf("at %s: %v", stream, err)
	}
}

// View implements view.Books.
func (b *book) View(name string) eventstore.Reader { return b.rows[name] }

// Records implements view.History.
func (b *book) Records(stream eventstore.Stream) ([]eventstore.Record, error) {
	return b.records[stream], nil
}

func (b *book) parcelEvent(id string, e *parcelv1.Event) {
	b.t.Helper()
	b.record(eventstore.Stream("parcel/"+id), e)
}

func (b *book) pieceEvent(id string, e *piecev1.Event) {
	b.t.Helper()
	b.record(eventstore.Stream("piece/"+id), e)
}

func (b *book) stoneEvent(id string, e *stonev1.Event) {
	b.t.Helper()
	b.record(eventstore.Stream("stone/"+id), e)
}

func (b *book) orderEvent(id string, e *orderv1.Event) {
	b.t.Helper()
	b.record(eventstore.Stream("order/"+id), e)
}

func aud(minor int64) *eventv1.Amount { return &eventv1.Amount{Currency: "AUD", Minor: minor} }

func grams(ug int64) *eventv1.Weighing { return &eventv1.Weighing{MassUg: ug, DivisionUg: 10_000} }

func (b *book) found(unexplainedUg int64) {
	b.t.Helper()
	b.record("coop/twofields", &memberv1.Event{Event: &memberv1.Event_CoopFounded{CoopFounded: &memberv1.CoopFounded{
		Public:  &memberv1.CoopFounded_Public{CoopId: "twofields", Name: "Two Fields Opal Co-operative", TimeZone: "Australia/Brisbane"},
		Private: &memberv1.CoopFounded_Private{UnexplainedUgPer_100G: unexplainedUg},
	}}})
}

func (b *book) field(id, name, country string) {
	b.t.Helper()
	b.record(eventstore.Stream("field/"+id), &memberv1.Event{Event: &memberv1.Event_FieldRecorded{FieldRecorded: &memberv1.FieldRecorded{
		Public: &memberv1.FieldRecorded_Public{FieldId: id, Name: name, Country: country},
	}}})
}

func (b *book) claim(id, field, miner, name string) {
	b.t.Helper()
	b.record(eventstore.Stream("claim/"+id), &memberv1.Event{Event: &memberv1.Event_ClaimRecorded{ClaimRecorded: &memberv1.ClaimRecorded{
		Public:  &memberv1.ClaimRecorded_Public{ClaimId: id, FieldId: field},
		Private: &memberv1.ClaimRecorded_Private{MemberId: miner, Name: name},
	}}})
}

// piece is a piece of a parcel as it is listed.
type piece struct {
	label        string
	massUg       int64
	claim, field string
}

func (b *book) list(id, seller string, price int64, pieces ...piece) {
	b.t.Helper()
	listed := &parcelv1.Listed{
		Public:  &parcelv1.Listed_Public{ParcelId: id, Label: strings.ToUpper(id)},
		Private: &parcelv1.Listed_Private{SellerId: seller, Asking: aud(price)},
	}
	var total int64
	for _, p := range pieces {
		total += p.massUg
		listed.Public.Lines = append(listed.Public.Lines, &parcelv1.Line{PieceId: id + "-" + p.label, Weighing: grams(p.massUg), Count: 1})
	}
	listed.Public.Total = grams(total)
	b.parcelEvent(id, &parcelv1.Event{Event: &parcelv1.Event_Listed{Listed: listed}})
	for _, p := range pieces {
		b.pieceEvent(id+"-"+p.label, &piecev1.Event{Event: &piecev1.Event_Described{Described: &piecev1.Described{Public: &piecev1.Described_Public{
			PieceId: id + "-" + p.label, ParcelId: id, Label: p.label, Weighing: grams(p.massUg), Count: 1, FieldId: p.field,
		}, Private: &piecev1.Described_Private{ClaimId: p.claim}}}})
	}
}

func (b *book) deal(id, buyer string, a *parcelv1.Agreement) {
	b.t.Helper()
	b.parcelEvent(id, &parcelv1.Event{Event: &parcelv1.Event_DealMade{DealMade: &parcelv1.DealMade{
		Public:  &parcelv1.DealMade_Public{ParcelId: id},
		Private: &parcelv1.DealMade_Private{BuyerId: buyer, Agreement: a},
	}}})
}

func parcelPaid(id string, amount *eventv1.Amount) *parcelv1.Event {
	return &parcelv1.Event{Event: &parcelv1.Event_Paid{Paid: &parcelv1.Paid{
		Public: &parcelv1.Paid_Public{ParcelId: id}, Private: &parcelv1.Paid_Private{Amount: amount, Reference: "bank"},
	}}}
}

func costRecorded(id, kind string, amount *eventv1.Amount) *parcelv1.Event {
	return &parcelv1.Event{Event: &parcelv1.Event_CostRecorded{CostRecorded: &parcelv1.CostRecorded{
		Public: &parcelv1.CostRecorded_Public{ParcelId: id}, Private: &parcelv1.CostRecorded_Private{Kind: kind, Amount: amount, Reference: "bill"},
	}}}
}

func worked(pieceID, part string, step piecev1.Step, massIn int64, reason piecev1.Reason, loss int64, out ...*piecev1.Part) *piecev1.Event {
	return &piecev1.Event{Event: &piecev1.Event_Worked{Worked: &piecev1.Worked{Public: &piecev1.Worked_Public{
		PieceId: pieceID, Part: part, Step: step, MassIn: grams(massIn), PartsOut: out, LossUg: loss, Reason: reason,
	}}}}
}

func placedPart(pieceID, part string, fate piecev1.Fate) *piecev1.Event {
	return &piecev1.Event{Event: &piecev1.Event_Placed{Placed: &piecev1.Placed{Public: &piecev1.Placed_Public{PieceId: pieceID, Part: part, Fate: fate}}}}
}

func finishedPart(pieceID, part, stone string, massIn, massUg int64) *piecev1.Event {
	return &piecev1.Event{Event: &piecev1.Event_Finished{Finished: &piecev1.Finished{Public: &piecev1.Finished_Public{
		PieceId: pieceID, Part: part, StoneId: stone, MassIn: grams(massIn), Stone: &eventv1.Weighing{MassUg: massUg, DivisionUg: 2_000}, LossUg: massIn - massUg,
	}}}}
}

func (b *book) finish(parcel, pieceID, part, stone, cutter string, massIn, massUg int64, outline stonev1.Outline) {
	b.t.Helper()
	b.pieceEvent(pieceID, finishedPart(pieceID, part, stone, massIn, massUg))
	b.stoneEvent(stone, &stonev1.Event{Event: &stonev1.Event_Finished{Finished: &stonev1.Finished{Public: &stonev1.Finished_Public{
		StoneId: stone, Label: stone, PieceId: pieceID, Part: part, ParcelId: parcel, CutterId: cutter, Outline: outline,
		Weighing: &eventv1.Weighing{MassUg: massUg, DivisionUg: 2_000}, Size: &eventv1.Size{LengthUm: 12_000, WidthUm: 9_000, DepthUm: 3_000},
	}}}})
}

func (b *book) putOnSale(stone string, price int64) {
	b.t.Helper()
	b.stoneEvent(stone, &stonev1.Event{Event: &stonev1.Event_PutOnSale{PutOnSale: &stonev1.PutOnSale{
		Public: &stonev1.PutOnSale_Public{StoneId: stone}, Private: &stonev1.PutOnSale_Private{Price: aud(price)},
	}}})
}

// line is a stone of an order.
type line struct {
	stone, parcel string
	price         int64
}

func placed(id, buyer string, lines ...line) *orderv1.Event {
	p := &orderv1.Placed{
		Public:  &orderv1.Placed_Public{OrderId: id},
		Private: &orderv1.Placed_Private{BuyerId: buyer, Currency: "AUD"},
	}
	for _, l := range lines {
		p.Private.Lines = append(p.Private.Lines, &orderv1.Line{StoneId: l.stone, ParcelId: l.parcel, SellerId: "cutter", PriceMinor: l.price})
	}
	return &orderv1.Event{Event: &orderv1.Event_Placed{Placed: p}}
}

func orderPaid(id string, minor int64) *orderv1.Event {
	return &orderv1.Event{Event: &orderv1.Event_Paid{Paid: &orderv1.Paid{
		Public: &orderv1.Paid_Public{OrderId: id}, Private: &orderv1.Paid_Private{Amount: aud(minor), Reference: "bank"},
	}}}
}

func orderReturned(id, stone string) *orderv1.Event {
	return &orderv1.Event{Event: &orderv1.Event_Returned{Returned: &orderv1.Returned{Public: &orderv1.Returned_Public{OrderId: id, StoneId: stone}}}}
}

func refunded(id, stone string, minor int64) *orderv1.Event {
	return &orderv1.Event{Event: &orderv1.Event_Refunded{Refunded: &orderv1.Refunded{
		Public: &orderv1.Refunded_Public{OrderId: id, StoneId: stone}, Private: &orderv1.Refunded_Private{Amount: aud(minor), Reference: "bank"},
	}}}
}

// order sells stones: the order's record and each stone's.
func (b *book) order(id, buyer string, lines ...line) {
	b.t.Helper()
	b.orderEvent(id, placed(id, buyer, lines...))
	for _, l := range lines {
		b.stoneEvent(l.stone, &stonev1.Event{Event: &stonev1.Event_Sold{Sold: &stonev1.Sold{
			Public: &stonev1.Sold_Public{StoneId: l.stone, OrderId: id}, Private: &stonev1.Sold_Private{BuyerId: buyer, Price: aud(l.price)},
		}}})
	}
}

// benchStep is a line of testdata/bench.csv.
type benchStep struct {
	parcel, piece, step, part string
	massIn, loss              int64
	out                       []*piecev1.Part
}

func benchSteps(t rapid.TB) []benchStep {
	t.Helper()
	file, err := os.Open("testdata/bench.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	lines, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	number := func(s string) int64 {
		if s == "" {
			return 0
		}
		n, err := strconv.ParseInt(s, 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	var steps []benchStep
	for _, l := range lines[1:] {
		s := benchStep{parcel: strings.ToLower(l[0]), step: l[2], part: l[3], massIn: number(l[4]), loss: number(l[6])}
		s.piece = s.parcel + "-" + l[1]
		for _, out := range strings.Fields(l[5]) {
			name, mass, _ := strings.Cut(out, "=")
			fate := piecev1.Fate_FATE_IN_WORK
			if strings.HasSuffix(name, "-off") {
				fate = piecev1.Fate_FATE_OFFCUT
			}
			s.out = append(s.out, &piecev1.Part{Name: name, Weighing: grams(number(mass)), Fate: fate})
		}
		steps = append(steps, s)
	}
	return steps
}

// bench plays a parcel's steps.
func (b *book) bench(parcel, cutter string) {
	b.t.Helper()
	outlines := map[string]stonev1.Outline{"1": stonev1.Outline_OUTLINE_OVAL, "2": stonev1.Outline_OUTLINE_OVAL, "4": stonev1.Outline_OUTLINE_ROUND}
	for _, s := range benchSteps(b.t) {
		if s.parcel != parcel {
			continue
		}
		switch s.step {
		case "saw":
			b.pieceEvent(s.piece, worked(s.piece, s.part, piecev1.Step_STEP_SAW, s.massIn, piecev1.Reason_REASON_KERF, s.loss, s.out...))
		case "trim":
			b.pieceEvent(s.piece, worked(s.piece, s.part, piecev1.Step_STEP_TRIM, s.massIn, piecev1.Reason_REASON_WASTE, s.loss, s.out...))
		case "waste":
			b.pieceEvent(s.piece, worked(s.piece, s.part, piecev1.Step_STEP_SET_ASIDE, s.massIn, piecev1.Reason_REASON_WASTE, s.loss))
		case "broke":
			b.pieceEvent(s.piece, worked(s.piece, s.part, piecev1.Step_STEP_SET_ASIDE, s.massIn, piecev1.Reason_REASON_CRACK_OPENED, s.loss))
		case "count":
			b.pieceEvent(s.piece, &piecev1.Event{Event: &piecev1.Event_Counted{Counted: &piecev1.Counted{Public: &piecev1.Counted_Public{
				PieceId: s.piece, Part: s.part, Was: grams(s.massIn + 30_000), Weighing: grams(s.massIn),
			}}}})
		case "shelf":
			b.pieceEvent(s.piece, placedPart(s.piece, s.part, piecev1.Fate_FATE_SHELF))
		case "finish":
			stone := s.out[0]
			outline := outlines[stone.GetName()]
			if outline == 0 {
				outline = stonev1.Outline_OUTLINE_FREEFORM
			}
			b.finish(s.parcel, s.piece, s.part, "stone-"+stone.GetName(), cutter, s.massIn, stone.GetWeighing().GetMassUg(), outline)
		default:
			b.t.Fatalf("step %q", s.step)
		}
	}
}
