/*
 * An import that stores nothing: archives are read and decoded, and what they would feed
 * is counted.
 */
#include "import_lines.h"

#include <heatbook/decoder.h>

#include <string.h>

#define FIRST_DAY (STAMP_LEAST_MS / MS_PER_DAY)
#define DAY_COUNT ((size_t)((STAMP_END_MS - STAMP_LEAST_MS) / MS_PER_DAY))

struct dry {
	struct import_lines lines;
	struct decoder *decoder;
	struct import_fed *fed;
	struct readings readings;
	struct buffer frame;
	bool days[DAY_COUNT]; /* that get readings */
};

static void count_reading(struct dry *d, const struct reading *reading)
{
	struct import_report *report = d->lines.report;
	int64_t day = floor_div(reading->t_ms, MS_PER_DAY) - FIRST_DAY;
	if (!report->any || reading->t_ms < report->first_ms)
		report->first_ms = reading->t_ms;
	if (!report->any || reading->t_ms > report->last_ms)
		report->last_ms = reading->t_ms;
	report->any = true;
	if (day >= 0 && day < (int64_t)DAY_COUNT && !d->days[day]) {
		d->days[day] = true;
		report->days++;
	}
	if (reading->kind == READING_VALUE)
		d->fed[reading->channel].values++;
	else if (reading->kind == READING_NOVALUE)
		d->fed[reading->channel].novalues++;
	else if (reading->kind == READING_BAD)
		d->fed[reading->channel].bad++;
}

static int take(const struct record *record, void *context)
{
	struct dry *d = context;
	buffer_reset(&d->frame);
	record_write(record, &d->frame);
	d->readings.count = 0;
	/* Frames are of our own writing: never damaged. */
	(void)decoder_decode(
		d->decoder, (const unsigned char *)d->frame.data, &d->readings);
	for (size_t i = 0; i < d->readings.count; i++)
		count_reading(d, &d->readings.items[i]);
	return 0;
}

static int read_archive(struct dry *d, const char *path, char why[320])
{
	struct input *in;
	int r = import_open(&d->lines, path, &in);
	if (r == 0) {
		r = import_read(&d->lines, in);
		import_close(&d->lines, in);
	}
	if (r != 0)
		import_explain(&d->lines, "", r, why);
	return r;
}

int import_dry_run(const struct config *config, const struct import_request *request,
	struct import_report *ret, struct import_fed *fed, char why[static 320])
{
	struct dry *d = xcalloc(1, sizeof(*d));

	int r = import_lines_begin(&d->lines, config, request, ret, take, d);
	memset(fed, 0, config->channel_count * sizeof(*fed));
	d->decoder = decoder_new(config);
	d->fed = fed;
	why[0] = '\0';
	for (size_t i = 0; r == 0 && i < request->count; i++)
		r = read_archive(d, request->paths[i], why);
	import_lines_end(&d->lines);
	decoder_free(d->decoder);
	readings_release(&d->readings);
	buffer_release(&d->frame);
	free(d);
	return r;
}
