"""The verb listen: a proposal made of the demo plant's messages against its own configuration, and
a broker's evening: early end, wildcards, a daemon beside it, no broker at all.

Usage: listen.py HEATBOOKD DEMO_PLANT.
"""
import configparser
import gzip
import json
import re
import signal
import subprocess
import sys
import threading

import rig
import tap

ROLES = ("flow_temperature", "return_temperature", "flow_rate", "water_pressure",
         "outdoor_temperature", "outdoor_humidity", "room_temperature", "cylinder_temperature",
         "target_flow_temperature", "compressor_frequency", "operating_mode", "valve", "defrost")
OWN = """[plant]
name = Demo house
zone = Europe/Berlin

[broker]
host = 127.0.0.1
port = @BROKER_PORT@

[journal]
tail = @DIR@/tail

[store]
file = @DIR@/heatbook.db

[http]
port = @HTTP_PORT@

"""


def sections(text):
    parser = configparser.ConfigParser(inline_comment_prefixes=(";",), delimiters=("=",),
                                       interpolation=None)
    parser.read_string(text)
    return {name: dict(parser[name]) for name in parser.sections()}


def pairs(section):
    """A map's words, by word."""
    return dict(item.strip().rsplit(":", 1) for item in section["map"].split(","))


def compare_channels(t, proposed, wanted):
    for role in ROLES:
        got, want = proposed.get(f"channel {role}", {}), wanted[f"channel {role}"]
        for key in ("topic", "pointer", "unit"):
            t.equal(got.get(key), want.get(key), f"{role} has the {key} of the demo's own file")
        if "map" in want:
            t.ok(pairs(want).items() <= pairs(got).items(), f"{role} maps the demo's words",
                 f"{got}\n{want}")
    for meter in ("unit", "immersion"):
        got, want = proposed[f"meter {meter}"], wanted[f"meter {meter}"]
        t.equal(set(got["feeds"].split(", ")), set(want["feeds"].split(", ")),
                f"meter {meter} feeds the same devices")
        for key in ("power", "register"):
            topics = [sorted(s[f"channel {c.strip()}"]["topic"] for c in m[key].split("+"))
                      for s, m in ((proposed, got), (wanted, want))]
            t.equal(topics[0], topics[1], f"meter {meter} reads its {key} at the same topics")
    t.equal(proposed["source plant"]["will_topic"], wanted["source plant"]["will_topic"],
            "the gateway's Will is found")


def day_by_proposal(t, r):
    """A day's archive: the proposal alone gives the energies of the demo's own file."""
    archive = r.archive("2026-01-18", "2026-01-19")
    empty = r.config("empty", OWN)
    result = r.verb("listen", empty, "--archive", archive, "--propose")
    t.equal(result.returncode, 0, "listen reads an archive without a broker")
    proposal = result.stdout.decode()
    own = r.demo("own", registers=True)
    compare_channels(t, sections(proposal), sections(rig.DEMO_CONFIG.read_text()))
    proposed = r.config("proposed", OWN + proposal)
    check = r.verb("check", proposed)
    t.equal(check.returncode, 0, "the proposal passes the check")
    for config in (own, proposed):
        r.done("import", config, archive)
    begin, end = 1768690800 // 60, 1768777200 // 60  # the local day, UTC+1
    a, b = (rig.energy_rows(c, begin, end) for c in (own, proposed))
    t.ok(len(a) > 1440, "the day has rows", len(a))
    t.equal(b, a, "every minute's energy is that of the demo's own configuration")
    reports = [r.done("report", c, "--from", "2026-01-18", "--to", "2026-01-18").stdout
               for c in (own, proposed)]
    t.equal(reports[1], reports[0], "and so is the report")


def list_and_json(t, r):
    archive = r.archive("2026-01-18T10:00:00+01:00", "2026-01-18T10:10:00+01:00",
                        out="minutes.txt")
    config = r.config("bare", "[broker]\nhost = 127.0.0.1\n")
    text = r.done("listen", config, "--archive", archive).stdout.decode()
    t.has(text, "/water/out  number", "the list names places with their kind")
    t.has(text, "every 20 s", "and their interval")
    t.has(text, "[channel flow_temperature]", "the proposal follows the list")
    answer = json.loads(r.done("listen", config, "--archive", archive, "--json").stdout)
    places = {(p["topic"], p.get("pointer")): p for p in answer["places"]}
    flow = places["plant/hydraulics", "/water/out"]
    t.equal(flow["guess"]["role"], "flow_temperature", "the JSON says the role")
    t.equal(flow["interval_median_s"], 20, "and the interval")
    packed = r.dir / "minutes.txt.gz"
    packed.write_bytes(gzip.compress(archive.read_bytes()))
    t.equal(json.loads(r.done("listen", config, "--archive", packed, "--json").stdout), answer,
            "a packed archive says the same")
    filtered = json.loads(r.done("listen", config, "--archive", archive, "--json",
                                 "house/room/+").stdout)
    t.equal({p["topic"].split("/")[1] for p in filtered["places"]}, {"room"},
            "filters select topics of an archive too")
    demo = json.loads(r.done("listen", r.demo("mapped"), "--archive", archive, "--json").stdout)
    mapped = {p["topic"]: p.get("mapped") for p in demo["places"]}
    t.equal(mapped["house/meter/unit/l1"], "unit_power_1", "what is mapped says to which channel")


def bad_lines(t, r):
    config = r.config("bad", "[broker]\nhost = 127.0.0.1\n")
    result = r.verb("listen", config, "--archive", "-",
                    input=b"1768690800 hp/flow_temp 31.5\nnonsense\x1b[2J line\n")
    t.equal(result.returncode, 3, "rejected lines are exit code 3")
    t.has(result.stderr.decode(), "standard input:2: begins with no time", "named by line")
    t.has(result.stderr.decode(), "nonsense\\x1b[2J", "and shown escaped")
    t.has(result.stdout.decode(), "hp/flow_temp", "what was understood is listed")
    for args, words in ((("--for", "soon"), "--for soon: must be a number"),
                        (("--json", "--propose"), "not both"),
                        (("--archive", "x", "a/#/b"), "# must be the last level")):
        result = r.verb("listen", config, *args)
        t.equal(result.returncode, 2, f"{' '.join(args)} is misuse")
        t.has(result.stderr.decode(), words, "and says why")
    result = r.verb("listen", config, "--archive", r.dir / "no such file")
    t.equal(result.returncode, 1, "an archive that is not there is a failure")
    t.has(result.stderr.decode(), "No such file", "with the system's reason")


class Listener:
    """heatbookd listen until it is told to end."""

    def __init__(self, r, config, *args):
        self.process = subprocess.Popen([r.heatbookd, "listen", "-c", config, *args], text=True,
                                        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                                        stderr=subprocess.PIPE)
        r.endings.append(self.process)
        self.errors = []
        self.reader = threading.Thread(target=self.read, daemon=True)
        self.reader.start()
        rig.wait_until(lambda: "listening at" in "".join(self.errors)
                       or self.process.poll() is not None, "it listens")

    def read(self):
        for line in self.process.stderr:
            self.errors.append(line)

    def end(self, number=signal.SIGINT):
        if number:
            self.process.send_signal(number)
        text = self.process.stdout.read()
        return self.process.wait(rig.WAIT_MOST_S), text


def with_broker(t, r):
    broker = r.broker()
    config = r.demo("beside", broker.port)
    daemon = r.serve(config)
    daemon.wait_subscribed()
    publisher = rig.Publisher(broker.port)
    publisher.publish("plant/state/valve", "rooms", retain=True)
    bare = r.config("few", f"[broker]\nhost = 127.0.0.1\nport = {broker.port}\n", broker.port)

    listener = Listener(r, bare, "--for", "10 min", "--json")
    for i in range(20):
        publisher.publish("plant/hydraulics", json.dumps(
            {"water": {"out": 31.0 + i / 10, "back": 27.5}}))
    publisher.publish("odd", b"\xff\x1b[31m")
    status = daemon.health()["messages"]["accepted"]
    rig.wait_until(lambda: daemon.health()["messages"]["accepted"] >= 21,
                   f"the daemon hears them too ({status})")
    code, text = listener.end()
    t.equal(code, 0, "SIGINT ends it in good order")
    places = {(p["topic"], p.get("pointer")): p for p in json.loads(text)["places"]}
    t.equal(places["plant/state/valve", None]["retained"], 1, "retained messages are told")
    t.ok(places["plant/hydraulics", "/water/out"]["count"] >= 19, "with what it heard so far")
    t.equal(places["plant/hydraulics", "/water/out"].get("guess", {}).get("role"),
            "flow_temperature", "and guesses")
    t.ok(all(not topic.startswith("$") for topic, _ in places), "no $ topic unless asked")
    t.equal(daemon.health()["broker"]["state"], "subscribed", "a daemon beside it stays")
    t.ok("lost" not in daemon.text() and "closed" not in daemon.text(), "and was not evicted",
         daemon.text())

    code, text = Listener(r, bare, "--for", "200 ms", "--json", "$SYS/#").end(None)
    t.equal(code, 0, "it ends by itself")
    topics = {p["topic"] for p in json.loads(text)["places"]}
    t.ok(topics and all(x.startswith("$SYS/") for x in topics), "asked for, $ topics are heard",
         topics)
    publisher.close()
    broker.stop()
    result = r.verb("listen", bare, "--for", "1 s")
    t.equal(result.returncode, 1, "a broker that cannot be reached is a failure")
    errors = result.stderr.decode()
    t.ok(re.search(rf"127\.0\.0\.1 port {broker.port}: Connection refused", errors),
         "with its cause", errors)
    t.has(errors, "check [broker] host, port", "and the remedy")
    result = r.verb("listen", r.config("none", "[plant]\nname = x\n"))
    t.equal(result.returncode, 2, "without a broker section there is nothing to listen to")
    t.has(result.stderr.decode(), "[broker] host", "and it says what is missing")


with tap.tests() as t, rig.Rig(*sys.argv[1:3]) as r:
    day_by_proposal(t, r)
    list_and_json(t, r)
    bad_lines(t, r)
    with_broker(t, r)
