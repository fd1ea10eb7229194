/*
 * Codes of states: by channel and name, given once for ever, so that rows keep their
 * meaning whatever the configuration's order of words is. In memory a state is an index
 * into the configured names; in rows it is its code; STATE_UNKNOWN is the same in both.
 */
#include "database.h"

#include <heatbook/query.h>
#include <heatbook/reading.h>

#include <string.h>

void state_names_release(struct state_names *names)
{
	for (size_t i = 0; i < names->count; i++)
		free(names->names[i]);
	free(names->names);
	*names = (struct state_names){0};
}

int store_state_names(struct store *s, size_t channel, struct state_names *ret)
{
	sqlite3_stmt *get = store_statement_of(s, SQL_STATE_CODES);
	struct state_names names = {0};
	int rc;

	if (!get)
		return s->unprepared;
	bind_text(get, ":channel", s->config->channels[channel].name);
	while ((rc = sqlite3_step(get)) == SQLITE_ROW) {
		size_t code = (size_t)sqlite3_column_int64(get, 0);
		if (code != names.count)
			break; /* codes follow each other: none was ever taken back */
		names.names =
			xrealloc(names.names, names.count + 1, sizeof(*names.names));
		names.names[names.count++] =
			xstrdup((const char *)sqlite3_column_text(get, 1));
	}
	if (rc != SQLITE_DONE) {
		int r = rc == SQLITE_ROW ? STORE_DAMAGED : store_failed(s, rc, "states");
		if (rc == SQLITE_ROW)
			store_give_up(s, "codes of states are missing");
		state_names_release(&names);
		return r;
	}
	(void)sqlite3_reset(get);
	*ret = names;
	return 0;
}

static int add_state(struct store *s, const char *channel, const char *name)
{
	sqlite3_stmt *add = store_statement_of(s, SQL_STATE_ADD);
	bind_text(add, ":channel", channel);
	bind_text(add, ":name", name);
	return store_run(s, add);
}

static int64_t code_of(const struct state_names *names, const char *name)
{
	for (size_t i = 0; i < names->count; i++)
		if (strcmp(names->names[i], name) == 0)
			return (int64_t)i;
	return -1;
}

/* A reader gives no codes: a state that has none has no rows either. */
static int channel_states(struct store *s, size_t c)
{
	const struct channel_config *channel = &s->config->channels[c];
	struct state_names names = {0};
	int r = store_state_names(s, c, &names);
	int64_t next = (int64_t)names.count;

	if (r != 0)
		return r;
	s->states[c].codes = xcalloc(channel->state_count, sizeof(int64_t));
	for (size_t i = 0; r == 0 && i < channel->state_count; i++) {
		int64_t code = code_of(&names, channel->states[i]);
		if (code < 0) {
			code = next++;
			if (s->mode != STORE_READ)
				r = add_state(s, channel->name, channel->states[i]);
		}
		s->states[c].codes[i] = code;
	}
	state_names_release(&names);
	return r == 0 ? store_state_names(s, c, &s->states[c].names) : r;
}

int store_states(struct store *s)
{
	int r = 0;
	store_states_release(s);
	s->states = xcalloc(s->config->channel_count, sizeof(*s->states));
	for (size_t c = 0; r == 0 && c < s->config->channel_count; c++)
		if (s->config->channels[c].map_count)
			r = channel_states(s, c);
	return r;
}

void store_states_release(struct store *s)
{
	for (size_t c = 0; s->states && c < s->config->channel_count; c++) {
		free(s->states[c].codes);
		state_names_release(&s->states[c].names);
	}
	free(s->states);
	s->states = NULL;
}

double store_state_code(const struct store *s, size_t channel, double state)
{
	const int64_t *codes = s->states[channel].codes;
	return codes && state >= 0.0 ? (double)codes[(size_t)state] : state;
}
