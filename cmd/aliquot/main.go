// Command aliquot doses reef aquaria over MQTT: it turns tests into daily volumes, volumes into bounded runs of
// peristaltic pumps, and refuses every run that a limit, a lockout or a doubt forbids.
//
// This package reads arguments and wires the other packages together. It decides nothing about a run.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // a Pi image may come without a zone database

	"github.com/alecthomas/kong"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], stream{os.Stdin, os.Stdout, os.Stderr})
	stop()
	os.Exit(code)
}

// endedByHangup ends a command in good order when its terminal is lost, so that a run that somebody watched over it is
// stopped; where that is ignored from the start, as under nohup, it stays so.
func endedByHangup(ctx context.Context) (context.Context, context.CancelFunc) {
	if signal.Ignored(syscall.SIGHUP) {
		return ctx, func() {}
	}
	return signal.NotifyContext(ctx, syscall.SIGHUP)
}

// Exit codes. They are part of the interface: README.md lists them.
const (
	exitOK      = 0
	exitFailed  = 1 // the request was refused, or something failed
	exitUsage   = 2 // the command line is not understood
	exitConfig  = 3 // the configuration has problems: starting again does not help
	exitLedger  = 4 // the ledger is locked, newer or damaged: starting again does not help
	exitNoReply = 5 // no broker, or no service answered
)

// stream is where a command reads and writes.
type stream struct {
	in       io.Reader
	out, err io.Writer
}

// failure is an error with the exit code that belongs to it.
type failure struct {
	code int
	err  error
}

func (f failure) Error() string { return f.err.Error() }
func (f failure) Unwrap() error { return f.err }

func asFailure(err error, f *failure) bool { return errors.As(err, f) }

func fail(code int, format string, args ...any) error {
	return failure{code, fmt.Errorf(format, args...)}
}

// run parses the command line and runs one command; it gives the exit code.
func run(ctx context.Context, args []string, std stream) int {
	var cli commands
	exit := -1
	parser, err := kong.New(&cli, kong.Name("aliquot"),
		kong.Description("Doses reef aquaria over MQTT, and lets no fault empty a container into the tank.\n\n"+
			"Start with `aliquot demo`. Then write a configuration, see it with `aliquot check`, and start `aliquot run`."),
		kong.Writers(std.out, std.err), kong.Exit(func(code int) { exit = code }), kong.UsageOnError(),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, FlagsLast: true}), kong.ExplicitGroups(groups))
	if err != nil {
		fmt.Fprintln(std.err, "aliquot:", err)
		return exitUsage
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	k, err := parser.Parse(args)
	if exit >= 0 {
		return exit
	}
	if err != nil {
		fmt.Fprintf(std.err, "aliquot: %s\naliquot: see aliquot --help\n", err)
		return exitUsage
	}
	if k.Command() != "run" || converses(std) { // to a service it says something else: see reloads
		var stop context.CancelFunc
		ctx, stop = endedByHangup(ctx)
		defer stop()
	}
	k.BindTo(ctx, (*context.Context)(nil))
	err = k.Run(std, &cli.Globals)
	return exitCode(err, std.err)
}

func exitCode(err error, stderr io.Writer) int {
	if err == nil {
		return exitOK
	}
	if text := err.Error(); text != "" {
		fmt.Fprintln(stderr, broken(stderr, "aliquot: "+text))
	}
	var f failure
	if errors.As(err, &f) {
		return f.code
	}
	return exitFailed
}

// groups order the commands in the help.
var groups = []kong.Group{
	{Key: "service", Title: "The service"},
	{Key: "set-up", Title: "Setting a channel up (the service must run)"},
	{Key: "daily", Title: "Daily care (the service must run)"},
	{Key: "repair", Title: "When something is wrong, or changed (the service must run)"},
	{Key: "record", Title: "What was, what will be"},
	{Key: "chemistry", Title: "Chemistry (needs no configuration)"},
}

// Globals are flags of every command.
type Globals struct {
	Config string `short:"c" help:"The site's configuration." default:"/etc/aliquot/site.yaml" env:"ALIQUOT_CONFIG" type:"path"`
}

type commands struct {
	Globals

	Demo    demoCommand    `cmd:"" group:"service" help:"Show everything at work on a simulated tank; needs nothing."`
	Run     runCommand     `cmd:"" group:"service" help:"Run the service."`
	Check   checkCommand   `cmd:"" group:"service" help:"Check the configuration and say what was understood."`
	StopAll stopAllCommand `cmd:"" group:"service" help:"Tell every pump to stop, with or without a running service."`
	Notify  notifyCommand  `cmd:"" group:"service" help:"Send a test message to the webhook and the command that are told of alerts."`
	Simnode simnodeCommand `cmd:"" group:"service" help:"Stand in for the pump nodes of a configuration, to try it without pumps."`
	Version versionCommand `cmd:"" group:"service" help:"Print the version."`

	Commission commissionCommand `cmd:"" group:"set-up" help:"Be led from a pump on the wall to a calibrated, scheduled channel."`

	Prime     primeCommand     `cmd:"" group:"set-up" help:"Run a channel until its line is full."`
	Primed    primedCommand    `cmd:"" group:"set-up" help:"Say that liquid was seen at a channel's outlet."`
	Calibrate calibrateCommand `cmd:"" group:"set-up" help:"Run into a measuring vessel, or enter what runs delivered."`
	Prove     proveCommand     `cmd:"" group:"set-up" help:"Prove that a relay goes off by itself."`

	Status      statusCommand      `cmd:"" group:"daily" help:"Show the whole site on one screen."`
	Watch       watchCommand       `cmd:"" group:"daily" help:"Show the site as it changes; in a pipe, one line for each change."`
	Enter       enterCommand       `cmd:"" group:"daily" help:"Enter tests: aliquot enter alkalinity 8.3 dKH calcium 430 mg/L; or a laboratory's table."`
	WaterChange waterChangeCommand `cmd:"" group:"daily" help:"Enter a water change."`
	Note        noteCommand        `cmd:"" group:"daily" help:"Note what makes the estimates less sure: livestock, medication, a new salt mix."`
	Refill      refillCommand      `cmd:"" group:"daily" help:"Say what was filled into a container."`
	Swap        swapCommand        `cmd:"" group:"daily" help:"Say that a container's contents were replaced."`
	Give        giveCommand        `cmd:"" group:"daily" help:"Give one extra dose and watch it; Ctrl-C stops the pump."`
	Hold        holdCommand        `cmd:"" group:"daily" help:"Pause a channel, a system or everything for a while: aliquot hold all 2h."`
	Release     releaseCommand     `cmd:"" group:"daily" help:"End a hold."`
	Cut         cutCommand         `cmd:"" group:"daily" help:"Open a supply relay: nothing runs behind it until it is cleared and switched on by hand."`
	Stop        stopCommand        `cmd:"" group:"daily" help:"Stop pumps now; the plan goes on at the next slot."`

	Acknowledge  acknowledgeCommand  `cmd:"" group:"repair" help:"Say that somebody knows of an alert."`
	Clear        clearCommand        `cmd:"" group:"repair" help:"End a lockout, an out-of-service state or a latched interlock."`
	OutOfService outOfServiceCommand `cmd:"" group:"repair" help:"Take something out of service until it is brought back."`
	Tube         tubeCommand         `cmd:"" group:"repair" help:"Say that a channel's pump tubing was changed."`
	Accept       acceptCommand       `cmd:"" group:"repair" help:"Accept what waits for it: configuration or ledger."`
	Ask          askCommand          `cmd:"" group:"repair" help:"Send any request by its verb: aliquot ask clear channel=alk code=fault."`

	Convert convertCommand `cmd:"" group:"chemistry" help:"Convert a measurement: aliquot convert alkalinity 143 ppm CaCO3."`
	Mix     mixCommand     `cmd:"" group:"chemistry" help:"A stock solution, from its salts or for a wanted strength."`
	Water   waterCommand   `cmd:"" group:"chemistry" help:"Salinity, density and carbonate system from what was measured."`

	Plan     planCommand     `cmd:"" group:"record" help:"Plan the next 24 h, or draw a day, from a history or the ledger."`
	Rehearse rehearseCommand `cmd:"" group:"record" help:"Live through some weeks with this configuration and a simulated tank, in seconds; or replay a history."`
	Holiday  holidayCommand  `cmd:"" group:"record" help:"Look at a holiday beforehand: what lasts, what falls due, what to do, and a sheet for the helper."`
	History  historyCommand  `cmd:"" group:"record" help:"Show what happened."`
	Report   reportCommand   `cmd:"" group:"record" help:"Show a month as one HTML page with plots, to read or to print."`
	Backup   backupCommand   `cmd:"" group:"record" help:"Copy the ledger to a file, also beside a running service."`
	Restore  restoreCommand  `cmd:"" group:"record" help:"Put a copy in the ledger's place (the service must not run)."`
	Import   importCommand   `cmd:"" group:"record" help:"Take a history into the ledger (the service must not run)."`
}
