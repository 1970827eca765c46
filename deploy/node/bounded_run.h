/* The bounded-run contract of bridge/TOPICS.md for a pump board: which run is taken, when an output goes off, what is
 * reported. It knows no network, no clock and no pin: an adapter brings messages and the time, and does what the three
 * functions below are told. Plain C99, no memory is allocated, nothing waits.
 *
 * The adapter must
 *   call br_begin first, which switches every output off;
 *   call br_tick at least every 10 ms, whatever the network does: on another thread or core, or from a timer;
 *   leave the hardware watchdog to the loop that calls br_tick, so that a loop that hangs is a reset, and a reset is off. */
#ifndef BOUNDED_RUN_H
#define BOUNDED_RUN_H

#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

enum { BR_OUTPUTS = 8, BR_IDS = 16, BR_ID = 64, BR_REPORT = 192, BR_LONGEST_MS = 3600000 };

/* What should outlive a restart: the count of starts, and the last ids. All zero at the very first start. */
struct br_memory {
	uint32_t boot;
	uint8_t next; /* where the next id goes */
	char ids[BR_IDS][BR_ID + 1];
};

struct br_board {
	/* To be filled in before br_begin. */
	int outputs;         /* 1 to BR_OUTPUTS; they are numbered from 1 */
	uint32_t longest_ms; /* no run is longer, whatever a message says; at most BR_LONGEST_MS */
	void (*output)(void *self, int output, int on);
	void (*report)(void *self, int output, const char *json); /* to publish at QoS 1, not retained */
	void (*keep)(void *self, const struct br_memory *memory); /* to store; may be NULL */
	void *self;
	struct br_memory memory;

	/* Its own. */
	uint32_t seq;
	struct {
		int on;
		uint32_t began_ms, length_ms;
		char id[BR_ID + 1];
	} run[BR_OUTPUTS];
};

/* br_begin switches every output off and counts a start. */
void br_begin(struct br_board *b);

/* br_run takes a message of the run topic of an output. now_ms is monotonic and may wrap; unix_s is the time of a clock that is
 * set, or 0. */
void br_run(struct br_board *b, int output, const char *json, size_t length, int retained, uint32_t now_ms, int64_t unix_s);

/* br_stop takes a message of a stop topic; output is 0 where all outputs share one. What cannot be read stops too. */
void br_stop(struct br_board *b, int output, const char *json, size_t length, int retained, uint32_t now_ms);

/* br_tick ends what has run for its time. */
void br_tick(struct br_board *b, uint32_t now_ms);

#ifdef __cplusplus
}
#endif
#endif
