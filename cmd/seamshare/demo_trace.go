package main

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/eventstore/merkle"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
)

// trace asks every stone for its chain, tells one of them, and tries to cheat with it.
func (d *demo) trace() error {
	names := map[string]string{}
	for name, id := range d.fields {
		names[id] = name
	}
	kept, err := d.keptSales()
	if err != nil {
		return err
	}
	for _, label := range d.labels() {
		if err := d.traceOne(label, names, kept); err != nil {
			return fmt.Errorf("stone %s: %w", label, err)
		}
	}
	s := d.stones[demoTraced]
	first, err := d.people[demoJeweller].coop().GetStoneChain(d.ctx, &coopv1.GetStoneChainRequest{StoneId: s.GetId()})
	if err != nil {
		return err
	}
	d.tell("%s, who bought stone %s, asks where it comes from. The log answers with the records that led to it:", demoJeweller, demoTraced)
	if err := printLinks(d.story, first.GetLinks()); err != nil {
		return err
	}
	piece, err := d.people[s.cutter].cutter().GetPiece(d.ctx, &cutterv1.GetPieceRequest{PieceId: s.GetPieceId()})
	if err != nil {
		return err
	}
	for _, c := range demoClaims {
		if d.claims[c.name] == piece.GetPiece().GetClaimId() {
			d.tell("It goes back to the field and no closer: that the piece came from %s is known to its miner and its cutter alone.", c.name)
		}
	}
	d.tell("%s", strings.TrimSpace(originLine))
	if err := d.cheat(first); err != nil {
		return err
	}
	return d.conclude()
}

// traceOne reports a stone with its chain, checked as a stranger would.
func (d *demo) traceOne(label string, fields map[string]string, kept map[string]keptSale) error {
	s := d.stones[label]
	cutter := d.people[s.cutter].cutter()
	st, err := cutter.GetStone(d.ctx, &cutterv1.GetStoneRequest{StoneId: s.GetId()})
	if err != nil {
		return err
	}
	piece, err := cutter.GetPiece(d.ctx, &cutterv1.GetPieceRequest{PieceId: st.GetStone().GetPieceId()})
	if err != nil {
		return err
	}
	chain, err := d.people[s.cutter].coop().GetStoneChain(d.ctx, &coopv1.GetStoneChainRequest{StoneId: s.GetId()})
	if err != nil {
		return err
	}
	if _, err := merkle.ParseChain(chain.GetFile(), d.verifier); err != nil {
		return &failure{Exit: exitUnverified, Reason: "CHAIN_REFUSED", Message: err.Error(), Err: err}
	}
	if label == demoForged {
		d.forgery = forgery{piece: piece.GetPiece().GetId(), from: piece.GetPiece().GetFieldId(), to: d.fields[demoFields[0].name], chain: chain.GetFile()}
	}
	d.report.addStone(st.GetStone(), s.parcel+"-"+piece.GetPiece().GetLabel(), fields[piece.GetPiece().GetFieldId()], kept[s.GetId()], chain.GetLinks())
	return nil
}

// keptSales are by stone.
func (d *demo) keptSales() (map[string]keptSale, error) {
	kept := map[string]keptSale{}
	for _, jeweller := range []string{demoJeweller, demoSecond} {
		a, err := d.people[jeweller].jeweller().ListOrders(d.ctx, &jewellerv1.ListOrdersRequest{PageSize: 200})
		if err != nil {
			return nil, err
		}
		for _, o := range a.GetOrders() {
			for _, l := range o.GetLines() {
				minor, err := amount.Minor(l.GetPaid())
				if err != nil {
					return nil, err
				}
				if minor > 0 {
					kept[l.GetStoneId()] = keptSale{jeweller, minor}
				}
			}
		}
	}
	return kept, nil
}

// cheat changes the file of a chain in every way that the demo knows. All of them must be refused.
func (d *demo) cheat(chain *coopv1.GetStoneChainResponse) error {
	file, leaves := chain.GetFile(), len(chain.GetLinks())
	t := tamper(file, leaves, func(changed []byte) error {
		_, err := merkle.ParseChain(changed, d.verifier)
		return err
	})
	d.report.TamperedTried, d.report.TamperedRejected = t.tried, t.accepted == 0
	if t.accepted > 0 {
		return &failure{Exit: exitUnverified, Reason: "TAMPERING_ACCEPTED", Message: fmt.Sprintf("%d of %d changed chain files were taken for genuine", t.accepted, t.tried)}
	}
	d.tell("Now somebody cheats. Each of the file's %d bytes is changed in turn, and each of its %d records is left out: all %d files are refused. With one byte changed in the middle: “%v”. With the field left out: “%v”.",
		len(file), leaves, t.tried, t.byteErr, t.dropErr)
	return nil
}

// tampering is how many changed files were tried, and how many of them a check took for genuine.
type tampering struct {
	tried, accepted  int
	byteErr, dropErr error // why the file with its middle byte changed was refused, and the one without its first leaf
}

// tamper tries a chain file with each byte changed and with each leaf left out.
func tamper(file []byte, leaves int, verify func(changed []byte) error) tampering {
	var t tampering
	try := func(changed []byte) error {
		t.tried++
		err := verify(changed)
		if err == nil {
			t.accepted++
		}
		return err
	}
	for i := range file {
		changed := bytes.Clone(file)
		changed[i] ^= 1
		if err := try(changed); i == len(file)/2 {
			t.byteErr = err
		}
	}
	for leaf := range leaves {
		if err := try(withoutLeaf(file, leaf, leaves)); leaf == 0 {
			t.dropErr = err
		}
	}
	return t
}

// leafStart is the line that every leaf of a chain file begins with, after the empty line before it.
const leafStart = "\n\nc2sp.org/tlog-proof@v1\n"

// withoutLeaf is a chain file with one leaf cut out and their number put right, as a careful forger would.
func withoutLeaf(file []byte, leaf, of int) []byte {
	start := 0
	for range leaf + 1 {
		start += 1 + bytes.Index(file[start+1:], []byte(leafStart)) // there is one for each leaf
	}
	end := start + 2 + bytes.Index(file[start+2:], []byte("\n\n"))
	changed := append(bytes.Clone(file[:start]), file[end:]...)
	return bytes.Replace(changed, []byte("\nleaves "+strconv.Itoa(of)+"\n"), []byte("\nleaves "+strconv.Itoa(of-1)+"\n"), 1)
}

// conclude says how long the log is, and its root.
func (d *demo) conclude() error {
	a, err := d.people[deskAudit].node().VerifyAt(d.ctx, &coopv1.VerifyAtRequest{})
	if err != nil {
		return err
	}
	d.report.Log = reportLog{a.GetPosition(), hex.EncodeToString(a.GetRoot())}
	d.tell("The log holds %d records; its root is %s. Anyone with the log can compute every share and every payout again.", a.GetPosition(), d.report.Log.Root)
	return nil
}
