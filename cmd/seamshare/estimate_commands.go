package main

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"buf.build/go/protovalidate"
	"github.com/spf13/cobra"
	gmoney "google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/strictjson"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/fault"
)

const estimateLong = `What a stone will weigh, where a saw can go, and which choice is worth more: reckoned
here from what you type, without a server, as the cutter's service reckons it.

Lengths are millimetres ("12.5") or have their unit ("0.5 in"). All of it is
estimated from shapes and from your own chances and prices; it is no valuation.

`

func (s *session) estimateCommand() *cobra.Command {
	c := group("estimate", "Estimate a stone's mass, a saw cut or a choice; no server needed",
		s.estimateStoneCommand(), s.estimateGravityCommand(), s.estimateSlabsCommand(),
		s.estimateSeamsCommand(), s.estimateChoiceCommand(), s.estimateInclusionCommand())
	c.Long = estimateLong + strings.TrimSpace(safetyLine)
	return c
}

// reckoned answers a request here as the cutter's service would: by the same field rules and the same function. flags
// are what the fields of the request were typed as.
func reckoned[Req, Res proto.Message](req Req, answer func(Req) (Res, error), flags map[string]string) (out Res, err error) {
	if err = protovalidate.Validate(req); err == nil {
		out, err = answer(req)
	}
	f := fromStatus(fault.Status(err))
	if err == nil || f == nil {
		return out, err
	}
	f.Field = typedFor(flags, f.Field)
	for i := range f.Problems {
		f.Problems[i].Field = typedFor(flags, f.Problems[i].Field)
	}
	return out, f
}

// typedFor is the flag that a field came from: that of the longest path that it lies below.
func typedFor(flags map[string]string, field string) string {
	for path := field; path != ""; path = path[:max(0, strings.LastIndexAny(path, ".["))] {
		if flag, ok := flags[path]; ok {
			return flag
		}
	}
	return field
}

// estimated prints an estimate: as JSON in which amounts are written as people do, or as text.
func (s *session) estimated(m proto.Message, text func(w io.Writer) error) error {
	if s.printID {
		return wrongUsage("--print-id", "leave it out here", "an estimate has no id")
	}
	if !s.json {
		return text(s.stdout)
	}
	if _, err := s.stdout.Write(strictjson.Format(estimateJSON(m.ProtoReflect()))); err != nil {
		return fmt.Errorf("couldn't write the estimate: %w", err)
	}
	return nil
}

// estimateJSON is a message with its fields in order, whole numbers as numbers and amounts as "1480.00 AUD". What is absent
// is left out.
func estimateJSON(m protoreflect.Message) strictjson.Value {
	if money, ok := m.Interface().(*gmoney.Money); ok {
		return strictjson.Text(amount.Text(money))
	}
	o := &strictjson.Object{}
	for i := range m.Descriptor().Fields().Len() {
		f := m.Descriptor().Fields().Get(i)
		if f.HasPresence() && !m.Has(f) {
			continue
		}
		one := func(v protoreflect.Value) strictjson.Value {
			switch f.Kind() {
			case protoreflect.MessageKind:
				return estimateJSON(v.Message())
			case protoreflect.BoolKind:
				return strictjson.Boolean(v.Bool())
			case protoreflect.StringKind:
				return strictjson.Text(v.String())
			}
			return strictjson.Number(v.String())
		}
		var value strictjson.Value
		if f.IsList() {
			list := strictjson.List{}
			for i := range m.Get(f).List().Len() {
				list = append(list, one(m.Get(f).List().Get(i)))
			}
			value = list
		} else {
			value = one(m.Get(f))
		}
		o.Members = append(o.Members, strictjson.Member{Name: string(f.Name()), Value: value})
	}
	return o
}

// parseMm reads a length; without a unit it is millimetres.
func parseMm(text string) (int64, error) {
	typed := strings.TrimSpace(text)
	if typed != "" && strings.Trim(typed, "0123456789.") == "" {
		typed += " mm"
	}
	l, err := measure.ParseLength(typed)
	if wrong, ok := errors.AsType[*measure.ParseError](err); ok {
		return 0, fmt.Errorf("%q: %s", text, wrong.Problem)
	}
	if most := measure.Length(500_000); err == nil && l > most {
		return 0, fmt.Errorf("%q: a length here is at most %s", text, most)
	}
	return int64(l), err
}

// parseGravity reads a specific gravity as thousandths.
func parseGravity(text string) (int64, error) {
	n, err := parseThousandths(text)
	if err == nil && (n < int64(measure.MinSG) || n > int64(measure.MaxSG)) {
		return 0, fmt.Errorf("%q: a specific gravity here is between %s and %s", text, measure.MinSG, measure.MaxSG)
	}
	return n, err
}

// parseAngle reads degrees as thousandths.
func parseAngle(text string) (int64, error) {
	n, err := parseThousandths(text)
	if err == nil && (n < 1 || n >= 90_000) {
		return 0, fmt.Errorf("%q: seams that meet have an angle above 0 and below 90 degrees", text)
	}
	return n, err
}

// parseLean reads how far a cut leans, in degrees, as thousandths.
func parseLean(text string) (int64, error) {
	n, err := parseThousandths(text)
	if err == nil && n >= 80_000 {
		return 0, fmt.Errorf("%q: a cut leans less than 80 degrees", text)
	}
	return n, err
}

// parseThousandths reads a number such as "2.1" as thousandths.
func parseThousandths(text string) (int64, error) {
	typed := strings.TrimSpace(text)
	_, decimals, _ := strings.Cut(typed, ".")
	l, err := measure.ParseLength(typed + " mm")
	if err != nil || len(decimals) > 3 {
		return 0, fmt.Errorf("%q: write a number with at most three decimals, such as 2.1", text)
	}
	return int64(l), nil
}

// parseChance reads "70 %" as basis points.
func parseChance(text string) (int64, error) {
	number, ok := strings.CutSuffix(strings.TrimSpace(text), "%")
	n, err := parseThousandths(number)
	if !ok || err != nil || n%10 != 0 || n > 100_000 {
		return 0, fmt.Errorf("%q: write a chance from 0 %% to 100 %%, such as \"70 %%\"", text)
	}
	return n / 10, nil
}

func mmFlag(c *cobra.Command, into *int64, name, usage string) {
	c.Flags().Var(&parsed[int64]{into: into, parse: parseMm, kind: "mm"}, name, usage)
}

func gravityFlag(c *cobra.Command, into *int64, name, usage string) {
	c.Flags().Var(&parsed[int64]{into: into, parse: parseGravity, kind: "number"}, name, usage)
}

func chanceFlag(c *cobra.Command, into *int64, name, usage string) {
	c.Flags().Var(&parsed[int64]{into: into, parse: parseChance, kind: "percent"}, name, usage)
}

func faceFlag(c *cobra.Command, into *int64, name, usage string) {
	c.Flags().Var(&parsed[int64]{into: into, parse: parseArea, kind: "area"}, name, usage)
}

// listFlag reads one more of a list each time that the flag is given.
func listFlag[T any](c *cobra.Command, into *[]T, name, kind, usage string, parse func(string) (T, error)) {
	v := &parsed[[]T]{into: into, kind: kind}
	v.parse = func(text string) ([]T, error) {
		one, err := parse(text)
		return append(*into, one), err
	}
	c.Flags().Var(v, name, usage)
}

// roughly is an estimated mass, which is not known to the microgram: grams to the milligram, and carats.
func roughly(ug int64) string {
	return fmt.Sprintf("%s (%s)", measure.Mass(roundTo(ug, 1_000)).OnScale(1_000), measure.Mass(ug).Carats())
}

func roundTo(n, step int64) int64 { return (n + step/2) / step * step }

// micrometres is a length with all its decimals: "12.290 mm".
func micrometres(um int64) string { return measure.Length(um).Millimetres(3) }

// together marks flags of which all are given or none.
func together(c *cobra.Command, names ...string) {
	before := c.PreRunE
	c.PreRunE = func(c *cobra.Command, args []string) error {
		if before != nil {
			if err := before(c, args); err != nil {
				return err
			}
		}
		var given, missing []string
		for _, name := range names {
			if c.Flags().Changed(name) {
				given = append(given, "--"+name)
			} else {
				missing = append(missing, "--"+name)
			}
		}
		if len(given) > 0 && len(missing) > 0 {
			return wrongUsage(strings.Join(missing, ", "), "give all of them or none", "is needed with %s", strings.Join(given, ", "))
		}
		return nil
	}
}
