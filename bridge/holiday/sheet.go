package holiday

import (
	"fmt"
	"io"

	"aliquot/bridge/plot"
)

// sheet is what the template shows.
type sheet struct {
	Title, Span string
	Refills     []row
	Containers  []row
	Cautions    []caution
}

type row struct{ When, What, Much, More string }

type caution struct{ Of, Text string }

// Sheet writes the page for the helper: for paper, and with nothing that asks for knowledge of the site.
func (h *Holiday) Sheet(w io.Writer) error {
	s := sheet{Title: "Looking after " + h.Site, Span: h.Day(h.From) + " to " + h.lastDay()}
	for _, r := range h.Refills {
		s.Refills = append(s.Refills, row{When: h.Day(r.By), What: r.Container, Much: fmt.Sprintf("%.0f mL", r.ML)})
	}
	for _, k := range h.Outlook.Containers {
		r := row{What: k.ID, More: k.Supplement, Much: fmt.Sprintf("%.0f mL", k.StopML), When: "not used"}
		if k.HighPerDayML > 0 {
			r.When = "about " + taken(k) + " mL"
		}
		s.Containers = append(s.Containers, r)
		for _, c := range k.Cautions {
			s.careful(k.ID, c)
		}
	}
	return page.Execute(w, s)
}

// careful says each caution once, with all containers that it is of.
func (s *sheet) careful(of, text string) {
	for i := range s.Cautions {
		if c := &s.Cautions[i]; c.Text == text {
			c.Of += ", " + of
			return
		}
	}
	s.Cautions = append(s.Cautions, caution{of, text})
}

var page = plot.Page("holiday", `h1{margin-top:0}h2{margin:1rem 0 .3rem}.boxed{border:2px solid var(--ink);border-radius:.4rem;padding:.6rem 1rem;margin:.8rem 0}.boxed h2{margin:0 0 .2rem}
.blank th{width:40%;font-weight:normal}.blank td{height:2.1rem}.box{width:2.2rem}.box span{display:inline-block;width:1rem;height:1rem;border:1.5px solid var(--ink)}ul,ol{margin:.2rem 0;padding-left:1.3rem}
@page{size:A4;margin:12mm}@media print{:root{color-scheme:light;--paper:#fff;--sheet:#fff;--ink:#000;--quiet:#333;--rule:#999}body{padding:0;max-width:none;font-size:.84rem;line-height:1.35}table{font-size:.84rem}h1{font-size:1.3rem}h2{font-size:.98rem;margin:.6rem 0 .1rem}th,td{padding:.18rem .8rem .18rem 0}.boxed{margin:.4rem 0;padding:.3rem .8rem}.boxed,tr{break-inside:avoid}}
`, `<header>
<h1>{{.Title}}</h1>
<p>{{.Span}}. The pumps work by themselves. When in doubt, do nothing, or stop everything: a tank can wait some days for a dose, but too much cannot be taken out again.</p>
</header>
<main>
<section class="boxed" aria-labelledby="stop">
<h2 id="stop">Stop everything</h2>
<p>Pull the plug of the pumps: <strong>nothing else is needed</strong>. Leave the circulation and the heater on. If liquid still runs from a line, lift its end out of the tank and into a cup. Then call. The plug is here: ______________________________</p>
</section>
<section aria-labelledby="call">
<h2 id="call">Whom to call</h2>
<table class="blank"><tbody><tr><th scope="row">The keeper</th><td></td></tr><tr><th scope="row">A neighbour who knows the tank</th><td></td></tr><tr><th scope="row">Poison information</th><td></td></tr></tbody></table>
</section>
<section aria-labelledby="look">
<h2 id="look">Look, at each visit</h2>
<ul>
<li>Is the floor dry, around the tank and below the containers?</li>
<li>Is the water clear and at its usual level, and do the animals look as always? Cloudy like milk: stop everything, and call.</li>
<li>Do the ends of the dosing lines hang above the water, and does nothing run from them without end? If it does: stop everything.</li>
<li>Is there liquid above the end of the tube in each container? See the table.</li>
</ul>
</section>
<section aria-labelledby="refill">
<h2 id="refill">Refill</h2>
{{if .Refills}}<p>Only these, not more than stands here, and only from the bottle with the same name, and never above the full mark: where it does not fit, stop there. Afterwards tell the keeper how much it was: it has to be entered.</p>
<table><thead><tr><th scope="col">At the latest on</th><th scope="col">Container</th><th class="num" scope="col">Fill in</th><th scope="col">Done</th></tr></thead>
<tbody>{{range .Refills}}<tr><td>{{.When}}</td><td>{{.What}}</td><td class="num">{{.Much}}</td><td class="box"><span></span></td></tr>{{end}}</tbody></table>
{{else}}<p>Nothing has to be refilled in this time. Please fill nothing in.</p>{{end}}
</section>
<section aria-labelledby="containers">
<h2 id="containers">The containers</h2>
<table><thead><tr><th scope="col">Container</th><th scope="col">Holds</th><th scope="col">Goes down in a day</th><th class="num" scope="col">Call at or below</th></tr></thead>
<tbody>{{range .Containers}}<tr><td>{{.What}}</td><td>{{.More}}</td><td>{{.When}}</td><td class="num">{{.Much}}</td></tr>{{end}}</tbody></table>
</section>
{{if .Cautions}}<section class="boxed" aria-labelledby="careful">
<h2 id="careful">Careful</h2>
<ul>{{range .Cautions}}<li><strong>{{.Of}}:</strong> {{.Text}}</li>{{end}}</ul>
<p>Never mix two of them, not even drops in one cup. In the eyes: rinse with running water for a quarter of an hour, and call for help. On the skin: rinse at once.</p>
</section>{{end}}
</main>
`)
