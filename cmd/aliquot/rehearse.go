package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/schollz/progressbar/v3"

	"aliquot/bridge/machine"
	"aliquot/bridge/rehearse"
	"aliquot/bridge/rehearse/report"
)

type rehearseCommand struct {
	Days  int    `help:"How many simulated days, 1 to 366." default:"30"`
	Seed  uint64 `help:"Which tank, pumps and keeper: the same seed gives the same bytes." default:"7"`
	From  string `help:"The first simulated moment, RFC 3339; left out, an ordinary morning in 2027." placeholder:"TIME"`
	scene `embed:""`

	Scenario string `help:"What goes wrong, asked for in one YAML file: the flags above by their names, with _ for -." type:"existingfile" placeholder:"FILE"`

	History    string `help:"Do not simulate: replay this history, JSON Lines, and judge every prediction of a test." type:"existingfile" placeholder:"FILE"`
	Format     string `help:"text or json." enum:"text,json" default:"text"`
	HistoryOut string `help:"Write what happened as JSON Lines, for aliquot plan --history." type:"path" placeholder:"FILE"`
	Report     string `help:"Write one HTML page with plots; it needs nothing else." type:"path" placeholder:"FILE.html"`
}

func (r rehearseCommand) Run(ctx context.Context, std stream, g *Globals) error {
	l, err := load(g.Config)
	if err != nil {
		return err
	}
	if r.History != "" {
		return r.replay(std, l)
	}
	o, err := r.options(l)
	if err != nil {
		return err
	}
	o.Afterwards = r.Report != ""
	bar := newSlowBar(ctx, std.err, r.Days)
	o.Progress = bar.show
	result, err := rehearse.Run(o)
	bar.clear()
	if err != nil {
		return fail(exitFailed, "%w", err)
	}
	if ctx.Err() != nil {
		return fail(exitFailed, "interrupted")
	}
	if r.HistoryOut != "" {
		if err := writeTo(r.HistoryOut, func(w io.Writer) error { return writeHistory(w, std.err, l, result.Rows) }); err != nil {
			return err
		}
	}
	if r.Report != "" {
		if err := writeTo(r.Report, func(w io.Writer) error { return report.Rehearsal(w, result, l.Zone) }); err != nil {
			return err
		}
	}
	if r.Format == "json" {
		err = writeJSON(std.out, result)
	} else {
		err = writeRehearsal(std.out, result, l.Zone)
	}
	if err == nil && len(result.Exceeded) > 0 {
		return fail(exitFailed, "MORE WAS DELIVERED THAN A CAP ALLOWS\n%s%s", strings.Join(result.Exceeded, "\n"), driftHint(o.Scenario))
	}
	return err
}

// driftHint says what nobody can see: a pump that gives more than it was calibrated to.
func driftHint(s rehearse.Scenario) string {
	for _, d := range s.Drifts {
		if d.Share > 0 {
			return fmt.Sprintf("\nchannel %s was told to drift by %+.0f %%: no cap can see that; calibrate more often than a pump drifts", d.Channel, 100*d.Share)
		}
	}
	return ""
}

// replay judges a history that was lived.
func (r rehearseCommand) replay(std stream, l loaded) error {
	if set := r.scene.given(); len(set) > 0 || r.Scenario != "" || r.HistoryOut != "" || r.From != "" {
		return fail(exitUsage, "--history replays what happened; %s is for a simulated time: leave one of the two out", strings.Join(append(set, r.simulatedOnly()...), ", "))
	}
	f, err := os.Open(r.History)
	if err != nil {
		return fail(exitFailed, "reading the history: %w", err)
	}
	defer f.Close()
	rows, notes, err := historySite(l).Read(f, r.History)
	if err != nil {
		return fail(exitFailed, "%w", err)
	}
	result := rehearse.Replay(machineSite(l.Site), rows)
	for _, n := range notes {
		result.Notes = append(result.Notes, fmt.Sprintf("line %d: %s", n.Line, n.Text))
	}
	if r.Report != "" {
		if err := writeTo(r.Report, func(w io.Writer) error { return report.Replay(w, result, l.Zone) }); err != nil {
			return err
		}
	}
	if r.Format == "json" {
		return writeJSON(std.out, result)
	}
	return writeReplay(std.out, result, l.Zone)
}

func (r rehearseCommand) simulatedOnly() []string {
	var set []string
	if r.HistoryOut != "" {
		set = append(set, "--history-out")
	}
	if r.From != "" {
		set = append(set, "--from")
	}
	if r.Scenario != "" {
		set = append(set, "--scenario")
	}
	return set
}

func writeHistory(w, notes io.Writer, l loaded, rows []machine.Row) error {
	left, err := historySite(l).Write(w, sequence(rows))
	for _, n := range left {
		fmt.Fprintln(notes, "note:", n.Text)
	}
	return err
}

// writeTo writes a file as a whole, or says why not.
func writeTo(name string, write func(io.Writer) error) error {
	f, err := os.Create(name)
	if err != nil {
		return fail(exitFailed, "%w", err)
	}
	if err := write(f); err != nil {
		f.Close()
		return fail(exitFailed, "writing %s: %w", name, err)
	}
	if err := f.Close(); err != nil {
		return fail(exitFailed, "writing %s: %w", name, err)
	}
	return nil
}

// barAfter is how long a rehearsal may take before its progress is shown.
const barAfter = 2 * time.Second

// slowBar shows progress on a terminal once somebody has waited for a while.
type slowBar struct {
	ctx     context.Context
	w       io.Writer
	all     int
	started time.Time
	bar     *progressbar.ProgressBar
}

func newSlowBar(ctx context.Context, w io.Writer, all int) *slowBar {
	return &slowBar{ctx: ctx, w: w, all: all, started: time.Now()}
}

// show is told after every simulated day. It is false when the person has left.
func (b *slowBar) show(done, _ int) bool {
	if f, isFile := b.w.(*os.File); b.bar == nil && isFile && isTerminal(f) && time.Since(b.started) >= barAfter {
		b.bar = progressbar.NewOptions(b.all, progressbar.OptionSetWriter(b.w), progressbar.OptionSetDescription("rehearsing, days"),
			progressbar.OptionClearOnFinish(), progressbar.OptionSetPredictTime(false))
	}
	if b.bar != nil {
		_ = b.bar.Set(done)
	}
	return b.ctx.Err() == nil
}

func (b *slowBar) clear() {
	if b.bar != nil {
		_ = b.bar.Finish()
	}
}
