package main

import (
	"io"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"
)

// change runs a command that changes something, and shows what came of it.
func change[A proto.Message](c *cobra.Command, s *session, do func(q call) (A, error), show func(w io.Writer, a A) error) error {
	a, err := command(c.Context(), s, do)
	if err != nil {
		return err
	}
	return s.answer(a, func(w io.Writer) error { return show(w, a) })
}

// look runs a command that changes nothing, and shows what there is.
func look[A proto.Message](c *cobra.Command, s *session, ask func(q call) (A, error), show func(w io.Writer, a A) error) error {
	a, err := query(c.Context(), s, ask)
	if err != nil {
		return err
	}
	return s.answer(a, func(w io.Writer) error { return show(w, a) })
}

// atLeastOne says that a command takes the named arguments and then one or more of the last.
func atLeastOne(names ...string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) < len(names) {
			return exactly(names...)(c, args)
		}
		return nil
	}
}
