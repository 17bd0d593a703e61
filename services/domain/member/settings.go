package member

import (
	"fmt"
	"slices"
	"time"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/rule"
)

// Settings are the numbers that a co-op chooses for itself. The first ones are
// DefaultSettings; each change holds from a moment on (Coop.SettingsAt).
type Settings struct {
	UnexplainedUgPer100g int64 // mass that may stay unexplained for each 100 g (or part) of a parcel
	ParcelLevyMinBP      int64 // basis points, the least an agreement may have on a parcel's price
	SaleLevyMinBP        int64 // basis points, the least on each sale
	WaitHours            int64 // after shaping
	ReturnDays           int64 // after delivery
	ClaimDays            int64 // after delivery, for crazing
	HoldHours            int64 // the longest hold
	HoldsAtOnce          int64 // stones that one jeweller may hold
	ApprovalDays         int64 // the longest time out on approval
	ConsignmentDays      int64 // the longest time out on consignment
	GoodsOutLimits       []Limit
	PurchaseDueDays      int64 // after the deal, where the agreement names none; overdue purchase money stops cutting
	PaymentDays          int64 // after an order is made; later its cutter may call it off
	BankCoolOffHours     int64 // after an edit of bank details
	CornerRadiusMinUm    int64
	Classes              []string // best first
	SilicaLimit          string   // in words, as the local code gives it
	SilicaLimitSource    string   // where it is published
}

// Limit is an amount in one currency, in minor units.
type Limit struct {
	Currency string
	Minor    int64
}

// GoodsOutLimit is what one jeweller may have out at once; ok is false where the
// currency has no limit.
func (s Settings) GoodsOutLimit(currency string) (minor int64, ok bool) {
	i := slices.IndexFunc(s.GoodsOutLimits, func(l Limit) bool { return l.Currency == currency })
	if i < 0 {
		return 0, false
	}
	return s.GoodsOutLimits[i].Minor, true
}

// Wait is how long a stone waits after shaping.
func (s Settings) Wait() time.Duration { return time.Duration(s.WaitHours) * time.Hour }

// ToleranceUg is what may stay unexplained of a parcel that was bought at this mass.
func (s Settings) ToleranceUg(boughtUg int64) int64 {
	const hundred = 100_000_000
	return (boughtUg + hundred - 1) / hundred * s.UnexplainedUgPer100g
}

// DefaultSettings is how a co-op works until it says otherwise. All of it is common
// practice without a source, and meant to be changed by the co-op. It is never changed
// here: a log without SettingsChanged means these, for ever.
func DefaultSettings() Settings {
	return Settings{
		UnexplainedUgPer100g: 50_000,
		WaitHours:            72,
		ReturnDays:           14,
		ClaimDays:            180,
		HoldHours:            48,
		HoldsAtOnce:          50,
		ApprovalDays:         14,
		ConsignmentDays:      180,
		PurchaseDueDays:      30,
		PaymentDays:          14,
		BankCoolOffHours:     72,
		CornerRadiusMinUm:    500,
		Classes:              []string{"top", "middle", "plain", "craft"},
	}
}

// Dated are settings and the moment from which they hold.
type Dated struct {
	From     time.Time
	Settings Settings
}

// SettingsAt are the settings that hold at a moment.
func (c Coop) SettingsAt(now time.Time) Settings {
	holds := c.First
	for _, d := range c.Changes { // by From, later changes after earlier ones of the same moment
		if now.Before(d.From) {
			break
		}
		holds = d.Settings
	}
	return holds
}

// BankCoolOffAt is how long payouts wait after an edit of bank details at a moment. A
// shorter one counts only once the longer one before it has passed: a registrar who
// shortens it for an edit of their own waits as long.
func (c Coop) BankCoolOffAt(now time.Time) time.Duration {
	holds := c.First
	var longest time.Duration
	for _, d := range c.Changes {
		if now.Before(d.From) {
			break
		}
		if before := holds.bankCoolOff(); now.Before(d.From.Add(before)) {
			longest = max(longest, before)
		}
		holds = d.Settings
	}
	return max(longest, holds.bankCoolOff())
}

func (s Settings) bankCoolOff() time.Duration { return time.Duration(s.BankCoolOffHours) * time.Hour }

// ChangeSettings changes all settings at once (rules 2 and 3).
func (c Coop) ChangeSettings(s Settings, from, now time.Time, reason string) (*memberv1.Event, error) {
	if c.ID == "" {
		return nil, rule.NotThere("", "co-op")
	}
	var broken rule.All
	broken.Text("reason", reason, 200)
	if from.Before(now) {
		broken.Add(rule.Broken{
			Reason: rule.TimeInvalid, Field: "from", Value: rule.Moment(from),
			Rule: "settings hold from now on or later, never from before", Hint: "leave it empty for now",
		})
	}
	if len(c.Changes) >= maxChanges {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Value: fmt.Sprint(len(c.Changes)), Rule: fmt.Sprintf("settings are changed at most %d times", maxChanges), Hint: "ask the makers of this program"})
	}
	s.check(&broken)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_SettingsChanged{SettingsChanged: &memberv1.SettingsChanged{
		Public:  &memberv1.SettingsChanged_Public{CoopId: c.ID},
		Private: &memberv1.SettingsChanged_Private{FromUs: from.UnixMicro(), Settings: s.stored(), Reason: reason},
	}}}, nil
}

// maxChanges bounds the co-op's state.
const maxChanges = 1000

func (s Settings) check(broken *rule.All) {
	checkTolerance(broken, "settings.unexplained_ug_per_100g", s.UnexplainedUgPer100g)
	const year = 366
	for _, n := range []struct {
		field       string
		value, most int64
		least       int64
		unit        string
	}{
		{"parcel_levy_min_bp", s.ParcelLevyMinBP, 10_000, 0, "basis points"},
		{"sale_levy_min_bp", s.SaleLevyMinBP, 10_000, 0, "basis points"},
		{"wait_hours", s.WaitHours, 24 * year, 0, "hours"},
		{"return_days", s.ReturnDays, 10 * year, 0, "days"},
		{"claim_days", s.ClaimDays, 10 * year, 0, "days"},
		{"hold_hours", s.HoldHours, 24 * year, 1, "hours"},
		{"holds_at_once", s.HoldsAtOnce, 1000, 1, "stones"},
		{"approval_days", s.ApprovalDays, year, 1, "days"},
		{"consignment_days", s.ConsignmentDays, 10 * year, 1, "days"},
		{"purchase_due_days", s.PurchaseDueDays, year - 1, 1, "days"},
		{"payment_days", s.PaymentDays, year, 1, "days"},
		{"bank_cool_off_hours", s.BankCoolOffHours, 24 * year, 24, "hours"},
		{"corner_radius_min_um", s.CornerRadiusMinUm, rule.MaxLengthUm, 0, "micrometres"},
	} {
		if n.value < n.least || n.value > n.most {
			broken.Add(rule.Broken{
				Reason: rule.CountInvalid, Field: "settings." + n.field, Value: fmt.Sprint(n.value),
				Rule: fmt.Sprintf("it is %d to %d %s", n.least, n.most, n.unit), Hint: "give a whole number",
			})
		}
	}
	for i, l := range s.GoodsOutLimits {
		field := fmt.Sprintf("settings.goods_out_limits[%d]", i)
		broken.Amount(field, &eventv1.Amount{Currency: l.Currency, Minor: l.Minor})
		if slices.IndexFunc(s.GoodsOutLimits, func(o Limit) bool { return o.Currency == l.Currency }) != i {
			broken.Add(rule.Broken{Reason: rule.NamedTwice, Field: field, Value: l.Currency, Rule: "a currency has one limit", Hint: "leave it out"})
		}
	}
	if n := len(s.Classes); n < 1 || n > 12 {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "settings.classes", Value: fmt.Sprint(n), Rule: "there are 1 to 12 classes", Hint: "name them, best first"})
	}
	for i, class := range s.Classes {
		field := fmt.Sprintf("settings.classes[%d]", i)
		broken.Text(field, class, 20)
		if slices.Index(s.Classes, class) != i {
			broken.Add(rule.Broken{Reason: rule.NamedTwice, Field: field, Value: class, Rule: "a class is named once", Hint: "leave it out"})
		}
	}
	if s.SilicaLimit != "" {
		broken.Text("settings.silica_limit", s.SilicaLimit, 200)
		broken.Text("settings.silica_limit_source", s.SilicaLimitSource, 300)
	}
}

func checkTolerance(broken *rule.All, field string, ug int64) {
	if ug < 0 || ug > rule.MaxMassUg {
		broken.Add(rule.Broken{
			Reason: rule.MassInvalid, Field: field, Value: fmt.Sprint(ug),
			Rule: "a tolerance is a mass, not below zero", Hint: "give micrograms, such as 50000 for 50 mg",
		})
	}
}

func (s Settings) stored() *memberv1.Settings {
	out := &memberv1.Settings{
		UnexplainedUgPer_100G: s.UnexplainedUgPer100g, ParcelLevyMinBp: s.ParcelLevyMinBP, SaleLevyMinBp: s.SaleLevyMinBP,
		WaitHours: s.WaitHours, ReturnDays: s.ReturnDays, ClaimDays: s.ClaimDays, HoldHours: s.HoldHours, HoldsAtOnce: s.HoldsAtOnce,
		ApprovalDays: s.ApprovalDays, ConsignmentDays: s.ConsignmentDays, PurchaseDueDays: s.PurchaseDueDays,
		BankCoolOffHours: s.BankCoolOffHours, CornerRadiusMinUm: s.CornerRadiusMinUm, Classes: slices.Clone(s.Classes),
		SilicaLimit: s.SilicaLimit, SilicaLimitSource: s.SilicaLimitSource, PaymentDays: s.PaymentDays,
	}
	for _, l := range s.GoodsOutLimits {
		out.GoodsOutLimits = append(out.GoodsOutLimits, &eventv1.Amount{Currency: l.Currency, Minor: l.Minor})
	}
	return out
}

// SettingsOf reads settings as they are stored.
func SettingsOf(s *memberv1.Settings) Settings {
	out := Settings{
		UnexplainedUgPer100g: s.GetUnexplainedUgPer_100G(), ParcelLevyMinBP: s.GetParcelLevyMinBp(), SaleLevyMinBP: s.GetSaleLevyMinBp(),
		WaitHours: s.GetWaitHours(), ReturnDays: s.GetReturnDays(), ClaimDays: s.GetClaimDays(), HoldHours: s.GetHoldHours(), HoldsAtOnce: s.GetHoldsAtOnce(),
		ApprovalDays: s.GetApprovalDays(), ConsignmentDays: s.GetConsignmentDays(), PurchaseDueDays: s.GetPurchaseDueDays(),
		BankCoolOffHours: s.GetBankCoolOffHours(), CornerRadiusMinUm: s.GetCornerRadiusMinUm(), Classes: slices.Clone(s.GetClasses()),
		SilicaLimit: s.GetSilicaLimit(), SilicaLimitSource: s.GetSilicaLimitSource(), PaymentDays: s.GetPaymentDays(),
	}
	for _, l := range s.GetGoodsOutLimits() {
		out.GoodsOutLimits = append(out.GoodsOutLimits, Limit{l.GetCurrency(), l.GetMinor()})
	}
	return out
}

// evolveSettings puts changed settings among the dated ones, by their moment.
func (c Coop) evolveSettings(e *memberv1.SettingsChanged) Coop {
	d := Dated{time.UnixMicro(e.GetPrivate().GetFromUs()).UTC(), SettingsOf(e.GetPrivate().GetSettings())}
	at := len(c.Changes)
	for at > 0 && d.From.Before(c.Changes[at-1].From) {
		at--
	}
	c.Changes = slices.Insert(slices.Clone(c.Changes), at, d)
	return c
}
