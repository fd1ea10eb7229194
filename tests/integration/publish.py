"""Publishing back, at Debian's mosquitto: what is said, when, and that nothing else ever is. A
spy on # hears every word; the daemon subscribes # as well, and none of its own comes back into
the journal. Packets by OASIS MQTT 3.1.1 and 5.0 (the former read, the latter from memory).

Usage: publish.py HEATBOOKD
"""
import datetime
import json
import re
import signal
import socket
import struct
import sys
import threading
import zoneinfo

from rig import SOURCE, Publisher, Rig, edit, records_of, wait_until
from tap import tests

CONFIG = """
[plant]
name = Speaking house
zone = Europe/Berlin
devices = compressor

[broker]
host = 127.0.0.1
port = @BROKER_PORT@
client_id = heatbook-speaks
protocol = 3.1.1

[source everything]
topics = #
silent_after = none

[channel flow_temperature]
topic = house/out
unit = °C

[channel return_temperature]
topic = house/back
unit = °C

[channel flow_rate]
topic = house/rate
unit = L/min

[channel operating_mode]
topic = house/mode
map = room:heating, tank:hot_water, idle:standby

[channel unit_power]
topic = house/power
unit = W

[meter unit]
feeds = compressor
power = unit_power

[publish]
prefix = heatbook
interval = 10 s

[journal]
tail = @DIR@/tail
clock_wait = 0 s

[store]
file = @DIR@/heatbook.db
commit_interval = 1 s

[http]
port = @HTTP_PORT@
"""
WORDS = ["today", "mode", "findings", "state"]  # of the present; said anew by each run
STANDS = "heatbook/notices"  # until there is another
HEARD = {"house/out": "35.5", "house/back": "30.5", "house/rate": "18", "house/mode": "room",
         "house/power": "1500"}
EXPIRY = 2  # Message Expiry Interval, MQTT 5.0, 3.3.2.3.3
SIZES = {1: 1, 2: 4, 35: 2}  # of the properties that may come here


class Spy(Publisher):
    """Subscribes # and keeps every message as (topic, payload, retained, properties)."""

    def __init__(self, port, five=False):
        self.five, self.heard = five, []
        self.socket = socket.create_connection(("127.0.0.1", port), 60)
        none = b"\0" if five else b""
        self.send(0x10, self.text("MQTT") + (b"\x05" if five else b"\x04") + b"\x02\x00\x3c" +
                  none + self.text(f"spy{self.port()}"))
        assert self.packet()[0] == 0x20
        self.send(0x82, b"\0\1" + none + self.text("#") + b"\0")
        assert self.packet()[0] == 0x90
        self.socket.settimeout(None)
        threading.Thread(target=self.listen, daemon=True).start()

    def packet(self):
        kind, size, shift = self.receive(1)[0], 0, 0
        while True:
            byte = self.receive(1)[0]
            size |= (byte & 127) << shift
            shift += 7
            if byte < 128:
                return kind, self.receive(size)

    def listen(self):
        try:
            while True:
                kind, body = self.packet()
                if kind >> 4 == 3:
                    self.take(kind, body)
        except (AssertionError, OSError):
            pass  # the broker has ended

    def take(self, kind, body):
        size = struct.unpack(">H", body[:2])[0]
        topic, rest, properties = body[2:2 + size].decode(), body[2 + size:], {}
        if self.five:
            given, rest = rest[1:1 + rest[0]], rest[1 + rest[0]:]
            while given:
                n = SIZES[given[0]]
                properties[given[0]] = int.from_bytes(given[1:1 + n], "big")
                given = given[1 + n:]
        self.heard.append((topic, rest.decode(), bool(kind & 1), properties))

    def last(self, topic):
        """The last word of a topic, None before the first."""
        words = [m[1] for m in list(self.heard) if m[0] == topic]
        return words[-1] if words else None

    def topics(self):
        return {m[0] for m in list(self.heard)}

    def order(self, since=0):
        return [(m[0], m[1]) for m in list(self.heard)[since:]
                if m[0].startswith("heatbook") and m[0] != STANDS]

    def wait_state(self, word, prefix="heatbook"):
        wait_until(lambda: self.last(f"{prefix}/state") == word, f"{prefix}/state is {word}")


def retained(port, five=False):
    """What a client that comes now is told: topic -> (payload, properties)."""
    spy = Spy(port, five)
    mark = Publisher(port)
    mark.publish("house/mark", "here")
    wait_until(lambda: spy.last("house/mark"), "the mark")
    spy.socket.close()
    return {t: (p, more) for t, p, kept, more in spy.heard if kept}


def today():
    return datetime.datetime.now(zoneinfo.ZoneInfo("Europe/Berlin")).date().isoformat()


def what_is_said(tap, daemon, spy, house, begun):
    spy.wait_state("present")
    words = {w: spy.last(f"heatbook/{w}") for w in WORDS}
    day = json.loads(words["today"])
    tap.ok(day["date"] in (begun, today()), "today is the date of the plant's zone", day)
    tap.ok(day["heat_kwh"] is None and day["cop"] is None and day["no_cop_because"] and
           day["coverage"]["heat"] in (0, None), "of which nothing is known yet, and why", day)
    tap.equal(day["boundary"], "H4", "its boundary is named")
    tap.equal(day["uncertainty"]["coverage_factor"], 2, "and the factor of its uncertainty")
    tap.equal(words["mode"], "unknown", "the mode is unknown")
    found = json.loads(words["findings"])
    tap.ok(found["count"] == 0 and found["findings"] == [], "nothing is found", found)
    for topic, payload in HEARD.items():
        house.publish(topic, payload)
    tap.ok(wait_until(lambda: spy.last("heatbook/mode") == "heating", "the mode"),
           "a mode that changed is told at once")
    tap.equal(daemon.get("/v1/now").json()["minute"]["mode"], "heating", "as /v1/now tells it")
    word = json.loads(wait_until(lambda: spy.last(STANDS), "notices"))
    tap.ok(word["raised"] == 0 and word["notices"] == [], "nothing is watched", word)


def order_of_words(tap, spy):
    first = [t for t, _ in spy.order()][:4]
    tap.equal(first, [f"heatbook/{w}" for w in WORDS], "the state is said last")


def others_under_the_prefix(tap, daemon, house):
    before = daemon.health()["messages"]["accepted"]
    house.publish("heatbook/state", "forged", retain=True)
    house.publish("heatbook", "forged")
    house.publish("heatbooks", "a neighbour")
    wait_until(lambda: daemon.health()["messages"]["accepted"] > before, "the neighbour")
    tap.equal(daemon.health()["messages"]["accepted"], before + 1,
              "what lies under the prefix is no message of the house")


def death(tap, rig, config, daemon, spy, broker):
    daemon.kill()
    spy.wait_state("gone")
    kept = retained(broker.port)
    tap.ok(kept["heatbook/state"][0] == "gone" and kept["heatbook/mode"][0] == "heating",
           "after a death the broker says that it is gone", kept)
    since = len(spy.heard)
    daemon = rig.serve(config)
    spy.wait_state("present")
    after = spy.order(since)
    tap.ok([t for t, _ in after][:4] == [f"heatbook/{w}" for w in WORDS],
           "the next run says all anew before it is present", after)
    tap.ok(STANDS in kept and STANDS not in {m[0] for m in spy.heard[since:]},
           "but for the notices, which the broker holds")
    return daemon


def orderly_end(tap, daemon, spy, broker):
    tap.equal(daemon.stop(), 0, "it ends in good order")
    spy.wait_state("stopped")
    tap.equal({t: p for t, (p, _) in retained(broker.port).items()},
              {"heatbook/state": "stopped", STANDS: spy.last(STANDS)},
              "then all but the word that it stopped and the notices is taken back")
    tap.equal(spy.last("heatbook/mode"), "", "also from those who listen")


def broker_restarts(tap, rig, config, broker):
    daemon = rig.serve(config)
    wait_until(lambda: "heatbook/state" in retained(broker.port), "it has said all")
    broker.stop()
    if not broker.start():
        raise RuntimeError("its port was taken")
    rig.endings.append(broker.process)
    wait_until(lambda: set(retained(broker.port)) == {f"heatbook/{w}" for w in WORDS} | {STANDS},
               "all words again")
    tap.ok(True, "a broker that begins anew is told all of it again")
    return daemon


def other_prefix(tap, daemon, config, broker):
    spy = Spy(broker.port)
    edit(config, ("prefix = heatbook\n", "prefix = cellar/book\n"))
    daemon.process.send_signal(signal.SIGHUP)
    spy.wait_state("present", "cellar/book")
    wait_until(lambda: spy.last("cellar/book/notices"), "notices")
    kept = retained(broker.port)
    tap.equal(set(kept), {f"cellar/book/{w}" for w in WORDS + ["notices"]},
              "a reload with another prefix takes all back under the former one")
    edit(config, ("prefix = cellar/book\n", ""))
    daemon.process.send_signal(signal.SIGHUP)
    spy.wait_state("", "cellar/book")
    tap.equal(retained(broker.port), {}, "a reload without a prefix leaves nothing behind")
    daemon.wait_subscribed()
    edit(config, ("[publish]\n", "[publish]\nprefix = house\n"))
    daemon.process.send_signal(signal.SIGHUP)
    wait_until(lambda: "lies in one tree with topic house/out" in daemon.text(), "the fault")
    tap.ok(True, "a prefix in the plant's tree is refused")
    edit(config, ("prefix = house\n", "prefix = heatbook\n"))
    daemon.stop()
    return spy


def fading(tap, rig, config, broker):
    edit(config, ("protocol = 3.1.1", "protocol = 5"))
    daemon = rig.serve(config)
    wait_until(lambda: retained(broker.port).get("heatbook/state", [""])[0] == "present", "state")
    kept = retained(broker.port, five=True)
    tap.ok(all(0 < kept[f"heatbook/{w}"][1].get(EXPIRY, 0) <= 30 for w in WORDS[:3]),
           "with MQTT 5 words fade after three intervals", kept)
    tap.ok(EXPIRY not in kept["heatbook/state"][1], "but for the state")
    daemon.stop()


def forbidden(tap, rig, config, former):
    """A broker that lets it read alone, and one that keeps nothing."""
    acl = rig.dir / "acl"
    acl.write_text("topic read #\ntopic write house/#\n")
    for more, why in ((f"acl_file {acl}\n", "not authorised"),
                      ("retain_available false\n", "keeps no retained messages")):
        broker = rig.broker(more)
        edit(config, (f"port = {former.port}\n", f"port = {broker.port}\n"))
        former = broker
        daemon = rig.serve(config)
        wait_until(lambda: "is not published" in daemon.text(), "the warning")
        tap.has(daemon.text(), why, f"where it may not publish it says why: {why}")
        daemon.wait_subscribed()
        house = Publisher(broker.port)
        house.publish("house/power", "900")
        wait_until(lambda: daemon.get("/v1/now").json()["channels"]["unit_power"]["value"] == 900,
                   "the message")
        tap.ok(True, "and listens all the same")
        tap.equal(daemon.text().count("is not published"), 1, "which it says once")
        daemon.stop()


def one_way_out(tap):
    callers = {path.name for path in (SOURCE / "daemon").rglob("*.[ch]")
               if re.search(r"mosquitto_(publish|will_set)(_v5)?\(", path.read_text())}
    tap.equal(callers, {"posting.c"}, "the program has one place that publishes")


def main(tap, heatbookd):
    one_way_out(tap)
    with Rig(heatbookd) as rig:
        broker = rig.broker()
        config = rig.config("speaks", CONFIG, broker.port)
        spy, house, begun = Spy(broker.port), Publisher(broker.port), today()
        daemon = rig.serve(config)
        what_is_said(tap, daemon, spy, house, begun)
        order_of_words(tap, spy)
        others_under_the_prefix(tap, daemon, house)
        daemon = death(tap, rig, config, daemon, spy, broker)
        orderly_end(tap, daemon, spy, broker)
        tap.equal(spy.topics(), {f"heatbook/{w}" for w in WORDS} | {STANDS} | set(HEARD) |
                  {"heatbook", "heatbooks", "house/mark"},
                  "nothing was ever published outside of the prefix")
        daemon = broker_restarts(tap, rig, config, broker)
        spy = other_prefix(tap, daemon, config, broker)
        tap.equal({t for t in spy.topics() if not t.startswith(("heatbook/", "cellar/book/"))},
                  {"house/mark"}, "nor outside of others")
        fading(tap, rig, config, broker)
        forbidden(tap, rig, config, broker)
        topics = {r.get("topic", "") for r in records_of(rig.export(config, "journal.jsonl"))}
        tap.equal({t for t in topics if t.startswith(("heatbook/", "cellar"))} |
                  ({"heatbook"} & topics), set(), "and none of it is in the journal")
        tap.ok({"heatbooks", "house/power"} <= topics, "where all else is", topics)
        tap.equal(rig.verb("verify", config).returncode, 0, "sums close")


if __name__ == "__main__":
    with tests() as tap_of_main:
        main(tap_of_main, *sys.argv[1:2])
