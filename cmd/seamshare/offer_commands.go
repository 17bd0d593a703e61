package main

import (
	"io"

	"github.com/spf13/cobra"
	gmoney "google.golang.org/genproto/googleapis/type/money"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

func (s *session) offerCommand() *cobra.Command {
	c := group("offer", "Offers for parcels: compare, decline, withdraw",
		s.offerListCommand(), s.offerPreviewCommand(), s.offerDeclineCommand(), s.offerWithdrawCommand())
	c.Long = `Offers for parcels. A cutter makes one with seamshare parcel offer; a seller accepts
one with seamshare parcel accept, or answers it with another price: seamshare counter.`
	return c
}

func (s *session) offerListCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "list",
		Short: "List the offers for all parcels, oldest first",
		Long: `Lists the offers for all parcels, oldest first, counter-offers too: as miner those for
your parcels, as cutter those that you made or got.

` + ownRoughLine,
		Example: `  seamshare offer list --rows 20`,
		Args:    exactly(),
	}
	p := pageFlags(c)
	var as typev1.Role
	asFlag(c, &as)
	c.RunE = func(c *cobra.Command, _ []string) error {
		return look(c, s, func(q call) (*minerv1.ListAllOffersResponse, error) {
			role, err := s.role(q, as)
			if err != nil {
				return nil, err
			}
			if role == typev1.Role_ROLE_MINER {
				return minerv1.NewMinerServiceClient(q.conn).ListAllOffers(q.ctx, &minerv1.ListAllOffersRequest{PageSize: p.rows, PageToken: p.token})
			}
			a, err := cutterv1.NewCutterServiceClient(q.conn).ListAllMyOffers(q.ctx, &cutterv1.ListAllMyOffersRequest{PageSize: p.rows, PageToken: p.token})
			return &minerv1.ListAllOffersResponse{Offers: a.GetOffers(), NextPageToken: a.GetNextPageToken(), Position: a.GetPosition()}, err
		}, func(w io.Writer, a *minerv1.ListAllOffersResponse) error {
			err := printOffers(w, a.GetOffers())
			more(w, a.GetNextPageToken())
			return err
		})
	}
	return c
}

func (s *session) offerDeclineCommand() *cobra.Command {
	var why string
	c := &cobra.Command{
		Use:     "decline PARCEL OFFER",
		Short:   "Say no to an open offer (the parcel's seller)",
		Example: `  seamshare offer decline PARCEL OFFER --why "too low for the bar in 1"`,
		Args:    exactly("PARCEL", "OFFER"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*minerv1.DeclineOfferResponse, error) {
				return minerv1.NewMinerServiceClient(q.conn).DeclineOffer(q.ctx, &minerv1.DeclineOfferRequest{RequestId: q.requestID, ParcelId: args[0], OfferId: args[1], Why: why})
			}, func(w io.Writer, a *minerv1.DeclineOfferResponse) error { return printOffer(w, a.GetOffer()) })
		},
	}
	c.Flags().StringVar(&why, "why", "", "why, for its buyer to read")
	return c
}

func (s *session) offerWithdrawCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "withdraw PARCEL OFFER",
		Short:   "Take an offer of yours back (cutter)",
		Example: `  seamshare offer withdraw PARCEL OFFER`,
		Args:    exactly("PARCEL", "OFFER"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.WithdrawOfferResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).WithdrawOffer(q.ctx, &cutterv1.WithdrawOfferRequest{RequestId: q.requestID, ParcelId: args[0], OfferId: args[1]})
			}, func(w io.Writer, a *cutterv1.WithdrawOfferResponse) error { return printOffer(w, a.GetOffer()) })
		},
	}
}

func printOffer(w io.Writer, o *typev1.Offer) error { return printOffers(w, []*typev1.Offer{o}) }

func (s *session) counterCommand() *cobra.Command {
	return group("counter", "Counter-offers: a seller's answer to an offer",
		s.counterMakeCommand(), s.counterWithdrawCommand(), s.counterAcceptCommand(), s.counterDeclineCommand())
}

func (s *session) counterMakeCommand() *cobra.Command {
	var price *gmoney.Money
	var file, ends string
	c := &cobra.Command{
		Use:   "make PARCEL OFFER (--price AMOUNT | --agreement FILE)",
		Short: "Answer an open offer with another (the parcel's seller)",
		Long: `Answers an open offer with another, which its buyer may accept. With --price the
agreement is that of the offer, at your price; with --agreement it is one of your own,
price included. The offer that you answer can't be accepted any more.`,
		Example: `  seamshare counter make PARCEL OFFER --price "1540.00 AUD" --for "3 days"`,
		Args:    exactly("PARCEL", "OFFER"),
		RunE: func(c *cobra.Command, args []string) error {
			agreement, err := s.offered(price, file)
			if err != nil {
				return err
			}
			return change(c, s, func(q call) (*minerv1.CounterOfferResponse, error) {
				return minerv1.NewMinerServiceClient(q.conn).CounterOffer(q.ctx, &minerv1.CounterOfferRequest{
					RequestId: q.requestID, ParcelId: args[0], OfferId: args[1], Agreement: agreement, EndsAt: ends,
				})
			}, func(w io.Writer, a *minerv1.CounterOfferResponse) error { return printOffer(w, a.GetOffer()) })
		},
	}
	moneyFlag(c, &price, "price", "what you ask of this buyer")
	c.Flags().StringVar(&file, "agreement", "", "the `file` with the agreement you offer")
	var err error
	if ends, err = parseEnds("7 days"); err != nil {
		panic(err) // our own text
	}
	c.Flags().Var(&parsed[string]{into: &ends, parse: parseEnds, again: parseEndsAgain, kind: "time", shown: "7 days"}, "for", "how long it stands: days, or a time")
	return c
}

func (s *session) counterWithdrawCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "withdraw PARCEL COUNTER-OFFER",
		Short:   "Take a counter-offer of yours back (the parcel's seller)",
		Example: `  seamshare counter withdraw PARCEL COUNTER-OFFER`,
		Args:    exactly("PARCEL", "COUNTER-OFFER"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*minerv1.WithdrawCounterOfferResponse, error) {
				return minerv1.NewMinerServiceClient(q.conn).WithdrawCounterOffer(q.ctx, &minerv1.WithdrawCounterOfferRequest{RequestId: q.requestID, ParcelId: args[0], OfferId: args[1]})
			}, func(w io.Writer, a *minerv1.WithdrawCounterOfferResponse) error { return printOffer(w, a.GetOffer()) })
		},
	}
}

func (s *session) counterAcceptCommand() *cobra.Command {
	var etag string
	c := &cobra.Command{
		Use:     "accept PARCEL COUNTER-OFFER",
		Short:   "Accept a seller's counter-offer: makes the deal (cutter)",
		Example: `  seamshare counter accept PARCEL COUNTER-OFFER`,
		Args:    exactly("PARCEL", "COUNTER-OFFER"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.AcceptCounterOfferResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).AcceptCounterOffer(q.ctx, &cutterv1.AcceptCounterOfferRequest{RequestId: q.requestID, ParcelId: args[0], OfferId: args[1], Etag: etag})
			}, func(w io.Writer, a *cutterv1.AcceptCounterOfferResponse) error { return printParcel(w, a.GetParcel()) })
		},
	}
	etagFlag(c, &etag, "parcel")
	return c
}

func (s *session) counterDeclineCommand() *cobra.Command {
	var why string
	c := &cobra.Command{
		Use:     "decline PARCEL COUNTER-OFFER",
		Short:   "Say no to a seller's counter-offer (cutter)",
		Example: `  seamshare counter decline PARCEL COUNTER-OFFER --why "above my limit"`,
		Args:    exactly("PARCEL", "COUNTER-OFFER"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.DeclineCounterOfferResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).DeclineCounterOffer(q.ctx, &cutterv1.DeclineCounterOfferRequest{RequestId: q.requestID, ParcelId: args[0], OfferId: args[1], Why: why})
			}, func(w io.Writer, a *cutterv1.DeclineCounterOfferResponse) error { return printOffer(w, a.GetOffer()) })
		},
	}
	c.Flags().StringVar(&why, "why", "", "why, for the seller to read")
	return c
}
