package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
)

func (s *session) viewingCommand() *cobra.Command {
	return group("viewing", "Viewings: a cutter looks at a parcel before the deal",
		s.viewingAskCommand(), s.viewingCancelCommand(), s.viewingAgreeCommand(), s.viewingCallOffCommand(),
		s.viewingStartCommand(), s.viewingEndCommand(), s.viewingListCommand())
}

func momentFlag(c *cobra.Command, into *string, usage string) {
	c.Flags().Var(&parsed[string]{into: into, parse: parseEnds, again: parseEndsAgain, kind: "time"}, "at", usage+": a time such as 2031-05-04T10:00:00Z, or \"2 days\" from now")
}

func (s *session) viewingAskCommand() *cobra.Command {
	var at, note string
	var rub bool
	c := &cobra.Command{
		Use:     "ask PARCEL --at TIME",
		Short:   "Ask to see a parcel on the market (cutter)",
		Example: `  seamshare viewing ask PARCEL --at 2031-05-04T10:00:00Z --rub`,
		Args:    exactly("PARCEL"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.AskViewingResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).AskViewing(q.ctx, &cutterv1.AskViewingRequest{RequestId: q.requestID, ParcelId: args[0], At: at, Rub: rub, Note: note})
			}, func(w io.Writer, a *cutterv1.AskViewingResponse) error { return printViewing(w, a.GetViewing()) })
		},
	}
	momentFlag(c, &at, "when you would come")
	c.Flags().BoolVar(&rub, "rub", false, "ask to rub a spot")
	c.Flags().StringVar(&note, "note", "", "what else you ask")
	need(c, "at")
	return c
}

func (s *session) viewingCancelCommand() *cobra.Command {
	var why string
	c := &cobra.Command{
		Use:     "cancel PARCEL VIEWING",
		Short:   "Say that you won't come (cutter)",
		Example: `  seamshare viewing cancel PARCEL VIEWING --why "road is flooded"`,
		Args:    exactly("PARCEL", "VIEWING"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.CancelViewingResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).CancelViewing(q.ctx, &cutterv1.CancelViewingRequest{RequestId: q.requestID, ParcelId: args[0], ViewingId: args[1], Why: why})
			}, func(w io.Writer, a *cutterv1.CancelViewingResponse) error { return printViewing(w, a.GetViewing()) })
		},
	}
	c.Flags().StringVar(&why, "why", "", "why, for the seller to read")
	return c
}

func (s *session) viewingAgreeCommand() *cobra.Command {
	var at, note string
	var mayRub bool
	c := &cobra.Command{
		Use:   "agree PARCEL VIEWING",
		Short: "Say that you will show the parcel, and when (its seller)",
		Long: `Says that you will show the parcel: when it was asked for, or --at another time, and
whether a spot may be rubbed.`,
		Example: `  seamshare viewing agree PARCEL VIEWING --note "at the north window"`,
		Args:    exactly("PARCEL", "VIEWING"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*minerv1.AgreeViewingResponse, error) {
				return minerv1.NewMinerServiceClient(q.conn).AgreeViewing(q.ctx, &minerv1.AgreeViewingRequest{
					RequestId: q.requestID, ParcelId: args[0], ViewingId: args[1], At: at, MayRub: mayRub, Note: note,
				})
			}, func(w io.Writer, a *minerv1.AgreeViewingResponse) error { return printViewing(w, a.GetViewing()) })
		},
	}
	momentFlag(c, &at, "another time than was asked for")
	c.Flags().BoolVar(&mayRub, "may-rub", false, "a spot may be rubbed")
	c.Flags().StringVar(&note, "note", "", "where, and what else is to be said")
	return c
}

func (s *session) viewingCallOffCommand() *cobra.Command {
	var why string
	c := &cobra.Command{
		Use:     "call-off PARCEL VIEWING",
		Short:   "Say that you won't show the parcel (its seller)",
		Example: `  seamshare viewing call-off PARCEL VIEWING --why "sold"`,
		Args:    exactly("PARCEL", "VIEWING"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*minerv1.CallOffViewingResponse, error) {
				return minerv1.NewMinerServiceClient(q.conn).CallOffViewing(q.ctx, &minerv1.CallOffViewingRequest{RequestId: q.requestID, ParcelId: args[0], ViewingId: args[1], Why: why})
			}, func(w io.Writer, a *minerv1.CallOffViewingResponse) error { return printViewing(w, a.GetViewing()) })
		},
	}
	c.Flags().StringVar(&why, "why", "", "why, for the cutter to read")
	return c
}

func (s *session) viewingStartCommand() *cobra.Command {
	var n uint32
	var total, scale measure.Mass
	c := &cobra.Command{
		Use:   "start PARCEL VIEWING --count N --total MASS",
		Short: "Give the rough out, counted and weighed (its seller)",
		Long: `Gives the rough into the viewer's hands, counted and weighed. A difference from the
listing beyond what the scales allow is an exception, which the co-op sees.`,
		Example: `  seamshare viewing start PARCEL VIEWING --count 10 --total "65.05 g"`,
		Args:    exactly("PARCEL", "VIEWING"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*minerv1.StartViewingResponse, error) {
				return minerv1.NewMinerServiceClient(q.conn).StartViewing(q.ctx, &minerv1.StartViewingRequest{
					RequestId: q.requestID, ParcelId: args[0], ViewingId: args[1], Count: n, Total: weighing(total, scale),
				})
			}, func(w io.Writer, a *minerv1.StartViewingResponse) error { return printViewing(w, a.GetViewing()) })
		},
	}
	c.Flags().Uint32Var(&n, "count", 0, "how many stones go out")
	massFlag(c, &total, "total", "what they weigh together, such as \"185.76 g\"")
	scaleFlag(c, &scale, "0.01 g")
	need(c, "count", "total")
	return c
}

// seen are the flags of viewing end.
type seen struct {
	count           uint32
	total, scale    measure.Mass
	light, note     string
	candled, rubbed bool
}

func (s *session) viewingEndCommand() *cobra.Command {
	var v seen
	c := &cobra.Command{
		Use:   "end PARCEL VIEWING --count N --total MASS --light TEXT",
		Short: "Take the rough back, counted and weighed (its seller)",
		Long: `Records what came back, in which light it was seen, and what was done to it. A
difference beyond what the scales allow is an exception, which the co-op sees.`,
		Example: `  seamshare viewing end PARCEL VIEWING --count 10 --total "65.05 g" \
    --light "north window, overcast" --candled`,
		Args: exactly("PARCEL", "VIEWING"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*minerv1.EndViewingResponse, error) {
				r := &minerv1.EndViewingRequest{
					RequestId: q.requestID, ParcelId: args[0], ViewingId: args[1], Count: v.count,
					Light: v.light, Candled: v.candled, Rubbed: v.rubbed, Note: v.note,
				}
				if c.Flags().Changed("total") {
					r.Total = weighing(v.total, v.scale)
				}
				return minerv1.NewMinerServiceClient(q.conn).EndViewing(q.ctx, r)
			}, func(w io.Writer, a *minerv1.EndViewingResponse) error { return printViewing(w, a.GetViewing()) })
		},
	}
	f := c.Flags()
	f.Uint32Var(&v.count, "count", 0, "how many stones came back")
	massFlag(c, &v.total, "total", "what they weigh together; left out where none came back")
	scaleFlag(c, &v.scale, "0.01 g")
	f.StringVar(&v.light, "light", "", "the light it was seen in")
	f.BoolVar(&v.candled, "candled", false, "it was candled")
	f.BoolVar(&v.rubbed, "rubbed", false, "a spot was rubbed")
	f.StringVar(&v.note, "note", "", "what you say of a difference, or else")
	need(c, "count", "light")
	return c
}

func (s *session) viewingListCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "list",
		Short: "List viewings, oldest first",
		Long: `Lists viewings, oldest first: as miner those of your parcels, as cutter those that you
asked for.

` + ownRoughLine,
		Example: `  seamshare viewing list --rows 20`,
		Args:    exactly(),
	}
	p := pageFlags(c)
	var as typev1.Role
	asFlag(c, &as)
	c.RunE = func(c *cobra.Command, _ []string) error {
		return look(c, s, func(q call) (*minerv1.ListViewingsResponse, error) {
			role, err := s.role(q, as)
			if err != nil {
				return nil, err
			}
			if role == typev1.Role_ROLE_MINER {
				return minerv1.NewMinerServiceClient(q.conn).ListViewings(q.ctx, &minerv1.ListViewingsRequest{PageSize: p.rows, PageToken: p.token})
			}
			a, err := cutterv1.NewCutterServiceClient(q.conn).ListMyViewings(q.ctx, &cutterv1.ListMyViewingsRequest{PageSize: p.rows, PageToken: p.token})
			return &minerv1.ListViewingsResponse{Viewings: a.GetViewings(), NextPageToken: a.GetNextPageToken(), Position: a.GetPosition()}, err
		}, func(w io.Writer, a *minerv1.ListViewingsResponse) error {
			if len(a.GetViewings()) == 0 {
				say(w, "No viewings.")
			}
			for _, v := range a.GetViewings() {
				if err := printViewing(w, v); err != nil {
					return err
				}
			}
			more(w, a.GetNextPageToken())
			return nil
		})
	}
	return c
}

func printViewing(w io.Writer, v *typev1.Viewing) error {
	say(w, "Viewing %s: %s", v.GetId(), word(v.GetState()))
	say(w, "  of parcel %s", v.GetParcelId())
	say(w, "  by %s, at %s", v.GetViewerId(), v.GetAt())
	rub := ""
	switch {
	case v.GetMayRub():
		rub = "a spot may be rubbed"
	case v.GetRub() && v.GetState() == typev1.ViewingState_VIEWING_STATE_ASKED:
		rub = "may a spot be rubbed?"
	case v.GetState() != typev1.ViewingState_VIEWING_STATE_ASKED && v.GetState() != typev1.ViewingState_VIEWING_STATE_CALLED_OFF:
		rub = "no spot may be rubbed"
	}
	for _, f := range []struct{ name, value string }{
		{"rubbing", rub},
		{"asked", v.GetAsked()},
		{"answered", v.GetAnswered()},
		{"why", v.GetWhy()},
		{"out", counted(v.GetCountOut(), v.GetTotalOut())},
		{"back", backWords(v)},
		{"seen in", seenWords(v)},
		{"says the seller", v.GetNote()},
	} {
		if f.value != "" {
			sayLong(w, "  %s: %s", f.name, plain(f.value))
		}
	}
	sayDifference(w, "difference from the listing", v.GetOutDifferenceUg(), v.GetOutCountDifference(), v.GetOutBeyondTolerance())
	sayDifference(w, "difference", v.GetDifferenceUg(), v.GetCountDifference(), v.GetBeyondTolerance())
	return nil
}

func counted(n uint32, total *typev1.Weighing) string {
	if total == nil {
		return ""
	}
	return fmt.Sprintf("%s, %s (%s)", count(int(n), "stone"), grams(total), carats(total))
}

func backWords(v *typev1.Viewing) string {
	if v.GetState() == typev1.ViewingState_VIEWING_STATE_ENDED && v.GetCountBack() == 0 {
		return "nothing"
	}
	return counted(v.GetCountBack(), v.GetTotalBack())
}

// seenWords is the light that the rough was seen in, and what was done to it.
func seenWords(v *typev1.Viewing) string {
	words := v.GetLight()
	if v.GetCandled() {
		words += "; candled"
	}
	if v.GetRubbed() {
		words += "; a spot rubbed"
	}
	return words
}
