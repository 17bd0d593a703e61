// Package estimate reckons what a stone will weigh, where a saw can go and which choice is worth more, from a
// request alone. The cutter's service and the program without one call the same functions, so that both give the
// same answer. Everything here is an estimate; no value is a valuation.
//
// Each function takes a request that keeps the field rules of its proto. The error is a rule.Broken or rule.All that
// names the request's fields.
package estimate

import (
	"errors"
	"strings"

	"google.golang.org/genproto/googleapis/type/money"

	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/wire"
)

// refused puts what package measure refuses under the request's fields; rename says which those are.
func refused(err error, rename func(field string) string) error {
	if on, ok := errors.AsType[*measure.OnRockError](err); ok {
		return rule.Broken{
			Reason: rule.FieldInvalid, Field: "layers", Value: "one layer of " + on.Kind.String(),
			Rule: "the mass of opal on or in rock can't be told from one specific gravity (rock varies from about 2.7 to 4)",
			Hint: "weigh it, or give the bar and the backing as two layers, each with its specific gravity",
		}
	}
	if wrong, ok := errors.AsType[*measure.FieldError](err); ok {
		b := rule.Broken{Reason: rule.SizeInvalid, Field: rename(wrong.Field), Value: wrong.Value}
		b.Rule, b.Hint = ruleAndHint(wrong.Rule)
		return b
	}
	if wrong, ok := errors.AsType[*measure.LineError](err); ok {
		return rule.Broken{Reason: rule.MassInvalid, Field: rename(wrong.Field), Value: wrong.Value.String(), Rule: wrong.Rule, Hint: "weigh it again"}
	}
	if wrong, ok := errors.AsType[*plane.ShapeError](err); ok {
		b := rule.Broken{Reason: rule.SizeInvalid, Field: rename("ring")}
		b.Rule, b.Hint = ruleAndHint(wrong.Problem)
		return b
	}
	return err
}

// ruleAndHint parts what package measure says in one.
func ruleAndHint(text string) (string, string) {
	text, hint, ok := strings.Cut(text, "; ")
	if !ok {
		hint = "measure it again"
	}
	return text, hint
}

// named looks a field up; one that isn't there keeps its name.
func named(names map[string]string) func(string) string {
	return func(field string) string {
		if name, ok := names[field]; ok {
			return name
		}
		return field
	}
}

// renamed gives the fields of a refusal the request's names.
func renamed(err error, rename func(field string) string) error {
	broken, ok := rule.Of(err)
	if !ok {
		return err
	}
	out := make(rule.All, len(broken))
	for i, b := range broken {
		b.Field = rename(b.Field)
		out[i] = b
	}
	return out
}

// purse reads amounts that must all be in one currency, that of the first.
type purse struct {
	currency string
	broken   rule.All
}

// minor reads an amount in minor units; none is nothing.
func (p *purse) minor(field string, m *money.Money) int64 {
	a := wire.Amount(&p.broken, field, m)
	if a == nil {
		return 0
	}
	if p.currency == "" {
		p.currency = a.GetCurrency()
	}
	p.broken.Currency(field, a, p.currency)
	return a.GetMinor()
}

func (p *purse) show(minor int64) *money.Money { return wire.Money(p.currency, minor) }
