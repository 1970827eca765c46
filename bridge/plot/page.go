package plot

import "html/template"

// Page makes the template of a page of plots that needs nothing else: the head with the shared style and more of its own,
// the body, and the templates "card" (Name, Figures, Plots), "volumes" (cards of Channels and Containers) and "band" (a
// line of a legend). The data has a Title. What comes of it is well-formed XML too, so that a test can read it with a
// strict reader.
func Page(name, style, body string) *template.Template {
	return template.Must(template.New(name).Parse(pageHead + Style + style + "</style>\n</head>\n<body>\n" + body + "</body>\n</html>\n" + pageParts))
}

const pageHead = `<!DOCTYPE html>
<html lang="en" xmlns="http://www.w3.org/1999/xhtml">
<head>
<meta charset="utf-8"/>
<meta name="viewport" content="width=device-width, initial-scale=1"/>
<meta name="color-scheme" content="light dark"/>
<title>{{.Title}}</title>
<style>`

const pageParts = `{{define "card"}}<article>
<h3>{{.Name}}</h3>
<dl>{{range .Figures}}<div><dt>{{.Name}}</dt><dd>{{.Value}}</dd></div>{{end}}</dl>
{{range .Plots}}<figure tabindex="0">{{if .Caption}}<figcaption>{{.Caption}}</figcaption>{{end}}{{.SVG}}</figure>{{end}}
</article>{{end}}
{{define "volumes"}}{{if .Channels}}<section aria-labelledby="doses">
<h2 id="doses">Doses by day</h2>
<div class="two">{{range .Channels}}{{template "card" .}}{{end}}</div>
</section>{{end}}
{{if .Containers}}<section aria-labelledby="containers">
<h2 id="containers">Containers</h2>
<div class="two">{{range .Containers}}{{template "card" .}}{{end}}</div>
</section>{{end}}{{end}}
{{define "band"}}<li><svg viewBox="0 0 30 12" aria-hidden="true"><rect class="band" x="0" y="1" width="30" height="10"/><line class="target" x1="0" x2="30" y1="6" y2="6"/></svg>band and target</li>{{end}}
`
