"""What comes at once after a subscription, with the real daemon and the real broker: of a gauge
and of a register the last message alone counts, while every message is kept. The same rows by
every door: the daemon's own, `rebuild`, and a fresh store fed with the export.

The real-time clock is libfaketime's, so that minutes close when they are wanted (clocks.py).

Usage: bursts.py HEATBOOKD
"""
import sys

from clocks import Clock, serve, wait_for_step
from rig import Publisher, Rig, derived_until, records_of, store, table, wait_until, TABLES
from tap import tests

ATTEMPTS = 5  # on a machine so loaded that seconds pass between two messages
WINDOW_MS = 5000
CONFIG = """[plant]
zone = UTC
[broker]
host = 127.0.0.1
port = @BROKER_PORT@
client_id = heatbook-bursts
[source house]
silent_after = none
[channel room]
topic = house/room
unit = W
extremes = yes
stale_after = none
[channel unit_register]
topic = house/register
unit = kWh
[meter unit]
feeds = compressor
register = unit_register
step = 0.001 kWh
[journal]
tail = @DIR@/tail
clock_wait = 0 s
[store]
file = @DIR@/heatbook.db
commit_interval = 1 s
[http]
port = 0
"""


def heard(daemon, publisher, messages):
    """All of them, accepted."""
    before = daemon.health()["messages"]["accepted"]
    for topic, payload in messages:
        publisher.publish(topic, payload)
    wait_until(lambda: daemon.health()["messages"]["accepted"] >= before + len(messages),
               "they are accepted")


def backlog(kwh):
    """Four minutes of 5 kW in 20 Wh a message, and what a gauge said meanwhile. What shares a
    millisecond goes by its bytes, so these rise."""
    for n in range(1, 17):
        yield "house/room", str(900 + n if n < 16 else 999)
        yield "house/register", f"{kwh + 0.02 * n:.3f}"


def in_one_window(records):
    """The stamps of the last backlog, if a subscription's five seconds and its minute hold it."""
    begin = max(r["t_ms"] for r in records if r["kind"] == "subscribed")
    end = min(begin + WINDOW_MS, (begin // 60000 + 1) * 60000)
    stamps = [r["t_ms"] for r in records if r["kind"] == "message" and r["t_ms"] >= begin]
    return stamps if len(stamps) == 32 and max(stamps) < end else None


def one(rig, clock, config, publisher, kwh):
    """The daemon comes back after four minutes, and all that was said is there at once."""
    daemon = serve(rig, clock, config)
    heard(daemon, publisher, [("house/register", f"{kwh:.3f}")])
    daemon.stop()
    clock.set(clock.by_s + 240 + int(62 - (clock.now() + 240) % 60))
    daemon = serve(rig, clock, config)
    heard(daemon, publisher, list(backlog(kwh)))
    at = clock.now()
    wait_until(lambda: clock.now() > at + 1, "the last word holds for a while")
    clock.set(clock.by_s + 240)
    wait_for_step(daemon, 240)
    wait_until(lambda: (daemon.health()["derivation"]["until"] or 0) > at + 60,
               "the minute is closed")
    return daemon.stop()


def expect_gauge(tap, config, stamps, end_ms):
    minute, last_ms = stamps[0] // 60000, sorted(stamps)[-2]  # the very last is the register's
    with store(config) as s:
        row = s.execute("SELECT * FROM minutes WHERE minute = ?", (minute,)).fetchone()
    tap.equal([row[k] for k in ("c_room", "c_room_least", "c_room_most")], [999] * 3,
              "the gauge's last word alone shows in mean and extremes")
    tap.near(row["c_room_ms"], end_ms - last_ms, 1, "and is known from its own instant on")


def expect_register(tap, config, stamps):
    with store(config) as s:
        spans = [dict(r) for r in s.execute(
            "SELECT * FROM settlements WHERE end_ms BETWEEN ? AND ?",
            (min(stamps), max(stamps)))]
    tap.equal([r["j"] for r in spans], [1152000], "the register's amount is 0.32 kWh, once")
    tap.equal([r["end_ms"] for r in spans], [max(stamps)], "up to the last message")


def main(tap, heatbookd):
    with Rig(heatbookd) as rig:
        clock = Clock(rig.dir / "clock")
        broker = rig.broker()
        publisher = Publisher(broker.port)
        config = rig.config("bursts", CONFIG, broker.port)
        for attempt in range(ATTEMPTS):
            status = one(rig, clock, config, publisher, 700 + attempt)
            records = records_of(rig.export(config, "journal.jsonl"))
            stamps = in_one_window(records)
            if stamps:
                break
        tap.equal(status, 0, "the daemon ends in good order")
        if not tap.ok(stamps, "a backlog came within five seconds of its subscription"):
            return
        tap.equal(len(stamps), 32, "every message is in the journal")
        expect_gauge(tap, config, stamps, max(r["t_ms"] for r in records
                                              if r["kind"] == "clock_step"))
        expect_register(tap, config, stamps)
        before = {name: table(config, name) for name in TABLES}
        rig.done("rebuild", config, env=clock.env)
        again = rig.config("again", CONFIG)
        rig.done("import", again, str(rig.dir / "journal.jsonl"), env=clock.env)
        until = min(derived_until(config), derived_until(again))
        for name in TABLES:
            tap.equal(table(config, name), before[name], f"{name}: rebuilt they are the same")
            tap.equal(table(again, name, until), table(config, name, until),
                      f"{name}: the export in a fresh store gives the same")


if __name__ == "__main__":
    with tests() as tap_of_main:
        main(tap_of_main, *sys.argv[1:2])
