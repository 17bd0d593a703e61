package main

import (
	"io"

	"github.com/spf13/cobra"
	gmoney "google.golang.org/genproto/googleapis/type/money"

	"seamshare.example/cmd/seamshare/internal/piecelist"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
)

// ownRoughLine stands where a cutter may be on either side.
const ownRoughLine = `A cutter who lists rough of their own (seamshare rough list) is its seller: --as miner.
`

func (s *session) parcelPiecesCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "pieces PARCEL",
		Short: "Look at a parcel's pieces as they were listed",
		Long: `Shows the pieces of a parcel as its seller listed them: mass, dimensions, kind, what is
seen, and the field or "field not shown", which stays so. A group shows how many
stones lie in it and their range of sizes. What a cutter has made of the pieces since
shows seamshare piece list.

` + ownRoughLine,
		Example: `  seamshare parcel pieces PARCEL`,
		Args:    exactly("PARCEL"),
	}
	p := pageFlags(c)
	var as typev1.Role
	asFlag(c, &as)
	c.RunE = func(c *cobra.Command, args []string) error {
		fields := map[string]string{}
		return look(c, s, func(q call) (*minerv1.ListPiecesResponse, error) {
			role, err := s.role(q, as)
			if err != nil {
				return nil, err
			}
			if fields, err = fieldNames(q); err != nil {
				return nil, err
			}
			if role == typev1.Role_ROLE_MINER {
				return minerv1.NewMinerServiceClient(q.conn).ListPieces(q.ctx, &minerv1.ListPiecesRequest{ParcelId: args[0], PageSize: p.rows, PageToken: p.token})
			}
			a, err := cutterv1.NewCutterServiceClient(q.conn).ListPieces(q.ctx, &cutterv1.ListPiecesRequest{ParcelId: args[0], PageSize: p.rows, PageToken: p.token})
			return &minerv1.ListPiecesResponse{Pieces: a.GetPieces(), NextPageToken: a.GetNextPageToken(), Position: a.GetPosition()}, err
		}, func(w io.Writer, a *minerv1.ListPiecesResponse) error {
			printListed(w, a.GetPieces(), fields, a.GetNextPageToken())
			return nil
		})
	}
	return c
}

// fieldNames gives the fields' names by their ids.
func fieldNames(q call) (map[string]string, error) {
	names := make(map[string]string)
	for token := ""; ; {
		a, err := coopv1.NewCoopServiceClient(q.conn).ListFields(q.ctx, &coopv1.ListFieldsRequest{PageSize: 200, PageToken: token})
		if err != nil {
			return nil, err
		}
		for _, f := range a.GetFields() {
			names[f.GetId()] = f.GetName()
		}
		if token = a.GetNextPageToken(); token == "" {
			return names, nil
		}
	}
}

// proposal are the flags of a price that is asked anew.
type proposal struct {
	price        *gmoney.Money
	agreement    string
	openAtAsking bool
}

func (p *proposal) flags(c *cobra.Command) {
	moneyFlag(c, &p.price, "price", "what you ask, under the agreement proposed before")
	c.Flags().StringVar(&p.agreement, "agreement", "", "the `file` with another agreement, price included")
	c.Flags().BoolVar(&p.openAtAsking, "open-at-asking", false, "the first cutter to pay the asking price gets it; left out, it stays as it was")
}

// stillOpen is whether the parcel may be had at the asking price: as said, or else as it was.
func (p *proposal) stillOpen(c *cobra.Command, q call, parcelID string) (bool, error) {
	if c.Flags().Changed("open-at-asking") {
		return p.openAtAsking, nil
	}
	a, err := minerv1.NewMinerServiceClient(q.conn).GetParcel(q.ctx, &minerv1.GetParcelRequest{ParcelId: parcelID})
	if err != nil {
		return false, asFailure(err) // nothing was sent yet that changes anything
	}
	return a.GetParcel().GetOpenAtAsking(), nil
}

func (s *session) parcelRepriceCommand() *cobra.Command {
	var p proposal
	var etag string
	c := &cobra.Command{
		Use:   "reprice PARCEL (--price AMOUNT | --agreement FILE)",
		Short: "Ask another price for a listed parcel (its seller)",
		Long: `Asks another price. With --price the agreement stays as you proposed it; with
--agreement you propose another, price included. Offers that are open stand as they
were made.`,
		Example: `  seamshare parcel reprice PARCEL --price "1480.00 AUD"`,
		Args:    exactly("PARCEL"),
		RunE: func(c *cobra.Command, args []string) error {
			agreement, err := s.offered(p.price, p.agreement)
			if err != nil {
				return err
			}
			return change(c, s, func(q call) (*minerv1.RepriceParcelResponse, error) {
				open, err := p.stillOpen(c, q, args[0])
				if err != nil {
					return nil, err
				}
				return minerv1.NewMinerServiceClient(q.conn).RepriceParcel(q.ctx, &minerv1.RepriceParcelRequest{
					RequestId: q.requestID, ParcelId: args[0], Agreement: agreement, OpenAtAsking: open, Etag: etag,
				})
			}, func(w io.Writer, a *minerv1.RepriceParcelResponse) error { return printParcel(w, a.GetParcel()) })
		},
	}
	p.flags(c)
	etagFlag(c, &etag, "parcel")
	return c
}

func (s *session) parcelWithdrawCommand() *cobra.Command {
	var why, etag string
	c := &cobra.Command{
		Use:     "withdraw PARCEL",
		Short:   "Take a parcel off the market, and close its offers (its seller)",
		Example: `  seamshare parcel withdraw PARCEL --why "to be split first"`,
		Args:    exactly("PARCEL"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*minerv1.WithdrawParcelResponse, error) {
				return minerv1.NewMinerServiceClient(q.conn).WithdrawParcel(q.ctx, &minerv1.WithdrawParcelRequest{RequestId: q.requestID, ParcelId: args[0], Why: why, Etag: etag})
			}, func(w io.Writer, a *minerv1.WithdrawParcelResponse) error { return printParcel(w, a.GetParcel()) })
		},
	}
	c.Flags().StringVar(&why, "why", "", "why, for your own book")
	etagFlag(c, &etag, "parcel")
	return c
}

func (s *session) parcelRelistCommand() *cobra.Command {
	var p proposal
	c := &cobra.Command{
		Use:   "relist PARCEL [--price AMOUNT | --agreement FILE]",
		Short: "Put a parcel on the market again (its seller)",
		Long: `Puts a parcel on the market again that you withdrew, or whose deal fell through and
whose rough is back. Without --price or --agreement it is proposed as before.`,
		Example: `  seamshare parcel relist PARCEL --price "1400.00 AUD" --open-at-asking`,
		Args:    exactly("PARCEL"),
		RunE: func(c *cobra.Command, args []string) error {
			var agreement *typev1.Agreement
			if p.price != nil || p.agreement != "" {
				var err error
				if agreement, err = s.offered(p.price, p.agreement); err != nil {
					return err
				}
			}
			return change(c, s, func(q call) (*minerv1.RelistParcelResponse, error) {
				open, err := p.stillOpen(c, q, args[0])
				if err != nil {
					return nil, err
				}
				return minerv1.NewMinerServiceClient(q.conn).RelistParcel(q.ctx, &minerv1.RelistParcelRequest{
					RequestId: q.requestID, ParcelId: args[0], Agreement: agreement, OpenAtAsking: open,
				})
			}, func(w io.Writer, a *minerv1.RelistParcelResponse) error { return printParcel(w, a.GetParcel()) })
		},
	}
	p.flags(c)
	return c
}

func (s *session) parcelOpenCommand() *cobra.Command {
	var from string
	var left, scale measure.Mass
	var allowBOM bool
	var as typev1.Role
	c := &cobra.Command{
		Use:   "open PARCEL PIECE --from FILE.csv [--left MASS]",
		Short: "Take stones out of a group of a parcel (who has the rough)",
		Long: `Takes stones out of a group; each becomes a piece of its own, of the group's kind and
field. The CSV file names them (columns label, mass_g, length_mm, width_mm, depth_mm,
seen; seamshare help pieces), and --left is what the rest of the group weighs; leave
it out where nothing is left. Counts and masses must balance.

` + ownRoughLine,
		Example: `  seamshare parcel open PARCEL PIECE --from taken.csv --left "20.10 g"`,
		Args:    exactly("PARCEL", "PIECE"),
		RunE: func(c *cobra.Command, args []string) error {
			pieces, err := s.readPieces(from, piecelist.Options{Form: piecelist.TakenOut, ByteOrderMark: allowBOM})
			if err != nil {
				return err
			}
			r := &minerv1.OpenLineRequest{ParcelId: args[0], PieceId: args[1]}
			for _, p := range pieces {
				r.Pieces = append(r.Pieces, &typev1.TakenOut{Label: p.Label, Weighing: weighing(p.Mass, scale), Size: sizeOf(p), Seen: p.Seen})
			}
			if c.Flags().Changed("left") {
				r.Left = weighing(left, scale)
			}
			return change(c, s, func(q call) (*minerv1.OpenLineResponse, error) { return s.openLine(q, as, r) },
				func(w io.Writer, a *minerv1.OpenLineResponse) error { return printParcel(w, a.GetParcel()) })
		},
	}
	c.Flags().StringVar(&from, "from", "", "the CSV `file` with the stones taken out; - reads standard input")
	massFlag(c, &left, "left", "what is left in the group, weighed together")
	scaleFlag(c, &scale, "0.01 g")
	c.Flags().BoolVar(&allowBOM, "allow-bom", false, "read a CSV file that begins with a byte-order mark")
	asFlag(c, &as)
	need(c, "from")
	return c
}

// openLine asks the service of the side that the caller is on. Both answer with the same fields.
func (s *session) openLine(q call, as typev1.Role, r *minerv1.OpenLineRequest) (*minerv1.OpenLineResponse, error) {
	role, err := s.role(q, as)
	if err != nil {
		return nil, asFailure(err) // nothing was sent yet that changes anything
	}
	if role == typev1.Role_ROLE_MINER {
		r.RequestId = q.requestID
		return minerv1.NewMinerServiceClient(q.conn).OpenLine(q.ctx, r)
	}
	a, err := cutterv1.NewCutterServiceClient(q.conn).OpenLine(q.ctx, &cutterv1.OpenLineRequest{
		RequestId: q.requestID, ParcelId: r.GetParcelId(), PieceId: r.GetPieceId(), Pieces: r.GetPieces(), Left: r.GetLeft(),
	})
	return &minerv1.OpenLineResponse{Parcel: a.GetParcel(), Position: a.GetPosition()}, err
}

func (s *session) parcelCallOffCommand() *cobra.Command {
	var why string
	c := &cobra.Command{
		Use:   "call-off PARCEL (unpaid | misdescribed)",
		Short: "Let a deal fall through, before the first cut",
		Long: `Lets a deal fall through, before anything was cut: "unpaid" is its seller's to say
when the purchase money is overdue; "misdescribed" is its buyer's when the rough is not
what the listing says, and --why tells what. Rough that was handed over goes back
(seamshare parcel give-back, take-back).`,
		Example: `  seamshare parcel call-off PARCEL unpaid
  seamshare parcel call-off PARCEL misdescribed --why "piece 2 is glued"`,
		Args: exactly("PARCEL", "REASON"),
		RunE: func(c *cobra.Command, args []string) error {
			show := func(w io.Writer, a *minerv1.CallOffUnpaidDealResponse) error { return printParcel(w, a.GetParcel()) }
			switch args[1] {
			case "unpaid":
				return change(c, s, func(q call) (*minerv1.CallOffUnpaidDealResponse, error) {
					return minerv1.NewMinerServiceClient(q.conn).CallOffUnpaidDeal(q.ctx, &minerv1.CallOffUnpaidDealRequest{RequestId: q.requestID, ParcelId: args[0], Why: why})
				}, show)
			case "misdescribed":
				if why == "" {
					return wrongUsage("--why", "say what was found", "is needed: what is not as the listing says is always told")
				}
				return change(c, s, func(q call) (*minerv1.CallOffUnpaidDealResponse, error) {
					a, err := cutterv1.NewCutterServiceClient(q.conn).CallOffMisdescribedDeal(q.ctx, &cutterv1.CallOffMisdescribedDealRequest{RequestId: q.requestID, ParcelId: args[0], Why: why})
					return &minerv1.CallOffUnpaidDealResponse{Parcel: a.GetParcel(), Position: a.GetPosition()}, err
				}, show)
			}
			return wrongInput("REASON", "", "%q: choose one of unpaid, misdescribed", args[1])
		},
	}
	c.Flags().StringVar(&why, "why", "", "what is to be said about it")
	return c
}

func (s *session) parcelGiveBackCommand() *cobra.Command {
	var h handover
	c := &cobra.Command{
		Use:   "give-back PARCEL --count N --total MASS",
		Short: "Give rough back whose deal fell through (its buyer)",
		Long: `Records the buyer's count and weighing of rough that goes back after its deal fell
through. It is back when the seller has recorded theirs too (seamshare parcel
take-back).`,
		Example: `  seamshare parcel give-back PARCEL --count 10 --total "65.05 g"`,
		Args:    exactly("PARCEL"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.GiveBackParcelResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).GiveBackParcel(q.ctx, &cutterv1.GiveBackParcelRequest{
					RequestId: q.requestID, ParcelId: args[0], Count: h.count, Total: weighing(h.total, h.scale), Note: h.note,
				})
			}, func(w io.Writer, a *cutterv1.GiveBackParcelResponse) error { return printGivenBack(w, a.GetParcel()) })
		},
	}
	h.flags(c)
	return c
}

func (s *session) parcelTakeBackCommand() *cobra.Command {
	var h handover
	c := &cobra.Command{
		Use:   "take-back PARCEL --count N --total MASS",
		Short: "Take rough back whose deal fell through (its seller)",
		Long: `Records the seller's count and weighing of rough that comes back after its deal fell
through. It is back when the buyer has recorded theirs too (seamshare parcel
give-back).`,
		Example: `  seamshare parcel take-back PARCEL --count 10 --total "65.05 g"`,
		Args:    exactly("PARCEL"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*minerv1.TakeBackParcelResponse, error) {
				return minerv1.NewMinerServiceClient(q.conn).TakeBackParcel(q.ctx, &minerv1.TakeBackParcelRequest{
					RequestId: q.requestID, ParcelId: args[0], Count: h.count, Total: weighing(h.total, h.scale), Note: h.note,
				})
			}, func(w io.Writer, a *minerv1.TakeBackParcelResponse) error { return printGivenBack(w, a.GetParcel()) })
		},
	}
	h.flags(c)
	return c
}

func printGivenBack(w io.Writer, p *typev1.Parcel) error {
	if p.GetState() == typev1.ParcelState_PARCEL_STATE_COMING_BACK {
		sayLong(w, "Recorded. Parcel %s is back when the other side has counted and weighed it too.", plain(p.GetLabel()))
	} else {
		sayLong(w, "Parcel %s is back with its seller: both sides have counted and weighed it.", plain(p.GetLabel()))
	}
	printDifference(w, p.GetHandover())
	return nil
}

func (s *session) parcelCloseCommand() *cobra.Command {
	var etag string
	c := &cobra.Command{
		Use:   "close PARCEL",
		Short: "Say that a parcel is done with (its cutter)",
		Long: `Says that a parcel is done with: it is paid, nothing of it is in work, and every stone
and lot is sold and paid. What stands against it is said.`,
		Example: `  seamshare parcel close PARCEL`,
		Args:    exactly("PARCEL"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.CloseParcelResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).CloseParcel(q.ctx, &cutterv1.CloseParcelRequest{RequestId: q.requestID, ParcelId: args[0], Etag: etag})
			}, func(w io.Writer, a *cutterv1.CloseParcelResponse) error {
				say(w, "Parcel %s is closed: all of it is accounted for and paid.", plain(a.GetParcel().GetLabel()))
				return nil
			})
		},
	}
	etagFlag(c, &etag, "parcel")
	return c
}
