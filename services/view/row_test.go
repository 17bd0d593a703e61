package view

import (
	"bytes"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"math"
	"path/filepath"
	"strings"
	"testing"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/approval"
	"seamshare.example/services/domain/dispute"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/payout"
	"seamshare.example/services/domain/share"
)

// rewrites has every function that reads a row, by its name: what it reads it writes again.
var rewrites = map[string]func([]byte) ([]byte, error){
	"readText":        func(b []byte) ([]byte, error) { v, err := readText("v", "text", b); return row{}.text(v), err },
	"readInt":         func(b []byte) ([]byte, error) { v, err := readInt("v", "sum", b); return row{}.int(v), err },
	"readNum":         func(b []byte) ([]byte, error) { v, err := readNum("v", "place", b); return row{}.num(v), err },
	"readRecord":      func(b []byte) ([]byte, error) { tried, held, err := readRecord(b); return recordRow(tried, held), err },
	"readException":   func(b []byte) ([]byte, error) { v, err := readException("e", b); return exceptionRow(v), err },
	"readPartOf":      func(b []byte) ([]byte, error) { v, err := readPartOf(b); return v.row(), err },
	"readParties":     func(b []byte) ([]byte, error) { v, err := readParties(b); return v.row(), err },
	"readLeft":        func(b []byte) ([]byte, error) { left, asked, err := readLeft(b); return leftRow(left, asked), err },
	"readCoOp":        func(b []byte) ([]byte, error) { v, err := readCoOp(b); return v.row(), err },
	"readMember":      func(b []byte) ([]byte, error) { v, err := readMember("m", b); return v.row(), err },
	"readField":       func(b []byte) ([]byte, error) { v, err := readField(b); return v.row(), err },
	"readNamed":       func(b []byte) ([]byte, error) { id, name, err := readNamed(b); return namedRow(id, name), err },
	"readClaim":       func(b []byte) ([]byte, error) { v, err := readClaim("c", b); return v.row(), err },
	"readRun":         func(b []byte) ([]byte, error) { v, err := readRun("r", b); return runRow(v), err },
	"readDispute":     func(b []byte) ([]byte, error) { v, err := readDispute("d", b); return disputeRow(v), err },
	"readTaken":       func(b []byte) ([]byte, error) { v, err := readTaken(b); return v.row(), err },
	"readHold":        func(b []byte) ([]byte, error) { v, err := readHold(b); return v.row(), err },
	"readGoods":       func(b []byte) ([]byte, error) { v, err := readGoods(b); return v.row(), err },
	"readDeal":        func(b []byte) ([]byte, error) { v, err := readDeal("p", b); return v.row(), err },
	"readTotals":      func(b []byte) ([]byte, error) { v, err := readTotals(b); return v.row(), err },
	"readCoOpAccount": func(b []byte) ([]byte, error) { v, err := readCoOpAccount("AUD", b); return v.row(), err },
	"readMoved":       func(b []byte) ([]byte, error) { v, err := readMoved(b); return movedRow(v), err },
	"readSold":        func(b []byte) ([]byte, error) { v, err := readSold("o", b); return soldRow(v), err },
	"readPaid": func(b []byte) ([]byte, error) {
		two := make([]order.Line, 2)
		err := readPaid(two, b)
		return paidRow(order.State{Lines: two}), err
	},
	"readFacts":        func(b []byte) ([]byte, error) { v, err := readFacts(b); return v.row(), err },
	"readOnSale":       func(b []byte) ([]byte, error) { v, err := readOnSale(b); return v.row(), err },
	"readPieceBalance": func(b []byte) ([]byte, error) { v, err := readPieceBalance(b); return v.row(), err },
	"readPieces":       func(b []byte) ([]byte, error) { v, err := readPieces(b); return piecesRow(v), err },
}

// TestEveryReaderIsFuzzed: who calls read has a place in rewrites.
func TestEveryReaderIsFuzzed(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	readers := map[string]bool{}
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range file.Decls {
			ast.Inspect(d, func(n ast.Node) bool {
				if call, ok := n.(*ast.CallExpr); ok {
					if fn, ok := call.Fun.(*ast.Ident); ok && fn.Name == "read" {
						if f, ok := d.(*ast.FuncDecl); ok {
							readers[f.Name.Name] = true
						} else {
							t.Errorf("%s reads a row outside of any function", name)
						}
					}
				}
				return true
			})
		}
	}
	for name := range readers {
		if rewrites[name] == nil {
			t.Errorf("%s reads a row and isn't fuzzed: give it a writer beside it and both a place in rewrites", name)
		}
	}
	for name := range rewrites {
		if !readers[name] {
			t.Errorf("%s is fuzzed and reads no row", name)
		}
	}
}

// A row is read one way only: whatever is accepted is what would have been written.
func FuzzRows(f *testing.F) {
	f.Add(pieceBalance{bought: 5, losses: []Loss{{1, 2}}, parts: []partMass{{"1A", 3, 1}}}.row())
	f.Add(totals{parcel: 7, costs: []cost{{"freight", 3850}}}.row())
	f.Add(soldRow(order.State{Currency: "AUD", Lines: []order.Line{{StoneID: "s", ParcelID: "p", Price: 5}}}))
	f.Add([]byte(Deal{Seller: "m", Buyer: "c", Agreement: share.Agreement{
		Currency: "AUD", Parties: []share.Party{{ID: "miner", Role: "miner"}, {ID: "cutter", Role: "cutter"}}, Seller: "miner", Price: 9,
		SaleLevy: share.LevyRule{BasisPoints: 500, Cap: share.AtMost(7), BorneBy: "cutter"}, CostKinds: []string{"freight"}, Tiers: []share.Tier{
			share.Recoup{To: "cutter", Target: share.FixedAmount{Amount: 5}},
			share.Recoup{To: "miner", Target: share.PriceMultiple{Num: 3, Den: 2}, Label: "x"},
			share.Recoup{To: share.CoOp, Target: share.RecordedCosts{Kinds: []string{"freight"}}},
			share.Split{Ratios: []share.Ratio{{Party: "miner", Weight: 1}}},
		},
	}}.row()))
	f.Add([]byte(exceptionRow(Exception{Kind: MixUp, Thing: "piece/p", What: "w", Members: []string{"m"}, Note: "n", ClosedBy: "p"})))
	f.Add([]byte(disputeRow(dispute.State{Currency: "AUD", Against: "m", HeldMinor: 5, Parcels: []string{"p", "q"}})))
	f.Add(runRow(payout.State{Currency: "AUD", AsOf: 7, Stage: payout.Approved, Lines: []payout.Line{{ID: "l", Member: "m", Minor: 5, Held: 1, Stage: payout.Paid}}}))
	f.Add([]byte(movedRow([]Moved{{"miner", -5}})))
	f.Add([]byte(Member{TradingName: "M", Roles: []memberv1.Role{1, 2}}.row()))
	f.Add(goods{jeweller: "j", currency: "AUD", dueUs: 5, lines: []approval.Line{{StoneID: "s", Price: 5}}}.row())
	f.Add(facts{outline: 1, colours: "green", massUg: 5}.row())
	f.Add([]byte(row{}.text("a").text("b").text("")))
	f.Add([]byte(row{}.int(math.MinInt64).int(math.MaxInt64).num(0)))
	f.Add([]byte{0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0x7f})
	f.Fuzz(func(t *testing.T, value []byte) {
		if value == nil {
			return
		}
		for name, rewrite := range rewrites {
			again, err := rewrite(value)
			switch {
			case err != nil && !errors.Is(err, eventstore.ErrCorrupt):
				t.Errorf("%s: %v is not ErrCorrupt", name, err)
			case err == nil && !bytes.Equal(again, value):
				t.Errorf("%s: %x was read, %x would be written", name, value, again)
			}
		}
	})
}

func TestRowsRefuseWhatNobodyWrote(t *testing.T) {
	good := pieceBalance{bought: 5, parts: []partMass{{"1A", 3, 1}}}.row()
	for name, value := range map[string][]byte{
		"cut short":             good[:len(good)-1],
		"one byte more":         append(bytes.Clone(good), 0),
		"a length past the end": row{}.int(1).int(1).int(1).num(1).num(0).num(1).num(200),
		"a count past the end":  row{}.int(1).int(1).int(1).num(1).num(1 << 60),
		"a long way to write 1": append(bytes.Clone(good[:len(good)-1]), 0x81, 0x00),
		"empty":                 {},
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			if _, err := readPieceBalance(value); !errors.Is(err, eventstore.ErrCorrupt) {
				t.Errorf("got %v", err)
			}
		})
	}
}
