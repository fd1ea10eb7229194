/*
 * The anonymous form of a statement: see statement.h. What is configured as text is
 * replaced in a copy of the configuration, so that whoever writes names from it writes
 * these.
 */
#include <heatbook/calendar.h>
#include <heatbook/statement.h>

#include <math.h>
#include <string.h>

enum { DIGITS = 3, TEMPERATURE_STEPS = 2 }; /* kept; of temperatures halves of kelvins */

char *statement_device_names(unsigned devices)
{
	struct buffer text = {0};
	for (unsigned device = 1; device <= DEVICE_SOURCE; device <<= 1)
		if (devices & device)
			buffer_addf(&text, "%s%s", text.length ? "+" : "",
				device_name((enum device)device));
	char *names = xstrdup(buffer_text(&text));
	buffer_release(&text);
	return names;
}

/* The distance of numbers with so many digits about a value. */
static double quantum(double value)
{
	return value == 0.0 || !isfinite(value)
		       ? 0.0
		       : pow(10.0, floor(log10(fabs(value))) + 1 - DIGITS);
}

static double coarse(double value, double step)
{
	return step > 0.0 ? round(value / step) * step : value;
}

static void coarsen_cells(struct figures *f)
{
	for (int c = HEAT; c < COLUMN_COUNT; c++) {
		bool reason = c == NO_COP;
		double value = (double)f->cells[c].value;
		/* An uncertainty is as fine as what it is of. */
		double of = c == COP_UNCERTAINTY ? (double)f->cells[COP].value : value;
		if (!reason)
			f->cells[c].value = llround(coarse(value, quantum(of)));
	}
}

static void coarsen_value(struct insight_value *v)
{
	bool temperature = strcmp(v->ucum, "Cel") == 0;
	double step = temperature ? 1.0 / TEMPERATURE_STEPS : quantum(v->value);
	double half_width = coarse((v->high - v->low) / 2.0, step); /* of all here */
	v->value = coarse(v->value, step);
	v->low = v->value - half_width;
	v->high = v->value + half_width;
	if (temperature)
		v->decimals = 1;
	else if (step > 0.0)
		v->decimals =
			(int)fmin(fmax(-floor(log10(step) + 1e-9), 0.0), v->decimals);
}

static void rename_plant(struct statement *s)
{
	struct config *c = &s->config;
	const struct config real = *c;
	c->plant.name = NULL;
	c->plant.zone = NULL;
	c->path = NULL;
	c->channels = xcalloc(real.channel_count + 1, sizeof(*c->channels));
	c->meters = xcalloc(real.meter_count + 1, sizeof(*c->meters));
	c->corrections = xcalloc(real.correction_count + 1, sizeof(*c->corrections));
	for (size_t i = 0; i < real.channel_count; i++) {
		enum role role = real.channels[i].role;
		c->channels[i] = real.channels[i];
		c->channels[i].name =
			xstrdup(role == ROLE_PLAIN ? "channel" : role_name(role));
		c->channels[i].topic = c->channels[i].pointer = NULL;
	}
	for (size_t i = 0; i < real.meter_count; i++) {
		c->meters[i] = real.meters[i];
		c->meters[i].name = statement_device_names(real.meters[i].feeds);
	}
	for (size_t i = 0; i < real.correction_count; i++) {
		c->corrections[i] = real.corrections[i];
		c->corrections[i].name = xasprintf("correction %zu", i + 1);
	}
}

/* Kind, size and effect say what the plant had; words about it bear names. */
static void strip_finding(struct finding *f)
{
	f->subject[0] = '\0';
	free(f->evidence);
	free(f->remedy);
	free(f->correction);
	f->evidence = f->remedy = f->correction = NULL;
}

void statement_make_anonymous(struct statement *s)
{
	char begin[32];
	time_text_local(s->from_ms, begin);
	(void)snprintf(s->zone, sizeof(s->zone), "UTC%s", begin + strlen(begin) - 6);
	rename_plant(s);
	s->anonymous = true;
	coarsen_cells(&s->whole);
	for (int m = 0; m < MODE_COUNT; m++)
		coarsen_cells(&s->modes[m]);
	for (size_t i = 0; i < s->offer_count; i++)
		coarsen_cells(&s->offers[i].whole);
	for (size_t i = 0; i < s->config.meter_count; i++)
		s->meters[i].value = llround(coarse(
			(double)s->meters[i].value, quantum((double)s->meters[i].value)));
	for (size_t i = 0; i < s->answer.count; i++)
		coarsen_value(&s->answer.values[i]);
	for (size_t i = 0; i < s->findings.list.count; i++)
		strip_finding(&s->findings.list.items[i]);
	free(s->sums);
	s->sums = NULL;
	s->no_boundary[0] = '\0';
	for (int m = 0; m < DEGREE_METHODS; m++)
		s->degrees.kd[m] = coarse(s->degrees.kd[m], quantum(s->degrees.kd[m]));
}

void statement_when(const struct statement *s, int64_t t_ms, char text[static 32])
{
	time_text_local(t_ms, text);
	if (s->anonymous)
		text[strlen("2026-01")] = '\0';
}
