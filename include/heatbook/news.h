/*
 * What became of minutes while the program ran: how far they are closed, which older ones
 * were written anew, and what those summed up to that closed meanwhile. Plain data that
 * the live way fills and whoever tells others of it reads, at a pace of its own: nobody
 * is called back.
 *
 * Minutes are counted since 1970, ranges half-open.
 */
#ifndef HEATBOOK_NEWS_H
#define HEATBOOK_NEWS_H

#include <heatbook/config.h>
#include <heatbook/engine.h>
#include <heatbook/settlement.h>

/* So many revisions are remembered; who missed more asks for everything anew. */
#define NEWS_REVISIONS_MOST 256

struct minute_range {
	int64_t from, to;
};

/* What minutes and spans of registers added up to that closed since the program began,
 * each once, as it was when it closed: what is made anew later changes nothing here, so
 * that none of it ever falls. Whole joules as rows hold them, ms. */
struct news_counts {
	int64_t given_j[MODE_COUNT]; /* heat of minutes and modes in which it was positive
				      */
	int64_t drawn_j[MODE_COUNT]; /* … and negative, without sign */
	int64_t mode_ms[MODE_COUNT];
	int64_t meter_j[METERS_MOST][MODE_COUNT]; /* by power; of a meter before another
						     what it serves itself */
	/* By registers, when their spans close: what a meter's own register says, so that
	 * of a meter before another all that flowed. Of a span that began before the
	 * program did, its share by time. A heat register may fall in defrosts: drawn. */
	int64_t register_j[COUNTED_MOST];
	int64_t register_drawn_j;
};

struct news {
	uint64_t run;     /* which run of the program this is: no other has the number */
	int64_t began_ms; /* when it began: what was before is in no count */
	int64_t closed;   /* minute at which rows end; -1: not known yet */
	uint64_t revision_count; /* since it began */
	struct minute_range
		revisions[NEWS_REVISIONS_MOST]; /* the n-th at n % NEWS_REVISIONS_MOST */
	struct news_counts counts;
	int64_t counted;    /* minute up to which minutes are in the counts */
	int64_t settled_ms; /* readings before it have their spans in the counts */
};

/* At the beginning of a program, whose run has this number, that of any other not. */
void news_begin(struct news *news, uint64_t run, int64_t now_ms);
/* Rows end here; earlier than before where those at the end are to be made again, which
 * is a revision. */
void news_closed(struct news *news, int64_t minute);
/* Rows of the range were written anew, or may have been. */
void news_revised(struct news *news, int64_t from, int64_t to);

/* A minute closed. One that closed before already is not counted again. */
void news_minute(
	struct news *news, const struct config *config, const struct minute *minute);
/* These spans of registers are booked, and no others of readings before `until_ms`. */
void news_settled(struct news *news, const struct settlement *spans, size_t count,
	int64_t until_ms);
/* Another configuration is in force from now on: counts of meters that both have go on.
 */
void news_reconfigure(
	struct news *news, const struct config *before, const struct config *now);

#endif
