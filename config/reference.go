package config

import (
	"fmt"
	"strings"
)

const referenceHead = `# Every key of a site's configuration

This page is generated from the table of keys that the program checks files against; do not edit it.

An editor that knows JSON Schema takes [site.schema.json](site.schema.json), which ` + "`aliquot check --schema`" + ` prints too: put
` + "`# yaml-language-server: $schema=site.schema.json`" + ` into the first line of your file. It knows keys and forms of values; what
one key means for another only ` + "`aliquot check`" + ` knows.

A site is one YAML document. Unknown keys, keys that are there twice, anchors, aliases, tags and a second
document are refused. Every measure carries its unit; numbers have a decimal point. ` + "`*`" + ` stands for a name of
your choice (letters, digits, ` + "`-`" + ` and ` + "`_`" + `), ` + "`[]`" + ` for each entry of a list.

`

// Reference renders the table of keys as a page of Markdown.
func Reference() string {
	var b strings.Builder
	b.WriteString(referenceHead)
	section := ""
	for _, k := range Keys() {
		if top, _, _ := strings.Cut(k.Path, "."); top != section {
			section = top
			fmt.Fprintf(&b, "## %s\n\n", section)
		}
		k.write(&b)
	}
	return b.String() + recipesPage()
}

// write renders one key as a list item.
func (k Key) write(b *strings.Builder) {
	fmt.Fprintf(b, "- `%s` — %s; %s", strings.ReplaceAll(k.Path, ".[]", "[]"), k.Type, k.Need)
	if k.Default != "" {
		fmt.Fprintf(b, ", otherwise: %s", k.Default)
	}
	fmt.Fprintf(b, ".\n  %s\n", k.Meaning)
	if k.Unguarded != "" {
		fmt.Fprintf(b, "  Left out: %s.\n", k.Unguarded)
	}
	if k.Later != "" {
		fmt.Fprintf(b, "  Accepted and checked, without effect in this version: %s.\n", k.Later)
	}
	b.WriteString("\n")
}
