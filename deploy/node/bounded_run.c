#include "bounded_run.h"

#include <stdio.h>
#include <string.h>

/* What a message says. A field that is not there, or cannot be read, stays as it was. */
struct command {
	int version;
	int64_t ms; /* running time; -1: none */
	int64_t expires; /* unix time; 0: none */
	char id[BR_ID + 1];
};

/* ---- a reader for one flat JSON object; nested values are skipped ---- */

static const char *blank(const char *p, const char *end) {
	while (p < end && (*p == ' ' || *p == '\t' || *p == '\n' || *p == '\r')) p++;
	return p;
}

/* quoted gives the end of a string that begins at p, or NULL. */
static const char *quoted(const char *p, const char *end) {
	if (p >= end || *p != '"') return NULL;
	for (p++; p < end && *p != '"'; p++) {
		if ((unsigned char)*p < ' ') return NULL;
		if (*p == '\\') p++;
	}
	return p < end ? p + 1 : NULL;
}

/* value gives the end of any value that begins at p, or NULL. */
static const char *value(const char *p, const char *end) {
	int depth = 0;
	const char *from = p;
	for (; p < end; p++) {
		if (*p == '"') {
			if (!(p = quoted(p, end))) return NULL;
			p--;
		} else if (*p == '{' || *p == '[') {
			depth++;
		} else if (*p == '}' || *p == ']') {
			if (depth-- == 0) break;
		} else if (*p == ',' && depth == 0) {
			break;
		}
	}
	return depth <= 0 && p > from ? p : NULL;
}

static int is(const char *p, const char *end, const char *word) {
	size_t n = strlen(word);
	return (size_t)(end - p) == n && memcmp(p, word, n) == 0;
}

/* thousandths reads a number above 0 with a point and without an exponent, and cuts what is finer: a run is never longer
 * than it says. Beyond an hour it stops counting: that is too long for everybody. */
static int64_t thousandths(const char *p, const char *end) {
	int64_t n = 0;
	int decimals = -1, digits = 0;
	for (; p < end; p++) {
		if (*p == '.' && decimals < 0 && digits > 0) {
			decimals = 0;
		} else if (*p >= '0' && *p <= '9') {
			digits++;
			if (decimals < 3 && n < 3600000000LL) n = n * 10 + (*p - '0');
			if (decimals >= 0 && decimals < 3) decimals++;
		} else {
			return -1;
		}
	}
	for (; decimals < 3; decimals = decimals < 0 ? 1 : decimals + 1)
		if (n < 3600000000LL) n *= 10;
	return digits > 0 ? n : -1;
}

/* moment reads "2027-03-02T09:00:10Z" as unix time, or gives 0. */
static int64_t moment(const char *p, const char *end) {
	static const char shape[] = "0000-00-00T00:00:00Z";
	int f[6] = {0}, field = 0, i;
	int64_t y, days;
	if (end - p != (int)sizeof shape - 1) return 0;
	for (i = 0; shape[i]; i++) {
		if (shape[i] != '0') {
			if (p[i] != shape[i]) return 0;
			field++;
		} else if (p[i] < '0' || p[i] > '9') {
			return 0;
		} else {
			f[field] = f[field] * 10 + (p[i] - '0');
		}
	}
	if (f[1] < 1 || f[1] > 12 || f[2] < 1 || f[2] > 31 || f[3] > 23 || f[4] > 59 || f[5] > 60) return 0;
	/* days since 1970 of a date of the Gregorian calendar, years counted from March */
	y = f[0] - (f[1] <= 2);
	days = 365 * y + y / 4 - y / 100 + y / 400 + (153 * (f[1] + (f[1] > 2 ? -3 : 9)) + 2) / 5 + f[2] - 1 - 719468;
	return ((days * 24 + f[3]) * 60 + f[4]) * 60 + f[5];
}

static void take(struct command *c, const char *key, const char *key_end, const char *p, const char *end) {
	if (is(key, key_end, "v")) {
		c->version = is(p, end, "1");
	} else if (is(key, key_end, "seconds")) {
		c->ms = thousandths(p, end);
	} else if (is(key, key_end, "expires")) {
		c->expires = end - p > 1 && *p == '"' ? moment(p + 1, end - 1) : 0;
	} else if (is(key, key_end, "id")) {
		size_t n = end - p > 1 && *p == '"' ? (size_t)(end - p) - 2 : 0;
		size_t i;
		c->id[0] = 0;
		if (n > BR_ID) return;
		for (i = 0; i < n; i++) /* what would have to be escaped in a report is no id */
			if (p[i + 1] < ' ' || p[i + 1] > '~' || p[i + 1] == '"' || p[i + 1] == '\\') return;
		memcpy(c->id, p + 1, n);
		c->id[n] = 0;
	}
}

/* read fills a command; 0 if the message is no object. */
static int read(struct command *c, const char *p, size_t length) {
	const char *end = p + length;
	memset(c, 0, sizeof *c);
	c->ms = -1;
	p = blank(p, end);
	if (p >= end || *p++ != '{') return 0;
	for (;;) {
		const char *key, *key_end, *from, *to;
		key = blank(p, end);
		if (!(key_end = quoted(key, end))) return 0;
		p = blank(key_end, end);
		if (p >= end || *p++ != ':') return 0;
		from = blank(p, end);
		if (from >= end || !(p = value(from, end))) return 0;
		for (to = p; to > from && (to[-1] == ' ' || to[-1] == '\t' || to[-1] == '\n' || to[-1] == '\r'); to--) {}
		take(c, key + 1, key_end - 1, from, to);
		if (p >= end) return 0;
		if (*p == '}') return blank(p + 1, end) == end;
		if (*p++ != ',') return 0;
	}
}

/* ---- the contract ---- */

static void say(struct br_board *b, int output, const char *id, const char *state, const char *reason, int64_t ms) {
	char json[BR_REPORT], part[48] = "";
	if (reason)
		snprintf(part, sizeof part, ",\"reason\":\"%s\"", reason);
	else if (ms >= 0)
		snprintf(part, sizeof part, ",\"seconds\":%lu.%03lu", (unsigned long)(ms / 1000), (unsigned long)(ms % 1000));
	b->seq++;
	snprintf(json, sizeof json, "{\"v\":1,\"id\":\"%s\",\"state\":\"%s\"%s,\"boot\":%lu,\"seq\":%lu}", id, state, part,
	         (unsigned long)b->memory.boot, (unsigned long)b->seq);
	b->report(b->self, output, json);
}

static void keep(struct br_board *b) {
	if (b->keep) b->keep(b->self, &b->memory);
}

static int known(const struct br_board *b, const char *id) {
	int i;
	for (i = 0; i < BR_IDS; i++)
		if (strcmp(b->memory.ids[i], id) == 0) return 1;
	return 0;
}

static void end_run(struct br_board *b, int i, const char *state, uint32_t now_ms) {
	b->output(b->self, i + 1, 0);
	b->run[i].on = 0;
	say(b, i + 1, b->run[i].id, state, NULL, (int64_t)(uint32_t)(now_ms - b->run[i].began_ms));
}

void br_begin(struct br_board *b) {
	int i;
	for (i = 0; i < b->outputs; i++) {
		b->output(b->self, i + 1, 0);
		b->run[i].on = 0;
	}
	for (i = 0; i < BR_IDS; i++) b->memory.ids[i][BR_ID] = 0; /* whatever was stored, it ends */
	if (b->longest_ms > BR_LONGEST_MS) b->longest_ms = BR_LONGEST_MS;
	b->memory.next %= BR_IDS;
	b->memory.boot++;
	b->seq = 0;
	keep(b);
}

void br_run(struct br_board *b, int output, const char *json, size_t length, int retained, uint32_t now_ms, int64_t unix_s) {
	struct command c;
	const char *reason = NULL;
	int i = output - 1;
	br_tick(b, now_ms);
	if (retained || i < 0 || i >= b->outputs) return;
	if (!read(&c, json, length) || !c.version || !c.id[0] || strcmp(c.id, "*") == 0 || c.ms <= 0) return;
	if (known(b, c.id)) {
		say(b, output, c.id, "refused", "repeated", -1);
		return;
	}
	memcpy(b->memory.ids[b->memory.next], c.id, sizeof c.id);
	b->memory.next = (uint8_t)((b->memory.next + 1) % BR_IDS);
	keep(b); /* before the output goes on: a restart must not run it again */
	if (unix_s && unix_s > c.expires)
		reason = "expired";
	else if (b->run[i].on)
		reason = "busy";
	else if (c.ms > (int64_t)b->longest_ms)
		reason = "too_long";
	if (reason) {
		say(b, output, c.id, "refused", reason, -1);
		return;
	}
	b->run[i].began_ms = now_ms; /* the end is set before the output goes on */
	b->run[i].length_ms = (uint32_t)c.ms;
	memcpy(b->run[i].id, c.id, sizeof c.id);
	b->run[i].on = 1;
	b->output(b->self, output, 1);
	say(b, output, c.id, "started", NULL, -1);
}

void br_stop(struct br_board *b, int output, const char *json, size_t length, int retained, uint32_t now_ms) {
	struct command c;
	int i, all;
	br_tick(b, now_ms);
	if (retained) return;
	all = !read(&c, json, length) || !c.id[0] || strcmp(c.id, "*") == 0;
	for (i = 0; i < b->outputs; i++)
		if (b->run[i].on && (output == 0 || output == i + 1) && (all || strcmp(c.id, b->run[i].id) == 0))
			end_run(b, i, "stopped", now_ms);
}

void br_tick(struct br_board *b, uint32_t now_ms) {
	int i;
	for (i = 0; i < b->outputs; i++) {
		uint32_t ran = now_ms - b->run[i].began_ms;
		if (b->run[i].on && (ran >= b->run[i].length_ms || ran >= b->longest_ms)) end_run(b, i, "finished", now_ms);
	}
}
