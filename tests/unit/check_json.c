/*
 * The JSON parser against Debian 12's cJSON (1.7.15), whose tree it makes: texts chosen
 * for their oddity, texts made at random, and the same damaged. Accepted by both or by
 * none, and equal to the byte.
 */
#include "json_oracle.h"
#include "unit.h"

static struct json *json;

/* True when both accept it. */
static bool agree(const char *text, size_t length)
{
	struct json_verdict verdict;
	json_judge(json, text, length, &verdict);
	ck_assert_msg(!verdict.differs, "%s: %.*s", verdict.differs, (int)length, text);
	return verdict.accepted;
}

TEST(odd_texts_are_read_as_cjson_reads_them)
{
	static const char *const texts[] = {"", " ", "{", "[", "{}", "[]", "[ ]", "{ }",
		"[,]", "[1,]", "[1,2", "{\"a\"}", "{\"a\":}", "{\"a\":1,}", "{a:1}",
		"{\"a\" : 1 , \"b\":[ 2 ,3 ] }", "{\"a\":1}{", "[1]x", "null", "nul",
		"nullx", "true", "false", "True", "NaN", "nan", "inf", "0", "-0", "01",
		"-01", "1.", ".5", "-.5", "+1", "-", "--1", "1e", "1e+", "1e5", "1E-5",
		"1e999", "-1e999", "1e-999", "1-2", "1.2.3", "1ee5", "0x10",
		"12345678901234567890",
		"0.1000000000000000055511151231257827021181583404541015625",
		"123456789012345678901234567890123456789012345678901234567890123",
		"1234567890123456789012345678901234567890123456789012345678901234",
		"2.2250738585072011e-308", "9007199254740993", "\"\"", "\"a", "\"a\\",
		"\"a\\\"", "\"\\\"\"", "\"\\b\\f\\n\\r\\t\\/\\\\\"", "\"\\x\"",
		"\"\\u0041\"", "\"\\u00e4\\u20ac\"", "\"\\ud83d\\ude00\"", "\"\\ud83d\"",
		"\"\\ud83dx\\ude00\"", "\"\\ud83d\\u0041\"", "\"\\ude00\"", "\"\\u12\"",
		"\"\\u\"", "\"\\uZZZZ\"", "\"\\u0000after\"", "\"\xff\xfe\"", "\"a\nb\"",
		"{\"a\":1,\"a\":2}", "{\"\\u0061\":1}", "\"a\"\"b\"",
		"[[[[[[[[[[[[[[[[1]]]]]]]]]]]]]]]]",
		"[[[[[[[[[[[[[[[[[1]]]]]]]]]]]]]]]]]", "[[[[[[[[[[[[[[[[[",
		"\"[[[[[[[[[[[[[[[[[[\"", "1 ", "1\t\r\n", "[1\v]", "[\f1]", "\v1",
		"1\v"};
	json = json_new();
	size_t accepted = 0;
	for (size_t i = 0; i < ARRAY_LEN(texts); i++)
		accepted += agree(texts[i], strlen(texts[i]));
	ck_assert_uint_gt(accepted, 35);
	ck_assert_uint_lt(accepted, ARRAY_LEN(texts) - 25);
	(void)agree("[1\0]", 4);
	(void)agree("\"\\\0\"", 4);
	json_free(json);
}
END

	static void
	make_value(struct buffer *out, uint64_t *random, int depth);

static void make_string(struct buffer *out, uint64_t *random)
{
	static const char *const pieces[] = {"a", "water", "\xc3\xa4", "\\n", "\\\"",
		"\\\\", "\\u00e4", "\\ud83d\\ude00", "/", "~", " ", "{", "]", "0"};
	buffer_add_text(out, "\"");
	for (int64_t n = unit_random_between(random, 0, 6); n > 0; n--)
		buffer_add_text(out, pieces[unit_random(random) % ARRAY_LEN(pieces)]);
	buffer_add_text(out, "\"");
}

static void make_items(struct buffer *out, uint64_t *random, int depth, bool keys)
{
	buffer_add_text(out, keys ? "{" : "[");
	for (int64_t n = unit_random_between(random, 0, 5); n > 0; n--) {
		if (keys) {
			make_string(out, random);
			buffer_add_text(out, unit_random(random) % 2 ? ":" : " : ");
		}
		make_value(out, random, depth + 1);
		if (n > 1)
			buffer_add_text(out, unit_random(random) % 2 ? "," : " ,\n");
	}
	buffer_add_text(out, keys ? "}" : "]");
}

static void make_value(struct buffer *out, uint64_t *random, int depth)
{
	static const char *const words[] = {"null", "true", "false", "1e999", "-0.0"};
	uint64_t choice = unit_random(random) % (depth > 14 ? 6 : 10);
	if (choice < 2)
		buffer_addf(out, "%lld.%lld",
			(long long)unit_random_between(random, -99, 99),
			(long long)unit_random_between(random, 0, 999999));
	else if (choice == 2)
		buffer_addf(out, "%.17g", (double)unit_random(random) / 1e7);
	else if (choice == 3)
		buffer_addf(out, "%llde%lld", (long long)unit_random(random),
			(long long)unit_random_between(random, -330, 330));
	else if (choice == 4)
		buffer_add_text(out, words[unit_random(random) % ARRAY_LEN(words)]);
	else if (choice == 5)
		make_string(out, random);
	else
		make_items(out, random, depth, choice % 2);
}

static void damage(struct buffer *text, uint64_t *random)
{
	static const char bytes[] = "{}[]\",:\\u0123456789eE+-. \nntf\xff\xc3";
	size_t at = unit_random(random) % text->length;
	if (unit_random(random) % 3 == 0)
		text->length = at;
	else
		text->data[at] = bytes[unit_random(random) % (sizeof(bytes) - 1)];
}

TEST(random_texts_sound_and_damaged_are_read_alike)
{
	uint64_t random = unit_seed();
	size_t sound = 0, damaged = 0;
	json = json_new();
	for (int i = 0; i < 20000; i++) {
		struct buffer text = {0};
		make_value(&text, &random, 0);
		ck_assert_msg(
			agree(text.data, text.length), "refused: %s", buffer_text(&text));
		sound++;
		for (int k = 0; k < 3 && text.length > 0; k++) {
			damage(&text, &random);
			damaged += !agree(text.data, text.length);
		}
		buffer_release(&text);
	}
	ck_assert_uint_eq(sound, 20000);
	ck_assert_uint_gt(damaged, 20000);
	json_free(json);
}
END

/* 64 KiB of nodes and texts; a small payload gives the memory back. */
TEST(large_payloads_fit_and_are_forgotten)
{
	struct buffer text = {0};
	json = json_new();
	buffer_add_text(&text, "[0");
	while (text.length < 65000)
		buffer_add_text(&text, ",{\"a\":\"bcd\"},1.5");
	buffer_add_text(&text, "]");
	for (int i = 0; i < 3; i++) {
		ck_assert(agree(text.data, text.length));
		ck_assert(agree("[1]", 3));
	}
	buffer_release(&text);
	json_free(json);
}
END

TESTS(odd_texts_are_read_as_cjson_reads_them,
	random_texts_sound_and_damaged_are_read_alike, large_payloads_fit_and_are_forgotten)
