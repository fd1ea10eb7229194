"""Beyond this machine: who is served at an address that others reach, and README's way to TLS by
a proxy, command by command, in a network of its own (unshare -n), where every port is free.

Of README's text only directories are others, and that no sudo is needed.

Usage: beyond.py HEATBOOKD
"""
import contextlib
import fcntl
import http.client
import os
import pathlib
import re
import signal
import socket
import struct
import subprocess
import sys

from rig import SOURCE, WAIT_MOST_S, Rig, accepts, code_blocks, end_process, wait_until
from tap import tests

OUTSIDE = "192.0.2.1"  # RFC 5737, 3: for documentation; here an address of the loopback device
OFTEN = 40
SIOCSIFADDR, SIOCSIFFLAGS, IFF_UP = 0x8916, 0x8914, 1  # netdevice(7)
CONFIG = """[plant]
zone = UTC
[journal]
tail = @DIR@/tail
[store]
file = @DIR@/heatbook.db
[http]
"""


def network():
    """Loopback goes up, and gets a second address."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as s:
        fcntl.ioctl(s, SIOCSIFFLAGS, struct.pack("16sh14x", b"lo", IFF_UP))
        address = struct.pack("HH4s8x", socket.AF_INET, 0, socket.inet_aton(OUTSIDE))
        fcntl.ioctl(s, SIOCSIFADDR, struct.pack("16s16s", b"lo:1", address))


def ask(to, path="/v1/now", source=None, **fields):
    """The answer to a client that comes from `source`."""
    connection = http.client.HTTPConnection(to, 8720, timeout=WAIT_MOST_S,
                                            source_address=source and (source, 0))
    with contextlib.closing(connection):
        connection.request("GET", path, headers={k.title(): v for k, v in fields.items()})
        answer = connection.getresponse()
        answer.read()
        return answer


def refused(tap, rig):
    for address in ("0.0.0.0", "::", OUTSIDE):
        config = rig.config("refused", CONFIG + f"address = {address}\n")
        for verb in ("check", "serve"):
            result = rig.verb(verb, config)
            said = result.stderr.decode()
            tap.equal(result.returncode, 2, f"{verb} refuses {address} unguarded")
            tap.ok(f"heatbook.conf:8: [http] address = {address}" in said and
                   "token_file" in said and "open = yes" in said, "and names what helps", said)


def opened(tap, rig):
    """To everyone, but by a known name and not too often."""
    config = rig.config("open", CONFIG + "address = 0.0.0.0\nopen = yes\nhosts = cellar\n"
                        f"requests_per_client = {OFTEN}\n")
    daemon = rig.serve(config)
    tap.equal(ask(OUTSIDE).status, 200, "open: answered by its address")
    tap.equal(ask(OUTSIDE, host="cellar:1").status, 200, "open: answered by its name")
    tap.equal(ask(OUTSIDE, host="evil.example").status, 421, "open: by no other name")
    tap.equal(ask(OUTSIDE, host="192.0.2.2").status, 421, "open: by no other address")
    tap.equal(ask(OUTSIDE, origin="http://evil.example").status, 403, "open: for no other page")
    answers = [ask(OUTSIDE, source=OUTSIDE) for _ in range(OFTEN + 5)]
    late = [a for a in answers if a.status == 429]
    tap.ok(late and {a.status for a in answers} == {200, 429}, "open: not without end",
           [a.status for a in answers])
    tap.ok(all(1 <= int(a.headers["Retry-After"]) <= 60 for a in late), "and says when again")
    here = {ask("127.0.0.1", source="127.0.0.1").status for _ in range(OFTEN + 5)}
    tap.equal(here, {200}, "open: on this machine as often as one likes")
    tap.equal(daemon.stop(), 0, "it ends in good order")


def guarded(tap, rig):
    """Tokens, exchanged while it runs; none of them in the log."""
    config = rig.config("guarded", CONFIG + f"address = {OUTSIDE}\ntoken_file = @DIR@/tokens\n")
    tokens = config.parent / "tokens"

    def write(text, mode):
        tokens.write_text(text, encoding="ascii")
        tokens.chmod(mode)
    write("first-token-of-two\n", 0o600)
    daemon = rig.serve(config)

    def status(token):
        return ask(OUTSIDE, authorization=f"Bearer {token}").status
    tap.equal(ask(OUTSIDE).status, 401, "guarded: nothing without a token")
    tap.equal(ask(OUTSIDE).headers["WWW-Authenticate"], 'Bearer realm="heatbook"', "and says so")
    tap.equal(ask(OUTSIDE, path="/").status, 200, "guarded: the page is there, to ask for it")
    tap.equal(status("first-token-of-two"), 200, "guarded: answered with a token")
    tap.equal(status("second-token-of-two"), 401, "guarded: not with another")

    def reload(word):
        lines = len(daemon.lines)
        daemon.process.send_signal(signal.SIGHUP)
        wait_until(lambda: word in "".join(daemon.lines[lines:]), "it was read again")
    write("first-token-of-two\nsecond-token-of-two\n", 0o600)
    reload("is in force")
    tap.equal([status("first-token-of-two"), status("second-token-of-two")], [200, 200],
              "guarded: a reload takes the second, and the first still")
    write("third-token-of-all\n", 0o644)
    reload("the former configuration stays in force")
    tap.equal([status("first-token-of-two"), status("third-token-of-all")], [200, 401],
              "guarded: a file that others may read changes nothing")
    tap.equal(daemon.stop(), 0, "it ends in good order")
    tap.ok("chmod 640" in daemon.text(), "the log says what helps", daemon.text())
    tap.ok("-token-of-" not in daemon.text(), "and no token", daemon.text())


def recipe():
    """README's blocks of the section, as they stand."""
    text = (SOURCE / "README.md").read_text(encoding="utf-8")
    return code_blocks(text.partition("### Beyond this machine\n")[2].partition("\n## ")[0])


def shell(command, **more):
    return subprocess.run(["sh", "-ec", command], stdin=subprocess.DEVNULL, text=True,
                          capture_output=True, check=False, timeout=WAIT_MOST_S, **more)


def behind_proxy(tap, rig):
    home = rig.dir / "machine"
    for name in ("stunnel", "credstore"):
        (home / name).mkdir(parents=True)
    blocks = [b.replace("/etc/stunnel", f"{home}/stunnel").replace(
        "/etc/credstore", f"{home}/credstore").replace("sudo ", "") for b in recipe()]
    tap.equal(len(blocks), 5, "README has tokens, options, a certificate, a proxy, a question")
    token, config, certificate, proxy, question = blocks
    for command in (token, certificate):
        result = shell(command)
        tap.equal(result.returncode, 0, command.split("\n", maxsplit=1)[0][:60])
    if os.geteuid() or not_really_root():
        proxy = re.sub(r"(?m)^set[ug]id = .*\n", "", proxy)
    (home / "stunnel/heatbook.conf").write_text(proxy, encoding="utf-8")
    secret = (home / "credstore/heatbook.http_token").read_text(encoding="ascii").strip()
    (home / "credstore/heatbook.http_token").rename(home / "credstore/http_token")
    path = rig.config("proxy", CONFIG.replace("[http]\n", "") + config)
    daemon = rig.serve(path, dict(os.environ, CREDENTIALS_DIRECTORY=str(home / "credstore")))
    tap.equal(daemon.port, 8720, "the daemon serves at its port")
    tunnel = subprocess.Popen(["stunnel4", str(home / "stunnel/heatbook.conf")],
                              stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
    rig.endings.append(tunnel)
    wait_until(lambda: tunnel.poll() is not None or accepts(8443), "the proxy listens")
    (home / "heatbook.crt").write_bytes((home / "stunnel/heatbook.crt").read_bytes())
    (home / ".curlrc").write_text("resolve = cellar.example:8443:127.0.0.1\nsilent\n"
                                  'write-out = "%{http_code}"\noutput = body\n', encoding="ascii")
    answers = {}
    for name, field in (("with", f"Authorization: Bearer {secret}"), ("without", "X: none")):
        (home / "field").write_text(field + "\n", encoding="ascii")
        result = shell(question, cwd=home, env=dict(os.environ, HOME=str(home)))
        answers[name] = (result.returncode, result.stdout)
    tap.equal(answers, {"with": (0, "200"), "without": (0, "401")},
              "README's question is answered through the proxy, with the token alone")
    tap.has((home / "body").read_text(encoding="utf-8"), '"status":401', "and says why not")
    other = shell(question.replace("heatbook.crt", "/etc/ssl/certs/ca-certificates.crt"), cwd=home,
                  env=dict(os.environ, HOME=str(home)))
    tap.ok(other.returncode != 0, "a client that was not given the certificate asks nothing")
    end_process(tunnel)
    tap.equal(daemon.stop(), 0, "it ends in good order")
    tap.ok(secret not in daemon.text(), "the token is not in the log")


def not_really_root():
    """Root of a namespace that has no other users."""
    return pathlib.Path("/proc/self/uid_map").read_text(encoding="ascii").split()[2] == "1"


def main(tap, heatbookd):
    network()
    with Rig(heatbookd) as rig:
        refused(tap, rig)
        opened(tap, rig)
        guarded(tap, rig)
        behind_proxy(tap, rig)


if not os.environ.get("BEYOND"):
    away = ["unshare", "-n"] + (["-r"] if os.geteuid() else [])
    if subprocess.run(away + ["true"], stderr=subprocess.DEVNULL, check=False).returncode:
        print("1..0 # SKIP no network of one's own may be made")
        sys.exit(0)
    os.environ["BEYOND"] = "1"
    os.execvp("unshare", away + [sys.executable, *sys.argv])
with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:2])
