/*
 * How a broker is reached: files and credentials, TLS, and what is remarked of a password
 * that leaves the machine.
 */
#include "configured.h"

#include <unistd.h>

TEST(files_may_be_credentials_of_the_service)
{
	static const char *const names[] = {"word", "authority", "ours.pem", "ours.key"};
	char directory[] = "/tmp/heatbook-XXXXXX";
	ck_assert_ptr_nonnull(mkdtemp(directory));
	char *paths[ARRAY_LEN(names)];
	for (size_t i = 0; i < ARRAY_LEN(names); i++) {
		paths[i] = xasprintf("%s/%s", directory, names[i]);
		write_file(paths[i], "");
	}
	ck_assert_int_eq(setenv("CREDENTIALS_DIRECTORY", directory, 1), 0);
	_cleanup_(config_freep) struct config *c = configured(
		"[broker]\nuser = u\npassword_file = word\nca_file = authority\n"
		"certificate_file = ours.pem\nkey_file = ours.key\n");
	ck_assert_str_eq(c->broker.password_file, paths[0]);
	ck_assert_str_eq(c->broker.ca_file, paths[1]);
	ck_assert_str_eq(c->broker.certificate_file, paths[2]);
	ck_assert_str_eq(c->broker.key_file, paths[3]);
	for (size_t i = 0; i < ARRAY_LEN(names); i++) {
		ck_assert_int_eq(unlink(paths[i]), 0);
		free(paths[i]);
	}
	ck_assert_int_eq(rmdir(directory), 0);
}
END

/* Else no verb could be run by hand with the service's configuration. */
TEST(a_credential_that_only_the_service_has_is_no_fault)
{
	struct faults notes = {0};
	(void)unsetenv("CREDENTIALS_DIRECTORY");
	_cleanup_(config_freep) struct config *c =
		configured_noting("[broker]\nuser = u\npassword_file = word\n", &notes);
	ck_assert_str_eq(c->broker.password_file, "$CREDENTIALS_DIRECTORY/word");
	size_t told = 0;
	for (size_t i = 0; i < notes.count; i++)
		told += strstr(notes.lines[i], "password_file = word: has no /") != NULL;
	ck_assert_uint_eq(told, 1);
	faults_release(&notes);
}
END

/* Ports: IANA service names mqtt and secure-mqtt. */
TEST(tls_is_on_with_an_authority_or_when_asked_for)
{
	static const struct {
		const char *text;
		bool tls;
		int port;
	} cases[] = {
		{"", false, 1883},
		{"tls = no\n", false, 1883},
		{"tls = yes\n", true, 8883},
		{"ca_file = /dev/null\n", true, 8883},
		{"ca_file = /dev/null\ntls = yes\nport = 1883\n", true, 1883},
		{"port = 8883\n", false, 8883},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		_cleanup_(freep) char *text =
			xasprintf("[broker]\nhost = h\n%s", cases[i].text);
		_cleanup_(config_freep) struct config *c = configured(text);
		ck_assert_msg(
			c->broker.tls == cases[i].tls && c->broker.port == cases[i].port,
			"%s: tls %d, port %d", cases[i].text, c->broker.tls,
			c->broker.port);
	}
}
END

TEST(a_password_that_leaves_the_machine_unencrypted_is_remarked)
{
	static const struct {
		const char *text;
		size_t notes;
	} cases[] = {
		{"host = elsewhere\n", 1},
		{"host = elsewhere\ntls = yes\n", 0},
		{"host = 127.0.0.1\n", 0},
		{"host = ::1\n", 0},
		{"host = localhost\n", 0},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct faults notes = {0};
		_cleanup_(freep) char *text = xasprintf("[plant]\nzone = UTC\n[broker]\n"
							"user = u\n"
							"password_file = /dev/null\n%s",
			cases[i].text);
		_cleanup_(config_freep) struct config *c =
			configured_noting(text, &notes);
		size_t found = 0;
		for (size_t k = 0; k < notes.count; k++)
			found += strstr(notes.lines[k],
					 "test.conf:5: [broker] the password "
					 "goes to elsewhere unencrypted")
					 ? 1
					 : 0;
		ck_assert_uint_eq(found, cases[i].notes);
		faults_release(&notes);
	}
}
END

TESTS(files_may_be_credentials_of_the_service,
	a_credential_that_only_the_service_has_is_no_fault,
	tls_is_on_with_an_authority_or_when_asked_for,
	a_password_that_leaves_the_machine_unencrypted_is_remarked)
