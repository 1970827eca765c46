/* Drives bounded_run.c from standard input in a time of its own, for tests: each line is
 *   MS UNIX VERB OUTPUT RETAINED PAYLOAD
 * with the verb run, stop, tick or boot. It prints what the outputs do and what is reported. */
#include "bounded_run.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void output(void *self, int output, int on) {
	(void)self;
	printf("%s %d\n", on ? "on" : "off", output);
}

static void report(void *self, int output, const char *json) {
	(void)self;
	printf("report %d %s\n", output, json);
}

int main(int argc, char **argv) {
	static char line[1 << 20], payload[1 << 20];
	struct br_board b = {0};
	b.outputs = argc > 1 ? atoi(argv[1]) : 2;
	b.longest_ms = argc > 2 ? (uint32_t)strtoul(argv[2], NULL, 10) : 60000;
	b.output = output;
	b.report = report;
	br_begin(&b);
	while (fgets(line, sizeof line, stdin)) {
		unsigned long ms;
		long long unix_s;
		char verb[8];
		int out, retained, at = 0;
		size_t n;
		if (sscanf(line, "%lu %lld %7s %d %d %n", &ms, &unix_s, verb, &out, &retained, &at) < 5) return 2;
		n = strcspn(line + at, "\n");
		memcpy(payload, line + at, n);
		if (strcmp(verb, "run") == 0)
			br_run(&b, out, payload, n, retained, (uint32_t)ms, unix_s);
		else if (strcmp(verb, "stop") == 0)
			br_stop(&b, out, payload, n, retained, (uint32_t)ms);
		else if (strcmp(verb, "boot") == 0)
			br_begin(&b);
		else
			br_tick(&b, (uint32_t)ms);
		printf("ok\n");
		fflush(stdout);
	}
	return 0;
}
