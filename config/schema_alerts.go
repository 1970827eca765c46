package config

// alertKeys are the keys of the ways on which alerts are told beside the broker.
var alertKeys = []Key{
	{Path: "alerts", Type: tMapping, Need: Optional, Default: "alerts are told at the broker and on the page alone",
		Meaning: "Who is told of alerts besides: for those without a dashboard, and for the day on which the broker is what is broken. `aliquot notify --test` tries it."},
	{Path: "alerts.test", Type: tCron, Need: Optional, Default: "`0 10 * * MON`",
		Meaning: "When a test message goes out on every way, local wall time. If it does not come, nothing else would have."},
	{Path: "alerts.webhook", Type: tMapping, Need: Depends, Default: "none; this or `command` is required",
		Meaning: "An address to which each alert is posted as JSON, see bridge/TOPICS.md. Redirects are not followed; what is not taken is sent again, with growing pauses, for a day."},
	{Path: "alerts.webhook.url", Type: "an http:// or https:// address without user and fragment", Need: Required, Meaning: "Where to post to."},
	{Path: "alerts.webhook.token_file", Type: tFile, Need: Optional, Default: "no token",
		Meaning: "File that holds a token and nothing else; it goes along as `Authorization: Bearer …`, read anew each time. `check`, `plan` and `rehearse` do not open it."},
	{Path: "alerts.webhook.ca_file", Type: tFile, Need: Optional, Default: "the system's certificates",
		Meaning: "Certificates of the authorities that may sign the receiver's, in PEM form, for an https:// address in the house; read anew each time. `check`, `plan` and `rehearse` do not open it."},
	{Path: "alerts.webhook.timeout", Type: tDuration, Need: Optional, Default: "10s", Meaning: "How long one attempt may take: 1 s to 1 min."},
	{Path: "alerts.webhook.level", Type: "critical, warning or note", Need: Optional, Default: "warning", Meaning: "The least level that is told."},
	{Path: "alerts.command", Type: tMapping, Need: Depends, Default: "none; this or `webhook` is required",
		Meaning: "A program that is started for each alert, the alert on its standard input as JSON. No shell, nearly no environment; an exit code other than 0 is a failure and tried again like a webhook."},
	{Path: "alerts.command.argv", Type: tList, Need: Required, Meaning: "The program's absolute path, and its arguments, each an entry."},
	{Path: "alerts.command.argv.[]", Type: tText, Need: Required, Meaning: "One argument, passed on as it stands."},
	{Path: "alerts.command.timeout", Type: tDuration, Need: Optional, Default: "30s", Meaning: "How long it may take before it is ended, with what it started: 1 s to 5 min."},
	{Path: "alerts.command.level", Type: "critical, warning or note", Need: Optional, Default: "warning", Meaning: "The least level that is told."},
}
