package main

import (
	"strings"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/agreementfile"
	"seamshare.example/cmd/seamshare/internal/planfile"
)

// helpTopics are pages without a command: `seamshare help exit-codes`.
func helpTopics() []*cobra.Command {
	return []*cobra.Command{
		{Use: "exit-codes", Short: "What the exit codes mean", Long: exitCodesHelp},
		{Use: "pieces", Short: "The CSV file with a parcel's pieces", Long: piecesHelp},
		{Use: "agreements", Short: "The JSON file with an agreement", Long: agreementfile.Help},
		{Use: "plan-files", Short: "The JSON file with a piece and plans to cut it", Long: planfile.Help},
		{Use: "units", Short: "How masses, lengths and money are written", Long: unitsHelp},
		{Use: "personal-keys", Short: "Copying and putting back the keys of personal facts", Long: personalKeysHelp},
		{Use: "safety", Short: "Cautions for work at the bench", Long: safetyHelp},
	}
}

// helpCommand replaces cobra's, which shows a topic that it doesn't know as if it were no mistake.
func helpCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND or TOPIC]",
		Short: "Help about a command or a topic",
		Long:  "Shows the help of a command, such as seamshare help parcel list, or of a topic, such as seamshare help units.",
		RunE: func(c *cobra.Command, args []string) error {
			found, rest, err := c.Root().Find(args)
			if err != nil {
				return wrongUsage("", "see seamshare --help", "%v", err)
			}
			if len(rest) > 0 {
				return knownOnly(found, rest)
			}
			found.InitDefaultHelpFlag()
			return found.Help()
		},
		ValidArgsFunction: func(c *cobra.Command, args []string, typed string) ([]cobra.Completion, cobra.ShellCompDirective) {
			found, rest, err := c.Root().Find(args)
			if err != nil || len(rest) > 0 {
				return nil, cobra.ShellCompDirectiveNoFileComp
			}
			var all []cobra.Completion
			for _, child := range found.Commands() {
				if strings.HasPrefix(child.Name(), typed) && !child.Hidden {
					all = append(all, cobra.CompletionWithDesc(child.Name(), child.Short))
				}
			}
			return all, cobra.ShellCompDirectiveNoFileComp
		},
	}
}

const piecesHelp = `The pieces of a parcel are a CSV file in UTF-8 without a byte-order mark: commas
between the columns, points in decimal numbers, one line for each piece, at most
400. The first line names the columns, in any order:

  label      what you call the piece, unique in the parcel, at most 16 letters
  mass_g     its mass, dry, in grams; or instead mass_mg, mass_kg, mass_ct,
             mass_oz_t (troy, 31.1034768 g) or mass_oz_av (avoirdupois,
             28.349523125 g). The two ounces are 9.7 % apart, so "oz" alone is
             refused
  kind       solid (opal throughout), boulder (on its host rock) or matrix
  length_mm, width_mm, depth_mm
             the three longest dimensions; a single piece has all three, a
             group none
  claim      the name or id of your claim; empty: the field is not shown, and
             stays so
  count      how many stones lie in the line; empty: one. With two or more it is
             a group, out of which pieces can be taken later
  smallest_mm, largest_mm
             of a group: the longest dimension of its smallest and of its
             largest stone; both or none
  seen       what is seen in it
  photo_dry, photo_wet, light
             pictures of it, files or names that seamshare photo add printed,
             and the light they were taken in

label, one mass and kind are needed. For example:

  label,mass_g,length_mm,width_mm,depth_mm,kind,claim,count,seen
  1,34.20,46,31,14,boulder,Claim 4,,"half of a boulder, bar 1.3 mm"
  chips,22.60,,,,matrix,,9,"nine chips, 8 to 15 mm"

In a draft (seamshare draft) any column and cell may be missing. Stones taken out
of a group (seamshare parcel open) have label, a mass, the three dimensions and
seen: kind and claim are the group's. Rough that is sold on (seamshare rough list)
has besides these:

  piece      the id of the piece that it was cut from
  part       the part of that piece, such as 1A

Everything that is wrong with the first 20 lines is said at once; nothing is sent
until all of it is right.
`

const unitsHelp = `Masses are written with their unit: "185.76 g", "608 mg", "3.04 ct", "2 kg",
"12.5 oz t" (troy ounces, 31.1034768 g) or "12.5 oz av" (avoirdupois, 28.349523125
g). A bare "oz" is refused. 1 ct is 0.2 g exactly. Carats are shown with two
decimals, rounded down. --scale is the smallest step your scale shows.

Sizes are length, width and depth: "12x9x3.0 mm". Areas are "108 mm2".

Money is an amount with its currency by ISO 4217: "1480.00 AUD", without grouping,
excluding tax.
`

// safetyLine stands once where bench steps are recorded.
const safetyLine = `Treat all cutting as silica work: cut wet, extract, wear a fitted respirator; and
see seamshare help safety.
`

// safetyHelp defers to local codes and gives no limits of its own.
const safetyHelp = `Cautions for work at the bench. Your local codes come first; ask who knows them.

  Dust     Some opal and most host rock hold crystalline silica, so treat all
           cutting as silica work: cut wet, extract at the source, wear a fitted
           respirator. The exposure limit is your authority's, with its date.
           Recirculated water throws mist, and dried slurry is dust: clean up
           wet, and let no slurry down the drain.
  Body     Protect eyes and ears. No gloves, loose sleeves, loose hair or rings
           near turning parts.
  Machine  Guards on. Isolate it before you change a blade. Run it behind a
           residual current device.
  Fire     Hot dopping wax and open flame, solvents and resins: keep them apart,
           and air the room.
  Stone    Don't weigh hydrophane, cracked or porous stones in water.
`
