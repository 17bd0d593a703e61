package main

import (
	"bytes"
	"fmt"

	"seamshare.example/cmd/seamshare/internal/agreementfile"
	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/piecelist"
	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
)

// list puts the parcels on the market, the first one at the second try.
func (d *demo) list() error {
	for _, p := range demoParcels {
		if err := d.listOne(p); err != nil {
			return fmt.Errorf("parcel %s: %w", p.label, err)
		}
	}
	d.tell("Treatment, by the sellers' own word: %s.", treatmentWords(d.parcels[demoParcels[0].label].GetTreatment()))
	return nil
}

func (d *demo) listOne(p demoParcel) error {
	pieces := builtIn(piecelist.Read(bytes.NewReader(p.file(".csv")), piecelist.Options{}))
	lines := builtIn(newPieces(pieces, demoScale, d.claims))
	agreement := builtIn(agreementfile.Parse(p.file(".agreement.json")))
	agreement.Title = p.title
	for _, l := range lines {
		if group, ok := p.groups[l.GetLabel()]; ok {
			l.SmallestUm, l.LargestUm = demoLength(group[0]), demoLength(group[1])
		}
	}
	d.tell("%s lists parcel %s, one lot: %s.", p.seller, p.label, p.what)
	t := table.New(text("piece"), right("count"), right("mass"), right("carats"), text("claim"), wrapped("what is seen"))
	for i, l := range lines {
		t.Row(l.GetLabel(), fmt.Sprint(l.GetCount()), grams(l.GetWeighing()), carats(l.GetWeighing()), pieces[i].Claim, l.GetSeen())
	}
	if err := d.print(t); err != nil {
		return err
	}
	publish := func(total string) (*minerv1.PublishParcelResponse, error) {
		return d.people[p.seller].miner().PublishParcel(d.ctx, &minerv1.PublishParcelRequest{
			RequestId: d.id(), Label: p.label, Pieces: lines, Total: demoMass(total, demoScale), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN,
			OpenAtAsking: p.openAtAsking, Agreement: agreement,
		})
	}
	if p.slip != "" {
		_, err := publish(p.slip)
		why, err := d.refused(err)
		if err != nil {
			return err
		}
		d.tell("The first listing is refused, because the total was typed as %s: “%s”", p.slip, why)
	}
	a, err := publish(p.total)
	if err != nil {
		return err
	}
	listed := a.GetParcel()
	d.call(listed)
	for i, l := range listed.GetLines() {
		name := p.label + "-" + pieces[i].Label
		d.pieces[name] = &typev1.Piece{Id: l.GetPieceId(), Label: pieces[i].Label}
		d.called[l.GetPieceId()] = "piece " + name
	}
	asked := amount.Text(listed.GetAsking()) + " asked"
	if listed.GetOpenAtAsking() {
		asked += ", and the first to take it at that price has it"
	}
	d.tell("Weighed together %s (%s); %s. What %s proposes:", grams(listed.GetTotal()), carats(listed.GetTotal()), asked, p.seller)
	return printAgreement(d.story, listed.GetAgreement())
}

func demoLength(text string) int64 { return int64(builtIn(measure.ParseLength(text))) }

// view shows P1 to both cutters, counted and weighed out and back.
func (d *demo) view() error {
	p := demoParcelOf("P1")
	listed := d.parcels[p.label]
	stones := countOf(listed)
	d.tell("Both cutters ask to look at parcel %s. Nobody buys rough unseen, and what goes out is counted and weighed, out and back:", p.label)
	t := table.New(wrapped("who looks"), wrapped("in which light"), text("candled"), right("out"), right("back"), text("difference"))
	seller := d.people[p.seller].miner()
	for _, v := range demoViewings {
		asked, err := d.people[v.viewer].cutter().AskViewing(d.ctx, &cutterv1.AskViewingRequest{RequestId: d.id(), ParcelId: listed.GetId(), At: soon()})
		if err != nil {
			return err
		}
		id := asked.GetViewing().GetId()
		if _, err := seller.AgreeViewing(d.ctx, &minerv1.AgreeViewingRequest{RequestId: d.id(), ParcelId: listed.GetId(), ViewingId: id}); err != nil {
			return err
		}
		_, err = seller.StartViewing(d.ctx, &minerv1.StartViewingRequest{RequestId: d.id(), ParcelId: listed.GetId(), ViewingId: id, Count: stones, Total: listed.GetTotal()})
		if err != nil {
			return err
		}
		a, err := seller.EndViewing(d.ctx, &minerv1.EndViewingRequest{
			RequestId: d.id(), ParcelId: listed.GetId(), ViewingId: id, Count: stones, Total: listed.GetTotal(), Light: v.light, Candled: v.candled,
		})
		if err != nil {
			return err
		}
		saw := a.GetViewing()
		t.Row(v.viewer, saw.GetLight(), yesNo(saw.GetCandled()), countedAs(saw.GetCountOut(), saw.GetTotalOut()), countedAs(saw.GetCountBack(), saw.GetTotalBack()),
			measure.Mass(saw.GetDifferenceUg()).OnScale(demoScale))
	}
	if err := d.print(t); err != nil {
		return err
	}
	note := demoInspection
	cutter := d.people[note.who].cutter()
	_, err := cutter.NoteInspection(d.ctx, &cutterv1.NoteInspectionRequest{
		RequestId: d.id(), ParcelId: listed.GetId(), PieceId: d.pieces[p.label+"-"+note.piece].GetId(), Text: note.text,
	})
	if err != nil {
		return err
	}
	mine, err := cutter.ListMyNotes(d.ctx, &cutterv1.ListMyNotesRequest{ParcelId: listed.GetId()})
	if err != nil {
		return err
	}
	theirs, err := d.people[demoRival].cutter().ListMyNotes(d.ctx, &cutterv1.ListMyNotesRequest{ParcelId: listed.GetId()})
	if err != nil {
		return err
	}
	for _, n := range mine.GetNotes() {
		d.tell("%s notes of piece %s: “%s”. Nobody else can read that: of the notes %s may see there are %d.", note.who, note.piece, n.GetText(), demoRival, len(theirs.GetNotes()))
	}
	return nil
}

func countedAs(stones uint32, total *typev1.Weighing) string {
	return fmt.Sprintf("%d, %s", stones, grams(total))
}

func yesNo(yes bool) string {
	if yes {
		return "yes"
	}
	return "no"
}

func countOf(p *typev1.Parcel) (stones uint32) {
	for _, l := range p.GetLines() {
		stones += l.GetCount()
	}
	return stones
}

// deal makes three deals: one haggled over, one on shares, one at the price that was asked.
func (d *demo) deal() error {
	for _, step := range []func() error{d.haggle, d.place, d.take} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

func (d *demo) bid(who, parcel, price string) (*typev1.Offer, error) {
	a, err := d.people[who].cutter().MakeOffer(d.ctx, &cutterv1.MakeOfferRequest{
		RequestId: d.id(), ParcelId: d.parcels[parcel].GetId(), Agreement: &typev1.Agreement{Price: demoAmount(price)}, EndsAt: soon(),
	})
	return a.GetOffer(), err
}

// accept makes the deal for an offer.
func (d *demo) accept(seller string, o *typev1.Offer) error {
	a, err := d.people[seller].miner().AcceptOffer(d.ctx, &minerv1.AcceptOfferRequest{RequestId: d.id(), ParcelId: o.GetParcelId(), OfferId: o.GetId()})
	if err != nil {
		return err
	}
	d.call(a.GetParcel())
	return nil
}

func (d *demo) haggle() error {
	p := demoParcelOf("P1")
	id := d.parcels[p.label].GetId()
	seller := d.people[p.seller].miner()
	last := map[string]*typev1.Offer{} // each cutter's own
	for _, word := range demoHaggling {
		if !word.counter {
			o, err := d.bid(word.who, p.label, word.price)
			if err != nil {
				return err
			}
			last[word.who] = o
			continue
		}
		_, err := seller.CounterOffer(d.ctx, &minerv1.CounterOfferRequest{
			RequestId: d.id(), ParcelId: id, OfferId: last[word.who].GetId(), Agreement: &typev1.Agreement{Price: demoAmount(word.price)}, EndsAt: soon(),
		})
		if err != nil {
			return err
		}
	}
	d.tell("Parcel %s is haggled over. Before it answers, %s looks at what each price would bring it, if the %d stones that it hopes for sold for %s together. That is an estimate:",
		p.label, p.seller, demoAssumedStones, demoAssumedSales)
	if err := d.compare(p, last); err != nil {
		return err
	}
	theirs, err := d.people[demoRival].cutter().ListMyOffers(d.ctx, &cutterv1.ListMyOffersRequest{ParcelId: id})
	if err != nil {
		return err
	}
	if err := d.accept(p.seller, last[p.buyer]); err != nil {
		return err
	}
	all, err := seller.ListOffers(d.ctx, &minerv1.ListOffersRequest{ParcelId: id})
	if err != nil {
		return err
	}
	d.tell("It takes the offer of %s, and that closes all others at once. %s had seen %s: its own.", p.buyer, demoRival, count(len(theirs.GetOffers()), "offer"))
	t := table.New(wrapped("who says it"), right("price"), text("now"))
	for _, o := range all.GetOffers() {
		who := d.names[o.GetBuyerId()]
		if o.GetAnswersId() != "" {
			who = p.seller + ", to " + who
		}
		t.Row(who, amount.Text(o.GetAgreement().GetPrice()), word(o.GetState()))
	}
	if err := d.print(t); err != nil {
		return err
	}
	_, err = d.bid(demoRival, p.label, demoTooLate)
	why, err := d.refused(err)
	if err != nil {
		return err
	}
	d.tell("%s comes too late with %s: “%s”", demoRival, demoTooLate, why)
	return nil
}

// compare shows what the last offer of each cutter would bring.
func (d *demo) compare(p demoParcel, last map[string]*typev1.Offer) error {
	t := table.New(wrapped("offer of"), right("price"), right("miner would have"), right("cutter would have"))
	for _, who := range []string{demoRival, demoCutter} {
		a, err := d.people[p.seller].miner().PreviewOffer(d.ctx, &minerv1.PreviewOfferRequest{
			ParcelId: d.parcels[p.label].GetId(), OfferId: last[who].GetId(), AssumedSales: demoAmount(demoAssumedSales), AssumedStones: demoAssumedStones,
		})
		if err != nil {
			return err
		}
		would := map[string]string{}
		for _, s := range a.GetPreview().GetShares() {
			would[s.GetParty()] = amount.Text(s.GetAmount())
		}
		t.Row(who, amount.Text(a.GetPreview().GetPrice()), would["miner"], would["cutter"])
	}
	return d.print(t)
}

// place gives P2 out to be cut on shares.
func (d *demo) place() error {
	p := demoParcelOf("P2")
	o, err := d.bid(p.buyer, p.label, amount.Text(d.parcels[p.label].GetAsking()))
	if err != nil {
		return err
	}
	if err := d.accept(p.seller, o); err != nil {
		return err
	}
	d.tell("Parcel %s is not sold: it is placed with %s at %s. It, and each stone of it, stays %s's until it sells; then they share.",
		p.label, p.buyer, amount.Text(o.GetAgreement().GetPrice()), p.seller)
	return nil
}

// take buys P3 at the asking price.
func (d *demo) take() error {
	p := demoParcelOf("P3")
	a, err := d.people[p.buyer].cutter().TakeParcel(d.ctx, &cutterv1.TakeParcelRequest{RequestId: d.id(), ParcelId: d.parcels[p.label].GetId()})
	if err != nil {
		return err
	}
	d.call(a.GetParcel())
	d.tell("Parcel %s goes outright: %s takes it at the %s that were asked. What its stones bring later is no business of %s's.",
		p.label, p.buyer, amount.Text(a.GetParcel().GetAgreement().GetPrice()), p.seller)
	return nil
}

// handOver counts and weighs on both sides, and pays.
func (d *demo) handOver() error {
	d.tell("A deal moves nothing yet. At the handover both sides count and weigh; then the parcel is in other hands:")
	t := table.New(text("parcel"), text("count"), right("seller weighs"), right("buyer weighs"), text("difference"), wrapped("in the hands of"), wrapped("belongs to"))
	for _, p := range demoParcels {
		agreed := d.parcels[p.label]
		stones := countOf(agreed)
		_, err := d.people[p.seller].miner().HandOverParcel(d.ctx, &minerv1.HandOverParcelRequest{RequestId: d.id(), ParcelId: agreed.GetId(), Count: stones, Total: agreed.GetTotal()})
		if err != nil {
			return err
		}
		a, err := d.people[p.buyer].cutter().ReceiveParcel(d.ctx, &cutterv1.ReceiveParcelRequest{RequestId: d.id(), ParcelId: agreed.GetId(), Count: stones, Total: agreed.GetTotal()})
		if err != nil {
			return err
		}
		over := a.GetParcel()
		d.call(over)
		h := over.GetHandover()
		t.Row(p.label, fmt.Sprint(h.GetBuyer().GetCount()), grams(h.GetSeller().GetTotal()), grams(h.GetBuyer().GetTotal()),
			measure.Mass(h.GetDifferenceUg()).OnScale(demoScale), d.names[over.GetCustodyId()], d.names[over.GetTitleId()])
	}
	if err := d.print(t); err != nil {
		return err
	}
	d.tell("Desk 1 records the money: the prices that were paid, and what the co-op laid out to outsiders for each parcel.")
	return d.payForParcels()
}

func (d *demo) payForParcels() error {
	desk := d.people[deskBooks].coop()
	t := table.New(text("parcel"), text("what"), right("amount"))
	for _, p := range demoParcels {
		id, price := d.parcels[p.label].GetId(), d.parcels[p.label].GetAgreement().GetPrice()
		if builtIn(amount.Minor(price)) > 0 {
			a, err := desk.RecordParcelPayment(d.ctx, &coopv1.RecordParcelPaymentRequest{RequestId: d.id(), ParcelId: id, Amount: price, Reference: p.label + " purchase"})
			if err != nil {
				return err
			}
			t.Row(p.label, "paid by "+p.buyer, amount.Text(a.GetStatement().GetPurchaseReceived()))
		}
		for _, c := range p.costs {
			_, err := desk.RecordCost(d.ctx, &coopv1.RecordCostRequest{RequestId: d.id(), ParcelId: id, Kind: c.kind, Amount: demoAmount(c.amount), Reference: c.reference})
			if err != nil {
				return err
			}
			t.Row(p.label, c.kind, c.amount)
		}
	}
	return d.print(t)
}
