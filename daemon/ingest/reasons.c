/*
 * Reason codes. See reasons.h.
 *
 * OASIS MQTT 5.0, 2.4, table 2-6, those that a server sends (from memory), and MQTT
 * 3.1.1, table 3.1. What an owner can do follows the semicolon.
 */
#include "reasons.h"

static const struct {
	int code;
	const char *words;
} reasons[] = {
	{0x80, "the broker gives no reason"},
	{0x81, "the broker could not read what it got"},
	{0x82, "the broker says that heatbook broke the protocol"},
	{0x83, "the broker does not want what it got"},
	{0x84, "the broker refuses the protocol version; set protocol to the other"},
	{0x85, "the broker refuses the client identifier; set client_id"},
	{0x86, "the broker refuses the user name or password"},
	{0x87, "the broker says not authorised; it may want user and password_file"},
	{0x88, "the broker says it is unavailable"},
	{0x89, "the broker says it is busy"},
	{0x8a, "the broker has banned this client"},
	{0x8b, "the broker is shutting down"},
	{0x8c, "the broker knows no such way to authenticate"},
	{0x8d, "the broker heard nothing for longer than the keep-alive"},
	{0x8e, "another client took this one's place: it has the same id; give each a "
	       "client_id of its own"},
	{0x8f, "the broker does not take this topic filter"},
	{0x90, "the broker does not take this topic"},
	{0x91, "the broker says the packet identifier is in use"},
	{0x92, "the broker does not know the packet identifier"},
	{0x93, "the broker says it got more than it can take at once"},
	{0x94, "the broker says the topic alias is wrong"},
	{0x95, "the broker says a packet is too large"},
	{0x96, "the broker says messages come too fast"},
	{0x97, "the broker's quota for this client is used up"},
	{0x98, "the broker's administrator ended it"},
	{0x99, "the broker says the payload is not of the form announced"},
	{0x9a, "the broker keeps no retained messages"},
	{0x9b, "the broker does not offer this quality of service"},
	{0x9c, "the broker asks to use another server for now"},
	{0x9d, "the broker has moved to another server; set host"},
	{0x9e, "the broker offers no shared subscriptions"},
	{0x9f, "the broker says connections come too often"},
	{0xa0, "the broker allows no longer connection"},
	{0xa1, "the broker offers no subscription identifiers"},
	{0xa2, "the broker offers no wildcards in topic filters"},
};

const char *reason_words(int code)
{
	for (size_t i = 0; i < ARRAY_LEN(reasons); i++)
		if (reasons[i].code == code)
			return reasons[i].words;
	return "the broker gives a reason unknown to MQTT 5.0";
}

const char *reason_connack_words(int code)
{
	static const int reason_of[] = {
		[1] = 0x84, [2] = 0x85, [3] = 0x88, [4] = 0x86, [5] = 0x87};
	if (code >= REASON_LEAST)
		return reason_words(code);
	return code > 0 && code < (int)ARRAY_LEN(reason_of)
		       ? reason_words(reason_of[code])
		       : "the broker refuses for a reason unknown to MQTT 3.1.1";
}
