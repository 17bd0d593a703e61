package main

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	"seamshare.example/services/domain/measure"
)

func (s *session) custodyCommand() *cobra.Command {
	return group("custody", "Who holds what where, and stock counts", s.custodyMoveCommand(), s.custodyCountCommand(), s.custodyListCommand())
}

func printCustody(w io.Writer, c *coopv1.Custody) {
	sayLong(w, "%s %s", c.GetThing(), plain(c.GetLabel()))
	place := ""
	if c.GetPlace() != "" {
		place = ", " + plain(c.GetPlace())
	}
	sayLong(w, "  with member %s%s", or(c.GetHolderId(), "not said"), place)
}

func (s *session) custodyMoveCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "move THING MEMBER PLACE",
		Short:   "Record who holds a thing now, and where (stock keeper)",
		Long:    "Records who holds a thing now, and where: a safe, a tray, a bench. THING is such as parcel/ID, piece/ID, stone/ID or lot/ID.",
		Example: `  seamshare custody move stone/ID MEMBER "safe, tray 3"`,
		Args:    exactly("THING", "MEMBER", "PLACE"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.MoveStockResponse, error) {
				return d.MoveStock(d.ctx, &coopv1.MoveStockRequest{RequestId: d.requestID, Thing: args[0], HolderId: args[1], Place: args[2]})
			}, func(w io.Writer, a *coopv1.MoveStockResponse) error {
				printCustody(w, a.GetCustody())
				return nil
			})
		},
	}
}

func (s *session) custodyListCommand() *cobra.Command {
	var place string
	c := deskList(s, "list", "List who holds what where (stock keeper, auditor)", func(d desk, p *page) (*coopv1.ListCustodyResponse, error) {
		return d.ListCustody(d.ctx, &coopv1.ListCustodyRequest{PageSize: p.rows, PageToken: p.token, Place: place})
	}, func(w io.Writer, a *coopv1.ListCustodyResponse) error {
		if len(a.GetCustody()) == 0 {
			say(w, "Nothing is there.")
		}
		for _, c := range a.GetCustody() {
			printCustody(w, c)
		}
		return nil
	})
	c.Flags().StringVar(&place, "place", "", "only what is there, the place as it was recorded")
	return c
}

// maxCountList is far more than 400 things need.
const maxCountList = 64 << 10

func (s *session) custodyCountCommand() *cobra.Command {
	var from, note string
	var division measure.Mass
	c := &cobra.Command{
		Use:   "count PLACE [THING[=MASS]]…",
		Short: "Record what was found at a place (stock keeper)",
		Long: `Records what was found at a place, and shows what is missing, what belongs elsewhere
and what weighs otherwise than the books say; each becomes an exception.

A thing is such as stone/ID, and with its mass stone/ID=3.04ct. A part of a piece is
piece/ID:1A=9.24g, nine of a counted lot are lot/ID:9=22.58g; what is ordered of a
lot is put aside and not counted. --from reads them from a file, one a line; - is
what you type or pipe in. Without any, the place was empty.`,
		Example: "  seamshare custody count \"safe, tray 3\" stone/ID=3.04ct stone/OTHER\n  seamshare custody count \"safe, tray 3\" --from counted.txt --note \"year's end\"",
		Args: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				return exactly("PLACE")(c, args)
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			found, err := s.countedThings(args[1:], from, division)
			if err != nil {
				return err
			}
			return deskCommand(c, s, func(d desk) (*coopv1.CountStockResponse, error) {
				return d.CountStock(d.ctx, &coopv1.CountStockRequest{RequestId: d.requestID, Place: args[0], Found: found, Note: note})
			}, func(w io.Writer, a *coopv1.CountStockResponse) error {
				printCount(w, a.GetCount())
				return nil
			})
		},
	}
	c.Flags().StringVar(&from, "from", "", "the `file` with what was found, one thing a line")
	c.Flags().StringVar(&note, "note", "", "what you say of it")
	scaleFlag(c, &division, "0.001 g")
	return c
}

func (s *session) countedThings(typed []string, from string, division measure.Mass) (found []*coopv1.CountedThing, err error) {
	for _, one := range typed {
		thing, err := parseCounted(one, division)
		if err != nil {
			return nil, wrongInput("THING", "", "%v", err)
		}
		found = append(found, thing)
	}
	if from == "" {
		return found, nil
	}
	data, err := s.readInput(from, maxCountList)
	if err != nil {
		return nil, err
	}
	lines := bufio.NewScanner(bytes.NewReader(data))
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line == "" {
			continue
		}
		thing, err := parseCounted(line, division)
		if err != nil {
			return nil, wrongInput(from, "", "line %d: %v", n, err)
		}
		found = append(found, thing)
	}
	return found, lines.Err()
}

// parseCounted reads "stone/ID", "stone/ID=3.04ct", "piece/ID:1A=9.24g" or "lot/ID:9=22.58g".
func parseCounted(typed string, division measure.Mass) (*coopv1.CountedThing, error) {
	thing, mass, weighed := strings.Cut(typed, "=")
	thing, part, _ := strings.Cut(thing, ":")
	out := &coopv1.CountedThing{Thing: strings.TrimSpace(thing), Part: strings.TrimSpace(part)}
	if kind, id, ok := strings.Cut(out.GetThing(), "/"); !ok || kind == "" || id == "" {
		return nil, fmt.Errorf("%q: write the kind and the id, such as stone/ID or stone/ID=3.04ct", typed)
	}
	if strings.HasPrefix(out.GetThing(), "lot/") && out.GetPart() != "" {
		n, err := strconv.ParseUint(out.GetPart(), 10, 32)
		if err != nil || n == 0 || !weighed {
			return nil, fmt.Errorf("%q: behind a lot stand how many there are and what they weigh, such as lot/ID:9=22.58g", typed)
		}
		out.Part, out.Count = "", uint32(n)
	}
	if !weighed {
		return out, nil
	}
	m, err := parseMass(strings.TrimSpace(mass))
	if err != nil {
		return nil, err
	}
	out.Weighing = weighing(m, division)
	return out, nil
}

func printCount(w io.Writer, c *coopv1.StockCount) {
	sayLong(w, "Count %s at %s", c.GetId(), plain(c.GetPlace()))
	for _, thing := range c.GetMissing() {
		sayLong(w, "  missing: %s", thing)
	}
	for _, thing := range c.GetStrange() {
		sayLong(w, "  belongs elsewhere: %s", thing)
	}
	for _, d := range c.GetDifferences() {
		if d.GetExpectedCount() != d.GetFoundCount() {
			sayLong(w, "  counts otherwise: %s, %d in the books, %d found", d.GetThing(), d.GetExpectedCount(), d.GetFoundCount())
		}
		if d.GetExpectedUg() == d.GetFoundUg() {
			continue
		}
		sayLong(w, "  weighs otherwise: %s, %s in the books, %s found, %s", d.GetThing(), both(d.GetExpectedUg()), both(d.GetFoundUg()), signed(d.GetFoundUg()-d.GetExpectedUg()))
	}
	if len(c.GetMissing())+len(c.GetStrange())+len(c.GetDifferences()) == 0 {
		say(w, "  all is there, and weighs what the books say")
	}
}
