"""Clocks that are wrong, with the real daemon and the real broker: libfaketime sets the real-time
clock forward and back while the daemon runs (the other clocks stay real), and between two starts.
Rows, health and the export are looked at; a fresh store fed with the export has the same rows.

Usage: clocks.py HEATBOOKD
"""
import os
import pathlib
import shutil
import sys
import time

from rig import Publisher, Rig, derived_until, store, records_of, table, wait_until, TABLES
from tap import tests

LIBRARY = next(pathlib.Path("/usr/lib").glob("*/faketime/libfaketime.so.1"), None)
HOUR = 3600
CONFIG = """[plant]
zone = UTC
[broker]
host = 127.0.0.1
port = @BROKER_PORT@
client_id = heatbook-clocks
[source house]
silent_after = none
[channel room]
topic = house/room
unit = W
stale_after = none
[journal]
tail = @DIR@/tail
clock_wait = @WAIT@
[store]
file = @DIR@/heatbook.db
commit_interval = 1 s
[http]
port = 0
"""


def with_library(**settings):
    """The environment of a program whose clock the library sets."""
    assert LIBRARY, "libfaketime is not there"
    sanitizer = os.environ.get("ASAN_OPTIONS", "")  # its library need not come first
    return dict(os.environ, LD_PRELOAD=str(LIBRARY), **settings,
                ASAN_OPTIONS=f"{sanitizer}:verify_asan_link_order=0".lstrip(":"))


class Clock:
    """The daemon's real-time clock: the machine's and so many seconds."""

    def __init__(self, path):
        self.path = path
        self.by_s = 0
        self.set(0)
        self.env = with_library(FAKETIME_TIMESTAMP_FILE=str(path),
                                FAKETIME_DONT_FAKE_MONOTONIC="1", FAKETIME_NO_CACHE="1")

    def set(self, by_s):
        """In one piece: the file is read at any instant."""
        new = self.path.with_suffix(".new")
        new.write_text(f"{by_s:+d}\n")
        new.replace(self.path)
        self.by_s = by_s

    def now(self):
        return time.time() + self.by_s


class House:
    def __init__(self, port):
        self.publisher = Publisher(port)

    def says(self, daemon, value):
        """A word that the daemon has accepted."""
        before = daemon.health()["messages"]["accepted"]
        self.publisher.publish("house/room", str(value))
        wait_until(lambda: daemon.health()["messages"]["accepted"] > before, f"{value} is accepted")


def clock_of(daemon):
    return daemon.health()["clock"]


def wait_for_step(daemon, by_s):
    def seen():
        step = clock_of(daemon)["last_step"]
        return step and abs(step["by_s"] - by_s) < 5 and clock_of(daemon)
    return wait_until(seen, f"the step by {by_s} s is seen")


def serve(rig, clock, config):
    daemon = rig.serve(config, env=clock.env)
    daemon.wait_subscribed()
    return daemon


def export(rig, config, name):
    return records_of(rig.export(config, name))


def words(records):
    """Payload -> (stamp in s, unsure) of each message."""
    return {r["payload"]: (r["t_ms"] / 1000, r.get("unsure", False))
            for r in records if r["kind"] == "message"}


def minutes_with(config, value):
    with store(config) as s:
        return [r[0] for r in s.execute(
            "SELECT minute FROM minutes WHERE c_room = ? ORDER BY minute", (value,))]


def forward(tap, clock, house, daemon):
    house.says(daemon, 100)
    clock.set(HOUR)
    seen = wait_for_step(daemon, HOUR)
    tap.near(seen["last_step"]["t"], clock.now(), 10, "a step forward is told by the new time")
    tap.equal(daemon.get("/v1/health").status, 200, "and breaks no limit")
    wait_until(lambda: "set forward" in daemon.text(), "the loop's next look at the clock")
    tap.has(daemon.text(), "set forward by 3600 s", "and is logged")
    house.says(daemon, 200)


def small_back(tap, clock, house, daemon):
    clock.set(HOUR - 60)
    seen = wait_for_step(daemon, -60)
    tap.equal(seen["state"], "smoothing a step back", "a step back by a minute is smoothed out")
    house.says(daemon, 300)


def large_back(tap, clock, house, daemon):
    # What is closed depends on the second at which the test began: let one minute close.
    clock.set(HOUR + 90)
    wait_until(lambda: daemon.health()["derivation"]["until"], "a minute is closed")
    house.says(daemon, 350)
    clock.set(-2 * HOUR)
    wait_until(lambda: clock_of(daemon)["state"] == "behind closed minutes", "it is behind")
    health = daemon.get("/v1/health")
    tap.equal((health.status, [b["limit"] for b in health.json()["broken"]]), (503, ["clock"]),
              "a clock hours behind breaks its limit alone")
    house.says(daemon, 400)
    wait_until(lambda: clock_of(daemon)["unsure"] >= 1, "the message is marked")
    clock.set(2 * HOUR)
    wait_until(lambda: daemon.get("/v1/health").status == 200, "it is good again")
    house.says(daemon, 500)


def steps(tap, rig, clock, house, config):
    daemon = serve(rig, clock, config)
    began = clock.now()
    forward(tap, clock, house, daemon)
    small_back(tap, clock, house, daemon)
    daemon.kill()
    daemon = serve(rig, clock, config)
    large_back(tap, clock, house, daemon)
    clock.set(3 * HOUR)  # closes the minutes up to there
    wait_for_step(daemon, HOUR)
    wait_until(lambda: (daemon.health()["derivation"]["until"] or 0) > began + 2.5 * HOUR,
               "minutes are closed up to the last step")
    tap.equal(daemon.stop(), 0, "the daemon ends in good order")

    found = words(export(rig, config, "steps.jsonl"))
    tap.equal([w for w, (_, unsure) in found.items() if unsure], ["400"],
              "the one message of the wrong time is marked, and no other")
    tap.near(found["200"][0] - found["100"][0], HOUR, 30, "stamps follow a step forward")
    tap.ok(found["200"][0] <= found["300"][0] < found["200"][0] + 60,
           "stamps go on while a step back is smoothed out", found)
    tap.equal(minutes_with(config, 400), [], "the marked message feeds no row")
    gap = [m for m in minutes_with(config, 100) if m * 60 > began + 120]
    tap.equal(gap, [], "what was in force before the step forward ends there")
    tap.ok(minutes_with(config, 500), "what comes after the steps feeds rows")


def waiting(tap, rig, clock, house, config):
    """The store reaches to now + 3 h; the machine comes back with the time of before."""
    clock.set(0)
    daemon = serve(rig, clock, config)
    tap.equal(clock_of(daemon)["state"], "waiting to be set", "a clock before the rows is waited for")
    house.says(daemon, 600)
    held = clock_of(daemon)["held"]
    tap.ok(held >= 2, "messages are held", held)
    marked = words(export(rig, config, "held.jsonl"))["600"]
    tap.ok(marked[1] and abs(marked[0] - clock.now()) < 60, "the export shows them as they are",
           marked)
    daemon.kill()
    daemon = serve(rig, clock, config)
    tap.ok(clock_of(daemon)["held"] > held, "they are held after a kill, too")
    clock.set(4 * HOUR)
    wait_until(lambda: clock_of(daemon)["held"] == 0, "they are taken")
    house.says(daemon, 700)
    clock.set(5 * HOUR)
    wait_for_step(daemon, HOUR)
    tap.equal(daemon.stop(), 0, "it ends in good order")
    found = words(export(rig, config, "waited.jsonl"))
    tap.equal([w for w, (_, unsure) in found.items() if unsure], ["400"],
              "what waited is not marked any more")
    tap.near(found["600"][0] - marked[0], 4 * HOUR, 5, "and has the stamp of the clock as set")
    tap.ok([m for m in minutes_with(config, 600) if 0 <= m - found["600"][0] // 60 < 3]
           or found["600"][0] // 60 == found["700"][0] // 60, "and makes rows there")


def ahead(tap, rig, clock, house, port):
    """Years ahead, then set right: nothing counts until the owner says since when it is right."""
    config = rig.config("ahead", CONFIG.replace("@WAIT@", "0 s"), port)
    clock.set(5 * 365 * 24 * HOUR)
    daemon = serve(rig, clock, config)
    house.says(daemon, 800)
    clock.set(clock.by_s + 180)
    wait_until(lambda: daemon.health()["derivation"]["until"], "a minute is closed")
    tap.equal(daemon.stop(), 0, "a clock years ahead ends in good order")
    clock.set(6 * HOUR)
    right = clock.now()
    daemon = serve(rig, clock, config)
    tap.equal(clock_of(daemon)["state"], "behind closed minutes", "set right it is behind")
    tap.has(daemon.text(), "--clock-right-since", "and the log names the remedy")
    house.says(daemon, 900)
    tap.equal(daemon.stop(), 0, "it ends in good order")
    journal = rig.export(config, "ahead.jsonl")
    found = words(records_of(journal))
    tap.equal([found[w][1] for w in ("800", "900")], [False, True], "the right time is marked")

    healed = rig.config("healed", CONFIG.replace("@WAIT@", "0 s"), port)
    since = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(right))
    clock.set(7 * HOUR)
    wrong = rig.verb("import", healed, "--clock-right-since", "yesterday", journal, env=clock.env)
    tap.equal(wrong.returncode, 2, "the remedy wants a time with its offset")
    said = rig.done("import", healed, "--clock-right-since", since, journal, env=clock.env)
    tap.has(said.stdout.decode(), "of its future count no more", "the remedy says what it did")
    found = words(export(rig, healed, "healed.jsonl"))
    tap.equal([found[w][1] for w in ("800", "900")], [True, False], "the marks are turned round")
    tap.equal((minutes_with(healed, 800), bool(minutes_with(healed, 900))), ([], True),
              "what was said by the right clock makes rows, and nothing else")
    daemon = serve(rig, clock, healed)
    tap.ok(clock_of(daemon)["state"] != "behind closed minutes", "the daemon goes on",
           clock_of(daemon))
    house.says(daemon, 950)
    daemon.stop()
    tap.equal(words(export(rig, healed, "on.jsonl"))["950"][1], False, "and its records count")


def closed(clock, daemon):
    """Some minutes later, three of which rules wait for; how far rows are made then."""
    before = daemon.health()["derivation"]["until"]
    clock.set(clock.by_s + 300)
    return wait_until(lambda: daemon.health()["derivation"]["until"] != before, "minutes close")


def recipe(tap, rig, clock, house, port):
    """What README.md says of a clock that was years ahead, word by word, with a history before."""
    config = rig.config("recipe", CONFIG.replace("@WAIT@", "0 s")
                        + "[meter unit]\nfeeds = compressor\npower = room\n", port)
    home = config.parent
    for by_s, value in ((0, 700), (5 * 365 * 24 * HOUR, 800)):
        clock.set(by_s)
        daemon = serve(rig, clock, config)
        house.says(daemon, value)
        closed(clock, daemon)
        tap.equal(daemon.stop(), 0, f"recipe: {value} W is stored")
    known = minutes_with(config, 700)
    clock.set(30 * HOUR)
    right = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(clock.now()))
    daemon = serve(rig, clock, config)
    house.says(daemon, 900)
    daemon.stop()
    journal = home / "journal.jsonl"
    rig.done("export", config, "--journal", "--output", journal, env=clock.env)
    for file in list(home.glob("heatbook.db*")):
        if not file.name.endswith(".lock"):
            file.rename(home / file.name.replace("heatbook", "ahead"))
    shutil.rmtree(home / "tail")
    clock.set(31 * HOUR)
    rig.done("import", config, "--clock-right-since", right, journal, env=clock.env)
    daemon = serve(rig, clock, config)
    house.says(daemon, 950)
    closed(clock, daemon)
    tap.equal([bool(minutes_with(config, w)) for w in (700, 800, 900)], [True, False, True],
              "recipe: rows are those of the right clock")
    tap.equal(minutes_with(config, 700), known, "recipe: rows of the time before are as they were")
    copy = home / "copy.conf"
    copy.write_text(config.read_text().replace("heatbook.db", "ahead.db")
                    .replace("/tail", "/tail-ahead"))
    day = time.strftime("%Y-%m-%d", time.gmtime(known[0] * 60))
    text = rig.done("report", copy, "--from", day, "--to", day, env=clock.env).stdout.decode()
    tap.has(text, "electricity of unit", "recipe: the copy's report, beside the daemon")
    table_text = rig.done("export", copy, "--energy", "--step", "P1D", "--from", day, "--to", day,
                          env=clock.env).stdout.decode()
    tap.equal(len(table_text.splitlines()), 2, "recipe: the copy's table has its day")
    tap.equal(daemon.stop(), 0, "recipe: the daemon ends in good order")


def same_rows(tap, rig, clock, config):
    again = rig.config("again", CONFIG.replace("@WAIT@", "0 s"))
    rig.done("import", again, str(rig.dir / "waited.jsonl"), env=clock.env)
    until = min(derived_until(config), derived_until(again))
    for name in TABLES:
        tap.equal(table(again, name, until), table(config, name, until),
                  f"{name}: the export in a fresh store gives the same")


def main(tap, heatbookd):
    with Rig(heatbookd) as rig, open("/proc/uptime", encoding="ascii") as f:
        # Where no time service runs the wait must be shorter than the machine is up.
        wait_s = max(5, min(900, int(float(f.read().split()[0])) - 5))
        clock = Clock(rig.dir / "clock")
        broker = rig.broker()
        house = House(broker.port)
        text = CONFIG.replace("@WAIT@", f"{wait_s} s")
        config = rig.config("clocks", text, broker.port)
        steps(tap, rig, clock, house, config)
        waiting(tap, rig, clock, house, config)
        same_rows(tap, rig, clock, config)
        ahead(tap, rig, clock, house, broker.port)
        recipe(tap, rig, clock, house, broker.port)


if __name__ == "__main__":
    with tests() as tap_of_main:
        main(tap_of_main, *sys.argv[1:2])
