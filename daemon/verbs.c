/*
 * The verb `check`: what it prints on standard output is the answer.
 */
#include "verbs.h"

int verb_check(const struct verb_call *call)
{
	struct buffer report = {0};

	if (call->count > 0)
		return verb_misused("check takes no operand");
	for (size_t i = 0; i < call->notes->count; i++)
		(void)printf("note: %s\n", call->notes->lines[i]);
	config_check_report(call->config, &report);
	(void)printf("%s: no fault\n%s", call->config->path, buffer_text(&report));
	buffer_release(&report);
	return EXIT_DONE;
}
