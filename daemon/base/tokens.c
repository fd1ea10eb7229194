/*
 * The tokens of a file. See tokens.h.
 *
 * The file is looked at as it is opened, so that what was judged is what is read; opening
 * waits for nobody, be it a pipe. What was read is wiped from memory again.
 */
#include <heatbook/tokens.h>

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define FILE_MOST 16384
#define WHY_SIZE  256

static int refuse(char why[static WHY_SIZE], const char *format, ...) PRINTF_LIKE(2, 3);
static int refuse(char why[static WHY_SIZE], const char *format, ...)
{
	va_list args;
	va_start(args, format);
	(void)vsnprintf(why, WHY_SIZE, format, args); /* a cut sentence is still one */
	va_end(args);
	return TOKENS_REFUSED;
}

static int failed(char why[static WHY_SIZE])
{
	int error = errno;
	(void)snprintf(why, WHY_SIZE, "%s", strerror(error));
	return -error;
}

/* A group may read it, so that root's file can be given to the service; an access list's
 * mask, as the service manager sets it for a credential, looks the same. */
static int judge_file(int fd, char why[static WHY_SIZE])
{
	struct stat about;
	if (fstat(fd, &about) < 0)
		return failed(why);
	if (!S_ISREG(about.st_mode))
		return refuse(why, "is no plain file");
	if (about.st_mode & (S_IRWXO | S_IWGRP))
		return refuse(why,
			"others may read or change it (mode %03o); chmod 640 and the "
			"service's group would do",
			(unsigned)(about.st_mode & 0777));
	return 0;
}

bool token_is_formed(const char *text, size_t length)
{
	static const char marks[] = "-._~+/";
	while (length > 0 && text[length - 1] == '=')
		length--;
	for (size_t i = 0; i < length; i++) {
		char c = text[i];
		if ((c < '0' || c > '9') && (c < 'A' || c > 'Z') &&
			(c < 'a' || c > 'z') && !memchr(marks, c, sizeof(marks) - 1))
			return false;
	}
	return length > 0;
}

static int take_line(struct tokens *tokens, int number, const char *line, size_t length,
	char why[static WHY_SIZE])
{
	while (length > 0 && strchr(" \t\r", line[length - 1]))
		length--;
	if (length == 0 || line[0] == '#')
		return 0;
	if (!token_is_formed(line, length))
		return refuse(why,
			"line %d: a token is of letters, digits and - . _ ~ + / alone, "
			"with = at its end at most",
			number);
	if (length < TOKEN_LEAST || length > TOKEN_MOST)
		return refuse(why,
			"line %d: a token of %zu characters; it must have %d to %d, as "
			"`openssl rand -hex 32` makes them",
			number, length, TOKEN_LEAST, TOKEN_MOST);
	if (tokens->count == TOKENS_MOST)
		return refuse(why, "line %d: more than %d tokens", number, TOKENS_MOST);
	memcpy(tokens->texts[tokens->count++], line, length);
	return 0;
}

static int take_lines(
	struct tokens *tokens, const char *text, size_t length, char why[static WHY_SIZE])
{
	const char *end = text + length;
	for (int number = 1; text < end; number++) {
		const char *line = text;
		const char *stop = memchr(text, '\n', (size_t)(end - text));
		text = stop ? stop + 1 : end;
		int r = take_line(
			tokens, number, line, (size_t)((stop ? stop : end) - line), why);
		if (r != 0)
			return r;
	}
	return tokens->count
		       ? 0
		       : refuse(why, "holds no token; `openssl rand -hex 32` makes one");
}

/* What is wiped when it was read. */
struct secret {
	struct tokens tokens;
	char text[FILE_MOST + 1];
};

/* The length, which may be one more than is allowed, or -1. */
static ssize_t read_whole(int fd, char text[static FILE_MOST + 1])
{
	ssize_t length = 0, n = 1;
	while (n > 0 && length <= FILE_MOST) {
		n = read(fd, text + length, (size_t)(FILE_MOST + 1 - length));
		if (n > 0)
			length += n;
	}
	return n < 0 ? -1 : length;
}

static int read_tokens(int fd, struct tokens *ret, char why[static WHY_SIZE])
{
	struct secret *secret = xcalloc(1, sizeof(*secret));
	ssize_t length = read_whole(fd, secret->text);
	int r = length < 0 ? failed(why)
		: length > FILE_MOST
			? refuse(why, "is longer than %d bytes", FILE_MOST)
			: take_lines(&secret->tokens, secret->text, (size_t)length, why);
	if (r == 0)
		*ret = secret->tokens;
	explicit_bzero(secret, sizeof(*secret));
	free(secret);
	return r;
}

int tokens_read(const char *path, struct tokens *ret, char why[static WHY_SIZE])
{
	int fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY);
	if (fd < 0)
		return failed(why);
	int r = judge_file(fd, why);
	if (r == 0)
		r = read_tokens(fd, ret, why);
	(void)close(fd); /* only read */
	return r;
}

bool tokens_match(const struct tokens *tokens, const char *given, size_t length)
{
	char padded[TOKEN_MOST] = "";
	unsigned found = 0;
	if (length < TOKEN_LEAST || length > TOKEN_MOST || memchr(given, 0, length))
		return false;
	memcpy(padded, given, length);
	for (size_t i = 0; i < tokens->count; i++) {
		volatile unsigned char differ = 0; /* no byte may end the comparison */
		for (size_t k = 0; k < TOKEN_MOST; k++)
			differ |= (unsigned char)(padded[k] ^ tokens->texts[i][k]);
		found |= differ == 0;
	}
	explicit_bzero(padded, sizeof(padded));
	return found;
}
