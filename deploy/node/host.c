/* A pump board on a computer: bounded_run.c with mosquitto's client library (2.0; link with -lmosquitto -lpthread). It
 * prints what its outputs would do; put your pins where it does.
 *
 *   host HOST PORT CLIENT ROOT OUTPUTS LONGEST_MS MEMORY_FILE
 *
 * Topics: ROOT/<output>/run, ROOT/<output>/stop, ROOT/<output>/report, ROOT/online. The network has a thread of its own, so that it
 * never holds the one that ends runs. */
#include "bounded_run.h"

#include <mosquitto.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

struct node {
	struct br_board board;
	struct mosquitto *client;
	const char *root, *file;
	pthread_mutex_t lock; /* around the board */
};

static volatile sig_atomic_t asked_to_end;

static void end(int signal) {
	(void)signal;
	asked_to_end = 1;
}

static uint32_t now_ms(void) {
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (uint32_t)((uint64_t)t.tv_sec * 1000 + (uint64_t)t.tv_nsec / 1000000);
}

static void output(void *self, int output, int on) {
	(void)self;
	printf("output %d %s\n", output, on ? "on" : "off");
	fflush(stdout);
}

static void report(void *self, int output, const char *json) {
	struct node *n = self;
	char topic[256];
	snprintf(topic, sizeof topic, "%s/%d/report", n->root, output);
	mosquitto_publish(n->client, NULL, topic, (int)strlen(json), json, 1, false);
}

/* keep writes a new file and puts it in the place of the old one: a power cut leaves one of both. */
static void keep(void *self, const struct br_memory *memory) {
	struct node *n = self;
	char path[512];
	FILE *f;
	int good;
	snprintf(path, sizeof path, "%s.new", n->file);
	if (!(f = fopen(path, "wb"))) return; /* the board still knows its ids until it restarts */
	good = fwrite(memory, sizeof *memory, 1, f) == 1 && fflush(f) == 0 && fsync(fileno(f)) == 0;
	if (fclose(f) == 0 && good) rename(path, n->file);
}

static void load(struct node *n) {
	FILE *f = fopen(n->file, "rb");
	if (!f) return;
	if (fread(&n->board.memory, sizeof n->board.memory, 1, f) != 1) memset(&n->board.memory, 0, sizeof n->board.memory);
	fclose(f);
}

/* Subscriptions first, then the word that the board is there. */
static void connected(struct mosquitto *client, void *self, int code) {
	struct node *n = self;
	char topic[256];
	if (code) return;
	snprintf(topic, sizeof topic, "%s/+/run", n->root);
	mosquitto_subscribe(client, NULL, topic, 0);
	snprintf(topic, sizeof topic, "%s/+/stop", n->root);
	mosquitto_subscribe(client, NULL, topic, 0);
	snprintf(topic, sizeof topic, "%s/online", n->root);
	mosquitto_publish(client, NULL, topic, 1, "1", 1, true);
}

static void message(struct mosquitto *client, void *self, const struct mosquitto_message *m) {
	struct node *n = self;
	size_t root = strlen(n->root);
	int number = 0, at = 0;
	(void)client;
	if (strncmp(m->topic, n->root, root) != 0 || sscanf(m->topic + root, "/%d/%n", &number, &at) != 1 || !at) return;
	pthread_mutex_lock(&n->lock);
	if (strcmp(m->topic + root + at, "run") == 0)
		br_run(&n->board, number, m->payload, (size_t)m->payloadlen, m->retain, now_ms(), (int64_t)time(NULL));
	else
		br_stop(&n->board, number, m->payload, (size_t)m->payloadlen, m->retain, now_ms());
	pthread_mutex_unlock(&n->lock);
}

int main(int argc, char **argv) {
	static struct node n = {.lock = PTHREAD_MUTEX_INITIALIZER};
	char topic[256];
	int i;
	if (argc != 8) {
		fprintf(stderr, "host HOST PORT CLIENT ROOT OUTPUTS LONGEST_MS MEMORY_FILE\n");
		return 2;
	}
	n.root = argv[4];
	n.file = argv[7];
	n.board.outputs = atoi(argv[5]);
	n.board.longest_ms = (uint32_t)strtoul(argv[6], NULL, 10);
	if (n.board.outputs < 1 || n.board.outputs > BR_OUTPUTS || n.board.longest_ms == 0 || strlen(n.root) > 200) return 2;
	n.board.output = output;
	n.board.report = report;
	n.board.keep = keep;
	n.board.self = &n;
	signal(SIGTERM, end);
	signal(SIGINT, end);
	mosquitto_lib_init();
	if (!(n.client = mosquitto_new(argv[3], true, &n))) return 1;
	load(&n);
	br_begin(&n.board);
	snprintf(topic, sizeof topic, "%s/online", n.root);
	mosquitto_will_set(n.client, topic, 1, "0", 1, true);
	mosquitto_connect_callback_set(n.client, connected);
	mosquitto_message_callback_set(n.client, message);
	mosquitto_reconnect_delay_set(n.client, 1, 10, true);
	mosquitto_connect_async(n.client, argv[1], atoi(argv[2]), 15);
	mosquitto_loop_start(n.client);
	while (!asked_to_end) {
		struct timespec pause = {0, 2 * 1000 * 1000};
		pthread_mutex_lock(&n.lock);
		br_tick(&n.board, now_ms());
		pthread_mutex_unlock(&n.lock);
		nanosleep(&pause, NULL);
	}
	pthread_mutex_lock(&n.lock);
	br_stop(&n.board, 0, "", 0, 0, now_ms());
	pthread_mutex_unlock(&n.lock);
	for (i = 0; i < n.board.outputs; i++) output(&n, i + 1, 0);
	mosquitto_publish(n.client, NULL, topic, 1, "0", 1, true);
	mosquitto_disconnect(n.client);
	mosquitto_loop_stop(n.client, false);
	mosquitto_destroy(n.client);
	mosquitto_lib_cleanup();
	return 0;
}
