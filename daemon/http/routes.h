/*
 * The route table: a resource is one row with the parameters that it knows. From it come
 * the look-up, the refusal of unknown and repeated parameters, the list in a 404, the
 * index and the contract (/openapi.json).
 */
#ifndef HEATBOOK_HTTP_ROUTES_H
#define HEATBOOK_HTTP_ROUTES_H

#include "face.h"

#define ROUTE_PARAMETERS_MOST 12

struct route_parameter {
	const char *name;
	const char *meaning;
	const char *schema; /* its name in contract.json */
	bool needed;
};

struct route {
	const char *path;
	const char *what;
	resource *answer;
	const char *schema; /* of its answer, by its name in contract.json */
	struct route_parameter parameters[ROUTE_PARAMETERS_MOST];
	const char *type; /* of media; NULL: application/json, and CSV by `format` */
	bool kept;        /* answers that stand are */
	bool is_public;   /* holds no data: it needs no token */
	bool ill;         /* answers 503 in the same shape */
	bool resumes;     /* behind the field Last-Event-ID */
};

extern const struct route routes[];
extern const size_t route_count;

size_t route_parameters(const struct route *route);
/* Does it know a parameter of this name? */
bool route_takes(const struct route *route, const char *name);

#endif
