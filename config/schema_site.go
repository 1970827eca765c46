package config

const (
	tMapping  = "a mapping of keys"
	tNames    = "a mapping of names"
	tList     = "a list"
	tName     = "a name of letters, digits, - and _"
	tTopic    = "a topic without wildcards or empty levels"
	tText     = "a text"
	tFile     = "the path of a file"
	tListen   = "an address and port, such as 127.0.0.1:9480"
	tClock    = "a local time of day in quotes, such as \"20:00\""
	tCron     = "a cron expression of five fields, such as \"*/30 * * * *\""
	tBool     = "true or false"
	tVolume   = "a volume with its unit, such as 8 mL"
	tDuration = "a duration with its unit, such as 5m"
	tLength   = "a length with its unit, such as 3 mm"
)

// siteKeys are the keys of the site as a whole.
var siteKeys = []Key{
	{Path: "site", Type: tName, Need: Required,
		Meaning: "Name of the installation; one level of every topic: `<prefix>/<site>/…`."},
	{Path: "timezone", Type: "a zone of the IANA database, such as Europe/Lisbon", Need: Required,
		Meaning: "Zone of the wall time in which `slots` and `plan.tick` are read."},
	{Path: "clock", Type: tMapping, Need: Required,
		Meaning: "When the host's clock is believed. Without a believed clock nothing is dosed automatically."},
	{Path: "clock.trust", Type: "synced or confirmed", Need: Required,
		Meaning: "`synced`: the kernel says that the clock is synchronised (Linux). `confirmed`: the keeper says so after each start."},
	{Path: "http", Type: tMapping, Need: Required, Meaning: "The read-only status page, health checks and metrics."},
	{Path: "http.listen", Type: tListen, Need: Required,
		Meaning: "Address and port to listen at. An address beyond the host itself without `token_file` is a warning."},
	{Path: "http.token_file", Type: tFile, Need: Optional, Default: "everybody who can reach the address may read",
		Meaning: "File that holds a token and nothing else, read at a start and a reload. Whoever asks must know it: as the password of any user name, or as a bearer token. `/healthz` answers without."},
	{Path: "ledger", Type: tMapping, Need: Required, Meaning: "The durable record of everything that happened."},
	{Path: "ledger.path", Type: tFile, Need: Required,
		Meaning: "File of the ledger, on a local disk. A temporary or in-memory database is refused."},
	{Path: "ledger.keep", Type: tDuration, Need: Optional, Default: "every row stays in the ledger",
		Meaning: "Age, counted back from the newest row, from which rows are exported and summed when the service starts: ordinary runs by channel and six hours, readings of probes by day; answers to requests go. At least 400d. Each row that went stands in a file beside the ledger, `<path>.rows-<first>-<last>.jsonl.gz`."},
	{Path: "plan", Type: tMapping, Need: Required, Meaning: "When plans are made."},
	{Path: "plan.tick", Type: tCron, Need: Required,
		Meaning: "When plans are recomputed, local wall time; at least once in any 24 h."},
}

// mqttKeys are the keys of the connection to the broker.
var mqttKeys = []Key{
	{Path: "mqtt", Type: tMapping, Need: Required, Meaning: "The connection to the broker."},
	{Path: "mqtt.broker", Type: "mqtt://host:port, mqtts://host:port or embedded", Need: Required,
		Meaning: "The broker; without a port 1883, or 8883 for mqtts. `embedded` runs a broker inside."},
	{Path: "mqtt.username", Type: tText, Need: Optional, Default: "none, the broker must let it in without",
		Meaning: "User name at the broker."},
	{Path: "mqtt.password_file", Type: tFile, Need: Optional, Default: "no password",
		Meaning: "File that holds the password and nothing else; needs `username`. `check`, `plan` and `rehearse` do not open it."},
	{Path: "mqtt.tls", Type: tMapping, Need: Optional, Default: "the system's certificates, with mqtts only",
		Meaning: "How the broker is verified, with `mqtts://` only."},
	{Path: "mqtt.tls.ca_file", Type: tFile, Need: Optional, Default: "the system's certificates",
		Meaning: "PEM file of the authorities that the broker's certificate may come from."},
	{Path: "mqtt.tls.cert_file", Type: tFile, Need: Optional, Default: "no client certificate",
		Meaning: "PEM file of our own certificate; needs `key_file`."},
	{Path: "mqtt.tls.key_file", Type: tFile, Need: Optional, Default: "no client certificate",
		Meaning: "PEM file of the key that belongs to `cert_file`."},
	{Path: "mqtt.tls.server_name", Type: tText, Need: Optional, Default: "the host of `mqtt.broker`",
		Meaning: "Name that the broker's certificate must carry."},
	{Path: "mqtt.embedded", Type: tMapping, Need: Optional, Default: "listen: 127.0.0.1:1883, no users",
		Meaning: "The broker inside, with `broker: embedded` only."},
	{Path: "mqtt.embedded.listen", Type: "an address and port, such as 127.0.0.1:1883", Need: Optional, Default: "127.0.0.1:1883",
		Meaning: "Where nodes and dashboards connect. Beyond the host itself only with `users_file`."},
	{Path: "mqtt.embedded.users_file", Type: tFile, Need: Optional, Default: "anybody on the host may connect",
		Meaning: "File of users and what each may read and write."},
	{Path: "mqtt.prefix", Type: tName, Need: Required, Meaning: "First level of every topic of ours."},
	{Path: "mqtt.discovery", Type: tMapping, Need: Optional, Default: "nothing is announced",
		Meaning: "Announcements for home-automation dashboards: each system, channel, container and node appears there by itself."},
	{Path: "mqtt.discovery.enabled", Type: tBool, Need: Required, Meaning: "Whether to announce."},
	{Path: "mqtt.discovery.prefix", Type: tTopic, Need: Optional, Default: "homeassistant",
		Meaning: "Topic below which the dashboard looks for announcements. The broker has to let this user write `<prefix>/+/<mqtt.prefix>_<site>/+/config` and read `<prefix>/status`."},
}

// systemKeys are the keys of bodies of water.
var systemKeys = []Key{
	{Path: "systems", Type: tNames, Need: Required, Meaning: "Bodies of water by name; tanks that share plumbing are one system."},
	{Path: "systems.*", Type: tMapping, Need: Required, Meaning: "One body of water."},
	{Path: "systems.*.kind", Type: "coral, fish or treatment", Need: Required,
		Meaning: "What lives in it. In a `treatment` system nothing is raised automatically."},
	{Path: "systems.*.net_volume", Type: "a volume with its unit, such as 340 L", Need: Required,
		Meaning: "Water only, less rock, sand and freeboard: 5 L to 20000 L."},
	{Path: "systems.*.salinity", Type: "a salinity with its unit, such as 35 psu", Need: Required, Meaning: "Usual salinity."},
	{Path: "systems.*.temperature", Type: "a temperature with its unit, such as 25.5 degC", Need: Required, Meaning: "Usual temperature."},
	{Path: "systems.*.evaporation", Type: "a volume per day with its unit, such as 3 L/day", Need: Optional, Default: "not declared, limewater is refused",
		Meaning: "What evaporates in a day, and is made up with fresh water or limewater: at most a tenth of net_volume. All limewater of the system stays within it."},
	{Path: "systems.*.light", Type: tMapping, Need: Optional, Default: "of corals, a weak cycle with light from 09:00 to 19:00 is assumed",
		Meaning: "When the lights are on, local time. Corals use more in the light, so alkalinity is highest when it comes and lowest when it goes: a test is read with its hour. Counts for `coral` systems, alkalinity and calcium; it does not move runs."},
	{Path: "systems.*.light.from", Type: tClock, Need: Required, Meaning: "When they come on."},
	{Path: "systems.*.light.to", Type: tClock, Need: Required, Meaning: "When they go off; before `from` if that is after midnight."},
	{Path: "systems.*.quantities", Type: tNames, Need: Required,
		Meaning: "Quantities with a target, by name: alkalinity, calcium, magnesium … May be empty: `{}`."},
	{Path: "systems.*.quantities.*", Type: tMapping, Need: Required, Meaning: "What is wanted of one quantity."},
	{Path: "systems.*.quantities.*.target", Type: "a level with its unit", Need: Required,
		Meaning: "Level to hold; inside what a living tank can have."},
	{Path: "systems.*.quantities.*.band", Type: "a level with its unit", Need: Depends,
		Default: "0.5 dKH, 20 mg/L calcium, 50 mg/L magnesium; required for others",
		Meaning: "Half width of what counts as on target. Above target + band nothing is raised."},
	{Path: "systems.*.quantities.*.max_rise", Type: "a change per day with its unit", Need: Required,
		Meaning: "Largest correction upwards per day, on top of what is used up. Hard bounds hold where a channel follows the quantity."},
	{Path: "systems.*.quantities.*.max_fall", Type: "a change per day with its unit", Need: Optional, Default: "max_rise",
		Meaning: "Fastest fall of the level that tests alone may bring about."},
	{Path: "systems.*.quantities.*.max_dose", Type: "a change per day with its unit", Need: Optional,
		Default: "the sum of per_day × strength over the channels that move the quantity",
		Meaning: "Everything dosed in any 24 h, all channels together."},
	{Path: "systems.*.quantities.*.test", Type: tMapping, Need: Required, Meaning: "The keeper's tests of this quantity."},
	{Path: "systems.*.quantities.*.test.sd", Type: "a level with its unit", Need: Required,
		Meaning: "Repeatability of the test: standard deviation of repeated tests of one sample."},
	{Path: "systems.*.quantities.*.test.due_every", Type: tDuration, Need: Optional, Default: "no reminder",
		Meaning: "How often a test is due.", Unguarded: "nobody is reminded to test"},
	{Path: "systems.*.quantities.*.test.stale_after", Type: tDuration, Need: Depends,
		Default: "10d alkalinity, 21d calcium, 42d magnesium; required for others",
		Meaning: "Age at which the last test no longer corrects anything. Not above 21d alkalinity, 42d calcium, 60d others."},
}
