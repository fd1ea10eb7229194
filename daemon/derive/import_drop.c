/*
 * An import taken back: its chunks leave the journal in one transaction that marks what
 * they touched; then the days are derived as if it had never been.
 */
#include <heatbook/import.h>

#include "import_lines.h"

#include <heatbook/deriver.h>

static int drop(struct store *store, const char *name, struct import_report *report)
{
	struct import_span span = {0};
	int r = store_begin(store);
	if (r == 0)
		r = store_import_drop(store, name, &span);
	if (r == 0)
		r = store_commit(store);
	if (r != 0) {
		store_rollback(store);
		return r;
	}
	report->any = span.any;
	report->first_ms = span.first_ms;
	report->last_ms = span.last_ms;
	return 0;
}

int import_drop(const struct config *config, const char *name,
	const struct progress_to *progress, struct import_report *ret,
	char why[static 320])
{
	struct store *store;
	*ret = (struct import_report){0};
	why[0] = '\0';
	int r = store_open(config, STORE_WRITE, &store, why);
	if (r != 0)
		return r;
	struct decoder *decoder = decoder_new(config);
	struct deriver *deriver = deriver_new(store, decoder);
	r = drop(store, name, ret);
	if (r == 0)
		r = import_derive(store, deriver, progress, ret, why);
	if (r == STORE_NONE)
		(void)snprintf(why, 320,
			"there is no import \"%.200s\": `heatbookd imports` lists them",
			name);
	else if (r != 0 && !why[0])
		import_explain_store(store, r, why);
	deriver_free(deriver);
	decoder_free(decoder);
	store_close(store);
	return r;
}
