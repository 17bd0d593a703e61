package main

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	gmoney "google.golang.org/genproto/googleapis/type/money"

	"seamshare.example/cmd/seamshare/internal/agreementfile"
	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	"seamshare.example/services/domain/measure"
)

func (s *session) settingsCommand() *cobra.Command {
	show := &cobra.Command{
		Use:     "show",
		Short:   "Show the numbers the co-op works by, and when they change",
		Example: "  seamshare settings show",
		Args:    exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			return deskQuery(c, s, func(d desk) (*coopv1.GetSettingsResponse, error) {
				return d.GetSettings(d.ctx, &coopv1.GetSettingsRequest{})
			}, func(w io.Writer, a *coopv1.GetSettingsResponse) error {
				if err := printSettings(w, a.GetSettings()); err != nil {
					return err
				}
				for _, d := range a.GetChanges() {
					say(w, "changed as of %s", d.GetFrom())
				}
				return nil
			})
		},
	}
	return group("settings", "The numbers the co-op works by", show, s.settingsChangeCommand())
}

// setting is one of the settings: its flag, what it means, and how it is shown and changed. A flag sets what it was given
// on a copy of the settings that hold; the rest stays.
type setting struct {
	flag, usage string
	show        func(*coopv1.Settings) string
	// take reads what was typed.
	take func(text string) (change func(*coopv1.Settings), err error)
}

func settingOf[T any](flag, usage string, parse func(string) (T, error), show func(*coopv1.Settings) string, set func(*coopv1.Settings, T)) setting {
	return setting{flag, usage, show, func(text string) (func(*coopv1.Settings), error) {
		v, err := parse(text)
		return func(s *coopv1.Settings) { set(s, v) }, err
	}}
}

// whole is a setting that is a number of something.
func whole(flag, usage, unit string, at func(*coopv1.Settings) *int64) setting {
	return settingOf(flag, usage, func(text string) (int64, error) {
		n, err := strconv.ParseInt(text, 10, 64)
		if err != nil {
			return 0, fmt.Errorf("%q: write a whole number of %s, such as 3", text, unit)
		}
		return n, nil
	}, func(s *coopv1.Settings) string { return fmt.Sprintf("%d %s", *at(s), unit) }, func(s *coopv1.Settings, n int64) { *at(s) = n })
}

func rateSetting(flag, usage string, at func(*coopv1.Settings) *int64) setting {
	return settingOf(flag, usage, func(text string) (uint32, error) {
		bp, err := agreementfile.ParseRate(text)
		if err != nil {
			return 0, fmt.Errorf("%q %w", text, err)
		}
		return bp, nil
	},
		func(s *coopv1.Settings) string { return fmt.Sprintf("%d.%02d %%", *at(s)/100, *at(s)%100) },
		func(s *coopv1.Settings, bp uint32) { *at(s) = int64(bp) })
}

func anyText(text string) (string, error) { return text, nil }

// allSettings are all that there are, in the order they are shown.
var allSettings = []setting{
	settingOf("unexplained", "mass for each 100 g of a parcel that may stay unexplained", parseMass,
		func(s *coopv1.Settings) string { return both(s.GetUnexplainedUgPer_100G()) },
		func(s *coopv1.Settings, m measure.Mass) { s.UnexplainedUgPer_100G = int64(m) }),
	rateSetting("parcel-levy-min", "the least levy on a parcel's price, such as \"3 %\"", func(s *coopv1.Settings) *int64 { return &s.ParcelLevyMinBp }),
	rateSetting("sale-levy-min", "the least levy on each sale, such as \"6 %\"", func(s *coopv1.Settings) *int64 { return &s.SaleLevyMinBp }),
	whole("wait-hours", "how long a stone waits after shaping", "hours", func(s *coopv1.Settings) *int64 { return &s.WaitHours }),
	whole("return-days", "how long after delivery a stone may go back", "days", func(s *coopv1.Settings) *int64 { return &s.ReturnDays }),
	whole("claim-days", "how long after delivery crazing may be claimed", "days", func(s *coopv1.Settings) *int64 { return &s.ClaimDays }),
	whole("hold-hours", "the longest hold", "hours", func(s *coopv1.Settings) *int64 { return &s.HoldHours }),
	whole("holds-at-once", "how many stones one jeweller may hold", "stones", func(s *coopv1.Settings) *int64 { return &s.HoldsAtOnce }),
	whole("approval-days", "how long goods may be out on approval", "days", func(s *coopv1.Settings) *int64 { return &s.ApprovalDays }),
	whole("consignment-days", "how long goods may be out on consignment", "days", func(s *coopv1.Settings) *int64 { return &s.ConsignmentDays }),
	settingOf("goods-out-limit", "what one jeweller may have out, several with commas", func(text string) ([]*gmoney.Money, error) {
		var all []*gmoney.Money
		for _, one := range splitList(text) {
			m, err := parseAmount(one)
			if err != nil {
				return nil, err
			}
			all = append(all, m)
		}
		return all, nil
	}, func(s *coopv1.Settings) string {
		all := ""
		for i, m := range s.GetGoodsOutLimits() {
			if i > 0 {
				all += ", "
			}
			all += amount.Text(m)
		}
		return or(all, "no limit")
	}, func(s *coopv1.Settings, all []*gmoney.Money) { s.GoodsOutLimits = all }),
	whole("purchase-due-days", "when purchase money is due after the deal", "days", func(s *coopv1.Settings) *int64 { return &s.PurchaseDueDays }),
	whole("payment-days", "how long an order may wait for its money", "days", func(s *coopv1.Settings) *int64 { return &s.PaymentDays }),
	whole("bank-cool-off-hours", "no payout so long after an edit of bank details", "hours", func(s *coopv1.Settings) *int64 { return &s.BankCoolOffHours }),
	settingOf("corner-radius-min", "the least corner radius of a stone, such as \"0.5 mm\"", parseLength,
		func(s *coopv1.Settings) string { return measure.Length(s.GetCornerRadiusMinUm()).String() },
		func(s *coopv1.Settings, l measure.Length) { s.CornerRadiusMinUm = int64(l) }),
	settingOf("classes", "what stones are sorted into, best first, with commas", func(text string) ([]string, error) { return splitList(text), nil },
		func(s *coopv1.Settings) string { return strings.Join(s.GetClasses(), ", ") }, func(s *coopv1.Settings, all []string) { s.Classes = all }),
	settingOf("silica-limit", "the local limit for silica dust, in words", anyText,
		func(s *coopv1.Settings) string { return or(s.GetSilicaLimit(), "not stated") }, func(s *coopv1.Settings, t string) { s.SilicaLimit = t }),
	settingOf("silica-limit-source", "where that limit is published", anyText,
		func(s *coopv1.Settings) string { return or(s.GetSilicaLimitSource(), "not stated") }, func(s *coopv1.Settings, t string) { s.SilicaLimitSource = t }),
}

func printSettings(w io.Writer, s *coopv1.Settings) error {
	t := table.New(text("setting"), wrapped("is"), wrapped("what it is"))
	for _, one := range allSettings {
		t.Row(one.flag, one.show(s), one.usage)
	}
	_, err := t.WriteTo(w)
	return err
}

func (s *session) settingsChangeCommand() *cobra.Command {
	var changes []func(*coopv1.Settings)
	var from, why string
	c := &cobra.Command{
		Use:   "change --SETTING VALUE --why TEXT",
		Short: "Change numbers the co-op works by (registrar)",
		Long: `Changes the settings that are named; the others stay as they will be at that
moment. Deals that were made keep the terms they were made on. Rates, days and
limits differ by place and law: check them with a licensed adviser.`,
		Example: "  seamshare settings change --wait-hours 96 --why \"strained rough this season\"\n" +
			"  seamshare settings change --sale-levy-min \"6 %\" --from 2031-07-01T00:00:00Z \\\n    --why \"general meeting\"",
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			if len(changes) == 0 {
				return wrongUsage("", "see "+c.CommandPath()+" --help", "no setting is named")
			}
			return deskCommand(c, s, func(d desk) (*coopv1.ChangeSettingsResponse, error) {
				now, err := d.GetSettings(d.ctx, &coopv1.GetSettingsRequest{})
				if err != nil {
					return nil, err
				}
				holds := settingsAt(now, from)
				for _, change := range changes {
					change(holds)
				}
				return d.ChangeSettings(d.ctx, &coopv1.ChangeSettingsRequest{RequestId: d.requestID, Settings: holds, From: from, Reason: why, Etag: now.GetEtag()})
			}, func(w io.Writer, a *coopv1.ChangeSettingsResponse) error {
				say(w, "From %s on:", or(from, "now"))
				return printSettings(w, a.GetSettings())
			})
		},
	}
	for _, one := range allSettings {
		c.Flags().Var(&parsed[[]func(*coopv1.Settings)]{into: &changes, kind: "value", parse: func(text string) ([]func(*coopv1.Settings), error) {
			change, err := one.take(text)
			return append(changes, change), err
		}}, one.flag, one.usage)
	}
	c.Flags().StringVar(&from, "from", "", "the `moment` they hold from, as 2031-07-01T00:00:00Z; without it, now")
	whyFlag(c, &why)
	c.Flags().SortFlags = false
	return c
}

// settingsAt are the settings that hold at a moment; empty: now. A moment that can't be read is left to the server.
func settingsAt(now *coopv1.GetSettingsResponse, from string) *coopv1.Settings {
	holds := now.GetSettings()
	moment, err := time.Parse(time.RFC3339, from)
	if err != nil {
		return holds
	}
	for _, d := range now.GetChanges() {
		if at, err := time.Parse(time.RFC3339, d.GetFrom()); err == nil && !at.After(moment) {
			holds = d.GetSettings()
		}
	}
	return holds
}

// splitList takes a list with commas apart.
func splitList(text string) (all []string) {
	for one := range strings.SplitSeq(text, ",") {
		if one = strings.TrimSpace(one); one != "" {
			all = append(all, one)
		}
	}
	return all
}

func parseLength(text string) (measure.Length, error) {
	l, err := measure.ParseLength(text)
	if wrong, ok := errors.AsType[*measure.ParseError](err); ok {
		return 0, fmt.Errorf("%q: %s", wrong.Text, wrong.Problem)
	}
	return l, err
}
