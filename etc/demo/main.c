/*
 * heatbook-demo-plant: the messages of the demo plant, as an archive or live, and its
 * truth.
 *
 * The same seed, change and faults give the same bytes, whatever span is asked: the plant
 * is simulated from its origin each time (about a third of a second a year).
 *
 * What comes from the broker's memory is written as a line of heatbook's journal, since
 * the plain form cannot say so. Truth is blind to sensors and messages at fault.
 */
#include "faults.h"
#include "happenings.h"
#include "live.h"
#include "messages.h"
#include "observer.h"
#include "plant.h"
#include "zone.h"

#include <errno.h>
#include <getopt.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define DEFAULT_CHANGE "2026-01-15"
#define J_PER_KWH      3.6e6
#define EXIT_USAGE     2

struct options {
	int64_t from_s, to_s;
	bool has_from, has_to;
	const char *truth;
	const char *host;
	int port;
	struct plant_rule rules[1 + FAULTS];
	struct plant_settings settings;
	struct faults faults;
};

static const char usage[] =
	"usage: heatbook-demo-plant archive --from TIME --to TIME [--truth FILE] "
	"[OPTION…]\n"
	"       heatbook-demo-plant truth --from TIME --to TIME [OPTION…]\n"
	"       heatbook-demo-plant happenings --from TIME --to TIME [OPTION…]\n"
	"       heatbook-demo-plant live --host HOST --port PORT [OPTION…]\n"
	"       heatbook-demo-plant faults [OPTION…]\n"
	"\n"
	"archive  lines 'epoch topic payload' of [from, to) on standard output; --truth "
	"also\n"
	"         writes what a careful observer makes of them, a line a minute and "
	"mode\n"
	"truth    the plant's own heat and electricity by local day, as CSV\n"
	"happenings  what the plant did that began in [from, to): runs, defrosts, "
	"hot water,\n"
	"         immersion, freeze protection, as CSV in the order in which they "
	"ended\n"
	"live     publishes at true pace until SIGTERM; only faults of the plant itself "
	"show\n"
	"faults   the chosen faults, or every one, as CSV: when, what is to be found, "
	"how soon\n"
	"\n"
	"TIME is 2026-01-31T00:00:00+01:00 or a local date, not before 2024-07-01.\n"
	"  --seed N       another plant of the same kind (default 1)\n"
	"  --change DATE  from when the heating curve is the flat one "
	"(default " DEFAULT_CHANGE ")\n"
	"  --lower K      both curves lower by so many kelvins, 0 to 20 (default 0)\n"
	"  --faults LIST  all, or names between commas: at their dates in the first "
	"year; all\n"
	"                 is without emitters_shut and frosty_standstill, which are "
	"no faults\n"
	"  --fault NAME=FROM/TO  one of them then, or NAME=TIME for an instant\n";

/* ---- archive ---- */

struct archive {
	int64_t from_ms, to_ms;
	struct observer *observer; /* or NULL */
	struct fault_way *way;     /* or NULL: nothing happens to messages */
};

static bool within(const struct archive *archive, const struct message *message)
{
	return message->t_ms >= archive->from_ms && message->t_ms < archive->to_ms;
}

static void replayed_line(const struct message *message)
{
	(void)printf("{\"kind\":\"message\",\"t_ms\":%lld,\"retained\":true,"
		     "\"topic\":\"%s\",\"payload\":\"",
		(long long)message->t_ms, message->topic);
	for (const char *c = message->payload; *c; c++)
		(void)printf(*c == '"' ? "\\%c" : "%c", *c);
	(void)printf("\"}\n");
}

static void archive_line(const struct message *message, void *context)
{
	if (!within(context, message))
		return;
	if (message->replayed)
		replayed_line(message);
	else
		(void)printf("%lld.%03d %s %s\n", (long long)(message->t_ms / 1000),
			(int)(message->t_ms % 1000), message->topic, message->payload);
}

static void observe(const struct message *message, void *context)
{
	struct archive *archive = context;
	if (within(archive, message))
		observer_take(archive->observer, message);
}

static void archive_steps(struct archive *archive, const struct options *options)
{
	struct plant plant;
	int64_t from_s = options->from_s;
	if (archive->way)
		from_s = fault_way_begin(&options->faults, from_s);
	plant_init(&plant, &options->settings);
	plant_run_to(&plant, from_s);
	while (plant.t_s < options->to_s) {
		const struct plant_step *step = plant_advance(&plant);
		if (archive->way)
			fault_way_step(archive->way, step);
		else
			messages_of_step(step, archive_line, archive);
		if (archive->observer)
			messages_of_step(step, observe, archive);
	}
}

static int close_written(FILE *f, const char *name)
{
	int error = ferror(f) ? EIO : 0;
	if (fclose(f) != 0 && !error)
		error = errno;
	if (error)
		(void)fprintf(
			stderr, "heatbook-demo-plant: %s: %s\n", name, strerror(error));
	return error ? 1 : 0;
}

static int run_archive(const struct options *options)
{
	struct observer observer;
	struct archive archive = {
		.from_ms = options->from_s * 1000, .to_ms = options->to_s * 1000};
	FILE *truth = NULL;
	if (options->truth) {
		truth = fopen(options->truth, "we");
		if (!truth) {
			(void)fprintf(stderr, "heatbook-demo-plant: %s: %s\n",
				options->truth, strerror(errno));
			return 1;
		}
		observer_init(&observer, truth, archive.from_ms);
		archive.observer = &observer;
	}
	if (faults_any(&options->faults))
		archive.way = fault_way_new(
			&options->faults, options->settings.seed, archive_line, &archive);
	archive_steps(&archive, options);
	fault_way_free(archive.way);
	int status = close_written(stdout, "standard output");
	if (!truth)
		return status;
	observer_finish(&observer, archive.to_ms);
	if (observer.first_ms < archive.to_ms)
		(void)fprintf(stderr, "truth from minute %lld\n",
			(long long)(observer.first_ms / 1000));
	else
		(void)fprintf(stderr, "truth is empty: some channel never reported\n");
	return close_written(truth, options->truth) || status;
}

/* ---- truth ---- */

struct truth_day {
	double heat_j[PLANT_MODES];
	double compressor_j, pump_j, immersion_j;
	/* While it heats: electricity of unit and pump, temperatures times heat. */
	double heating_unit_j, heating_flow, heating_outdoor, heating_room;
	double outdoor_c, room_c; /* sums */
	int steps, starts, defrosts, taps;
};

static void truth_add_heating(struct truth_day *day, const struct plant_step *s)
{
	double heat_j = s->heat_w * PLANT_STEP_S;
	day->heating_unit_j += (s->compressor_w + s->pump_w) * PLANT_STEP_S;
	day->heating_flow += heat_j * s->flow_c;
	day->heating_outdoor += heat_j * s->outdoor_c;
	day->heating_room += heat_j * s->room_c;
}

static void truth_add(struct truth_day *day, const struct plant_step *s)
{
	if (s->mode == PLANT_HEATING)
		truth_add_heating(day, s);
	day->heat_j[s->mode] += s->heat_w * PLANT_STEP_S;
	day->compressor_j += s->compressor_w * PLANT_STEP_S;
	day->pump_j += s->pump_w * PLANT_STEP_S;
	day->immersion_j += s->immersion_w * PLANT_STEP_S;
	day->outdoor_c += s->outdoor_c;
	day->room_c += s->room_c;
	day->steps++;
	day->starts += s->start;
	day->defrosts += s->defrost_start;
	day->taps += s->tap_start;
}

static void truth_header(void)
{
	(void)printf("date,start_epoch_s,end_epoch_s");
	for (int mode = 0; mode < PLANT_MODES; mode++)
		(void)printf(",%s_kwh", plant_mode_name((enum plant_mode)mode));
	(void)printf(",compressor_kwh,circulation_kwh,immersion_kwh,starts,defrosts,"
		     "hot_water_runs,outdoor_c,room_c,heating_unit_kwh,heating_flow_c,"
		     "heating_outdoor_c,heating_room_c\n");
}

/* Weighted by heat; empty on a day without any. */
static void truth_mean(double weighted, double heat_j)
{
	if (heat_j > 0.0)
		(void)printf(",%.4f", weighted / heat_j);
	else
		(void)printf(",");
}

static void truth_line(const struct truth_day *day, int64_t from_s, int64_t to_s)
{
	char date[16];
	zone_date(from_s, date);
	(void)printf("%s,%lld,%lld", date, (long long)from_s, (long long)to_s);
	for (int mode = 0; mode < PLANT_MODES; mode++)
		(void)printf(",%.4f", day->heat_j[mode] / J_PER_KWH + 0.0);
	(void)printf(",%.4f,%.4f,%.4f,%d,%d,%d,%.2f,%.2f,%.4f",
		day->compressor_j / J_PER_KWH, day->pump_j / J_PER_KWH,
		day->immersion_j / J_PER_KWH, day->starts, day->defrosts, day->taps,
		day->outdoor_c / day->steps, day->room_c / day->steps,
		day->heating_unit_j / J_PER_KWH);
	truth_mean(day->heating_flow, day->heat_j[PLANT_HEATING]);
	truth_mean(day->heating_outdoor, day->heat_j[PLANT_HEATING]);
	truth_mean(day->heating_room, day->heat_j[PLANT_HEATING]);
	(void)printf("\n");
}

static int run_truth(const struct options *options)
{
	struct plant plant;
	plant_init(&plant, &options->settings);
	plant_run_to(&plant, options->from_s);
	truth_header();
	while (plant.t_s < options->to_s) {
		struct truth_day day = {0};
		int64_t from_s = plant.t_s, end_s = zone_day_start(from_s, 1);
		if (end_s > options->to_s)
			end_s = options->to_s;
		while (plant.t_s < end_s)
			truth_add(&day, plant_advance(&plant));
		truth_line(&day, from_s, plant.t_s);
	}
	return close_written(stdout, "standard output");
}

static int run_happenings(const struct options *options)
{
	happenings_list(&options->settings, options->from_s, options->to_s, stdout);
	return close_written(stdout, "standard output");
}

static int run_live(const struct options *options)
{
	return live_run(&options->settings, options->host, options->port);
}

static int run_faults(const struct options *options)
{
	struct faults all = {0};
	faults_all(&all);
	faults_list(faults_any(&options->faults) ? &options->faults : &all, stdout);
	return close_written(stdout, "standard output");
}

/* ---- command line ---- */

static int refuse(const char *what)
{
	(void)fprintf(stderr, "heatbook-demo-plant: %s\n%s", what, usage);
	return -1;
}

static int parse_number(const char *text, uint64_t most, uint64_t *ret)
{
	char *end;
	errno = 0;
	unsigned long long n = strtoull(text, &end, 10);
	if (errno || end == text || *end || text[0] == '-' || n > most)
		return -1;
	*ret = n;
	return 0;
}

static int parse_lower(const char *text, double *ret_k)
{
	char *end;
	double k = strtod(text, &end);
	if (end == text || *end || !(k >= 0.0 && k <= 20.0))
		return refuse("--lower: 0 to 20 kelvins");
	*ret_k = k;
	return 0;
}

static int parse_option(int letter, struct options *options)
{
	uint64_t number;
	switch (letter) {
	case 'f':
		options->has_from = true;
		return zone_parse(optarg, &options->from_s) < 0
			       ? refuse("--from: no time")
			       : 0;
	case 't':
		options->has_to = true;
		return zone_parse(optarg, &options->to_s) < 0 ? refuse("--to: no time")
							      : 0;
	case 'c':
		return zone_parse(optarg, &options->rules[0].to_s) < 0
			       ? refuse("--change: no date")
			       : 0;
	case 'l':
		return parse_lower(optarg, &options->settings.lower_k);
	case 's':
		return parse_number(optarg, UINT64_MAX, &options->settings.seed) < 0
			       ? refuse("--seed: no whole number")
			       : 0;
	case 'p':
		if (parse_number(optarg, 65535, &number) < 0 || number == 0)
			return refuse("--port: 1..65535");
		options->port = (int)number;
		return 0;
	case 'h':
		options->host = optarg;
		return 0;
	case 'T':
		options->truth = optarg;
		return 0;
	case 'F':
		return faults_choose(&options->faults, optarg) < 0
			       ? refuse("--faults: all, or names that 'faults' lists")
			       : 0;
	case 'P':
		return faults_place(&options->faults, optarg) < 0
			       ? refuse("--fault: NAME=FROM/TO, times in steps of 10 s")
			       : 0;
	default:
		return refuse("unknown option");
	}
}

static int parse_options(int argc, char **argv, struct options *options)
{
	static const struct option longs[] = {{"from", required_argument, NULL, 'f'},
		{"to", required_argument, NULL, 't'},
		{"seed", required_argument, NULL, 's'},
		{"change", required_argument, NULL, 'c'},
		{"lower", required_argument, NULL, 'l'},
		{"truth", required_argument, NULL, 'T'},
		{"host", required_argument, NULL, 'h'},
		{"port", required_argument, NULL, 'p'},
		{"faults", required_argument, NULL, 'F'},
		{"fault", required_argument, NULL, 'P'}, {NULL, 0, NULL, 0}};
	int letter;
	opterr = 0;
	while ((letter = getopt_long(argc, argv, "", longs, NULL)) >= 0)
		if (parse_option(letter, options) < 0)
			return -1;
	return optind < argc ? refuse("a word too many") : 0;
}

static int check_span(const struct options *options)
{
	if (!options->has_from || !options->has_to)
		return refuse("--from and --to are needed");
	if (options->from_s < PLANT_ORIGIN_S)
		return refuse("--from lies before 2024-07-01");
	return options->from_s >= options->to_s ? refuse("--to must lie after --from")
						: 0;
}

static const struct verb {
	const char *name;
	int (*run)(const struct options *options);
	bool span;
} verbs[] = {{"archive", run_archive, true}, {"truth", run_truth, true},
	{"happenings", run_happenings, true}, {"live", run_live, false},
	{"faults", run_faults, false}};

/* After all options: rules of the plant follow from faults. */
static int prepare(struct options *options)
{
	options->settings.rule_count +=
		faults_rules(&options->faults, options->rules + 1);
	return faults_prepare(&options->faults, &options->settings) < 0
		       ? refuse("a register that was reset does not wrap")
		       : 0;
}

int main(int argc, char **argv)
{
	struct options options = {.host = "127.0.0.1",
		.port = 1883,
		.rules = {{.kind = RULE_STEEP_CURVE, .from_s = PLANT_ORIGIN_S}},
		.settings = {.seed = 1, .rule_count = 1}};
	options.settings.rules = options.rules;
	if (zone_open() < 0) {
		(void)fprintf(
			stderr, "heatbook-demo-plant: no zone Europe/Berlin here\n");
		return 1;
	}
	(void)zone_parse(DEFAULT_CHANGE, &options.rules[0].to_s); /* a valid date */
	if (argc < 2) {
		(void)fputs(usage, stderr);
		return EXIT_USAGE;
	}
	if (!strcmp(argv[1], "--help"))
		return fputs(usage, stdout) < 0;
	for (size_t i = 0; i < sizeof(verbs) / sizeof(verbs[0]); i++) {
		if (strcmp(argv[1], verbs[i].name) != 0)
			continue;
		if (parse_options(argc - 1, argv + 1, &options) < 0 ||
			(verbs[i].span && check_span(&options) < 0) ||
			prepare(&options) < 0)
			return EXIT_USAGE;
		return verbs[i].run(&options);
	}
	return refuse("no such verb") < 0 ? EXIT_USAGE : 0;
}
