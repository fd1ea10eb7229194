/*
 * The configuration: one INI file, read through one option table (daemon/base/sections.c)
 * that parser, defaults, range errors, the printed reference and the sample file all come
 * from. A loaded configuration is immutable and complete: every reference between
 * sections is resolved to an index, every quantity is in the unit that its field's name
 * says.
 */
#ifndef HEATBOOK_CONFIG_H
#define HEATBOOK_CONFIG_H

#include <heatbook/base.h>
#include <heatbook/calendar.h>
#include <heatbook/instrument.h>
#include <heatbook/units.h>

#define CONFIG_DEFAULT_PATH "/etc/heatbook/heatbook.conf"
#define CHANNELS_MOST       200
#define METERS_MOST         16
#define SUM_MOST            8
#define SOURCES_MOST        64
#define TABLES_MOST         32

/* What a channel is to the accountant. ROLE_PLAIN channels are kept as series only. */
enum role {
	ROLE_PLAIN,
	ROLE_FLOW_TEMPERATURE,
	ROLE_RETURN_TEMPERATURE,
	ROLE_FLOW_RATE,
	ROLE_WATER_PRESSURE,
	ROLE_OUTDOOR_TEMPERATURE,
	ROLE_OUTDOOR_HUMIDITY,
	ROLE_ROOM_TEMPERATURE,
	ROLE_CYLINDER_TEMPERATURE,
	ROLE_TARGET_FLOW_TEMPERATURE,
	ROLE_COMPRESSOR_FREQUENCY,
	ROLE_OPERATING_MODE,
	ROLE_VALVE,
	ROLE_DEFROST,
	ROLE_HEAT_POWER,
	ROLE_HEAT_REGISTER,
	ROLE_CIRCULATION_PUMP,
	/* What the unit takes its heat from: brine, ground water, or air. */
	ROLE_SOURCE_ENTERING_TEMPERATURE,
	ROLE_SOURCE_LEAVING_TEMPERATURE,
	ROLE_SOURCE_FLOW_RATE,
	ROLE_SOURCE_HEAT_POWER,
	ROLE_COUNT
};

const char *role_name(enum role role);
/* What an owner looks for to fill it: quantity, place, usual words, range. */
const char *role_hint(enum role role);
/* Dimension that the role's unit must have; DIMENSION_COUNT where any will do. */
enum dimension role_dimension(enum role role);
/* Names of the role's states by code (the targets of its map); NULL and 0 for numbers. */
const char *const *role_states(enum role role, size_t *ret_count);

/* Targets of the operating_mode map. The first eight are also the accountant's modes. */
enum operating_mode {
	OPERATING_OFF,
	OPERATING_STANDBY,
	OPERATING_HEATING,
	OPERATING_HOT_WATER,
	OPERATING_COOLING,
	OPERATING_DEFROST,
	OPERATING_OVERRUN,
	OPERATING_FREEZE_PROTECTION,
	OPERATING_COUNT
};
enum valve_position { VALVE_HEATING, VALVE_HOT_WATER, VALVE_COUNT };
enum on_off { STATE_OFF, STATE_ON, ON_OFF_COUNT };

enum time_kind { TIME_ARRIVAL, TIME_PAYLOAD };
enum time_form {
	TIME_FORM_DETECT,
	TIME_FORM_S,
	TIME_FORM_MS,
	TIME_FORM_US,
	TIME_FORM_NS,
	TIME_FORM_ISO
};
enum between_kind { BETWEEN_HOLD, BETWEEN_LINE };
enum retained_kind { RETAINED_IGNORE, RETAINED_STATE };
enum decimal_mark { DECIMAL_DETECT, DECIMAL_POINT, DECIMAL_COMMA };

/* Folds a word in place for comparison: lower case of Latin, Greek and Cyrillic in UTF-8;
 * the length stays. Words of maps, Will messages and missing values are stored folded,
 * payloads are folded before they are compared. */
void text_fold(char *text, size_t length);

/* One `word:target` of a value map; the word is folded to lower case. */
struct map_entry {
	char *word;
	int state; /* index into the channel's states */
};

/* Beyond this, in any own unit, there is no quantity of a house; what is stored and
 * summed in whole numbers stays far within their range. Heatbook's own choice. */
#define VALUE_MOST 1e12

/* How a register counts. */
enum register_kind {
	REGISTER_COUNTS_ON, /* for ever, or up to the modulus */
	REGISTER_DAILY,     /* from 0 at local midnight */
	REGISTER_INCREMENT  /* each message says how much since the one before, a row that
				covers an interval how much in that */
};

struct channel_config {
	char *name; /* [a-z][a-z0-9_]*, at most 48 bytes */
	enum role role;
	char *topic;   /* filter, may hold + and #; NULL for a channel without topic */
	char *pointer; /* RFC 6901, resolved from `each` where set; NULL = bare payload */
	char *each;  /* RFC 6901 to an array, each element of which is a reading; or NULL
		      */
	char *senml; /* record name in a SenML pack (RFC 8428); or NULL */
	const struct unit
		*unit; /* of the payload's number; own unit when not configured */
	enum dimension dimension;
	double scale; /* value = raw * scale + offset, in `unit` */
	double offset;
	int integer_bits; /* 0, or 8/16/32: raw is a wrapped signed integer of that width
			   */
	enum decimal_mark decimal;
	bool thousands; /* the other mark groups thousands */
	struct map_entry *map;
	size_t map_count;
	char **states; /* names of the states, by code; NULL for numeric channels */
	size_t state_count;
	double valid_least; /* in the own unit; -VALUE_MOST where not configured */
	double valid_most;
	int64_t stale_after_ms; /* -1 = no limit of its own */
	enum between_kind between;
	int64_t period_ms; /* how often it is said, changed or not; 0 = not given */
	int64_t line_ms;   /* between readings so far apart at most; 0 = values hold */
	enum time_kind time;
	char *time_pointer; /* RFC 6901; NULL with TIME_PAYLOAD only for SenML */
	enum time_form time_form;
	enum retained_kind retained;
	bool extremes;
	double limit; /* of error, K or percent of reading; NAN where none is given */
	const char *class; /* of the sensor in words, NULL where none is said */
	bool strapped;     /* its class says that it sits on the pipe */
	/* Of a heat_register only. */
	enum register_kind kind;
	double step_kwh, modulus_kwh, most_w;
	bool falls;
	int source; /* index into config.sources; always >= 0 for channels with a topic */
	int line;   /* of the section, for messages */
};

/* Where readings come from; implicit ones are named by the first topic level. */
struct source_config {
	char *name;
	char **topics; /* filters that are its signs of life besides its channels' topics
			*/
	size_t topic_count;
	char *will_topic;   /* or NULL */
	char *will_present; /* words, folded; default "online" / "offline" */
	char *will_gone;
	int64_t silent_after_ms; /* -1 = never */
	bool implicit;
	int line;
};

/* Devices of the plant, a set of which a meter feeds. */
enum device {
	DEVICE_COMPRESSOR = 1, /* with controls, and with the source where none is fed */
	DEVICE_BACKUP_HEATER = 2,
	DEVICE_IMMERSION = 4,
	DEVICE_CIRCULATION = 8,
	DEVICE_SOURCE = 16 /* its fan or pump, metered apart */
};
const char *device_name(enum device device);

struct register_config {
	enum register_kind kind;
	int64_t step_j;
	int64_t modulus_j; /* 0: none */
	double most_w;     /* greatest power that is believed */
	bool falls;        /* it counts down as well: heat that is drawn back */
};

/* A quantity and the registers that count it: they rule its totals, power gives its
 * minutes their shape. */
struct counted {
	bool counts; /* false: what registers there are is kept as series only */
	int registers[SUM_MOST]; /* channel indices: their sum counts */
	size_t register_count;
	struct register_config counting;
};

struct meter_config {
	char *name;
	unsigned feeds;      /* enum device bits, with what meters behind it feed */
	unsigned serves;     /* those whose electricity is its own (meter_serves()) */
	int power[SUM_MOST]; /* channel indices */
	size_t power_count;
	enum register_kind kind;
	double step_kwh, modulus_kwh, most_w;
	struct counted counted; /* its electricity */
	bool difference; /* its rows are those of what it feeds in all, less those of the
			  * meter behind it, since a register counts one of them */
	int less;        /* another meter's index, or -1 */
	double limit_percent; /* rectangular limit of its energy, percent of reading */
	const char *class;    /* in words, NULL where none is said */
	bool apparent;
	int line;
};

/* A column of a table that feeds a channel. */
struct table_column {
	char *column; /* its header, or "#3" by its number; of a long table, the name */
	int channel;
	const struct unit *unit; /* NULL: the channel's, with its scale and offset */
};

enum table_header { HEADER_DETECT, HEADER_YES, HEADER_NO };
enum table_delimiter {
	DELIMITER_DETECT,
	DELIMITER_COMMA,
	DELIMITER_SEMICOLON,
	DELIMITER_TAB,
	DELIMITER_PIPE
};
/* What several rows on one stamp are: each other's like, the last of which counts by the
 * canonical order, or equal parts of what the stamp covers, in the order of their lines.
 */
enum same_stamp { SAME_STAMP_LAST, SAME_STAMP_DIVIDE };

/* A form of CSV table. The upper group decides rows and is part of the mapping's digest;
 * of the lower one, only the import makes use. */
struct table_config {
	char *name;
	char *name_column, *value_column; /* of a long table; NULL = wide */
	struct table_column *columns;     /* by channel */
	size_t column_count;
	int64_t interval_ms;  /* what a row covers; 0 = it holds as a message does */
	bool covers_before;   /* the stamp is its end */
	char **missing_words; /* folded */
	size_t missing_word_count;
	double *missing_numbers; /* those of them that are numbers, such as -9999 */
	size_t missing_number_count;
	int source; /* index into config.sources: a table is its own source */

	char **files; /* shell patterns on the file's name, NULL = by --format alone */
	size_t file_count;
	char *time_column, *clock_column; /* the latter where date and clock are two;
					     NULL = detected, none */
	enum time_form time_form;         /* TIME_FORM_DETECT unless one of the names */
	char *time_pattern; /* text of a pattern, see timepattern.h, or NULL */
	int64_t origin_ms;  /* what numeric times count from */
	char *zone;         /* of times without one; NULL = the plant's */
	int year;           /* of stamps without one; 0 = they have one */
	enum table_delimiter delimiter;
	enum decimal_mark decimal;
	enum table_header header;
	enum same_stamp same_stamp;
	int line;
};

/* What a channel said is believed otherwise for a time: value * factor + offset in its
 * own unit. Of one channel spans do not overlap, and states and registers have none. */
struct correction_config {
	char *name;
	int channel;
	double factor;
	double offset;   /* of temperatures a difference, K */
	int64_t from_ms; /* half open; */
	int64_t to_ms;   /* INT64_MAX: it holds on */
	int line;
};

/* What the unit's maker declares of one pair of temperatures; it decides no row. */
struct declared_config {
	char *name;
	double outdoor_c, flow_c;
	double cop;
	double capacity_w; /* 0 = not given */
	int line;
};
/* What the owner changed, and when. It decides no rows: see comparison.h. */
struct change_config {
	char *name;
	char *what;
	int64_t at_ms;
	int line;
};
/* "NAME: WHAT, at WHEN". */
void change_describe(const struct change_config *change, struct buffer *out);

enum fluid { FLUID_WATER, FLUID_PROPYLENE_GLYCOL, FLUID_ETHYLENE_GLYCOL };
/* "propylene_glycol" */
const char *fluid_name(enum fluid fluid);
enum pipe { PIPE_RETURN, PIPE_FLOW };
enum heat_source { HEAT_COMPUTED, HEAT_POWER, HEAT_REGISTER };
/* What a unit takes its heat from. */
enum source_kind { SOURCE_NOT_SAID, SOURCE_AIR, SOURCE_GROUND, SOURCE_WATER };

/* Where the heat comes from, where that is measured, too: for the energy balance alone.
 */
struct source_side {
	enum fluid fluid;
	double fluid_percent; /* by volume */
	/* Rectangular limits of error: of heat that is worked out, of heat that is said.
	 */
	double pair_limit_k;
	double flow_limit_percent;
	double heat_limit_percent;
};

struct plant_config {
	char *name;
	char *zone;
	enum fluid fluid;
	double fluid_percent; /* by volume */
	double fluid_coldest_c;
	enum pipe flow_sensor_pipe;
	double pressure_bar;  /* absolute, when pressure_channel < 0 */
	int pressure_channel; /* gauge channel, or -1 */
	enum heat_source heat_source;
	struct counted heat; /* with HEAT_REGISTER */
	enum source_kind source_kind;
	double least_flow_lpm;
	double nominal_lpm; /* while the rooms are heated; 0 = not said */
	/* Where nothing meters the flow: what is taken to flow while a channel says so;
	 * 0 = it is metered. */
	double assumed_flow_lpm;
	bool assumed_mass;    /* it is a flow of mass: kg/min */
	int assumed_channel;  /* -1 without */
	int assumed_state;    /* code of its state; -1 = a number above 0 */
	unsigned devices;     /* enum device bits that the plant has; 0 = derived from the
				 meters */
	double degree_base_c; /* of degree days, unless a question names another */
	struct month_day season_start;
	double design_temperature_c; /* NaN: not said */
	double design_capacity_w;    /* of heat at it; NaN: not said */
	double emitter_exponent; /* of output against excess temperature; 0 = not said */
	/* Rectangular limits of error, see uncertainty.h; they decide no row. The last is
	 * of a heat source that is believed as a whole, else 0. */
	struct difference_limit pair_limit;
	struct difference_limit calculator_limit;
	double flow_limit_percent; /* of an assumed flow 10 at least */
	double source_limit_percent;
	/* Of the pair, and of a thermal energy meter, in words; NULL where not said. */
	const char *pair_class, *heat_class;
	struct source_side source;
};

enum broker_protocol { BROKER_MQTT_311, BROKER_MQTT_5 };

/* Files are paths by now, credentials of the service included; they are read anew for
 * each connection. */
struct broker_config {
	char *host; /* NULL = no broker: the daemon serves what was imported */
	int port;
	enum broker_protocol protocol;
	char *user;
	char *password_file;
	bool tls;
	char *ca_file;          /* NULL with tls = the system's authorities */
	char *certificate_file; /* both or neither, only with tls */
	char *key_file;
	char *client_id; /* NULL = "heatbook-" and the host's name */
	int keepalive_s;
};

struct modes_config {
	double compressor_on_w; /* electricity above which the compressor runs, by rule */
	int64_t overrun_ms;     /* pump after stop counts as overrun for so long */
	double freeze_outdoor_c;
	double freeze_return_c;
	/* What rules hold to where no flag is configured (daemon/account/rules.c). */
	double compressor_off_percent; /* of compressor_on_w: below it stands */
	double defrost_difference_k;   /* flow pipe colder than the return by more */
	double defrost_outdoor_c;
	double defrost_flow_percent; /* of the nominal flow */
	double hot_water_above_k;    /* of the flow above its target */
	double hot_water_lpm;        /* second level of the flow; 0 = there is none */
	double cylinder_rise_k;      /* within five minutes */
};

struct journal_config {
	char *tail; /* directory of the two tail segments */
	int64_t tail_bound_bytes;
	int64_t keep_ms;
	int64_t clock_wait_ms; /* for a clock that is not set; 0 = no wait */
};

struct store_config {
	char *file;
	int64_t commit_interval_ms;
	int64_t keep_minutes_ms; /* -1: for ever */
};

struct http_config {
	char *address;
	int port;
	char *token_file; /* a path by now; NULL = no token is asked for */
	bool open;        /* beyond loopback without a token */
	char **hosts;     /* names that it is asked by, besides its own; small letters */
	size_t host_count;
	char **origins; /* pages of other servers that may ask; small letters */
	size_t origin_count;
	int connections;
	int connections_per_client;
	int streams;             /* fewer than connections */
	int requests_per_client; /* a minute, of one beyond this host */
};
/* Does it serve this host alone, or with a token, or whoever reaches it as the owner
 * said? Nothing else may be served. */
bool http_is_guarded(const struct http_config *http);
/* 127.x.x.x or ::1. */
bool address_is_loopback(const char *address);

/* What heatbook itself says to the broker, and where. */
struct publish_config {
	char *prefix; /* NULL = it publishes nothing */
	int64_t interval_ms;
};

struct config {
	char *path;
	struct plant_config plant;
	struct broker_config broker;
	struct channel_config *channels;
	size_t channel_count;
	struct source_config *sources;
	size_t source_count;
	struct meter_config *meters;
	size_t meter_count;
	struct table_config *tables;
	size_t table_count;
	struct correction_config *corrections; /* by channel and beginning */
	size_t correction_count;
	struct declared_config *declared; /* by outdoor and flow temperature */
	size_t declared_count;
	struct change_config *changes; /* by their instants, no two of which are alike */
	size_t change_count;
	struct cost_config *cost;      /* what electricity costs (tariff.h); never NULL */
	struct notice_config *notices; /* notice.h; in the order of the file */
	size_t notice_count;
	struct modes_config modes;
	char **missing_words; /* folded; words that say "no value" */
	size_t missing_word_count;
	struct journal_config journal;
	struct store_config store;
	struct http_config http;
	struct publish_config publish;
	/* Digest of all that decides rows: plant, channels, sources, meters, tables,
	 * corrections, modes, missing words. The order of channels, sources, meters and
	 * tables counts, that of keys does not. */
	uint64_t mapping_digest;
	uint64_t broker_digest; /* of what [broker] and [publish] say: the connection's */
};

/* Collects faults: one line each, "file:line: what was wrong; what is allowed". */
struct faults {
	char **lines;
	size_t count;
};

void faults_add(struct faults *faults, const char *format, ...) PRINTF_LIKE(2, 3);
void faults_release(struct faults *faults);

/* Reads a file. 0 with *ret, or -errno when it cannot be read, or CONFIG_FAULTY with
 * every fault of the file in `faults`, in the order of its lines; then *ret is not
 * written. `notes` (may be NULL) collects remarks that do not stop the daemon. Success
 * sets the process's zone (calendar_set_zone) unless it is in force already; a refused
 * file leaves the former one. */
enum { CONFIG_FAULTY = 1 };
int config_load(const char *path, struct config **ret, struct faults *faults,
	struct faults *notes);
/* Reads the file of a configuration that is in force again. An option that may not change
 * between start and stop (struct option, fixed) and did is a fault. */
int config_reload(const struct config *former, struct config **ret, struct faults *faults,
	struct faults *notes);
/* The same from text in memory; `path` is only named in messages. */
int config_parse(const char *path, const char *text, size_t length, struct config **ret,
	struct faults *faults, struct faults *notes);
void config_free(struct config *config);
void config_freep(struct config **config);

/* What tells the heat that is taken from the source: source_heat_power, else the flow and
 * both temperatures; SOURCE_UNKNOWN without these. */
enum source_heat { SOURCE_UNKNOWN, SOURCE_SAID, SOURCE_COMPUTED };
enum source_heat config_source_heat(const struct config *config);

/* Index of the channel, meter or table of that name or role, or -1. A role has at most
 * one channel. */
int config_channel(const struct config *config, const char *name);
int config_role(const struct config *config, enum role role);
int config_meter(const struct config *config, const char *name);
int config_table(const struct config *config, const char *name);
/* Whether a meter's power is known at each instant, and that of what is taken off it. */
bool config_meter_has_power(const struct config *config, size_t meter);
/* Whether the map of the operating mode's channel has a word for a mode. */
bool config_names_mode(const struct config *config, enum operating_mode mode);

/* What registers may count: a meter's electricity, by the meter's index, and heat. */
#define COUNTED_HEAT METERS_MOST
#define COUNTED_MOST (METERS_MOST + 1)
/* NULL unless the quantity is configured and counted by registers. */
const struct counted *config_counted(const struct config *config, size_t quantity);
/* What it is called where meters go by name: no meter's name begins with a number. */
#define COUNTED_HEAT_NAME "0"
const char *config_counted_name(const struct config *config, size_t quantity);
/* Whether its rows may differ from what power says. */
bool config_is_laid(const struct config *config, size_t quantity);
/* Whether anything counts by the channel, or might. */
bool config_is_register(const struct config *config, size_t channel);
/* Whether each of its words is a part of the whole (REGISTER_INCREMENT). */
bool config_is_increment(const struct config *config, size_t channel);

/* The reference of every option, from the table, as commented INI text. */
void config_print_reference(struct buffer *out);
/* For each question of the owner one line: that it is answered and from what, or which
 * role or meter is missing; then, for each role that is missing somewhere, what to look
 * for. */
void config_check_report(const struct config *config, struct buffer *out);

#endif
