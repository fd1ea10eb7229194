/*
 * What the signature answers, or what it lacks to answer. See signature.h.
 */
#include <heatbook/signature.h>

#include <math.h>

#define KWH_PER_DAY(w) ((w)*24.0 / 1000.0)
#define KW(w)          ((w) / 1000.0)

/* ---- what is missing ---- */

static void add_left(const struct signature *s, struct buffer *out)
{
	static const char *const words[SIGNATURE_LEFT] = {
		[LEFT_OPEN] = "not over yet",
		[LEFT_HEAT] = "whose heat is not known for 95 %",
		[LEFT_MODE] = "on which nothing tells what the plant did for 95 %",
		[LEFT_SPREAD] = "whose heat a register spread over several modes",
		[LEFT_OUTDOOR] = "whose outdoor temperature is not known for 95 %",
	};
	for (size_t i = 0; i < SIGNATURE_LEFT; i++)
		if (s->left[i] > 0)
			buffer_addf(out, ", %zu %s", s->left[i], words[i]);
}

/* What an answer takes of days, and what these are. */
static void lack_days(const struct config *config, struct signature *s)
{
	_cleanup_(buffer_release) struct buffer left = {0};
	if (config_role(config, ROLE_OUTDOOR_TEMPERATURE) < 0)
		insight_lacks(&s->answer, "a channel with the role outdoor_temperature");
	if (s->days > 0 && s->left[LEFT_HEAT] + s->left[LEFT_OPEN] == s->days)
		insight_lacks(&s->answer,
			"heat delivered, which is known of no day (`heatbookd check` "
			"says what it takes)");
	add_left(s, &left);
	size_t short_by = SIGNATURE_DAYS_LEAST - s->count;
	if (s->count < SIGNATURE_DAYS_LEAST)
		insight_lacks(&s->answer,
			"%zu more day%s: %d whole ones are needed, %zu of the span's %zu "
			"count%s",
			short_by, short_by == 1 ? "" : "s", SIGNATURE_DAYS_LEAST,
			s->count, s->days, buffer_text(&left));
	if (s->count < 2)
		return;
	double low_c = s->points[s->coldest].outdoor_c;
	double high_c = s->points[s->warmest].outdoor_c;
	if (high_c - low_c < SIGNATURE_SPAN_LEAST_K)
		insight_lacks(&s->answer,
			"other weather: days whose mean outdoor temperatures lie %g K "
			"apart are needed, those that count lie between %.1f and %.1f "
			"°C, %.1f K",
			SIGNATURE_SPAN_LEAST_K, low_c, high_c, high_c - low_c);
}

/* Days there are, but they are no line. */
static void lack_line(struct signature *s)
{
	if (s->outcome == CHANGE_FEW)
		insight_lacks(&s->answer,
			"days on which the rooms were heated: %d are needed, of the %zu "
			"days %zu lie below where heat seems to set in",
			CHANGE_BELOW_LEAST, s->count, s->fit.below);
	else if (s->outcome == CHANGE_NO_SLOPE)
		insight_lacks(&s->answer,
			"space heat that follows the cold: over these %zu days it does "
			"not rise, or might not (95 %%), as it gets colder",
			s->count);
}

/* ---- what is told ---- */

/* In °C, or shares: as they are. */
static void put(struct signature *s, const char *name, const char *ucum, int decimals,
	double value, struct change_interval in)
{
	insight_put(&s->answer, name, ucum, decimals, value, in.low, in.high);
}

static struct change_interval scaled(struct change_interval in, double factor)
{
	return (struct change_interval){in.low * factor, in.high * factor};
}

static void tell_house(struct signature *s)
{
	const struct change_point *fit = &s->fit;
	put(s, "heat_loss_w_per_k", "W/K", 2, fit->slope, fit->slope_in);
	if (!fit->ends && !(fit->at_in.low <= SIGNATURE_BASE_MOST_C)) {
		insight_lacks(&s->answer,
			"days warm enough to do without heating, and heat that hangs on "
			"the cold more than on anything else: drawn on, the line of "
			"these "
			"days meets nothing above any room's temperature only, so that "
			"the base temperature is not determined");
		return;
	}
	put(s, "base_temperature_c", "Cel", 3, fit->at, fit->at_in);
	if (fit->ends)
		put(s, "base_load_kwh_per_day", "kW.h/d", 3, KWH_PER_DAY(fit->base),
			scaled(fit->base_in, KWH_PER_DAY(1.0)));
	else
		insight_lacks(&s->answer,
			"days warm enough to do without heating, %d at least: without "
			"them nobody sees where heating sets in, and the base "
			"temperature is where the line of these days would meet nothing",
			CHANGE_BEYOND_LEAST);
}

static void tell_margin(struct signature *s, double expected_w, struct change_interval in)
{
	const struct signature_capacity *c = &s->capacity;
	struct change_interval left = {KW(c->w - in.high), KW(c->w - in.low)};
	insight_put_seen(&s->answer, "capacity_kw", "kW", 3, KW(c->w));
	put(s, "margin_kw", "kW", 3, KW(c->w - expected_w), left);
	if (!c->declared)
		insight_lacks(&s->answer,
			"design_capacity in [plant]: the margin is against the most that "
			"the unit was seen to give, on a day of %.1f °C; it may give "
			"more, "
			"as nobody asked for it, or less, where it is colder",
			c->outdoor_c);
}

/* How far the line is drawn on. */
static void tell_distance(struct signature *s, double design_c)
{
	double coldest_c = s->points[s->coldest].outdoor_c;
	if (coldest_c - design_c > SIGNATURE_NEAR_K)
		insight_lacks(&s->answer,
			"colder days: the coldest that counts has %.1f °C, %.1f K above "
			"the design temperature, and the design load is the line drawn "
			"on",
			coldest_c, coldest_c - design_c);
}

static void tell_design(const struct config *config, struct signature *s)
{
	double design_c = config->plant.design_temperature_c;
	struct change_interval load_in, expected_in, day_in;
	if (isnan(design_c)) {
		insight_lacks(
			&s->answer, "design_temperature in [plant], for the design load");
		return;
	}
	if (design_c >= s->fit.at) {
		insight_lacks(&s->answer,
			"a design_temperature in [plant] below the base temperature: at "
			"%g °C the house takes no heat for its rooms",
			design_c);
		return;
	}
	double load_w = change_point_load(&s->fit, design_c, &load_in);
	double expected_w = change_point_foretell(&s->fit, design_c, &expected_in);
	double day_w = change_point_single(&s->fit, design_c, &day_in);
	tell_distance(s, design_c);
	put(s, "design_load_kw", "kW", 3, KW(load_w), scaled(load_in, KW(1.0)));
	put(s, "design_day_kw", "kW", 3, KW(day_w), scaled(day_in, KW(1.0)));
	if (isnan(s->capacity.w))
		insight_lacks(&s->answer,
			"design_capacity in [plant], for the margin: no day within %g K "
			"of the design temperature shows what the unit gives, %d hours "
			"on end",
			SIGNATURE_NEAR_K, SIGNATURE_STRETCH_HOURS);
	else
		tell_margin(s, expected_w, expected_in);
}

void signature_tell(const struct config *config, struct signature *s)
{
	lack_days(config, s);
	if (!s->fitted) {
		lack_line(s);
		return;
	}
	tell_house(s);
	tell_design(config, s);
}
