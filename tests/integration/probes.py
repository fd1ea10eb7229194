"""Probes of how exact arrival stamps are: messages that hold when they were sent, a bare subscriber
beside, and what the journal says of them.

A stamp is cut to its millisecond, so it may be up to 1 ms early; the difference takes in the
broker, and what a bare subscriber hears late is not the daemon's doing.
"""
import json
import multiprocessing
import select
import signal
import time

from rig import Publisher

TOPIC = "probe"
PING_S = 15  # the connection's keep-alive is a minute


def probe_word(number):
    return TOPIC, json.dumps({"v": number, "sent_us": time.time_ns() // 1000})


class Speaker(multiprocessing.Process):
    """What word(0), word(1) ... make, topic and payload, so many a second; a process, so that no
    other thread of ours delays a probe between its time and its sending."""

    def __init__(self, port, rate, word):
        super().__init__(daemon=True)
        self.port, self.rate, self.word = port, rate, word
        self.ending = multiprocessing.Event()
        self.start()

    def run(self):
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        publisher = Publisher(self.port)
        begin, said = time.monotonic(), 0
        while not self.ending.wait(0.005):
            while said < (time.monotonic() - begin) * self.rate:
                topic, payload = self.word(said)
                publisher.send(0x30, Publisher.text(topic) + payload.encode())  # QoS 0
                said += 1
        publisher.close()

    def stop(self):
        self.ending.set()
        self.join()


class Listener(multiprocessing.Process):
    """A bare subscriber to the probes: what it hears late is the machine's and the broker's."""

    def __init__(self, port):
        super().__init__(daemon=True)
        self.port, self.ending = port, multiprocessing.Event()
        self.mine, self.theirs = multiprocessing.Pipe(duplex=False)
        self.start()

    def run(self):
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        client = Publisher(self.port)
        client.send(0x82, b"\x00\x01" + Publisher.text(TOPIC) + b"\x00")
        assert client.receive(5) == b"\x90\x03\x00\x01\x00", "no subscription"
        heard, ping_at = [], time.monotonic() + PING_S
        while not self.ending.is_set():
            if time.monotonic() > ping_at:
                client.send(0xC0, b"")
                ping_at = time.monotonic() + PING_S
            if not select.select([client.socket], [], [], 0.1)[0]:
                continue
            kind, length = client.receive(2)  # a probe is shorter than 128 bytes
            now_us = time.time_ns() // 1000
            if kind == 0xD0:  # the answer to a ping
                continue
            probe = json.loads(client.receive(length)[2 + len(TOPIC):])
            heard.append((probe["sent_us"], now_us))
        self.theirs.send(heard)

    def stop(self):
        self.ending.set()
        assert self.mine.poll(60), "the bare subscriber died"
        heard = self.mine.recv()
        self.join()
        return heard


def spread(tap, name, late_ms):
    late_ms = sorted(late_ms)
    if late_ms:
        p999 = late_ms[min(len(late_ms) - 1, int(len(late_ms) * 0.999))]
        tap.note(f"{name}: {len(late_ms)} probes, median "
                 f"{late_ms[len(late_ms) // 2]:.1f} ms, p99.9 {p999:.1f} ms, "
                 f"most {late_ms[-1]:.1f} ms")


def told_apart(pairs, loads):
    """Lateness in ms of (sent, heard) in µs, in quiet and under load."""
    quiet, load = [], []
    for sent_us, heard_us in pairs:
        loaded = any(begin <= sent_us / 1e6 < end for begin, end in loads)
        (load if loaded else quiet).append((heard_us - sent_us) / 1000)
    return quiet, load


def check_stamps(tap, journal, heard, loads):
    """The spread is told, not judged, since it is the machine's business, too; that each probe is
    there once, in its order and not before it was sent, is."""
    pairs, numbers = [], []
    with open(journal, encoding="utf-8") as f:
        for r in map(json.loads, f):
            if r["kind"] != "message" or r["topic"] != TOPIC:
                continue
            probe = json.loads(r["payload"])
            numbers.append(probe["v"])
            pairs.append((probe["sent_us"], r["t_ms"] * 1000))
    for name, some in (("stamps", pairs), ("a bare subscriber", heard)):
        quiet, load = told_apart(some, loads)
        spread(tap, f"{name}, quiet", quiet)
        spread(tap, f"{name}, load", load)
    tap.equal(sorted(numbers), list(range(min(numbers), max(numbers) + 1)),
              f"none of {len(numbers)} probes is missing or there twice")
    tap.ok(all(stamp > sent - 1000 for sent, stamp in pairs), "no stamp is before its sending")
