package report

import "html/template"

// document is well-formed XML too, so that a test can read it with a strict reader.
var document = template.Must(template.New("report").Parse(`<!DOCTYPE html>
<html lang="en" xmlns="http://www.w3.org/1999/xhtml">
<head>
<meta charset="utf-8"/>
<meta name="viewport" content="width=device-width, initial-scale=1"/>
<meta name="color-scheme" content="light dark"/>
<title>{{.Title}}</title>
<style>` + style + `</style>
</head>
<body>
<header>
<h1>{{.Title}}</h1>
<p>{{.Lead}}</p>
<p class="quiet">{{.Caveat}}</p>
</header>
<main>
<section aria-labelledby="short">
<h2 id="short">In short</h2>
{{if .Bad}}<div class="bad" role="alert"><strong>More was delivered than a cap allows.</strong><ul>{{range .Bad}}<li>{{.}}</li>{{end}}</ul></div>{{end}}
<ul class="verdicts">{{range .Verdicts}}<li>{{.}}</li>{{end}}{{if .Good}}<li>{{.Good}}</li>{{end}}</ul>
</section>
{{if .Subjects}}<section aria-labelledby="levels">
<h2 id="levels">Levels</h2>
<ul class="legend">
{{if .Truth}}<li><svg viewBox="0 0 30 12" aria-hidden="true"><line class="truth" x1="1" x2="29" y1="6" y2="6"/></svg>in truth</li>{{end}}
<li><svg viewBox="0 0 30 12" aria-hidden="true"><rect class="interval" x="0" y="0" width="30" height="12"/><line class="believed" x1="1" x2="29" y1="6" y2="6"/></svg>believed then, with its 90 % interval</li>
{{if .Afterwards}}<li><svg viewBox="0 0 30 12" aria-hidden="true"><line class="afterwards" x1="1" x2="29" y1="6" y2="6"/></svg>as known afterwards, with later tests too</li>{{end}}
<li><svg viewBox="0 0 30 12" aria-hidden="true"><rect class="band" x="0" y="1" width="30" height="10"/><line class="target" x1="0" x2="30" y1="6" y2="6"/></svg>band and target</li>
<li><svg viewBox="0 0 30 12" aria-hidden="true"><circle class="test" cx="15" cy="6" r="4"/></svg>test, taken</li>
<li><svg viewBox="0 0 30 12" aria-hidden="true"><path class="held" d="M15 0 l6 6 l-6 6 l-6 -6 z"/></svg>test, held back until another agrees</li>
{{if not .Truth}}<li><svg viewBox="0 0 30 12" aria-hidden="true"><line class="predicted" x1="15" x2="15" y1="0" y2="12"/><line class="predicted" x1="11" x2="19" y1="6" y2="6"/></svg>predicted for a test, with its 90 % interval</li>{{end}}
</ul>
{{range .Subjects}}{{template "card" .}}{{end}}
</section>{{end}}
{{if .Channels}}<section aria-labelledby="doses">
<h2 id="doses">Doses by day</h2>
<div class="two">{{range .Channels}}{{template "card" .}}{{end}}</div>
</section>{{end}}
{{if .Containers}}<section aria-labelledby="containers">
<h2 id="containers">Containers</h2>
<div class="two">{{range .Containers}}{{template "card" .}}{{end}}</div>
</section>{{end}}
{{if .Truth}}<section aria-labelledby="withheld">
<h2 id="withheld">What was withheld, and why</h2>
{{if .Withheld}}<p class="quiet">Each line counts the slots that met a reason not to run at once. Those that ran later did so within their grace; the others were let go, and nothing is caught up.</p>
<div class="wide"><table>
<thead><tr><th scope="col">Channel</th><th scope="col">Why</th><th scope="col">Slots</th><th scope="col">Ran&#160;later</th><th scope="col">First time</th></tr></thead>
<tbody>{{range .Withheld}}<tr><th scope="row">{{.Channel}}</th><td>{{.Why}} <span class="quiet">({{.Code}}: {{.Text}})</span></td><td class="num">{{.Slots}}</td><td class="num">{{.RanLater}}</td><td class="when">{{.First}}</td></tr>{{end}}</tbody>
</table></div>{{else}}<p>No slot was withheld.</p>{{end}}
</section>{{end}}
{{if .Tests}}<section aria-labelledby="tests">
<h2 id="tests">Every test</h2>
<div class="wide"><table>
<thead><tr><th scope="col">Sample</th><th scope="col">Quantity</th><th scope="col">Test</th><th scope="col">Predicted</th><th scope="col">Error</th><th scope="col">Verdict</th><th scope="col">Plan after it</th></tr></thead>
<tbody>{{range .Tests}}<tr><td>{{.At}}</td><td>{{.What}}</td><td class="num">{{.Value}}</td><td class="num">{{.Expected}}</td><td class="num">{{.Error}}</td><td>{{.Verdict}}</td><td>{{.Planned}}</td></tr>{{end}}</tbody>
</table></div>
</section>{{end}}
{{if .Remarks}}<section aria-labelledby="remarks">
<h2 id="remarks">What else happened</h2>
<ul class="remarks">{{range .Remarks}}<li>{{if .At}}<span class="when">{{.At}}</span> {{end}}{{.Text}}</li>{{end}}</ul>
</section>{{end}}
</main>
</body>
</html>
{{define "card"}}<article>
<h3>{{.Name}}</h3>
<dl>{{range .Figures}}<div><dt>{{.Name}}</dt><dd>{{.Value}}</dd></div>{{end}}</dl>
{{range .Plots}}<figure tabindex="0">{{if .Caption}}<figcaption>{{.Caption}}</figcaption>{{end}}{{.SVG}}</figure>{{end}}
</article>{{end}}
`))

// style uses blue, orange and green tones that stay apart for the common kinds of colour blindness (our own choice
// after Okabe and Ito, 2008); every line also has a dash or shape of its own.
const style = `
:root{--paper:#fbfaf7;--sheet:#ffffff;--ink:#1d2327;--quiet:#5b646b;--rule:#d9d6cd;--truth:#0b5fa5;--believed:#b4500a;--afterwards:#c9853f;--interval:rgba(222,130,40,.20);--band:rgba(0,140,110,.13);--bandedge:#00795f;--test:#1d2327;--held:#8a2f86;--bar:#4c86b8;--cap:#a3360b;--bad:#a3160b}
@media (prefers-color-scheme:dark){:root{--paper:#14181b;--sheet:#1c2226;--ink:#e9e6df;--quiet:#a3abb1;--rule:#384147;--truth:#6db6f2;--believed:#f0a35c;--afterwards:#c98f5a;--interval:rgba(240,163,92,.20);--band:rgba(60,190,155,.15);--bandedge:#4cc7a4;--test:#f2efe8;--held:#e59be0;--bar:#5b93c4;--cap:#ff9a70;--bad:#ff8a78}}
*{box-sizing:border-box}
body{margin:0 auto;padding:1.2rem;max-width:66rem;background:var(--paper);color:var(--ink);font:1rem/1.5 system-ui,sans-serif}
h1{font-size:1.7rem;line-height:1.2;margin:.2rem 0 .4rem}h2{font-size:1.25rem;margin:2rem 0 .5rem}h3{font-size:1.05rem;margin:0 0 .4rem}
article h3::first-letter,.verdicts li::first-letter{text-transform:uppercase}
p{margin:.3rem 0}.quiet{color:var(--quiet);font-size:.92rem}
article{background:var(--sheet);border:1px solid var(--rule);border-radius:.5rem;padding:.9rem 1rem;margin:.8rem 0}
.two{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,25rem),1fr));gap:.8rem}.two article{margin:0}.two h3::first-letter{text-transform:none}
dl{display:flex;flex-wrap:wrap;gap:.3rem 1.3rem;margin:0 0 .5rem}dt{color:var(--quiet);font-size:.82rem}dd{margin:0;font-variant-numeric:tabular-nums}
figure{margin:.5rem 0 0}figcaption{color:var(--quiet);font-size:.85rem}
figure{overflow-x:auto}figure svg{display:block;width:100%;height:auto;min-width:40rem}.two figure svg{min-width:17rem}
.verdicts{padding-left:1.2rem;font-size:1.05rem}.verdicts li{margin:.15rem 0}
.bad{border:3px solid var(--bad);padding:.6rem 1rem;border-radius:.4rem;margin:.5rem 0}
.legend{list-style:none;display:flex;flex-wrap:wrap;gap:.2rem 1.3rem;padding:0;margin:0;font-size:.9rem}.legend svg{width:30px;height:12px;margin-right:.4rem;vertical-align:middle}
.wide{overflow-x:auto}table{border-collapse:collapse;width:100%;font-size:.93rem}th,td{text-align:left;vertical-align:top;padding:.35rem .8rem .35rem 0;border-bottom:1px solid var(--rule)}
thead th{color:var(--quiet);font-weight:normal}.num{text-align:right;font-variant-numeric:tabular-nums;white-space:nowrap}
.remarks{padding-left:1.2rem}.when{color:var(--quiet);white-space:nowrap;font-variant-numeric:tabular-nums}
.grid{stroke:var(--rule);stroke-width:1}.tick{stroke:var(--quiet);stroke-width:1}.label{fill:var(--quiet);font-size:12px}
.truth{fill:none;stroke:var(--truth);stroke-width:2.2}.believed{fill:none;stroke:var(--believed);stroke-width:2;stroke-dasharray:7 4}
.afterwards{fill:none;stroke:var(--afterwards);stroke-width:1.6;stroke-dasharray:1.5 3;stroke-linecap:round}
.interval{fill:var(--interval)}.band{fill:var(--band)}.bandedge{stroke:var(--bandedge);stroke-width:1}.target{stroke:var(--bandedge);stroke-width:1.4;stroke-dasharray:2 4}
.test{fill:var(--sheet);stroke:var(--test);stroke-width:1.8}.held{fill:var(--held);stroke:var(--sheet);stroke-width:1}.heldlabel{fill:var(--held);font-size:12px;font-weight:bold}
.predicted{stroke:var(--believed);stroke-width:1.6}
.dose{fill:var(--bar)}.cap{stroke:var(--cap);stroke-width:1.6;stroke-dasharray:8 3}.caplabel{fill:var(--quiet);font-size:12px}
.contents{fill:var(--band)}.contentsline{fill:none;stroke:var(--bandedge);stroke-width:1.8}.stop{stroke:var(--cap);stroke-width:1.4;stroke-dasharray:8 3}
@media print{body{background:#fff}article{break-inside:avoid}}
`
