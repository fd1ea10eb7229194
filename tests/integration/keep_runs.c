/*
 * Keeps the runs of all days of a store, as the daemon does when it has time: for tests
 * that compare what is kept.
 *
 *     keep_runs CONFIGURATION
 */
#include <heatbook/run_ask.h>
#include <heatbook/store.h>

#include <stdio.h>

int main(int argc, char **argv)
{
	struct config *config;
	struct store *store = NULL;
	struct faults faults = {0};
	char why[256] = "";
	if (argc != 2 || config_load(argv[1], &config, &faults, NULL) != 0) {
		(void)fprintf(stderr, "keep_runs: no configuration\n");
		return 2;
	}
	size_t done = 1;
	int r = store_open(config, STORE_WRITE, &store, why);
	while (r == 0 && done > 0)
		r = runs_catch_up(store, 8, &done);
	if (r != 0)
		(void)fprintf(
			stderr, "keep_runs: %s\n", store ? store_error(store) : why);
	store_close(store);
	config_free(config);
	return r != 0;
}
