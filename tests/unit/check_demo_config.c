/* The demo's configuration against the option table and against what the demo plant says.
 */
#include "unit.h"

#include "messages.h"
#include "plant.h"
#include "zone.h"

#include <heatbook/config.h>

static struct buffer filled_in(void)
{
	static const struct {
		const char *placeholder, *value;
	} cases[] = {{"@DIR@", "/run/demo"}, {"@BROKER_PORT@", "1884"},
		{"@HTTP_PORT@", "8721"}};
	_cleanup_(freep) char *path =
		xstrdup(data_path("../../etc/demo/heatbook-demo.conf"));
	struct buffer text = {0};
	char line[512];
	FILE *f = fopen(path, "re");
	ck_assert_msg(f != NULL, "%s: cannot open", path);
	while (fgets(line, sizeof(line), f)) {
		bool done = line[0] == ';'; /* comments name the placeholders */
		for (size_t i = 0; i < ARRAY_LEN(cases) && !done; i++) {
			char *at = strstr(line, cases[i].placeholder);
			if (!at)
				continue;
			buffer_add(&text, line, (size_t)(at - line));
			buffer_add_text(&text, cases[i].value);
			buffer_add_text(&text, at + strlen(cases[i].placeholder));
			done = true;
		}
		if (!done)
			buffer_add_text(&text, line);
	}
	(void)fclose(f); /* only read */
	return text;
}

static struct config *demo_config(void)
{
	struct buffer text = filled_in();
	struct faults faults = {0}, notes = {0};
	struct config *config = NULL;
	int r = config_parse(
		"demo.conf", text.data, text.length, &config, &faults, &notes);
	ck_assert_msg(r == 0, "%s", faults.count ? faults.lines[0] : "unreadable");
	faults_release(&faults);
	faults_release(&notes);
	buffer_release(&text);
	return config;
}

TEST(the_demo_configuration_is_accepted)
{
	_cleanup_(config_freep) struct config *config = demo_config();
	static const enum role roles[] = {ROLE_FLOW_TEMPERATURE, ROLE_RETURN_TEMPERATURE,
		ROLE_FLOW_RATE, ROLE_WATER_PRESSURE, ROLE_OUTDOOR_TEMPERATURE,
		ROLE_OUTDOOR_HUMIDITY, ROLE_ROOM_TEMPERATURE, ROLE_CYLINDER_TEMPERATURE,
		ROLE_TARGET_FLOW_TEMPERATURE, ROLE_COMPRESSOR_FREQUENCY,
		ROLE_OPERATING_MODE, ROLE_VALVE, ROLE_DEFROST};
	for (size_t i = 0; i < ARRAY_LEN(roles); i++)
		ck_assert_msg(config_role(config, roles[i]) >= 0, "no channel is the %s",
			role_name(roles[i]));
	ck_assert_uint_eq(config->meter_count, 2);
	ck_assert_int_eq(config->broker.port, 1884);
	ck_assert_int_eq(config->http.port, 8721);
	ck_assert_str_eq(config->store.file, "/run/demo/heatbook.db");
}
END

	struct heard {
	const struct config *config;
	bool channel[CHANNELS_MOST];
};

/* The pointer's last key is enough: no two objects of a payload share one. */
static bool feeds(const struct channel_config *channel, const struct message *m)
{
	if (!channel->topic || strcmp(channel->topic, m->topic) != 0)
		return false;
	if (!channel->pointer)
		return m->payload[0] != '{';
	_cleanup_(freep) char *key =
		xasprintf("\"%s\":", strrchr(channel->pointer, '/') + 1);
	return strstr(m->payload, key) != NULL;
}

static void hear(const struct message *m, void *context)
{
	struct heard *heard = context;
	bool wanted = !strcmp(m->topic, GATEWAY_TOPIC);
	for (size_t i = 0; i < heard->config->channel_count; i++) {
		bool fed = feeds(&heard->config->channels[i], m);
		heard->channel[i] = heard->channel[i] || fed;
		wanted = wanted || fed;
	}
	ck_assert_msg(wanted, "%s is mapped to nothing", m->topic);
}

TEST(every_channel_is_fed_and_every_message_is_mapped)
{
	_cleanup_(config_freep) struct config *config = demo_config();
	struct heard heard = {.config = config};
	struct plant plant;
	ck_assert_int_eq(zone_open(), 0);
	plant_init(&plant, &(struct plant_settings){.seed = 1});
	for (int i = 0; i < 360; i++)
		messages_of_step(plant_advance(&plant), hear, &heard);
	for (size_t i = 0; i < config->channel_count; i++)
		ck_assert_msg(
			heard.channel[i], "nothing feeds %s", config->channels[i].name);
}
END

TESTS(the_demo_configuration_is_accepted, every_channel_is_fed_and_every_message_is_mapped)
