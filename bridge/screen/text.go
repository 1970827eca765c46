package screen

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// Columns between which a screen can be.
const (
	Narrowest = 60
	Ordinary  = 80
	Widest    = 160
)

// page collects lines of at most width columns.
type page struct {
	b     strings.Builder
	width int
	zone  *time.Location
	now   time.Time
}

func newPage(width int, now time.Time, zone *time.Location) *page {
	if zone == nil {
		zone = time.UTC
	}
	return &page{width: min(max(width, Narrowest), Widest), now: now, zone: zone}
}

func (p *page) line(text string) {
	p.b.WriteString(strings.TrimRight(clip(text, p.width), " "))
	p.b.WriteByte('\n')
}

// head begins a part of the page.
func (p *page) head(text string) {
	if p.b.Len() > 0 {
		p.b.WriteByte('\n')
	}
	p.line(text)
}

// say writes a sentence behind a first text, over as many lines as it needs; those after the first are indented.
func (p *page) say(first, text string) {
	indent := utf8.RuneCountInString(first)
	room := p.width - indent
	for i, part := range wrap(text, room) {
		if i > 0 {
			first = strings.Repeat(" ", indent)
		}
		p.line(first + part)
	}
}

// Wrap breaks the lines of a text at their spaces, so that none is wider than width columns. Lines that fit stay as they are.
func Wrap(text string, width int) string {
	var out []string
	for _, line := range strings.Split(text, "\n") {
		if utf8.RuneCountInString(line) <= width {
			out = append(out, line)
			continue
		}
		out = append(out, wrap(line, width)...)
	}
	return strings.Join(out, "\n")
}

// Fit cuts a page to so many lines, and says how many are left out. 0 lines: any number.
func Fit(text string, lines int) string {
	all := strings.SplitAfter(strings.TrimSuffix(text, "\n"), "\n")
	if lines <= 0 || len(all) <= lines {
		return text
	}
	keep := max(1, lines-1)
	return strings.Join(all[:keep], "") + fmt.Sprintf("… %d more lines: a taller window, or aliquot status\n", len(all)-keep)
}

// wrap breaks a text at its spaces. A word longer than the room stands on lines of its own, cut where it must be.
func wrap(text string, room int) []string {
	room = max(room, 16)
	var out []string
	line := ""
	for _, word := range strings.Fields(text) {
		for utf8.RuneCountInString(word) > room {
			if line != "" {
				out, line = append(out, line), ""
			}
			r := []rune(word)
			out, word = append(out, string(r[:room])), string(r[room:])
		}
		switch {
		case line == "":
			line = word
		case utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > room:
			out, line = append(out, line), word
		default:
			line += " " + word
		}
	}
	if line != "" || len(out) == 0 {
		out = append(out, line)
	}
	return out
}

// clip cuts a text that is too long, and shows that it did.
func clip(s string, most int) string {
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	return string([]rune(s)[:most-1]) + "…"
}

// pad fills a text up to a width, on its left if right is said.
func pad(s string, width int, right bool) string {
	s = clip(s, width)
	fill := strings.Repeat(" ", max(0, width-utf8.RuneCountInString(s)))
	if right {
		return fill + s
	}
	return s + fill
}

// column of a table. Shrink: it may be cut down to so many columns where the page is too narrow; 0: never.
type column struct {
	name   string
	right  bool
	shrink int
}

// table writes rows in columns as wide as their widest cell. Where they do not fit the shrinkable ones give way, the
// first first; what still does not fit is cut at the edge.
func (p *page) table(margin string, columns []column, rows [][]string, after func(row int)) {
	const gap = 2
	widths := make([]int, len(columns))
	total := utf8.RuneCountInString(margin) - gap
	for i, c := range columns {
		widths[i] = utf8.RuneCountInString(c.name)
		for _, r := range rows {
			widths[i] = max(widths[i], utf8.RuneCountInString(r[i]))
		}
		total += widths[i] + gap
	}
	for i, c := range columns {
		if over := total - p.width; over > 0 && c.shrink > 0 {
			less := min(over, max(0, widths[i]-max(c.shrink, utf8.RuneCountInString(c.name))))
			widths[i] -= less
			total -= less
		}
	}
	write := func(cells []string) {
		var b strings.Builder
		b.WriteString(margin)
		for i, cell := range cells {
			if i > 0 {
				b.WriteString(strings.Repeat(" ", gap))
			}
			b.WriteString(pad(cell, widths[i], columns[i].right))
		}
		p.line(b.String())
	}
	names := make([]string, len(columns))
	for i, c := range columns {
		names[i] = c.name
	}
	write(names)
	for i, r := range rows {
		write(r)
		if after != nil {
			after(i)
		}
	}
}

// bar shows a share of a whole in a frame, with a mark where another value lies; a mark outside 0..1 is left out.
func bar(share, mark float64, cells int) string {
	at := func(v float64) int { return int(math.Round(math.Max(0, math.Min(1, v)) * float64(cells))) }
	r := []rune(strings.Repeat("#", at(share)) + strings.Repeat(".", cells-at(share)))
	if mark > 0 && mark <= 1 {
		r[min(cells-1, at(mark))] = '|'
	}
	return "[" + string(r) + "]"
}

// number gives three or four digits without an exponent.
func number(v float64) string {
	decimals := 2
	switch a := math.Abs(v); {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return "?"
	case a >= 100 || a == 0:
		decimals = 0
	case a >= 20:
		decimals = 1
	case a > 0 && a < 0.1:
		decimals = 3
	}
	return strconv.FormatFloat(v, 'f', decimals, 64)
}

// Z90 is how many standard deviations to each side of the mean 90 % of a normal distribution lie. Whatever is shown to a
// keeper behind a level or a use is this interval, on the page as on the terminal.
const Z90 = 1.645

// plusMinus writes a figure and its interval of 90 %, both with as many decimals as the interval is worth.
func plusMinus(v, sd *float64) string {
	switch {
	case v == nil:
		return "not known"
	case sd == nil || !(*sd > 0):
		return number(*v)
	}
	within, decimals := Z90**sd, 3
	switch {
	case within >= 2:
		decimals = 0
	case within >= 0.2:
		decimals = 1
	case within >= 0.02:
		decimals = 2
	}
	return strconv.FormatFloat(*v, 'f', decimals, 64) + " ± " + strconv.FormatFloat(within, 'f', decimals, 64)
}

// setting writes a figure as somebody would have set it.
func setting(v float64) string {
	return strconv.FormatFloat(math.Round(v*1e4)/1e4, 'f', -1, 64)
}

// when writes a moment of these days: the hour alone where it is today.
func (p *page) when(t time.Time) string {
	l, today := t.In(p.zone), p.now.In(p.zone)
	switch {
	case l.Format(time.DateOnly) == today.Format(time.DateOnly):
		return l.Format("15:04")
	case l.Year() == today.Year():
		return l.Format("Mon 2 Jan 15:04")
	}
	return l.Format("2 Jan 2006 15:04")
}

// day writes the day of a moment.
func (p *page) day(t time.Time) string {
	l, today := t.In(p.zone), p.now.In(p.zone)
	switch {
	case l.Format(time.DateOnly) == today.Format(time.DateOnly):
		return "today"
	case l.Year() == today.Year():
		return l.Format("Mon 2 Jan")
	}
	return l.Format("2 Jan 2006")
}

// span writes a length of time in the largest unit that says enough.
func span(d time.Duration) string {
	switch d = max(0, d); {
	case d < 2*time.Minute:
		return fmt.Sprintf("%d s", int(d.Seconds()))
	case d < 2*time.Hour:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h", int(d.Hours()))
	}
	return fmt.Sprintf("%d days", int(d.Hours()/24))
}
