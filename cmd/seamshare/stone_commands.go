package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strconv"

	"github.com/spf13/cobra"
	gmoney "google.golang.org/genproto/googleapis/type/money"

	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
)

func (s *session) stoneCommand() *cobra.Command {
	return group("stone", "Finished stones: finish, check, sell, return, trace",
		s.stoneFinishCommand(), s.stoneCheckCommand(), s.stoneConfirmCommand(), s.stoneRegradeCommand(), s.stoneRecutCommand(),
		s.stoneSellCommand(), s.stoneOffSaleCommand(), s.stoneListCommand(), s.stoneShowCommand(), s.stoneReturnCommand(), s.stoneChainCommand())
}

// finished are the flags of stone finish.
type finished struct {
	label, class, remarks string
	mass, scale           measure.Mass
	size                  *typev1.Size
	outline               typev1.Outline
	treatment             typev1.Treatment
	hydrophane            typev1.Hydrophane
	composite             typev1.Composite
	grade                 typev1.Grade
	done                  stepDone
}

func (s *session) stoneFinishCommand() *cobra.Command {
	var d finished
	c := &cobra.Command{
		Use:   "finish PIECE PART --label NAME --mass MASS --size SIZE …",
		Short: "Make a stone of a part (cutter)",
		Long: `Makes a stone of a part. What the part weighed more was ground off. Treatment,
whether it takes up water (hydrophane) and whether it is assembled (composite) are
always answered. The grade is what you see; leave out what you didn't judge. Before
it is sold it is checked (seamshare stone check).

` + restLine + `
` + safetyLine,
		Example: `  seamshare stone finish PIECE 1CP --label 1 --mass "3.04 ct" \
    --size "12x9x3.0 mm" --outline oval --treatment none-known \
    --hydrophane no --composite none --pattern broad-flash \
    --colours "green and blue"`,
		Args: exactly("PIECE", "PART"),
		RunE: func(c *cobra.Command, args []string) error {
			a, err := command(c.Context(), s, func(q call) (*cutterv1.FinishStoneResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).FinishStone(q.ctx, &cutterv1.FinishStoneRequest{
					RequestId: q.requestID, PieceId: args[0], Part: args[1], Label: d.label,
					Weighing: weighing(d.mass, d.scale), Size: d.size, Outline: d.outline,
					Treatment: d.treatment, Hydrophane: d.hydrophane, Composite: d.composite,
					Grade: &d.grade, Class: d.class, Remarks: d.remarks,
					Minutes: d.done.minutes, DoneAt: d.done.at, WhyEarly: d.done.whyEarly,
				})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error { return printStone(w, a.GetStone()) })
		},
	}
	f := c.Flags()
	f.StringVar(&d.label, "label", "", "what you call it")
	massFlag(c, &d.mass, "mass", "its mass, such as \"3.04 ct\" or \"0.608 g\"")
	scaleFlag(c, &d.scale, "0.01 ct")
	sizeFlag(c, &d.size, "size", "length, width and depth, such as \"12x9x3.0 mm\"")
	wordFlag(c, &d.outline, "outline", "its outline")
	wordFlag(c, &d.treatment, "treatment", "what was done to it")
	wordFlag(c, &d.hydrophane, "hydrophane", "whether it takes up water")
	wordFlag(c, &d.composite, "composite", "whether it is assembled")
	gradeFlags(c, &d.grade, &d.class)
	d.done.flags(c, "finished")
	f.StringVar(&d.remarks, "remarks", "", "what else is to be said")
	need(c, "label", "mass", "size", "outline", "treatment", "hydrophane", "composite")
	return c
}

func (s *session) stoneSellCommand() *cobra.Command {
	var price *gmoney.Money
	var etag string
	c := &cobra.Command{
		Use:   "sell STONE --price \"420.00 AUD\"",
		Short: "Put a checked stone on sale, or ask another price (cutter)",
		Args:  exactly("STONE"),
		RunE: func(c *cobra.Command, args []string) error {
			a, err := command(c.Context(), s, func(q call) (*cutterv1.PutStoneOnSaleResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).PutStoneOnSale(q.ctx, &cutterv1.PutStoneOnSaleRequest{RequestId: q.requestID, StoneId: args[0], Price: price, Etag: etag})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error { return printStone(w, a.GetStone()) })
		},
	}
	moneyFlag(c, &price, "price", "the price you ask, without tax")
	etagFlag(c, &etag, "stone")
	need(c, "price")
	return c
}

func (s *session) stoneListCommand() *cobra.Command {
	c := &cobra.Command{Use: "list", Short: "List your stones, oldest first (cutter)", Args: exactly()}
	p := pageFlags(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		a, err := query(c.Context(), s, func(q call) (*cutterv1.ListStonesResponse, error) {
			return cutterv1.NewCutterServiceClient(q.conn).ListStones(q.ctx, &cutterv1.ListStonesRequest{PageSize: p.rows, PageToken: p.token})
		})
		if err != nil {
			return err
		}
		return s.answer(a, func(w io.Writer) error { return printStones(w, a.GetStones(), a.GetNextPageToken()) })
	}
	return c
}

func (s *session) stoneShowCommand() *cobra.Command {
	c := &cobra.Command{Use: "show STONE", Short: "Look at a stone: your own as cutter; on sale or bought as jeweller", Args: exactly("STONE")}
	var as typev1.Role
	asFlag(c, &as)
	c.RunE = func(c *cobra.Command, args []string) error {
		a, err := query(c.Context(), s, func(q call) (*cutterv1.GetStoneResponse, error) {
			role, err := s.role(q, as)
			if err != nil {
				return nil, err
			}
			if role == typev1.Role_ROLE_JEWELLER {
				a, err := jewellerv1.NewJewellerServiceClient(q.conn).GetStone(q.ctx, &jewellerv1.GetStoneRequest{StoneId: args[0]})
				return &cutterv1.GetStoneResponse{Stone: a.GetStone(), Position: a.GetPosition()}, err
			}
			return cutterv1.NewCutterServiceClient(q.conn).GetStone(q.ctx, &cutterv1.GetStoneRequest{StoneId: args[0]})
		})
		if err != nil {
			return err
		}
		return s.answer(a, func(w io.Writer) error { return printStone(w, a.GetStone()) })
	}
	return c
}

func (s *session) stoneReturnCommand() *cobra.Command {
	var mass, scale measure.Mass
	var size *typev1.Size
	var why string
	c := &cobra.Command{
		Use:   "return STONE --mass MASS --size SIZE --why TEXT",
		Short: "Take a sold stone back, measured again (cutter)",
		Long: `Takes a sold stone back into stock. It is weighed and measured again, so that a
swapped or chipped stone shows. The money is another matter: the bookkeeper's
(seamshare refund).`,
		Args: exactly("STONE"),
		RunE: func(c *cobra.Command, args []string) error {
			a, err := command(c.Context(), s, func(q call) (*cutterv1.AcceptReturnResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).AcceptReturn(q.ctx, &cutterv1.AcceptReturnRequest{
					RequestId: q.requestID, StoneId: args[0], Weighing: weighing(mass, scale), Size: size, Why: why,
				})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error { return printStone(w, a.GetStone()) })
		},
	}
	massFlag(c, &mass, "mass", "its mass as it came back")
	scaleFlag(c, &scale, "0.01 ct")
	sizeFlag(c, &size, "size", "its size as it came back, such as \"14x9x2.3 mm\"")
	c.Flags().StringVar(&why, "why", "", "why it came back")
	need(c, "mass", "size", "why")
	return c
}

func (s *session) stoneChainCommand() *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:   "chain STONE [--out FILE]",
		Short: "Trace a stone back to its field, and keep the proof as a file",
		Long: `Shows the records that a stone came by, from its field to you. With --out the proof
is written to a file that anyone can check without a server: seamshare verify
--chain FILE --key KEY. Compare the key with the one your co-op publishes.

` + originLine,
		Args: exactly("STONE"),
		RunE: func(c *cobra.Command, args []string) error {
			a, err := query(c.Context(), s, func(q call) (*coopv1.GetStoneChainResponse, error) {
				return coopv1.NewCoopServiceClient(q.conn).GetStoneChain(q.ctx, &coopv1.GetStoneChainRequest{StoneId: args[0]})
			})
			if err != nil {
				return err
			}
			if out != "" {
				if err := writeNewFile(out, a.GetFile()); err != nil {
					return err
				}
			}
			return s.answer(a, func(w io.Writer) error { return printChain(w, a, out) })
		},
	}
	c.Flags().StringVar(&out, "out", "", "write the proof to this new `file`")
	return c
}

// originLine is said wherever origin is shown.
const originLine = `The log shows that records were not altered; that this stone is that stone rests
on measures, photos and honest trays.
`

// chainAnswer is an answer with a chain.
type chainAnswer interface {
	GetLinks() []*coopv1.ChainLink
	GetVerifierKey() string
}

func printChain(w io.Writer, a chainAnswer, out string) error {
	if err := printLinks(w, a.GetLinks()); err != nil {
		return err
	}
	say(w, "")
	say(w, "%s", originLine)
	say(w, "It checks with the key %s", plain(a.GetVerifierKey()))
	if out != "" {
		say(w, "The proof is in %s.", out)
	}
	return nil
}

// printLinks shows a chain's records in words.
func printLinks(w io.Writer, links []*coopv1.ChainLink) error {
	t := table.New(right("record"), wrapped("what it says"))
	for _, l := range links {
		t.Row(strconv.FormatUint(l.GetPosition(), 10), l.GetWhat())
	}
	_, err := t.WriteTo(w)
	return err
}

// writeNewFile never writes over a file, and leaves none that is half written.
func writeNewFile(path string, data []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return wrongUsage("--out", "choose another name", "%s is there already, and nothing is written over", path)
	}
	if err != nil {
		return fmt.Errorf("couldn't write %s: %w", path, err)
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return errors.Join(fmt.Errorf("couldn't write %s: %w", path, err), os.Remove(path))
	}
	return nil
}
