package main

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// inWords names the fields of a server's refusal as whoever typed the command knows them: by flag or argument where the
// command has one, else in plain words. JSON keeps the paths of the API.
func (f *failure) inWords(c *cobra.Command) {
	if c == nil || f.Err == nil || fromStatus(f.Err) == nil {
		return
	}
	f.Field = fieldWords(c, f.Field)
	for i := range f.Problems {
		f.Problems[i].Field = fieldWords(c, f.Problems[i].Field)
	}
}

var (
	pathSegment = regexp.MustCompile(`^([a-z][a-z0-9_]*)(?:\[([0-9]+)\])?$`)
	flagInUse   = regexp.MustCompile(`--[a-z-]+ ("[^"]*"|[^ ]+)`)
	upperWord   = regexp.MustCompile(`[A-Z][A-Z-]*[A-Z]`)
	// wireEnds are ends of field names that say a unit or a form, which people don't need.
	wireEnds = []string{"_ids", "_id", "_ug", "_um", "_us", "_bp", "_minor"}
)

// fieldWords says which flag, argument or thing a path of the API such as "stones[1].weighing.mass_ug" is: "--stone, the
// 2nd". Anything that is no such path stays.
func fieldWords(c *cobra.Command, path string) string {
	var words []string
	var typed string // the flag or argument
	var flag *pflag.Flag
	for segment := range strings.SplitSeq(path, ".") {
		m := pathSegment.FindStringSubmatch(segment)
		if m == nil {
			return path
		}
		name, index := m[1], m[2]
		for _, end := range wireEnds {
			name = strings.TrimSuffix(name, end)
		}
		if typed == "" {
			typed, flag = typedAs(c, name)
			if typed != "" {
				words = nil // what is around it is nothing that was typed
				if i, err := strconv.Atoi(index); err == nil {
					words = append(words, "the "+ordinal(i+1))
				}
				continue
			}
		}
		word := strings.ReplaceAll(name, "_", " ")
		if i, err := strconv.Atoi(index); err == nil {
			word = fmt.Sprintf("%s %d", singular(word), i+1)
		}
		words = append(words, word)
	}
	// A weighing's mass, the mass of a flag that is one, and an amount's currency go without saying.
	if n := len(words); n > 1 && words[n-2] == "weighing" {
		words = append(words[:n-2], words[n-1])
	}
	if n := len(words); n > 0 && flag != nil && (words[n-1] == flag.Value.Type() || words[n-1] == "currency code") {
		words = words[:n-1]
	}
	if typed != "" {
		words = append([]string{typed}, words...)
	}
	return strings.Join(words, ", ")
}

// typedAs finds the argument or flag that is named like a field of the API; empty: none.
func typedAs(c *cobra.Command, name string) (string, *pflag.Flag) {
	arguments := upperWord.FindAllString(flagInUse.ReplaceAllString(c.Use, ""), -1)
	names := []string{name, singular(name)}
	switch { // what the API calls by its form, and people by what it is for
	case strings.HasSuffix(name, "_at"):
		names = append(names, "for")
	case name == "chosen":
		names = append(names, "choose")
	case name == "reason":
		names = append(names, "why")
	}
	for _, one := range names {
		dashed := strings.ReplaceAll(one, "_", "-")
		for _, argument := range arguments {
			if strings.EqualFold(argument, dashed) {
				return argument, nil
			}
		}
		if flag := c.LocalNonPersistentFlags().Lookup(dashed); flag != nil {
			return "--" + dashed, flag
		}
	}
	return "", nil
}

func singular(word string) string {
	if stem, ok := strings.CutSuffix(word, "ies"); ok {
		return stem + "y"
	}
	return strings.TrimSuffix(word, "s")
}

// ordinal is "1st", "2nd", "11th".
func ordinal(n int) string {
	end := "th"
	if n/10%10 != 1 {
		switch n % 10 {
		case 1:
			end = "st"
		case 2:
			end = "nd"
		case 3:
			end = "rd"
		}
	}
	return strconv.Itoa(n) + end
}
