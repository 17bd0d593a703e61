package main

import (
	"bytes"
	"fmt"
	"strings"

	"seamshare.example/cmd/seamshare/internal/agreementfile"
	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/piecelist"
	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
)

// demoScale and stoneScale are the divisions of the two scales in use.
const (
	demoScale  measure.Mass = 10_000 // 0.01 g
	stoneScale measure.Mass = 2_000  // 0.01 ct
)

// list puts the parcel on the market, at the second try.
func (d *demo) list() error {
	pieces, err := piecelist.Read(bytes.NewReader(demoPieces), piecelist.Options{})
	if err != nil {
		return err
	}
	lines, err := newPieces(pieces, demoScale, d.claims)
	if err != nil {
		return err
	}
	agreement, err := agreementfile.Parse(demoAgreement)
	if err != nil {
		return err
	}
	d.tell("%s has six pieces of boulder opal and lists them as parcel P1, one lot at one price:", demoMiner)
	t := table.New(text("piece"), right("mass"), right("carats"), text("claim"), wrapped("what is seen"))
	for _, p := range pieces {
		w := weighing(p.Mass, demoScale)
		t.Row(p.Label, grams(w), carats(w), p.Claim, p.Seen)
	}
	if _, err := t.WriteTo(d.story); err != nil {
		return err
	}

	publish := func(typed string) (*minerv1.PublishParcelResponse, error) {
		total, err := measure.ParseMass(typed)
		if err != nil {
			return nil, err
		}
		return d.actors[demoMiner].miner().PublishParcel(d.ctx, &minerv1.PublishParcelRequest{
			RequestId: d.id(), Label: "P1", Pieces: lines, Total: weighing(total, demoScale),
			Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, Agreement: agreement,
		})
	}
	_, err = publish(demoTotalTyped)
	why, err := d.refused(err)
	if err != nil {
		return err
	}
	d.tell("The first listing is refused, because the total was typed as %s:", demoTotalTyped)
	d.tell("“%s”", why)
	a, err := publish(demoTotal)
	if err != nil {
		return err
	}
	p := a.GetParcel()
	d.parcelID = p.GetId()
	for i, l := range p.GetLines() {
		d.pieces[pieces[i].Label] = l.GetPieceId()
	}
	d.tell("With %s (%s) it is on the market, at %s asked. What %s proposes:", grams(p.GetTotal()), carats(p.GetTotal()), amount.Text(p.GetAsking()), demoMiner)
	return printAgreement(d.story, p.GetAgreement())
}

// haggle makes the deal and hands the parcel over.
func (d *demo) haggle() error {
	offer := func(who, price string) (*cutterv1.MakeOfferResponse, error) {
		m, err := amount.Parse(price)
		if err != nil {
			return nil, err
		}
		return d.actors[who].cutter().MakeOffer(d.ctx, &cutterv1.MakeOfferRequest{
			RequestId: d.id(), ParcelId: d.parcelID, Agreement: &typev1.Agreement{Price: m}, EndsAt: offerEnds(),
		})
	}
	var offers []*typev1.Offer
	for _, o := range []struct{ who, price string }{{demoCutter, "1450.00 AUD"}, {demoRival, "1550.00 AUD"}, {demoCutter, demoPrice}} {
		a, err := offer(o.who, o.price)
		if err != nil {
			return err
		}
		offers = append(offers, a.GetOffer())
	}
	price := func(o *typev1.Offer) string { return amount.Text(o.GetAgreement().GetPrice()) }
	theirs, err := d.actors[demoRival].cutter().ListMyOffers(d.ctx, &cutterv1.ListMyOffersRequest{ParcelId: d.parcelID})
	if err != nil {
		return err
	}
	d.tell("%s offers %s. %s says that 1700.00 would do. %s offers %s; it sees %d offer, its own, and not what others bid. %s comes up to %s, and that is accepted.",
		demoCutter, price(offers[0]), demoMiner, demoRival, price(offers[1]), len(theirs.GetOffers()), demoCutter, price(offers[2]))
	miner := d.actors[demoMiner].miner()
	deal, err := miner.AcceptOffer(d.ctx, &minerv1.AcceptOfferRequest{RequestId: d.id(), ParcelId: d.parcelID, OfferId: offers[2].GetId()})
	if err != nil {
		return err
	}
	all, err := miner.ListOffers(d.ctx, &minerv1.ListOffersRequest{ParcelId: d.parcelID})
	if err != nil {
		return err
	}
	t := table.New(wrapped("offer of"), right("price"), text("now"))
	for _, o := range all.GetOffers() {
		t.Row(d.names[o.GetBuyerId()], price(o), word(o.GetState()))
	}
	if _, err := t.WriteTo(d.story); err != nil {
		return err
	}
	_, err = offer(demoRival, "1650.00 AUD")
	why, err := d.refused(err)
	if err != nil {
		return err
	}
	d.tell("%s comes too late with 1650.00: “%s”", demoRival, why)
	return d.handOver(deal.GetParcel())
}

// handOver counts and weighs on both sides, and pays.
func (d *demo) handOver(p *typev1.Parcel) error {
	count := uint32(len(p.GetLines()))
	if _, err := d.actors[demoMiner].miner().HandOverParcel(d.ctx, &minerv1.HandOverParcelRequest{RequestId: d.id(), ParcelId: d.parcelID, Count: count, Total: p.GetTotal()}); err != nil {
		return err
	}
	a, err := d.actors[demoCutter].cutter().ReceiveParcel(d.ctx, &cutterv1.ReceiveParcelRequest{RequestId: d.id(), ParcelId: d.parcelID, Count: count, Total: p.GetTotal()})
	if err != nil {
		return err
	}
	price, err := amount.Parse(demoPrice)
	if err != nil {
		return err
	}
	desk := d.actors[demoDesk].coop()
	if _, err := desk.RecordParcelPayment(d.ctx, &coopv1.RecordParcelPaymentRequest{RequestId: d.id(), ParcelId: d.parcelID, Amount: price, Reference: "P1 purchase"}); err != nil {
		return err
	}
	freight, err := amount.Parse(demoFreight)
	if err != nil {
		return err
	}
	if _, err := desk.RecordCost(d.ctx, &coopv1.RecordCostRequest{RequestId: d.id(), ParcelId: d.parcelID, Kind: "freight", Amount: freight, Reference: "P1 freight"}); err != nil {
		return err
	}
	d.tell("Both count %d pieces and weigh %s: the parcel is %s. %s pays %s for it, and the co-op lays out %s of freight.",
		count, grams(p.GetTotal()), word(a.GetParcel().GetState()), demoCutter, amount.Text(price), amount.Text(freight))
	return nil
}

// work records the bench book and finishes the stones.
func (d *demo) work() error {
	cutter := d.actors[demoCutter].cutter()
	d.tell("%s works the pieces. Every step is weighed in and out; what is missing was lost, and says why:", demoCutter)
	t := table.New(text("piece"), text("step"), text("part in"), wrapped("parts out"), right("lost"), text("why"))
	for _, step := range demoBench {
		outs, lost, err := d.workStep(cutter, step)
		if err != nil {
			return fmt.Errorf("piece %s, part %s: %w", step.piece, step.part, err)
		}
		t.Row(step.piece, word(step.step), step.part, outs, lost, word(step.reason))
	}
	if _, err := cutter.PlacePart(d.ctx, &cutterv1.PlacePartRequest{
		RequestId: d.id(), PieceId: d.pieces["6"], Part: "6", Fate: typev1.Fate_FATE_SHELF, Why: "wants a window first",
	}); err != nil {
		return err
	}
	if _, err := t.WriteTo(d.story); err != nil {
		return err
	}
	d.tell("A part of piece 4 breaks on the fine wheel, and that is recorded like the rest. Piece 6 goes back to the shelf: it wants a window first. Ten stones come out:")
	if err := d.finish(cutter); err != nil {
		return err
	}
	a, err := cutter.GetYield(d.ctx, &cutterv1.GetYieldRequest{ParcelId: d.parcelID})
	if err != nil {
		return err
	}
	d.tell("And this is where all of the parcel's mass went:")
	d.report.addYield(a.GetYield())
	return printYield(d.story, a.GetYield())
}

// workStep records one step, and says what it left and lost.
func (d *demo) workStep(cutter cutterv1.CutterServiceClient, step demoStep) (outs, lost string, err error) {
	r := &cutterv1.WorkPartRequest{
		RequestId: d.id(), PieceId: d.pieces[step.piece], Part: step.part, Step: step.step, Reason: step.reason, How: step.how,
	}
	if step.area != "" {
		if r.AreaUm2, err = parseArea(step.area); err != nil {
			return "", "", err
		}
	}
	if step.outs != "" {
		parts, err := parseOuts(step.outs)
		if err != nil {
			return "", "", err
		}
		for i, p := range parts {
			r.PartsOut = append(r.PartsOut, &cutterv1.PartOut{Name: p.name, Weighing: weighing(p.mass, demoScale), Fate: p.fate})
			if i > 0 {
				outs += ", "
			}
			outs += p.name + " " + p.mass.OnScale(demoScale)
		}
	}
	before, err := cutter.GetPiece(d.ctx, &cutterv1.GetPieceRequest{PieceId: r.GetPieceId()})
	if err != nil {
		return "", "", err
	}
	after, err := cutter.WorkPart(d.ctx, r)
	if err != nil {
		return "", "", err
	}
	return outs, measure.Mass(allLost(after.GetPiece()) - allLost(before.GetPiece())).OnScale(demoScale), nil
}

func allLost(p *typev1.Piece) int64 {
	var sum int64
	for _, l := range p.GetLosses() {
		sum += l.GetMassUg()
	}
	return sum
}

// finish makes the stones and puts them on sale.
func (d *demo) finish(cutter cutterv1.CutterServiceClient) error {
	t := table.New(text("stone"), text("piece"), text("outline and size"), right("ct"), right("g"), wrapped("what"), right("asked, AUD"))
	for _, s := range demoStones {
		mass, err := measure.ParseMass(s.mass)
		if err != nil {
			return err
		}
		sides, err := parseSize(s.size)
		if err != nil {
			return err
		}
		price, err := amount.Parse(s.price)
		if err != nil {
			return err
		}
		a, err := cutter.FinishStone(d.ctx, &cutterv1.FinishStoneRequest{
			RequestId: d.id(), PieceId: d.pieces[s.piece], Part: s.part, Label: s.label, Weighing: weighing(mass, stoneScale),
			Size: sides, Outline: s.outline, Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN,
			Hydrophane: typev1.Hydrophane_HYDROPHANE_NOT_KNOWN, Composite: typev1.Composite_COMPOSITE_NONE,
			Grade: &typev1.Grade{Pattern: s.pattern, Colours: s.colours}, Remarks: s.remarks,
		})
		if err != nil {
			return fmt.Errorf("stone %s: %w", s.label, err)
		}
		onSale, err := cutter.PutStoneOnSale(d.ctx, &cutterv1.PutStoneOnSaleRequest{RequestId: d.id(), StoneId: a.GetStone().GetId(), Price: price})
		if err != nil {
			return fmt.Errorf("stone %s: %w", s.label, err)
		}
		st := onSale.GetStone()
		d.stones[s.label] = &soldStone{stone: st}
		t.Row(s.label, s.piece, word(st.GetOutline())+" "+strings.TrimSuffix(size(st.GetSize()), " mm"), st.GetCarat(), bare(grams(st.GetWeighing())),
			joined(st.GetRemarks(), st.GetGrade().GetColours(), word(st.GetGrade().GetPattern())), bare(amount.Text(st.GetPrice())))
	}
	_, err := t.WriteTo(d.story)
	return err
}

func joined(parts ...string) string {
	out := ""
	for _, p := range parts {
		if p == "" {
			continue
		}
		if out != "" {
			out += ", "
		}
		out += p
	}
	return out
}

// sell sells all ten stones.
func (d *demo) sell() error {
	stock, err := d.actors[demoSecond].jeweller().ListStock(d.ctx, &jewellerv1.ListStockRequest{})
	if err != nil {
		return err
	}
	d.tell("%s and %s both look through the %d stones on sale, and both want the pair 1 and 2. Both orders name both stones at the prices seen. The one of %s arrives first.",
		demoJeweller, demoSecond, len(stock.GetStones()), demoJeweller)
	if err := d.order(demoPair); err != nil {
		return err
	}
	_, err = d.place(demoSecond, demoPair.stones)
	why, err := d.refused(err)
	if err != nil {
		return err
	}
	d.tell("%s is told why not, and holds no half of a pair: “%s”", demoSecond, why)
	for _, sale := range demoSales {
		if err := d.order(sale); err != nil {
			return err
		}
	}
	t := table.New(text("stone"), wrapped("to"), right("for"))
	for _, sale := range append([]demoSale{demoPair}, demoSales...) {
		for _, label := range sale.stones {
			t.Row(label, sale.jeweller, amount.Text(d.stones[label].stone.GetPrice()))
		}
	}
	_, err = t.WriteTo(d.story)
	return err
}

func (d *demo) place(jeweller string, labels []string) (*jewellerv1.PlaceOrderResponse, error) {
	r := &jewellerv1.PlaceOrderRequest{RequestId: d.id()}
	for _, label := range labels {
		s := d.stones[label].stone
		r.Items = append(r.Items, &jewellerv1.OrderItem{StoneId: s.GetId(), Price: s.GetPrice()})
	}
	return d.actors[jeweller].jeweller().PlaceOrder(d.ctx, r)
}

// order places an order and pays it in full.
func (d *demo) order(sale demoSale) error {
	a, err := d.place(sale.jeweller, sale.stones)
	if err != nil {
		return fmt.Errorf("order of stones %v: %w", sale.stones, err)
	}
	o := a.GetOrder()
	for _, label := range sale.stones {
		d.stones[label].orderID = o.GetId()
	}
	_, err = d.actors[demoDesk].coop().RecordOrderPayment(d.ctx, &coopv1.RecordOrderPaymentRequest{
		RequestId: d.id(), OrderId: o.GetId(), Amount: o.GetTotal(), Reference: "stones " + joined(sale.stones...),
	})
	if err != nil {
		return fmt.Errorf("payment for stones %v: %w", sale.stones, err)
	}
	return nil
}
