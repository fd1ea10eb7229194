/*
 * Which section reads which file, and what tells two readings of a file apart. See
 * table.h.
 */
#include <heatbook/table.h>

#include <fnmatch.h>
#include <string.h>

static bool ends_in(const char *name, size_t length, const char *end)
{
	size_t n = strlen(end);
	return length > n && memcmp(name + length - n, end, n) == 0;
}

int table_of_file(const struct config *config, const char *path)
{
	const char *slash = strrchr(path, '/'), *name = slash ? slash + 1 : path;
	size_t length = strlen(name);
	int found = TABLE_NONE;
	if (ends_in(name, length, ".gz"))
		length -= 3;
	else if (ends_in(name, length, ".zst"))
		length -= 4;
	_cleanup_(freep) char *plain = xstrndup(name, length);
	for (size_t i = 0; i < config->table_count; i++) {
		const struct table_config *t = &config->tables[i];
		bool matches = false;
		for (size_t k = 0; k < t->file_count && !matches; k++)
			matches = fnmatch(t->files[k], plain, 0) == 0;
		if (matches && found != TABLE_NONE)
			return TABLE_SEVERAL;
		if (matches)
			found = (int)i;
	}
	return found;
}

static void add(struct buffer *b, const char *text)
{
	buffer_addf(b, "%zu:%s ", text ? strlen(text) : 0, text ? text : "-");
}

uint64_t table_digest(
	const struct table_config *t, const char *zone, const char *plant_zone)
{
	struct buffer b = {0};
	add(&b, t->name);
	add(&b, zone ? zone : t->zone ? t->zone : plant_zone);
	char *const texts[] = {t->time_column, t->clock_column, t->time_pattern,
		t->name_column, t->value_column};
	for (size_t i = 0; i < ARRAY_LEN(texts); i++)
		add(&b, texts[i]);
	buffer_addf(&b, "%d %lld %d %d %d %d %d %lld %d", (int)t->time_form,
		(long long)t->origin_ms, t->year, (int)t->delimiter, (int)t->decimal,
		(int)t->header, (int)t->same_stamp, (long long)t->interval_ms,
		t->covers_before);
	/* Columns help to find the header and the decimal mark. */
	for (size_t i = 0; i < t->column_count; i++)
		add(&b, t->columns[i].column);
	uint64_t digest = digest64(0, b.data, b.length);
	buffer_release(&b);
	return digest;
}
