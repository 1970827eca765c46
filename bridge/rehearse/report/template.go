package report

import "aliquot/bridge/plot"

var document = plot.Page("report", "", `<header>
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
{{template "band"}}
<li><svg viewBox="0 0 30 12" aria-hidden="true"><circle class="test" cx="15" cy="6" r="4"/></svg>test, taken</li>
<li><svg viewBox="0 0 30 12" aria-hidden="true"><path class="held" d="M15 0 l6 6 l-6 6 l-6 -6 z"/></svg>test, held back until another agrees</li>
{{if not .Truth}}<li><svg viewBox="0 0 30 12" aria-hidden="true"><line class="predicted" x1="15" x2="15" y1="0" y2="12"/><line class="predicted" x1="11" x2="19" y1="6" y2="6"/></svg>predicted for a test, with its 90 % interval</li>{{end}}
</ul>
{{range .Subjects}}{{template "card" .}}{{end}}
</section>{{end}}
{{template "volumes" .}}
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
<thead><tr><th scope="col">Sample</th><th scope="col">Quantity</th><th scope="col">Test</th><th scope="col">Predicted (90 %)</th><th scope="col">Error</th><th scope="col">Verdict</th><th scope="col">Plan after it</th></tr></thead>
<tbody>{{range .Tests}}<tr><td>{{.At}}</td><td>{{.What}}</td><td class="num">{{.Value}}</td><td class="num">{{.Expected}}</td><td class="num">{{.Error}}</td><td>{{.Verdict}}</td><td>{{.Planned}}</td></tr>{{end}}</tbody>
</table></div>
</section>{{end}}
{{if .Remarks}}<section aria-labelledby="remarks">
<h2 id="remarks">What else happened</h2>
<ul class="remarks">{{range .Remarks}}<li>{{if .At}}<span class="when">{{.At}}</span> {{end}}{{.Text}}</li>{{end}}</ul>
</section>{{end}}
</main>
`)
