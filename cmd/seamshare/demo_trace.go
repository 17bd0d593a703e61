package main

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"strconv"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/eventstore/merkle"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
)

// trace asks every stone for its chain, tells the first one's, and tries to cheat with it.
func (d *demo) trace() error {
	fields, err := d.actors[demoCutter].coop().ListFields(d.ctx, &coopv1.ListFieldsRequest{})
	if err != nil {
		return err
	}
	names := map[string]string{}
	for _, f := range fields.GetFields() {
		names[f.GetId()] = f.GetName()
	}
	kept, err := d.keptPrices()
	if err != nil {
		return err
	}
	for _, s := range demoStones {
		if err := d.traceOne(s, names, kept); err != nil {
			return fmt.Errorf("stone %s: %w", s.label, err)
		}
	}
	first, err := d.actors[demoJeweller].coop().GetStoneChain(d.ctx, &coopv1.GetStoneChainRequest{StoneId: d.stones["1"].stone.GetId()})
	if err != nil {
		return err
	}
	d.tell("%s asks where stone 1 comes from. The log answers with the records that led to it:", demoJeweller)
	if err := printLinks(d.story, first.GetLinks()); err != nil {
		return err
	}
	d.tell("%s", originLine)
	return d.cheat(first)
}

// traceOne reports a stone with its chain, checked as a stranger would.
func (d *demo) traceOne(s demoStone, fields map[string]string, kept map[string]int64) error {
	cutter := d.actors[demoCutter].cutter()
	id := d.stones[s.label].stone.GetId()
	st, err := cutter.GetStone(d.ctx, &cutterv1.GetStoneRequest{StoneId: id})
	if err != nil {
		return err
	}
	piece, err := cutter.GetPiece(d.ctx, &cutterv1.GetPieceRequest{PieceId: st.GetStone().GetPieceId()})
	if err != nil {
		return err
	}
	chain, err := d.actors[demoCutter].coop().GetStoneChain(d.ctx, &coopv1.GetStoneChainRequest{StoneId: id})
	if err != nil {
		return err
	}
	if _, err := merkle.ParseChain(chain.GetFile(), d.verifier); err != nil {
		return &failure{Exit: exitUnverified, Reason: "CHAIN_REFUSED", Message: err.Error(), Err: err}
	}
	d.report.addStone(st.GetStone(), fields[piece.GetPiece().GetFieldId()], kept[id], chain.GetLinks())
	return nil
}

// keptPrices are what jewellers paid and didn't get back, by stone.
func (d *demo) keptPrices() (map[string]int64, error) {
	kept := map[string]int64{}
	for _, jeweller := range []string{demoJeweller, demoSecond} {
		a, err := d.actors[jeweller].jeweller().ListOrders(d.ctx, &jewellerv1.ListOrdersRequest{})
		if err != nil {
			return nil, err
		}
		for _, o := range a.GetOrders() {
			for _, l := range o.GetLines() {
				minor, err := amount.Minor(l.GetPaid())
				if err != nil {
					return nil, err
				}
				kept[l.GetStoneId()] += minor
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
	a, err := d.actors[demoDesk].node().VerifyAt(d.ctx, &coopv1.VerifyAtRequest{})
	if err != nil {
		return err
	}
	d.report.Log = reportLog{a.GetPosition(), hex.EncodeToString(a.GetRoot())}
	d.tell("The log holds %d records; its root is %s. Anyone with the log can compute every share again.", a.GetPosition(), d.report.Log.Root)
	return nil
}
