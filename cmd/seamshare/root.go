package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"seamshare.example/cmd/seamshare/internal/table"
)

const about = `Seamshare carries a co-operative of opal miners, cutters and jewellers: a cutter
buys rough opal from a miner as one mixed parcel, accounts for every piece of it
at the bench, finishes stones and sells the best and the plain; when money comes
in, miner, cutter and co-op each get their share to the cent, and each stone
shows its recorded way back to the field.`

// session is one run of the program: what it reads and writes, and the flags that mean the same everywhere.
type session struct {
	stdin          io.Reader
	stdout, stderr io.Writer

	dataDir   string
	json      bool
	printID   bool
	server    string
	keyFile   string
	person    string
	member    string
	coop      string
	caFile    string
	requestID string
	timeout   time.Duration

	unknown error // help was asked of a command that there isn't
}

// run is the whole program but for the exit. It reads no globals and may run many times in one process. ctx ends when
// the user interrupts.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	out := &watchedWriter{w: stdout}
	s := &session{stdin: stdin, stdout: out, stderr: stderr}
	root := s.rootCommand()
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(out)
	root.SetErr(stderr)
	ran, err := root.ExecuteContextC(ctx)
	if err == nil {
		err = s.unknown
	}
	if err == nil && out.err != nil {
		err = &failure{Exit: exitStorage, Reason: "STORAGE", Field: "stdout", Message: out.err.Error(), Hint: "check the disk or pipe that the output goes to; the command itself was done", Err: out.err}
	}
	if err == nil {
		return int(exitOK)
	}
	f := asFailure(err)
	if s.json || slices.Contains(args, "--json") {
		if err := f.printJSON(stderr); err != nil {
			return int(exitStorage)
		}
		return int(f.Exit)
	}
	f.inWords(ran)
	f.print(stderr)
	return int(f.Exit)
}

// watchedWriter remembers the first failed write, so that printing code needn't look at each.
type watchedWriter struct {
	w   io.Writer
	err error
}

func (w *watchedWriter) Write(p []byte) (int, error) {
	if w.err != nil {
		return 0, w.err
	}
	n, err := w.w.Write(p)
	w.err = err
	return n, err
}

func (s *session) rootCommand() *cobra.Command {
	root := group("seamshare", "Carry an opal co-operative from parcel to share")
	root.Long = about
	root.SilenceErrors, root.SilenceUsage = true, true
	root.SetFlagErrorFunc(flagFailure)
	root.PersistentPreRunE = func(c *cobra.Command, _ []string) error {
		if s.requestID != "" {
			c.Flags().VisitAll(func(f *pflag.Flag) {
				if p, ok := f.Value.(interface{ repeatable() }); ok {
					p.repeatable()
				}
			})
		}
		if s.json && s.printID {
			return wrongUsage("--json, --print-id", "leave one of them out", "can't be had together: the one prints a document, the other an id")
		}
		return nil
	}
	root.SetUsageTemplate(strings.NewReplacer(".FlagUsages", ".FlagUsagesWrapped 80", "for more information about a command", "to learn more of a command").Replace(root.UsageTemplate()))
	flags := root.PersistentFlags()
	flags.StringVar(&s.dataDir, "data", defaultDataDir(), "the `folder` of this node's data and of your sign-in")
	flags.BoolVar(&s.json, "json", false, "print one JSON document instead of text")
	flags.BoolVar(&s.printID, "print-id", false, "print only the id of what was made or shown, for scripts")
	flags.StringVar(&s.server, "server", "", "the node to talk to, as `host:port`")
	flags.StringVar(&s.keyFile, "key", "", "the PEM `file` with your private key")
	flags.StringVar(&s.person, "person", "", "your person `id`")
	flags.StringVar(&s.member, "member", "", "the `id` of the member you act for")
	flags.StringVar(&s.coop, "coop", "", "the co-op's `id`")
	flags.StringVar(&s.caFile, "ca", "", "the PEM `file` with the certificate the node's own is checked with")
	flags.StringVar(&s.requestID, "request-id", "", "your `name` for this command: a repeat with the same one is done once")
	flags.DurationVar(&s.timeout, "timeout", 15*time.Second, "how long to wait for the node, at most a minute")

	root.RunE = s.atHome

	root.AddGroup(
		&cobra.Group{ID: groupFirst, Title: "Begin here:"},
		&cobra.Group{ID: groupTrade, Title: "The trade:"},
		&cobra.Group{ID: groupDesk, Title: "The co-op's desk:"},
		&cobra.Group{ID: groupNode, Title: "The node:"},
	)
	add(root, groupFirst, s.todayCommand(), s.signInCommand(), s.whoamiCommand())
	add(root, groupTrade, s.claimCommand(), s.draftCommand(), s.parcelCommand(), s.viewingCommand(), s.noteCommand(),
		s.offerCommand(), s.counterCommand(), s.roughCommand(), s.benchCommand(), s.pieceCommand(), s.planCommand(), s.estimateCommand(),
		s.stoneCommand(), s.setCommand(), s.lotCommand(), s.photoCommand(), s.stockCommand(), s.holdCommand(),
		s.approvalCommand(), s.orderCommand(), s.saleCommand(), s.wantedCommand(), s.promiseCommand(), s.agreementCommand(), s.yieldCommand(), s.shareCommand())
	add(root, groupDesk, s.fieldCommand(), s.memberCommand(), s.personCommand(), s.roleCommand(), s.paymentCommand(),
		s.costCommand(), s.refundCommand(), s.balancesCommand())
	add(root, groupDesk, s.payoutCommand(), s.accountCommand(), s.disputeCommand(), s.correctionCommand(), s.custodyCommand(), s.exceptionCommand(),
		s.auditCommand(), s.historyCommand(), s.personalCommand(), s.bankCommand(), s.settingsCommand())
	add(root, groupNode, s.initCommand(), s.serveCommand(), s.demoCommand(), s.verifyCommand(), s.statusCommand(), s.logCommand(), s.backupCommand(), s.restoreCommand(), s.rebuildCommand())
	add(root, "", s.tokenCommand(), s.keyCommand())
	root.AddCommand(helpTopics()...)
	root.SetHelpCommand(helpCommand())
	show := root.HelpFunc()
	root.SetHelpFunc(func(c *cobra.Command, args []string) {
		// A group takes no words but its commands: cobra found none of this name, and would show the group's own help.
		if words := c.Flags().Args(); c.HasSubCommands() && len(words) > 0 {
			s.unknown = knownOnly(c, words)
			return
		}
		show(c, args)
	})
	root.InitDefaultCompletionCmd()
	for _, c := range root.Commands() {
		if c.Name() == "completion" {
			c.Args, c.RunE = cobra.ArbitraryArgs, knownOnly
		}
	}
	fitHelp(root)
	return root
}

// fitHelp breaks the prose of all help pages to 80 columns. What stands indented is set by hand and stays.
func fitHelp(c *cobra.Command) {
	c.DisableFlagsInUseLine = true
	paragraphs := strings.Split(strings.TrimRight(c.Long, "\n"), "\n\n")
	for i, p := range paragraphs {
		if !strings.HasPrefix(p, " ") && !strings.Contains(p, "\n ") {
			paragraphs[i] = strings.Join(table.Break(p, table.Width), "\n")
		}
	}
	c.Long = strings.Join(paragraphs, "\n\n")
	for _, child := range c.Commands() {
		fitHelp(child)
	}
}

const (
	groupFirst = "first"
	groupTrade = "trade"
	groupDesk  = "desk"
	groupNode  = "node"
)

func add(root *cobra.Command, groupID string, commands ...*cobra.Command) {
	for _, c := range commands {
		c.GroupID = groupID
		root.AddCommand(c)
	}
}

// group is a command that only holds others. Alone it shows its help; a word it doesn't know is refused.
func group(use, short string, children ...*cobra.Command) *cobra.Command {
	c := &cobra.Command{
		Use:   use,
		Short: short,
		Args:  cobra.ArbitraryArgs,
		RunE:  knownOnly,
	}
	c.AddCommand(children...)
	return c
}

// knownOnly shows a group's help, and refuses a word that it doesn't know.
func knownOnly(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return c.Help()
	}
	hint := "see " + c.CommandPath() + " --help"
	c.SuggestionsMinimumDistance = 2 // letters that may differ
	if near := c.SuggestionsFor(args[0]); len(near) > 0 {
		hint = "did you mean " + c.CommandPath() + " " + strings.Join(near, " or ") + "? If not, " + hint
	}
	return wrongUsage("", hint, "%q is not a command of %s", args[0], c.CommandPath())
}

// exactly says which arguments a command takes, by name.
func exactly(names ...string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		hint := "see " + c.CommandPath() + " --help"
		switch {
		case len(args) < len(names):
			return wrongUsage(names[len(args)], hint, "is missing; the command is %s", c.UseLine())
		case len(args) > len(names):
			return wrongUsage("", hint, "%q is one word too many; the command is %s", args[len(names)], c.UseLine())
		}
		return nil
	}
}

// need marks flags that the command can't do without. Cobra's own check says less than a member needs to know.
func need(c *cobra.Command, names ...string) {
	before := c.PreRunE
	c.PreRunE = func(c *cobra.Command, args []string) error {
		if before != nil {
			if err := before(c, args); err != nil {
				return err
			}
		}
		var missing []string
		for _, name := range names {
			if !c.Flags().Changed(name) {
				missing = append(missing, "--"+name)
			}
		}
		if len(missing) > 0 {
			return wrongUsage(strings.Join(missing, ", "), "see "+c.CommandPath()+" --help", "is needed")
		}
		return nil
	}
}

func defaultDataDir() string {
	if home := os.Getenv("XDG_DATA_HOME"); home != "" {
		return filepath.Join(home, "seamshare")
	}
	return "seamshare-data"
}

// openInput opens a file that the user named; "-" is stdin.
func (s *session) openInput(path string) (io.ReadCloser, error) {
	if path == "-" {
		return io.NopCloser(s.stdin), nil
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("couldn't open the input: %w", err)
	}
	return f, nil
}

// readInput reads a whole file of at most limit bytes.
func (s *session) readInput(path string, limit int64) (_ []byte, err error) {
	f, err := s.openInput(path)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	data, err := io.ReadAll(io.LimitReader(f, limit+1))
	if err != nil {
		if errors.Is(err, syscall.EISDIR) {
			return nil, wrongInput(path, "name a file in it", "is a folder, not a file")
		}
		return nil, fmt.Errorf("couldn't read %s: %w", path, err)
	}
	if int64(len(data)) > limit {
		return nil, wrongInput(path, "check that it is the right file", "is longer than %d bytes", limit)
	}
	return data, nil
}
