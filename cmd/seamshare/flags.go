package main

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	gmoney "google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/protobuf/reflect/protoreflect"

	"seamshare.example/cmd/seamshare/internal/amount"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/money"
)

// parsed is a flag whose text is read when it is given, so that the error names the flag. It is a pflag.Value.
type parsed[T any] struct {
	into  *T
	parse func(string) (T, error)
	kind  string
	shown string
	// again reads the text so that it says the same a while later, for a command that may be repeated; nil: it does so
	// anyway.
	again func(string) (T, error)
}

// repeatable reads the text so that a repeat of the command says the same. That it can be read is known.
func (p *parsed[T]) repeatable() {
	if p.again != nil && p.shown != "" {
		*p.into, _ = p.again(p.shown)
	}
}

func (p *parsed[T]) Set(text string) error {
	v, err := p.parse(text)
	if err != nil {
		return err
	}
	*p.into, p.shown = v, text
	return nil
}

func (p *parsed[T]) String() string { return p.shown }

func (p *parsed[T]) Type() string { return p.kind }

func massFlag(c *cobra.Command, into *measure.Mass, name, usage string) {
	c.Flags().Var(&parsed[measure.Mass]{into: into, parse: parseMass, kind: "mass"}, name, usage)
}

// scaleFlag is the division of the scale that the command's masses were read from.
func scaleFlag(c *cobra.Command, into *measure.Mass, usual string) {
	var err error
	if *into, err = parseDivision(usual); err != nil {
		panic(err) // the caller's own text
	}
	c.Flags().Var(&parsed[measure.Mass]{into: into, parse: parseDivision, kind: "mass", shown: usual}, "scale", "the smallest step of the `scale`")
}

func moneyFlag(c *cobra.Command, into **gmoney.Money, name, usage string) {
	c.Flags().Var(&parsed[*gmoney.Money]{into: into, parse: parseAmount, kind: "amount"}, name, usage)
}

func sizeFlag(c *cobra.Command, into **typev1.Size, name, usage string) {
	c.Flags().Var(&parsed[*typev1.Size]{into: into, parse: parseSize, kind: "size"}, name, usage)
}

func parseMass(text string) (measure.Mass, error) {
	m, err := measure.ParseMass(text)
	if wrong, ok := errors.AsType[*measure.ParseError](err); ok {
		return 0, fmt.Errorf("%q: %s", wrong.Text, wrong.Problem)
	}
	return m, err
}

func parseDivision(text string) (measure.Mass, error) {
	m, err := measure.ParseDivision(text)
	if wrong, ok := errors.AsType[*measure.ParseError](err); ok {
		return 0, fmt.Errorf("%q: %s", wrong.Text, wrong.Problem)
	}
	return m, err
}

func parseAmount(text string) (*gmoney.Money, error) {
	m, err := amount.Parse(text)
	if wrong, ok := errors.AsType[*money.Error](err); ok {
		return nil, fmt.Errorf("%q: %s", wrong.Text, wrong.Problem)
	}
	if err == nil && (m.GetUnits() < 0 || m.GetNanos() < 0) {
		return nil, fmt.Errorf("%q: an amount can't be negative", text)
	}
	return m, err
}

// flagFailure puts what the flag parser says into plain words.
func flagFailure(c *cobra.Command, err error) error {
	f := &failure{Exit: exitUsage, Reason: "WRONG_USAGE", Message: err.Error(), Hint: "see " + c.CommandPath() + " --help", Err: err}
	if wrong, ok := errors.AsType[*pflag.InvalidValueError](err); ok {
		f.Field = "--" + wrong.GetFlag().Name
		f.Message = wrong.Unwrap().Error()
		switch kind := wrong.GetFlag().Value.Type(); {
		case kind == "duration":
			f.Message = fmt.Sprintf("%q: write a time with its unit, such as 30s or 1m", wrong.GetValue())
		case kind == "bool":
			f.Message = fmt.Sprintf("%q: write true or false, or give the flag alone", wrong.GetValue())
		case strings.HasPrefix(kind, "uint"):
			f.Message = fmt.Sprintf("%q: write a whole number, zero or more, such as 20", wrong.GetValue())
		case strings.HasPrefix(kind, "int"):
			f.Message = fmt.Sprintf("%q: write a whole number, such as 20", wrong.GetValue())
		}
	}
	if wrong, ok := errors.AsType[*pflag.ValueRequiredError](err); ok {
		f.Field, f.Message = "--"+wrong.GetFlag().Name, "needs a value behind it"
	}
	if wrong, ok := errors.AsType[*pflag.NotExistError](err); ok && wrong.GetSpecifiedShortnames() != "" {
		typed := "-" + wrong.GetSpecifiedShortnames()
		f.Message = "there is no flag " + typed
		if typed[1] >= '0' && typed[1] <= '9' || typed[1] == '.' {
			f.Message = fmt.Sprintf("%q: an amount or a mass can't be negative", typed)
			f.Hint = "write it without the -"
		}
	}
	if wrong, ok := errors.AsType[*pflag.InvalidSyntaxError](err); ok {
		f.Message = fmt.Sprintf("%q is not how a flag is written", wrong.GetSpecifiedFlag())
	}
	return f
}

// parseSize reads "12x9x3.0 mm": length, width and depth.
func parseSize(text string) (*typev1.Size, error) {
	sides := strings.FieldsFunc(strings.TrimSuffix(strings.TrimSpace(text), "mm"), func(r rune) bool { return r == 'x' || r == '×' })
	if len(sides) != 3 || !strings.HasSuffix(strings.TrimSpace(text), "mm") {
		return nil, fmt.Errorf("%q: write length, width and depth in millimetres, such as \"12x9x3.0 mm\"", text)
	}
	var um [3]int64
	for i, side := range sides {
		l, err := measure.ParseLength(strings.TrimSpace(side) + " mm")
		if wrong, ok := errors.AsType[*measure.ParseError](err); ok {
			return nil, fmt.Errorf("%q: %s", text, wrong.Problem)
		}
		if err != nil {
			return nil, err
		}
		um[i] = int64(l)
	}
	return &typev1.Size{LengthUm: um[0], WidthUm: um[1], DepthUm: um[2]}, nil
}

// parseArea reads "108 mm2" as square micrometres.
func parseArea(text string) (int64, error) {
	number, ok := strings.CutSuffix(strings.ReplaceAll(strings.TrimSpace(text), "²", "2"), "mm2")
	if !ok {
		return 0, fmt.Errorf("%q: write square millimetres, such as \"108 mm2\"", text)
	}
	// A length of n mm and an area of n mm² have the same digits; a micrometre is a thousandth of one, a square
	// micrometre a millionth of the other.
	l, err := measure.ParseLength(strings.TrimSpace(number) + " mm")
	if wrong, ok := errors.AsType[*measure.ParseError](err); ok {
		return 0, fmt.Errorf("%q: %s", text, wrong.Problem)
	}
	return int64(l) * 1000, err
}

// parseEnds reads when something ends: a time (RFC 3339), or a number of hours, days, weeks or months from now.
func parseEnds(text string) (string, error) { return parseEndsCut(text, false) }

// parseEndsAgain is parseEnds of a command with a request id: what is counted from now is cut to the five minutes (or to
// the hour, from days on), so that a repeat says the same again.
func parseEndsAgain(text string) (string, error) { return parseEndsCut(text, true) }

func parseEndsCut(text string, repeats bool) (string, error) {
	number, unit, _ := strings.Cut(strings.TrimSpace(text), " ")
	var from func(now time.Time, n int) time.Time
	most, cut := 0, time.Hour
	switch strings.TrimSuffix(strings.TrimSpace(unit), "s") {
	case "hour":
		most, cut, from = 24*366, 5*time.Minute, func(now time.Time, n int) time.Time { return now.Add(time.Duration(n) * time.Hour) }
	case "day":
		most, from = 366, func(now time.Time, n int) time.Time { return now.AddDate(0, 0, n) }
	case "week":
		most, from = 53, func(now time.Time, n int) time.Time { return now.AddDate(0, 0, 7*n) }
	case "month":
		most, from = 24, func(now time.Time, n int) time.Time { return now.AddDate(0, n, 0) }
	}
	if from != nil {
		n, err := strconv.Atoi(number)
		if err != nil || n < 1 || n > most {
			return "", fmt.Errorf("%q: write a number from 1 to %d before %s, such as \"7 days\"", text, most, unit)
		}
		if !repeats {
			cut = time.Second
		}
		return from(time.Now().UTC(), n).Truncate(cut).Format(time.RFC3339), nil
	}
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return "", fmt.Errorf("%q: write \"12 hours\", \"7 days\", \"3 months\", or a time such as 2031-05-04T17:00:00Z", text)
	}
	return at.UTC().Format(time.RFC3339), nil
}

// parsePast reads when something was done: a time (RFC 3339), or how long ago.
func parsePast(text string) (string, error) { return parsePastCut(text, false) }

// parsePastAgain is parsePast of a command with a request id: what is counted back from now is cut to the minute, and to
// the hour from hours on, so that a repeat says the same again.
func parsePastAgain(text string) (string, error) { return parsePastCut(text, true) }

func parsePastCut(text string, repeats bool) (string, error) {
	if ago, ok := strings.CutSuffix(text, " ago"); ok {
		number, unit, _ := strings.Cut(ago, " ")
		each := map[string]time.Duration{"minute": time.Minute, "hour": time.Hour, "day": 24 * time.Hour}[strings.TrimSuffix(unit, "s")]
		if n, err := strconv.Atoi(number); err == nil && n > 0 && n <= 10_000 && each > 0 {
			cut := time.Second
			if repeats {
				cut = min(each, time.Hour)
			}
			return time.Now().UTC().Add(-time.Duration(n) * each).Truncate(cut).Format(time.RFC3339), nil
		}
	}
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return "", fmt.Errorf("%q: write \"4 days ago\", \"90 minutes ago\", or a time such as 2026-05-04T17:00:00Z", text)
	}
	return at.UTC().Format(time.RFC3339Nano), nil
}

// endsFlag says when something ends; without it, shown as usual, the node decides.
func endsFlag(c *cobra.Command, into *string, name, usage, usual string) {
	c.Flags().Var(&parsed[string]{into: into, parse: parseEnds, again: parseEndsAgain, kind: "time"}, name, usage+"; without it, "+usual)
}

// enum is one of the API's generated enumerations.
type enum interface {
	~int32
	protoreflect.Enum
}

// word is an enumeration's value as people say it: "crack opened".
func word[E enum](e E) string {
	value := e.Descriptor().Values().ByNumber(e.Number())
	if value == nil {
		return fmt.Sprintf("unknown (%d)", e.Number())
	}
	if e.Number() == 0 {
		return ""
	}
	name := strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(string(value.Name()), prefixOf(e)), "_", " "))
	return strings.ReplaceAll(name, "off cut", "off-cut")
}

// prefixOf is what all names of the enumeration begin with, as buf's lint has it.
func prefixOf[E enum](e E) string {
	return strings.TrimSuffix(string(e.Descriptor().Values().ByNumber(0).Name()), "UNSPECIFIED")
}

func words[E enum](all []E) string {
	out := make([]string, len(all))
	for i, e := range all {
		out[i] = word(e)
	}
	return strings.Join(out, ", ")
}

// choices are the words of an enumeration as typed on a command line: without spaces.
func choices[E enum]() []string {
	var none E
	var out []string
	values := none.Descriptor().Values()
	for i := range values.Len() {
		if n := values.Get(i).Number(); n != 0 {
			out = append(out, strings.ReplaceAll(word(E(n)), " ", "-"))
		}
	}
	return out
}

func parseWord[E enum](text string) (E, error) {
	var none E
	name := prefixOf(none) + strings.ToUpper(strings.NewReplacer(" ", "_", "-", "_").Replace(text))
	value := none.Descriptor().Values().ByName(protoreflect.Name(name))
	if value == nil || value.Number() == 0 {
		return none, fmt.Errorf("%q: choose one of %s", text, strings.Join(choices[E](), ", "))
	}
	return E(value.Number()), nil
}

func wordFlag[E enum](c *cobra.Command, into *E, name, usage string) {
	v := &parsed[E]{into: into, parse: parseWord[E], kind: "word"}
	c.Flags().Var(v, name, usage+": "+strings.Join(choices[E](), ", "))
	complete(c, name, choices[E]())
}

// wordsFlag takes several words, separated by commas or by repeating the flag.
func wordsFlag[E enum](c *cobra.Command, into *[]E, name, usage string) {
	v := &parsed[[]E]{into: into, kind: "words", parse: func(text string) ([]E, error) {
		all := *into
		for one := range strings.SplitSeq(text, ",") {
			e, err := parseWord[E](strings.TrimSpace(one))
			if err != nil {
				return nil, err
			}
			if slices.Contains(all, e) {
				return nil, fmt.Errorf("%q is there twice", one)
			}
			all = append(all, e)
		}
		return all, nil
	}}
	c.Flags().Var(v, name, usage+": "+strings.Join(choices[E](), ", "))
	complete(c, name, choices[E]())
}

func complete(c *cobra.Command, flag string, values []string) {
	err := c.RegisterFlagCompletionFunc(flag, cobra.FixedCompletions(values, cobra.ShellCompDirectiveNoFileComp))
	if err != nil {
		panic(err) // the flag was defined just before
	}
}

func weighing(mass, division measure.Mass) *typev1.Weighing {
	return &typev1.Weighing{MassUg: int64(mass), DivisionUg: int64(division)}
}
