/*
 * What passes to the MQTT library. Headers: OASIS MQTT 3.1.1, 2.2 and table 2.4 (read).
 */
#include "../../daemon/ingest/gate.h"

#include "unit.h"

#define BYTES(b) b, sizeof(b) - 1
#define MOST     300

TEST(packets_are_told_by_their_headers)
{
	static const struct {
		const char *bytes;
		size_t length;
		enum gate_verdict verdict;
		int whole;
	} cases[] = {
		{BYTES(""), GATE_WAIT, 0},
		{BYTES("\x30"), GATE_WAIT, 0},
		{BYTES("\x30\x80"), GATE_WAIT, 0},
		{BYTES("\x30\x80\x80\x80"), GATE_WAIT, 0},
		{BYTES("\xd0\0"), GATE_PASS, 1},
		{BYTES("\xd0\0\xd0\0\xd0"), GATE_PASS, 2},
		{BYTES("\x30\3\0\1a"), GATE_PASS, 1},
		{BYTES("\x31\3\0\1a\x30\3\0\1"), GATE_PASS, 1},
		{BYTES("\x30\3\0"), GATE_PASS, 0},
		{BYTES("\x38\3\0\1a"), GATE_PASS, 1}, /* DUP is the library's to judge */
		{BYTES("\x30\xa9\2"), GATE_PASS, 0},  /* 3 + 297 = MOST */
		{BYTES("\x30\xaa\2"), GATE_LARGE, 0},
		{BYTES("\x20\xff\xff\xff\x7f"), GATE_LARGE, 0},
		{BYTES("\x30\xff\xff\xff\xff\x7f"), GATE_LARGE, 0},
		{BYTES("\x30\x80\x80\x80\x80\1"), GATE_PASS, 1}, /* none; but not large */
		{BYTES("\xd0\0\x20\xff\xff\xff\x7f"), GATE_PASS, 1},
		{BYTES("\x32\5\0\1a\0\1"), GATE_QOS, 0},
		{BYTES("\x34\5\0\1a\0\1"), GATE_QOS, 0},
		{BYTES("\x36\5\0\1a\0\1"), GATE_QOS, 0},
		{BYTES("\x62\2\0\1"), GATE_PASS, 1}, /* PUBREL's flags are no QoS */
		{BYTES("\xd0\0\x32\5\0\1a\0\1"), GATE_PASS, 1},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		int whole = -1;
		enum gate_verdict verdict =
			gate_look((const unsigned char *)cases[i].bytes, cases[i].length,
				MOST, &whole);
		ck_assert_msg(verdict == cases[i].verdict && whole == cases[i].whole,
			"case %zu: verdict %d, whole %d", i, (int)verdict, whole);
	}
}
END

TESTS(packets_are_told_by_their_headers)
