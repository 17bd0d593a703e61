package main

import "github.com/spf13/cobra"

func (s *session) demoCommand() *cobra.Command { return group("demo", "") }
