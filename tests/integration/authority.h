/*
 * Private authorities and certificates for tests, made in the process and written as PEM:
 * EC keys on P-256, X.509 v3 (RFC 5280), names as subject alternative names (RFC 6125).
 */
#ifndef AUTHORITY_H
#define AUTHORITY_H

#include "../unit/unit.h"

#include <openssl/ec.h>
#include <openssl/pem.h>
#include <openssl/x509v3.h>

#define A_DAY 86400L

struct identity {
	X509 *certificate;
	EVP_PKEY *key;
};

static inline void identity_release(struct identity *identity)
{
	X509_free(identity->certificate);
	EVP_PKEY_free(identity->key);
}

static inline void extend(
	X509 *certificate, X509V3_CTX *context, int nid, const char *text)
{
	X509_EXTENSION *extension = X509V3_EXT_conf_nid(NULL, context, nid, text);
	ck_assert_ptr_nonnull(extension);
	ck_assert_int_eq(X509_add_ext(certificate, extension, -1), 1);
	X509_EXTENSION_free(extension);
}

/* Valid from `from_s` to `to_s` relative to now. Without `issuer` it is an authority that
 * signs itself; `names` such as "DNS:localhost,IP:127.0.0.1", or NULL. */
static inline struct identity identity_made(const char *subject,
	const struct identity *issuer, const char *names, long from_s, long to_s)
{
	static long serial = 1;
	struct identity made = {X509_new(), EVP_EC_gen("P-256")};
	X509 *x = made.certificate;
	X509V3_CTX context;
	ck_assert_ptr_nonnull(x);
	ck_assert_ptr_nonnull(made.key);
	ck_assert_int_eq(X509_set_version(x, X509_VERSION_3), 1);
	ck_assert_int_eq(ASN1_INTEGER_set(X509_get_serialNumber(x), serial++), 1);
	ck_assert_ptr_nonnull(X509_gmtime_adj(X509_getm_notBefore(x), from_s));
	ck_assert_ptr_nonnull(X509_gmtime_adj(X509_getm_notAfter(x), to_s));
	ck_assert_int_eq(
		X509_NAME_add_entry_by_txt(X509_get_subject_name(x), "CN", MBSTRING_UTF8,
			(const unsigned char *)subject, -1, -1, 0),
		1);
	X509 *by = issuer ? issuer->certificate : x;
	ck_assert_int_eq(X509_set_issuer_name(x, X509_get_subject_name(by)), 1);
	ck_assert_int_eq(X509_set_pubkey(x, made.key), 1);
	X509V3_set_ctx(&context, by, x, NULL, NULL, 0);
	extend(x, &context, NID_basic_constraints,
		issuer ? "critical,CA:FALSE" : "critical,CA:TRUE");
	if (names)
		extend(x, &context, NID_subject_alt_name, names);
	ck_assert_int_gt(X509_sign(x, issuer ? issuer->key : made.key, EVP_sha256()), 0);
	return made;
}

/* Writes DIR/NAME.pem and DIR/NAME.key, the key encrypted where there is a passphrase. */
static inline void identity_write(const struct identity *identity, const char *dir,
	const char *name, char *passphrase)
{
	_cleanup_(freep) char *pem = xasprintf("%s/%s.pem", dir, name);
	_cleanup_(freep) char *key = xasprintf("%s/%s.key", dir, name);
	FILE *f = fopen(pem, "we");
	ck_assert_ptr_nonnull(f);
	ck_assert_int_eq(PEM_write_X509(f, identity->certificate), 1);
	ck_assert_int_eq(fclose(f), 0);
	f = fopen(key, "we");
	ck_assert_ptr_nonnull(f);
	ck_assert_int_eq(
		PEM_write_PrivateKey(f, identity->key,
			passphrase ? EVP_aes_128_cbc() : NULL, NULL, 0, NULL, passphrase),
		1);
	ck_assert_int_eq(fclose(f), 0);
}

#endif
