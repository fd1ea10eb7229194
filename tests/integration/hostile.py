"""Hostile clients of the HTTP face, beside a publisher: thousands of malformed requests (a list,
and seeded mutations), headers that drip, 200 sockets that say nothing. Each gets the right status or is
closed, others are served meanwhile, no message is lost or late for it, and afterwards the daemon
holds what it held before.

Outside: RFC 9110, RFC 9112 (statuses; from memory).

Usage: hostile.py HEATBOOKD SANITIZE; COUNT (default 2000) and SEED in the environment. SANITIZE is
`none` or what the build is checked with: memory is then its, and its own report of leaks ends the
daemon with an error.
"""
import collections
import os
import random
import re
import socket
import sys
import threading
import time

from probes import Listener, Speaker, check_stamps, probe_word
from rig import WAIT_MOST_S, Rig, wait_until
from tap import tests

COUNT = int(os.environ.get("COUNT", "2000"))
SEED = int(os.environ.get("SEED") or random.SystemRandom().randrange(1 << 32))
RATE = 20  # probes a second
GROWTH_MOST_KB = 5 * 1024  # of which kept answers may be four mebibytes
IDLE, DRIPPING = 200, 4
CONFIG = """[plant]
zone = Europe/Berlin
[broker]
host = 127.0.0.1
port = @BROKER_PORT@
[channel probe]
topic = probe
pointer = /v
[journal]
tail = @DIR@/tail
[store]
file = @DIR@/heatbook.db
commit_interval = 1 s
[http]
port = 0
"""
CLOSED = 0  # without an answer
REFUSED = {CLOSED, 400, 403, 404, 405, 413, 414, 421, 431, 501, 505}
TOO_LARGE = {CLOSED, 413, 414, 431}


def request(target=b"/v1/now", method=b"GET", host=b"Host: localhost\r\n", more=b"",
            version=b"HTTP/1.1"):
    return b"%s %s %s\r\n%s%s\r\n" % (method, target, version, host, more)


GOOD = [request(), request(b"/"), request(b"/v1/health"), request(b"/v1/now", b"HEAD"),
        request(b"/v1/energy?step=PT1H&from=1767222000&to=1767308400"),
        request(b"/v1/series?channels=probe"), request(b"/v1/channels", b"OPTIONS")]
LIST = (
    [(request(host=b""), {400}), (request(host=b"Host: localhost\r\n" * 2), {400})] +
    [(request(host=b"Host: %s\r\n" % h), {421}) for h in (
        b"evil.example", b"localhost.evil.example", b"127.0.0.1.evil.example", b"192.0.2.1",
        b"[::1", b"localhost:80x", b"localhost@evil.example", b"", b"0", b"0.0.0.0", b"::1", b"x" * 300)] +
    [(request(t), {404}) for t in (
        b"/..", b"/../../etc/passwd", b"/%2e%2e/%2e%2e/etc/passwd", b"/v1/../v1/now", b"//v1/now",
        b"/v1/now/", b"/V1/now", b"/v1/%6eow", b"/v1\\now", b"/.git/config", b"/page.js/..",
        b"/v1/now;x", b"/\xc3\xa4", b"/\xff\xfe")] +
    [(request(t), {400}) for t in (
        b"/v1/now%00", b"/%00", b"/v1/now?a=%00", b"/v1/now?a%00=1", b"/%0d%0aX:%20y", b"/%",
        b"/%4", b"/%zz", b"/v1/now?%", b"v1/now", b"..", b"ftp://localhost/", b"/v1/now?nothing=1",
        b"/v1/energy?from=1&from=1", b"/v1/energy?step=PT1H&to=99999999999999999999",
        b"/v1/energy?" + b"&".join(b"a%d=1" % i for i in range(200)),
        b"/v1/energy?from=0&to=1767222000&step=PT1M", b"/v1/now?" + b"a" * 8000)] +
    [(request(t), {400, 404, CLOSED}) for t in (
        b"", b" ", b"/v1/now /x", b"/\x01", b"/nothing\x00/..")] +
    [(request(method=m), {405}) for m in (b"POST", b"PUT", b"DELETE", b"TRACE", b"CONNECT",
                                          b"PATCH", b"get", b"X" * 100)] +
    [(request(more=b"Content-Length: 5\r\n") + b"hello", {413}),
     (request(more=b"Content-Length: 99999999999999999999\r\n"), {400, 413}),
     (request(more=b"Content-Length: -1\r\n"), {400, 413}),
     (request(more=b"Transfer-Encoding: chunked\r\n") + b"5\r\nhello\r\n0\r\n\r\n", {413}),
     (request(more=b"Transfer-Encoding: chunked\r\nContent-Length: 3\r\n"), {400, 413}),
     (request(more=b"Origin: http://evil.example\r\n"), {403}),
     (request(more=b"Origin: null\r\n"), {403}),
     (request(version=b"HTTP/9.9"), {400, 505}), (request(version=b"HTTP/2.0"), {400, 505}),
     (request(version=b"SPDY"), {400, 505}), (b"GET /v1/now\r\n\r\n", {400, CLOSED}),
     (request(b"/" + b"a" * 8192), {414}), (request(b"/" + b"a" * 65536), TOO_LARGE),
     (request(b"/v1/now?" + b"a=1&" * 16384), TOO_LARGE),
     (request(more=b"X: %s\r\n" % (b"x" * 65536)), TOO_LARGE),
     (request(more=b"X: y\r\n" * 8192), TOO_LARGE), (b"\x00" * 4096, REFUSED),
     (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + b"\x00" * 200, REFUSED),  # TLS's first
     (b"", {CLOSED}), (b"\r\n" * 1000, REFUSED), (b"G" * 100000, TOO_LARGE | {400})])


def flipped(r, data):
    data = bytearray(data)
    for _ in range(r.randint(1, 6)):
        data[r.randrange(len(data))] = r.randrange(256)
    return bytes(data)


def cut(r, data):
    return data[:r.randrange(len(data))]


def doubled(r, data):
    a, b = sorted(r.randrange(len(data)) for _ in range(2))
    return data[:b] + data[a:] * r.randint(1, 3)


def sown(r, data):
    at = r.randrange(len(data))
    seed = r.choice([b"\x00", b"\n", b"\r", b"\r\n", b" ", b"\t", b"%", b"%00", b"../", b":", b"\xff",
                     b"?", b"&", b"=", b"#", b"\x7f"])
    return data[:at] + seed * r.randint(1, 3) + data[at:]


def strange_target(r, _):
    words = [b"/", b"v1", b"now", b"energy", b"..", b".", b"%2e", b"%00", b"%", b"?", b"=", b"&",
             b"from", b"step", b"PT1M", b"1e9", b"-1", b"\xc3\xa4", b"'", b"\"", b"<", b"`", b"$(x)", b"*"]
    return request(b"/" + b"".join(r.choice(words) for _ in range(r.randint(1, 12))))


def noise(r, _):
    return r.randbytes(r.randint(1, 400))


MUTATIONS = (flipped, cut, doubled, sown, strange_target, noise)


def sound(data):
    """Whether a request may be answered with data: read line by line, with as little knowledge of
    the server as there can be. A zero byte is a word's end, what follows it reaches nothing."""
    lines = re.split(rb"\r?\n", data.lstrip(b"\r\n"))
    first = re.fullmatch(rb"(GET|HEAD|OPTIONS) +(\S+) +HTTP/1\.\d+",
                         re.sub(rb"\x00[^ ]*", b"", lines[0]))
    hosts = [line.partition(b":")[2].partition(b"\x00")[0].strip().lower() for line in lines[1:]
             if line.lower().startswith(b"host:")]
    return bool(first and hosts and re.fullmatch(rb"localhost(:\d*)?", hosts[0])
                and b"%00" not in first[2])


def status_of(port, data):
    """The status that a client sees, who ends the header, whatever it is, and leaves as soon as it
    has the answer's first line."""
    nothing = re.match(rb"[\r\n]*(\x00|$)", data)  # an empty line, and more is waited for
    with socket.create_connection(("127.0.0.1", port), WAIT_MOST_S) as s:
        answer = b""
        s.settimeout(0.02 if nothing else WAIT_MOST_S)
        try:
            s.sendall(data + b"\r\n\r\n")
            while b"\r\n" not in answer and (part := s.recv(4096)):
                answer += part
        except (ConnectionResetError, BrokenPipeError):
            pass  # it closed before it had read all
        except TimeoutError:
            assert nothing, data
    return int(answer[9:12]) if re.match(rb"HTTP/1\.[01] \d{3} ", answer) else CLOSED


class Aside(threading.Thread):
    """Sockets from an address of their own; each sends a start, then a byte now and then."""

    def __init__(self, port, source, count, start, drips):
        super().__init__(daemon=True)
        self.port, self.source, self.count = port, source, count
        self.begin, self.drips = start, drips
        self.most_open, self.closed_all = 0, False
        self.start()

    def run(self):
        sockets = []
        for _ in range(self.count):
            s = socket.create_connection(("127.0.0.1", self.port), WAIT_MOST_S,
                                         source_address=(self.source, 0))
            s.setblocking(False)
            sockets.append(s)
        time.sleep(0.3)
        sockets = [s for s in sockets if self.alive(s, self.begin)]
        self.most_open = len(sockets)
        end = time.monotonic() + WAIT_MOST_S
        while sockets and time.monotonic() < end:
            time.sleep(0.25)
            sockets = [s for s in sockets if self.alive(s, b"x" if self.drips else b"")]
        self.closed_all = not sockets

    @staticmethod
    def alive(s, data):
        try:
            s.send(data)
            gone = s.recv(4096) == b""
        except BlockingIOError:
            return True
        except OSError:
            gone = True
        if gone:
            s.close()
        return not gone


def listed(tap, daemon):
    for data, allowed in LIST:
        got = status_of(daemon.port, data)
        tap.ok(got in allowed, f"{data[:60]!r}", f"{got}, not {sorted(allowed)}")


def mutated(tap, daemon, r, count):
    """All of them one after the other; what is wrong is printed with what repeats it."""
    seen, wrong = collections.Counter(), []
    for i in range(count):
        how = r.choice(MUTATIONS)
        data = how(r, r.choice(GOOD))
        got = status_of(daemon.port, data)
        seen[got] += 1
        if got not in REFUSED and not (got in (200, 204) and sound(data)):
            wrong.append((i, how.__name__, got, data))
    tap.note(f"{count} mutations, seed {SEED}: {dict(sorted(seen.items()))}")
    tap.equal(wrong[:5], [], f"{count} mutations: refused, closed, or nothing was wrong with them")


def attack(tap, daemon, r):
    """True once all is over; the sockets aside are there from the beginning to their end."""
    idle = Aside(daemon.port, "127.0.0.2", IDLE, b"", False)
    dripping = Aside(daemon.port, "127.0.0.3", DRIPPING, b"GET /v1/now HTTP/1.1\r\nX: ", True)
    listed(tap, daemon)
    mutated(tap, daemon, r, COUNT)
    tap.equal([status_of(daemon.port, data) for data in GOOD], [200] * 6 + [204],
              "sound requests are answered as ever")
    for aside in (idle, dripping):
        aside.join(2 * WAIT_MOST_S)
    tap.equal(idle.most_open, 16, f"of {IDLE} idle sockets of a client 16 stay open at first")
    tap.equal(dripping.most_open, DRIPPING, "headers that drip are waited for at first")
    tap.ok(idle.closed_all and dripping.closed_all, "in the end none is")


def main(tap, heatbookd, sanitize):
    with Rig(heatbookd) as rig:
        broker = rig.broker("max_queued_messages 0\nmax_queued_bytes 0\n")
        config = rig.config("hostile", CONFIG, broker.port)
        daemon = rig.serve(config)
        daemon.wait_subscribed()
        listener, prober = Listener(broker.port), Speaker(broker.port, RATE, probe_word)
        r = random.Random(SEED)
        mutated(tap, daemon, r, 300)  # what is allocated once
        wait_until(lambda: daemon.health()["messages"]["accepted"] >= 2 * RATE, "probes in quiet")
        before = daemon.descriptors(), daemon.figure("VmRSS")
        begin = time.time()
        attack(tap, daemon, r)
        loads = [(begin, time.time())]
        prober.stop()
        heard = listener.stop()
        health = daemon.health()
        tap.note(f"{health['messages']['accepted']} messages, the longest turn "
                 f"{health['loop']['turn_ms_longest']:.0f} ms, memory {before[1]} kB before, "
                 f"{daemon.figure('VmRSS')} kB after")
        tap.equal(health["messages"]["refused"], 0, "no message is refused")
        wait_until(lambda: daemon.descriptors() <= before[0], "no descriptor more", 20)
        tap.ok(True, "no descriptor more")
        if sanitize == "none":
            tap.ok(daemon.figure("VmRSS") - before[1] <= GROWTH_MOST_KB, "no memory more", before)
        tap.equal(daemon.stop(), 0, "it ends in good order")
        check_stamps(tap, rig.export(config, "probes.jsonl"), heard, loads)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
