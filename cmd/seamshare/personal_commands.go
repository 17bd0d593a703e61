package main

import (
	"io"
	"strings"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

// maxFact is more than any personal fact may have; the server says the rule.
const maxFact = 4 << 10

// readFact reads a fact from a file or stdin, so that it stands in no shell's history and no list of processes.
func (s *session) readFact(file string) (string, error) {
	data, err := s.readInput(file, maxFact)
	return strings.TrimSpace(string(data)), err
}

func (s *session) personalCommand() *cobra.Command {
	record := &cobra.Command{
		Use:   "record PERSON FIELD FILE",
		Short: "Keep a name, address or the like of a person, sealed",
		Long: "Keeps a fact about a person, sealed under a key of their own: " + strings.Join(choices[typev1.PersonalField](), ", ") + ". They themselves or a " +
			"registrar may. It is read from FILE, or with - from what you type or pipe in, so that it stands in no shell's history.",
		Example: "  seamshare personal record PERSON phone -\n  seamshare personal record PERSON address address.txt",
		Args:    exactly("PERSON", "FIELD", "FILE"),
		RunE: func(c *cobra.Command, args []string) error {
			field, err := parseWord[typev1.PersonalField](args[1])
			if err != nil {
				return wrongInput("FIELD", "", "%v", err)
			}
			value, err := s.readFact(args[2])
			if err != nil {
				return err
			}
			return deskCommand(c, s, func(d desk) (*coopv1.RecordPersonalResponse, error) {
				return d.RecordPersonal(d.ctx, &coopv1.RecordPersonalRequest{RequestId: d.requestID, PersonId: args[0], Field: field, Value: value})
			}, func(w io.Writer, a *coopv1.RecordPersonalResponse) error {
				sayLong(w, "The %s of person %s is kept, sealed under their own key.", word(field), a.GetPersonId())
				return nil
			})
		},
	}
	show := &cobra.Command{
		Use:     "show PERSON",
		Short:   "Show what is kept of a person (they themselves, registrar)",
		Example: "  seamshare personal show PERSON",
		Args:    exactly("PERSON"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskQuery(c, s, func(d desk) (*coopv1.GetPersonalResponse, error) {
				return d.GetPersonal(d.ctx, &coopv1.GetPersonalRequest{PersonId: args[0]})
			}, func(w io.Writer, a *coopv1.GetPersonalResponse) error {
				switch {
				case a.GetErased():
					say(w, "What was personal is erased.")
					return nil
				case len(a.GetFacts()) == 0:
					say(w, "Nothing is kept.")
					return nil
				}
				t := table.New(text("field"), wrapped("fact"))
				for _, f := range a.GetFacts() {
					t.Row(word(f.GetField()), f.GetValue())
				}
				_, err := t.WriteTo(w)
				return err
			})
		},
	}
	var why string
	erase := &cobra.Command{
		Use:   "erase PERSON --why TEXT",
		Short: "Destroy all that is personal of a person, for ever (registrar)",
		Long: `Destroys the key under which a person's facts, and bank details they gave, were
sealed: nobody can read them again, in this node, its backups or its copies. It
can't be undone. Books and proofs stay. It prints a receipt.

Copies of the folder personal-keys made before hold the key still. Destroy them,
and make a new copy: see seamshare help personal-keys.`,
		Example: `  seamshare personal erase PERSON --why "they left and asked for it"`,
		Args:    exactly("PERSON"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.ErasePersonResponse, error) {
				return d.ErasePerson(d.ctx, &coopv1.ErasePersonRequest{RequestId: d.requestID, PersonId: args[0], Reason: why})
			}, func(w io.Writer, a *coopv1.ErasePersonResponse) error { return printErasure(w, a.GetReceipt()) })
		},
	}
	whyFlag(erase, &why)
	receipt := &cobra.Command{
		Use:     "receipt PERSON",
		Short:   "Show the receipt of an erasure again (registrar, auditor)",
		Example: "  seamshare personal receipt PERSON",
		Args:    exactly("PERSON"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskQuery(c, s, func(d desk) (*coopv1.GetErasureResponse, error) {
				return d.GetErasure(d.ctx, &coopv1.GetErasureRequest{PersonId: args[0]})
			}, func(w io.Writer, a *coopv1.GetErasureResponse) error { return printErasure(w, a.GetReceipt()) })
		},
	}
	return group("personal", "What is personal of people: kept sealed, and erased", record, show, erase, receipt)
}

// printErasure says what was destroyed and what stays.
func printErasure(w io.Writer, r *coopv1.Erasure) error {
	sayLong(w, "Erased: person %s, on %s, record %d.", r.GetPersonId(), r.GetAt(), r.GetPosition())
	sayLong(w, "  by %s: %s", r.GetErasedBy(), plain(r.GetReason()))
	say(w, "Destroyed, and readable to nobody any more:")
	sayLong(w, "  the key under which it was sealed")
	for _, f := range r.GetFields() {
		sayLong(w, "  their %s", word(f))
	}
	for _, m := range r.GetBankDetailsOf() {
		sayLong(w, "  the bank details of member %s", m)
	}
	say(w, "What stays:")
	sayLong(w, "  the books, the shares and all proofs: none of them holds what was erased")
	sayLong(w, "  that person %s acted, and what they may do", r.GetPersonId())
	sayLong(w, "To do: destroy copies of the folder personal-keys made before this; they hold the key still (seamshare help personal-keys).")
	return nil
}

func (s *session) bankCommand() *cobra.Command {
	var under string
	set := &cobra.Command{
		Use:   "set MEMBER FILE",
		Short: "Keep a member's bank details, sealed (the member, desk)",
		Long: `Keeps a member's bank details, sealed under the key of a person who acts for it:
you, or --under. They are read from FILE, or with - from what you type or pipe in.
Payouts to the member then wait for the co-op's cool-off, and whoever edited them
last approves none. Erasing that person erases them too.`,
		Example: "  seamshare bank set MEMBER -\n  seamshare bank set MEMBER bank.txt --under PERSON",
		Args:    exactly("MEMBER", "FILE"),
		RunE: func(c *cobra.Command, args []string) error {
			value, err := s.readFact(args[1])
			if err != nil {
				return err
			}
			return deskCommand(c, s, func(d desk) (*coopv1.SetBankDetailsResponse, error) {
				return d.SetBankDetails(d.ctx, &coopv1.SetBankDetailsRequest{RequestId: d.requestID, MemberId: args[0], PersonId: under, Value: value})
			}, func(w io.Writer, a *coopv1.SetBankDetailsResponse) error {
				sayLong(w, "The bank details of member %s are kept, sealed.", a.GetMemberId())
				say(w, "No payout to it is approved before %s.", a.GetCoolOffUntil())
				return nil
			})
		},
	}
	set.Flags().StringVar(&under, "under", "", "the `id` of the person under whose key; without it, you")
	show := &cobra.Command{
		Use:     "show MEMBER",
		Short:   "Show a member's bank details (the member, bookkeeper, approver)",
		Example: "  seamshare bank show MEMBER",
		Args:    exactly("MEMBER"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskQuery(c, s, func(d desk) (*coopv1.GetBankDetailsResponse, error) {
				return d.GetBankDetails(d.ctx, &coopv1.GetBankDetailsRequest{MemberId: args[0]})
			}, func(w io.Writer, a *coopv1.GetBankDetailsResponse) error {
				if a.GetValue() == "" {
					say(w, "There are no bank details: it is paid by hand.")
					return nil
				}
				sayLong(w, "%s", plain(a.GetValue()))
				say(w, "  given by %s", a.GetEditedBy())
				say(w, "  no payout is approved before %s", a.GetCoolOffUntil())
				return nil
			})
		},
	}
	return group("bank", "Where members are paid to", set, show)
}
