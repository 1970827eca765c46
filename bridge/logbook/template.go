package logbook

import "aliquot/bridge/plot"

var document = plot.Page("logbook", style, `<header>
<h1>{{.Title}}</h1>
<p class="quiet">{{.Lead}}</p>
</header>
<main>
<section aria-labelledby="short">
<h2 id="short">In short</h2>
<ul class="verdicts">{{range .Short}}<li>{{.}}</li>{{end}}</ul>
</section>
{{if .Subjects}}<section aria-labelledby="levels">
<h2 id="levels">Levels</h2>
<ul class="legend">
<li><svg viewBox="0 0 30 12" aria-hidden="true"><rect class="knownband" x="0" y="0" width="30" height="12"/><line class="known" x1="1" x2="29" y1="6" y2="6"/></svg>as known now, with its 90 % interval</li>
<li><svg viewBox="0 0 30 12" aria-hidden="true"><line class="believed" x1="1" x2="29" y1="6" y2="6"/></svg>as believed then</li>
{{template "band"}}
<li><svg viewBox="0 0 30 12" aria-hidden="true"><circle class="test" cx="15" cy="6" r="4"/></svg>test</li>
<li><svg viewBox="0 0 30 12" aria-hidden="true"><path class="held" d="M15 0 l6 6 l-6 6 l-6 -6 z"/></svg>test, held back</li>
</ul>
{{range .Subjects}}{{template "card" .}}{{end}}
</section>{{end}}
{{template "volumes" .}}
{{if .Calibrations}}<section aria-labelledby="calibrations">
<h2 id="calibrations">Calibrations</h2>
<div class="two">{{range .Calibrations}}{{template "card" .}}{{end}}</div>
</section>{{end}}
<section aria-labelledby="trouble">
<h2 id="trouble">What asked for somebody</h2>
{{if .Trouble}}{{template "lines" .Trouble}}{{else}}<p>Nothing.</p>{{end}}
</section>
<section aria-labelledby="care">
<h2 id="care">What was done</h2>
{{if .Care}}{{template "lines" .Care}}{{else}}<p>Nothing but tests.</p>{{end}}
</section>
{{if .Notes}}<section aria-labelledby="notes">
<h2 id="notes">Notes</h2>
<ul class="remarks">{{range .Notes}}<li>{{.}}</li>{{end}}</ul>
</section>{{end}}
</main>
{{define "lines"}}<div class="wide"><table class="log">
<thead><tr><th scope="col">When</th><th scope="col">What</th><th scope="col">Of</th><th scope="col">Who</th><th scope="col"></th></tr></thead>
<tbody>{{range .}}<tr><td class="when">{{.At}}</td><td>{{.What}}</td><td>{{.Of}}</td><td>{{.By}}</td><td>{{.Text}}</td></tr>{{end}}</tbody>
</table></div>{{end}}
`)

// style adds to that of plots what a month's page needs, on a phone and on paper.
const style = `
.log td:last-child{min-width:14rem}
@media (max-width:40rem){body{padding:.7rem}h1{font-size:1.4rem}figure svg{min-width:30rem}
.log thead{display:none}.log tr{display:block;padding:.4rem 0;border-bottom:1px solid var(--rule)}.log td{display:inline;border:0;padding:0 .5rem 0 0}.log td:last-child{display:block;min-width:0}}
@media print{:root{--paper:#fff;--sheet:#fff;--ink:#000;--quiet:#444;--rule:#bbb;--truth:#0b5fa5;--believed:#b4500a;--band:rgba(0,140,110,.13);--bandedge:#00795f;--test:#000;--held:#8a2f86;--bar:#4c86b8;--cap:#a3360b;--knownband:rgba(11,95,165,.16)}
@page{size:A4;margin:14mm}body{padding:0;max-width:none;font-size:10pt}article{border-color:#bbb;border-radius:0;padding:.5rem .6rem}figure{overflow:visible}figure svg{min-width:0}
.two{grid-template-columns:1fr 1fr}h2{break-after:avoid;margin-top:1.1rem}tr{break-inside:avoid}*{print-color-adjust:exact;-webkit-print-color-adjust:exact}}
`
