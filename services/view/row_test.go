package view

import (
	"bytes"
	"errors"
	"math"
	"testing"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/order"
)

// decoders read a row and write what they read again.
var decoders = map[string]func([]byte) ([]byte, error){
	"piece's balance": func(b []byte) ([]byte, error) { v, err := readPieceBalance(b); return v.row(), err },
	"totals":          func(b []byte) ([]byte, error) { v, err := readTotals(b); return v.row(), err },
	"sold order":      func(b []byte) ([]byte, error) { v, err := readOrder("o", b, nil); return soldRow(v), err },
	"balance":         func(b []byte) ([]byte, error) { v, err := readEarned(b); return row{}.int(v), err },
	"co-op's account": func(b []byte) ([]byte, error) {
		v, err := readCoOpAccount("AUD", b)
		return row{}.int(v.Receipts).int(v.Levies).int(v.Costs).int(v.Back), err
	},
	"member": func(b []byte) ([]byte, error) {
		m, err := readMember("m", b)
		r := row{}.text(m.TradingName).count(len(m.Roles))
		for _, role := range m.Roles {
			r = r.num(uint64(role))
		}
		return r, err
	},
	"paid order": func(b []byte) ([]byte, error) {
		v, err := readOrder("o", soldRow(order.State{Currency: "AUD", Lines: make([]order.Line, 2)}), b)
		return paidRow(v), err
	},
	"pieces": func(b []byte) ([]byte, error) {
		pieces, err := readPieces(b)
		r := row{}.count(len(pieces))
		for _, p := range pieces {
			r = r.text(p)
		}
		return r, err
	},
	"facts": func(b []byte) ([]byte, error) {
		v, err := readFacts(b)
		return v.row(), err
	},
	"on sale": func(b []byte) ([]byte, error) {
		v, err := readOnSale(b)
		return v.row(), err
	},
	"goods": func(b []byte) ([]byte, error) {
		v, err := readGoods(b)
		return v.row(), err
	},
	"deal": func(b []byte) ([]byte, error) { _, err := readDeal("p", b); return b, err },
}

// A row is read one way only: whatever is accepted is what would have been written.
func FuzzRows(f *testing.F) {
	f.Add(pieceBalance{bought: 5, losses: []Loss{{1, 2}}, parts: []partMass{{"1A", 3, 1}}}.row())
	f.Add(totals{parcel: 7, costs: []cost{{"freight", 3850}}}.row())
	f.Add(soldRow(order.State{Currency: "AUD", Lines: []order.Line{{StoneID: "s", ParcelID: "p", Price: 5}}}))
	f.Add([]byte(row{}.text("a").text("b").blob(nil)))
	f.Add([]byte(row{}.int(math.MinInt64).int(math.MaxInt64).num(0)))
	f.Add([]byte{0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0x7f})
	f.Fuzz(func(t *testing.T, value []byte) {
		if value == nil {
			return
		}
		for name, decode := range decoders {
			again, err := decode(value)
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
