package member_test

import (
	"testing"
	"time"

	"seamshare.example/services/domain/member"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
)

func TestBankCoolOff(t *testing.T) {
	founded, err := member.Coop{}.Found("two-fields", "Two Fields Opal Co-operative", time.UTC, 50_000)
	if err != nil {
		t.Fatal(err)
	}
	c := member.EvolveCoop(member.Coop{}, founded)
	start := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	change := func(hours int64, at time.Time) error {
		s := member.DefaultSettings()
		s.BankCoolOffHours = hours
		e, err := c.ChangeSettings(s, at, at, "the members met")
		if err == nil {
			c = member.EvolveCoop(c, e)
		}
		return err
	}
	t.Run("rule 2 refused: less than a day", func(t *testing.T) {
		for _, hours := range []int64{0, 23} {
			ruletest.Refused(t, change(hours, start), rule.CountInvalid, "settings.bank_cool_off_hours")
		}
	})
	for hours, at := range map[int64]time.Duration{24: 0, 48: time.Hour} { // 72 to 24 or 48, in either order
		if err := change(hours, start.Add(at)); err != nil {
			t.Fatal(err)
		}
	}
	if err := change(100, start.Add(1000*time.Hour)); err != nil {
		t.Fatal(err)
	}
	for after, want := range map[time.Duration]int{-time.Hour: 72, 0: 72, 71 * time.Hour: 72, 200 * time.Hour: 48, 1000 * time.Hour: 100} {
		if got := c.BankCoolOffAt(start.Add(after)); got != time.Duration(want)*time.Hour {
			t.Errorf("%v after the first change it is %v, want %d h", after, got, want)
		}
	}
}
