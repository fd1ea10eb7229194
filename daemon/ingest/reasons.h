/*
 * What a broker answers by number, in words that an owner can act upon.
 */
#ifndef HEATBOOK_INGEST_REASONS_H
#define HEATBOOK_INGEST_REASONS_H

#include <heatbook/config.h>

#define REASON_LEAST 0x80 /* of MQTT 5.0; below it nothing has failed */

/* A reason code of MQTT 5.0 (CONNACK, SUBACK, DISCONNECT), as a sentence about the
 * broker. */
const char *reason_words(int code);
/* CONNACK's code: a return code of MQTT 3.1.1 below REASON_LEAST, else a reason. */
const char *reason_connack_words(int code);

#endif
