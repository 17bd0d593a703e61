package main

import (
	"context"
	"io"

	"github.com/spf13/cobra"
	gmoney "google.golang.org/genproto/googleapis/type/money"

	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
)

func (s *session) claimCommand() *cobra.Command {
	addClaim := &cobra.Command{
		Use:   "add FIELD NAME",
		Short: "Say that you work a claim on a field (miner)",
		Args:  exactly("FIELD", "NAME"),
		RunE: func(c *cobra.Command, args []string) error {
			a, err := command(c.Context(), s, func(q call) (*minerv1.RecordClaimResponse, error) {
				return minerv1.NewMinerServiceClient(q.conn).RecordClaim(q.ctx, &minerv1.RecordClaimRequest{RequestId: q.requestID, FieldId: args[0], Name: args[1]})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error {
				sayLong(w, "Recorded: claim %q, %s.", plain(a.GetClaim().GetName()), a.GetClaim().GetId())
				return nil
			})
		},
	}
	list := &cobra.Command{Use: "list", Short: "List your claims, oldest first (miner)", Args: exactly()}
	p := pageFlags(list)
	list.RunE = func(c *cobra.Command, _ []string) error {
		a, err := query(c.Context(), s, func(q call) (*minerv1.ListClaimsResponse, error) {
			return minerv1.NewMinerServiceClient(q.conn).ListClaims(q.ctx, &minerv1.ListClaimsRequest{PageSize: p.rows, PageToken: p.token})
		})
		if err != nil {
			return err
		}
		return s.answer(a, func(w io.Writer) error {
			t := table.New(text("claim"), wrapped("name"), text("field"), text("state"))
			for _, one := range a.GetClaims() {
				t.Row(one.GetId(), one.GetName(), one.GetFieldId(), word(one.GetState()))
			}
			_, err := t.WriteTo(w)
			more(w, a.GetNextPageToken())
			return err
		})
	}
	return group("claim", "Claims on fields", addClaim, list, s.claimCloseCommand())
}

func (s *session) claimCloseCommand() *cobra.Command {
	var why string
	c := &cobra.Command{
		Use:   "close CLAIM",
		Short: "Say that you work a claim no longer (miner)",
		Long: `Says that you work a claim no longer. What came from it keeps its origin; new pieces
can't name it.`,
		Example: `  seamshare claim close CLAIM --why "worked out"`,
		Args:    exactly("CLAIM"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*minerv1.CloseClaimResponse, error) {
				return minerv1.NewMinerServiceClient(q.conn).CloseClaim(q.ctx, &minerv1.CloseClaimRequest{RequestId: q.requestID, ClaimId: args[0], Why: why})
			}, func(w io.Writer, a *minerv1.CloseClaimResponse) error {
				say(w, "Claim %s is closed.", plain(a.GetClaim().GetName()))
				return nil
			})
		},
	}
	c.Flags().StringVar(&why, "why", "", "why, if that is to be said")
	return c
}

func (s *session) parcelCommand() *cobra.Command {
	return group("parcel", "Parcels of rough: put on the market, offer, take, hand over",
		s.parcelListCommand(), s.parcelMarketCommand(), s.parcelMineCommand(), s.parcelShowCommand(),
		s.parcelOfferCommand(), s.parcelOffersCommand(), s.parcelAcceptCommand(), s.parcelTakeCommand(),
		s.parcelHandoverCommand(), s.parcelReceiveCommand(),
		s.parcelPiecesCommand(), s.parcelRepriceCommand(), s.parcelWithdrawCommand(), s.parcelRelistCommand(), s.parcelOpenCommand(),
		s.parcelCallOffCommand(), s.parcelGiveBackCommand(), s.parcelTakeBackCommand(), s.parcelCloseCommand())
}

// side is whether the caller looks as a miner or as a cutter; other roles have no parcels of their own.
func (s *session) side(q call) (typev1.Role, error) {
	who, err := coopv1.NewAccessServiceClient(q.conn).WhoAmI(q.ctx, &coopv1.WhoAmIRequest{})
	if err != nil {
		return 0, err
	}
	return firstRole(who.GetRoles(), typev1.Role_ROLE_CUTTER, typev1.Role_ROLE_MINER, typev1.Role_ROLE_JEWELLER, typev1.Role_ROLE_BOOKKEEPER, typev1.Role_ROLE_APPROVER, typev1.Role_ROLE_AUDITOR), nil
}

func firstRole(have []typev1.Role, order ...typev1.Role) typev1.Role {
	for _, want := range order {
		for _, role := range have {
			if role == want {
				return role
			}
		}
	}
	return typev1.Role_ROLE_UNSPECIFIED
}

// asFlag lets a member with several roles say in which one they look.
func asFlag(c *cobra.Command, into *typev1.Role) {
	wordFlag(c, into, "as", "look as one of your roles, where you have several")
}

// role is the one of --as, or else the caller's own.
func (s *session) role(q call, as typev1.Role) (typev1.Role, error) {
	if as != typev1.Role_ROLE_UNSPECIFIED {
		return as, nil
	}
	return s.side(q)
}

func (s *session) parcelMarketCommand() *cobra.Command {
	c := &cobra.Command{Use: "market", Short: "Look at the parcels that can be bought now (cutter)", Args: exactly()}
	p := pageFlags(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		a, err := query(c.Context(), s, func(q call) (*cutterv1.ListMarketResponse, error) {
			return cutterv1.NewCutterServiceClient(q.conn).ListMarket(q.ctx, &cutterv1.ListMarketRequest{PageSize: p.rows, PageToken: p.token})
		})
		if err != nil {
			return err
		}
		return s.answer(a, func(w io.Writer) error { return printParcels(w, a.GetParcels(), a.GetNextPageToken()) })
	}
	return c
}

func (s *session) parcelMineCommand() *cobra.Command {
	c := &cobra.Command{Use: "mine", Short: "Look at your own parcels: listed as miner, or bought as cutter", Args: exactly()}
	p := pageFlags(c)
	var as typev1.Role
	asFlag(c, &as)
	c.RunE = func(c *cobra.Command, _ []string) error {
		// Both services answer with the same fields; the cutter's message carries either.
		a, err := query(c.Context(), s, func(q call) (*cutterv1.ListParcelsResponse, error) {
			role, err := s.role(q, as)
			if err != nil {
				return nil, err
			}
			if role == typev1.Role_ROLE_MINER {
				a, err := minerv1.NewMinerServiceClient(q.conn).ListParcels(q.ctx, &minerv1.ListParcelsRequest{PageSize: p.rows, PageToken: p.token})
				return &cutterv1.ListParcelsResponse{Parcels: a.GetParcels(), NextPageToken: a.GetNextPageToken(), Position: a.GetPosition()}, err
			}
			return cutterv1.NewCutterServiceClient(q.conn).ListParcels(q.ctx, &cutterv1.ListParcelsRequest{PageSize: p.rows, PageToken: p.token})
		})
		if err != nil {
			return err
		}
		return s.answer(a, func(w io.Writer) error { return printParcels(w, a.GetParcels(), a.GetNextPageToken()) })
	}
	return c
}

func (s *session) parcelShowCommand() *cobra.Command {
	c := &cobra.Command{Use: "show PARCEL", Short: "Look at one parcel: its pieces, its agreement", Args: exactly("PARCEL")}
	var as typev1.Role
	asFlag(c, &as)
	c.RunE = func(c *cobra.Command, args []string) error {
		a, err := query(c.Context(), s, func(q call) (*cutterv1.GetParcelResponse, error) {
			return s.parcel(q, as, args[0])
		})
		if err != nil {
			return err
		}
		return s.answer(a, func(w io.Writer) error { return printParcel(w, a.GetParcel()) })
	}
	return c
}

func (s *session) parcel(q call, as typev1.Role, id string) (*cutterv1.GetParcelResponse, error) {
	role, err := s.role(q, as)
	if err != nil {
		return nil, err
	}
	if role == typev1.Role_ROLE_MINER {
		a, err := minerv1.NewMinerServiceClient(q.conn).GetParcel(q.ctx, &minerv1.GetParcelRequest{ParcelId: id})
		return &cutterv1.GetParcelResponse{Parcel: a.GetParcel(), Position: a.GetPosition()}, err
	}
	return cutterv1.NewCutterServiceClient(q.conn).GetParcel(q.ctx, &cutterv1.GetParcelRequest{ParcelId: id})
}

func (s *session) parcelOfferCommand() *cobra.Command {
	var price *gmoney.Money
	var agreementFile, ends string
	c := &cobra.Command{
		Use:   "offer PARCEL (--price AMOUNT | --agreement FILE)",
		Short: "Offer for a whole parcel (cutter)",
		Long: `Offers for a whole parcel. With --price the offer takes the agreement that the
seller proposes, at your price. With --agreement it names an agreement of your own,
price included (seamshare help agreements).`,
		Args: exactly("PARCEL"),
		RunE: func(c *cobra.Command, args []string) error {
			agreement, err := s.offered(price, agreementFile)
			if err != nil {
				return err
			}
			a, err := command(c.Context(), s, func(q call) (*cutterv1.MakeOfferResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).MakeOffer(q.ctx, &cutterv1.MakeOfferRequest{RequestId: q.requestID, ParcelId: args[0], Agreement: agreement, EndsAt: ends})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error { return printOffers(w, []*typev1.Offer{a.GetOffer()}) })
		},
	}
	moneyFlag(c, &price, "price", "what you offer")
	c.Flags().StringVar(&agreementFile, "agreement", "", "the `file` with the agreement you offer")
	var err error
	if ends, err = parseEnds("7 days"); err != nil {
		panic(err) // our own text
	}
	c.Flags().Var(&parsed[string]{into: &ends, parse: parseEnds, again: parseEndsAgain, kind: "time", shown: "7 days"}, "for", "how long it stands: days, or a time")
	return c
}

// offered is the agreement of an offer. Without tiers of its own it takes those that the seller proposes.
func (s *session) offered(price *gmoney.Money, file string) (*typev1.Agreement, error) {
	if (price == nil) == (file == "") {
		return nil, wrongUsage("--price, --agreement", "give your price for the seller's agreement, or the file with your own", "exactly one of the two is needed")
	}
	if price != nil {
		return &typev1.Agreement{Price: price}, nil
	}
	return s.readAgreement(file)
}

func (s *session) parcelOffersCommand() *cobra.Command {
	c := &cobra.Command{Use: "offers PARCEL", Short: "Look at the offers: all as its seller, your own as cutter", Args: exactly("PARCEL")}
	var as typev1.Role
	asFlag(c, &as)
	c.RunE = func(c *cobra.Command, args []string) error {
		a, err := query(c.Context(), s, func(q call) (*cutterv1.ListMyOffersResponse, error) {
			role, err := s.role(q, as)
			if err != nil {
				return nil, err
			}
			if role == typev1.Role_ROLE_MINER {
				a, err := minerv1.NewMinerServiceClient(q.conn).ListOffers(q.ctx, &minerv1.ListOffersRequest{ParcelId: args[0]})
				return &cutterv1.ListMyOffersResponse{Offers: a.GetOffers(), Position: a.GetPosition()}, err
			}
			return cutterv1.NewCutterServiceClient(q.conn).ListMyOffers(q.ctx, &cutterv1.ListMyOffersRequest{ParcelId: args[0]})
		})
		if err != nil {
			return err
		}
		return s.answer(a, func(w io.Writer) error { return printOffers(w, a.GetOffers()) })
	}
	return c
}

func (s *session) parcelAcceptCommand() *cobra.Command {
	var etag string
	c := &cobra.Command{
		Use:   "accept PARCEL OFFER",
		Short: "Accept an offer: makes the deal and closes all others (miner)",
		Args:  exactly("PARCEL", "OFFER"),
		RunE: func(c *cobra.Command, args []string) error {
			a, err := command(c.Context(), s, func(q call) (*minerv1.AcceptOfferResponse, error) {
				return minerv1.NewMinerServiceClient(q.conn).AcceptOffer(q.ctx, &minerv1.AcceptOfferRequest{RequestId: q.requestID, ParcelId: args[0], OfferId: args[1], Etag: etag})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error { return printParcel(w, a.GetParcel()) })
		},
	}
	etagFlag(c, &etag, "parcel")
	return c
}

func etagFlag(c *cobra.Command, into *string, thing string) {
	c.Flags().StringVar(into, "etag", "", "only if the "+thing+" is still as you saw it: its `etag`")
}

func (s *session) parcelTakeCommand() *cobra.Command {
	var etag string
	c := &cobra.Command{
		Use:   "take PARCEL",
		Short: "Buy at the asking price, where the seller allows that (cutter)",
		Args:  exactly("PARCEL"),
		RunE: func(c *cobra.Command, args []string) error {
			a, err := command(c.Context(), s, func(q call) (*cutterv1.TakeParcelResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).TakeParcel(q.ctx, &cutterv1.TakeParcelRequest{RequestId: q.requestID, ParcelId: args[0], Etag: etag})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error { return printParcel(w, a.GetParcel()) })
		},
	}
	etagFlag(c, &etag, "parcel")
	return c
}

// handover are the flags of both sides of a handover: each counts and weighs for itself.
type handover struct {
	count        uint32
	total, scale measure.Mass
	note         string
}

func (h *handover) flags(c *cobra.Command) {
	c.Flags().Uint32Var(&h.count, "count", 0, "how many pieces you counted")
	massFlag(c, &h.total, "total", "what they weigh together, such as \"185.76 g\"")
	scaleFlag(c, &h.scale, "0.01 g")
	c.Flags().StringVar(&h.note, "note", "", "what you say of a difference")
	need(c, "count", "total")
}

func (s *session) parcelHandoverCommand() *cobra.Command {
	var h handover
	c := &cobra.Command{
		Use:   "handover PARCEL --count N --total MASS",
		Short: "Hand a parcel over, counted and weighed (its seller)",
		Long: `Records the seller's count and weighing at the handover. Custody moves when the
buyer has recorded theirs too (seamshare parcel receive). Where the two differ by
more than the scales allow, both sides' words stand beside each other and the co-op
sees an exception.`,
		Example: `  seamshare parcel handover PARCEL --count 10 --total "65.05 g"`,
		Args:    exactly("PARCEL"),
		RunE: func(c *cobra.Command, args []string) error {
			a, err := command(c.Context(), s, func(q call) (*minerv1.HandOverParcelResponse, error) {
				return minerv1.NewMinerServiceClient(q.conn).HandOverParcel(q.ctx, &minerv1.HandOverParcelRequest{
					RequestId: q.requestID, ParcelId: args[0], Count: h.count, Total: weighing(h.total, h.scale), Note: h.note,
				})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error { return printHandover(w, a.GetParcel()) })
		},
	}
	h.flags(c)
	return c
}

func (s *session) parcelReceiveCommand() *cobra.Command {
	var h handover
	c := &cobra.Command{
		Use:   "receive PARCEL --count N --total MASS",
		Short: "Receive a parcel, counted and weighed (its buyer)",
		Long: `Records the buyer's count and weighing at the handover. Custody moves when the
seller has recorded theirs too (seamshare parcel handover). Where the two differ by
more than the scales allow, both sides' words stand beside each other and the co-op
sees an exception.`,
		Example: `  seamshare parcel receive PARCEL --count 9 --total "64.05 g" \
    --note "one chip short"`,
		Args: exactly("PARCEL"),
		RunE: func(c *cobra.Command, args []string) error {
			a, err := command(c.Context(), s, func(q call) (*cutterv1.ReceiveParcelResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).ReceiveParcel(q.ctx, &cutterv1.ReceiveParcelRequest{
					RequestId: q.requestID, ParcelId: args[0], Count: h.count, Total: weighing(h.total, h.scale), Note: h.note,
				})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error { return printHandover(w, a.GetParcel()) })
		},
	}
	h.flags(c)
	return c
}

func printHandover(w io.Writer, p *typev1.Parcel) error {
	if p.GetState() == typev1.ParcelState_PARCEL_STATE_HANDED_OVER {
		sayLong(w, "Parcel %s is handed over: both sides have counted and weighed it.", plain(p.GetLabel()))
	} else {
		sayLong(w, "Recorded. Parcel %s is handed over when the other side has counted and weighed it too.", plain(p.GetLabel()))
	}
	printDifference(w, p.GetHandover())
	return nil
}

// claims gives the caller's claims by name and by id.
func (s *session) claims(ctx context.Context, q call) (map[string]string, error) {
	ids := make(map[string]string)
	client := minerv1.NewMinerServiceClient(q.conn)
	for token := ""; ; {
		a, err := client.ListClaims(ctx, &minerv1.ListClaimsRequest{PageSize: 200, PageToken: token})
		if err != nil {
			return nil, err
		}
		for _, one := range a.GetClaims() {
			ids[one.GetName()] = one.GetId()
			ids[one.GetId()] = one.GetId()
		}
		if token = a.GetNextPageToken(); token == "" {
			return ids, nil
		}
	}
}
