"""Late readings that come without end: how far live minutes fall behind, what the daemon spends
and how often it commits, with a real broker. Beside RATE late messages a second, whose own times
lie anywhere in the last SPAN_H hours, a channel without own times speaks each second; DAYS days of
the demo plant are in the journal. At the end, the flood over, the rows must be those that the
daemon's own export makes in a fresh store.

Usage: late_flood.py HEATBOOKD DEMO_PLANT; RATE, SPAN_H, DAYS, SECONDS, COMMIT_S in the environment.
"""
import datetime
import os
import pathlib
import random
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "integration"))
from measured import cpu_s
from rig import Publisher, Rig, derived_until, store, table, wait_until
from tap import tests

RATE = int(os.environ.get("RATE", "200"))
SPAN_H = float(os.environ.get("SPAN_H", "20"))
DAYS = int(os.environ.get("DAYS", "3"))
SECONDS = int(os.environ.get("SECONDS", "100"))
COMMIT_S = int(os.environ.get("COMMIT_S", "10"))
MORE = """
[channel logger]
topic = logger/state
pointer = /v
unit = °C
time = payload
time_pointer = /t
[channel beat]
topic = beat/state
unit = °C
"""


def change(text):
    return text.replace("[store]\n", f"[store]\ncommit_interval = {COMMIT_S} s\n") + MORE


def flood(daemon, port):
    """Publishes for SECONDS; the lags of minutes, s, seen each second."""
    publisher, lags, sent, began = Publisher(port), [], 0, time.time()
    publish = publisher.publish
    while (spent := time.time() - began) < SECONDS:
        for _ in range(max(0, int(spent * RATE) - sent)):
            t = time.time() - random.random() * SPAN_H * 3600
            publish("logger/state", f'{{"v":{20 + random.random() * 9:.2f},"t":{t:.3f}}}')
            sent += 1
        publish("beat/state", f"{20 + spent % 7:.2f}")
        lags.append(minutes_lag(daemon))
        time.sleep(max(0.0, 0.5 - (time.time() - began - spent)))
    publisher.close()
    return lags, sent


def minutes_lag(daemon):
    """How far back the last closed minute ends, s; a minute at once before there is one."""
    until = daemon.health()["derivation"]["until"]
    return time.time() - until if until else 0.0


def settle(daemon, since):
    """Until all that came before is committed and derived."""
    def settled():
        health = daemon.health()
        return (health["derivation"]["days_waiting"] == 0 and
                (health["store"]["last_commit"] or 0) > since and minutes_lag(daemon) < 75)
    wait_until(settled, "all is derived", 300)


def main():
    with Rig(sys.argv[1], sys.argv[2]) as rig, tests() as t:
        random.seed(1)
        broker = rig.broker("max_queued_messages 0\n")
        config = rig.demo("flood", broker.port, change)
        today = datetime.datetime.now(datetime.timezone.utc).date()
        begin = (today - datetime.timedelta(days=DAYS)).isoformat() + "T00:00:00Z"
        archive = rig.archive(begin, today.isoformat() + "T00:00:00Z")
        rig.done("import", config, archive)
        daemon = rig.serve(config)
        daemon.wait_subscribed()
        spent = cpu_s(daemon.process.pid)
        lags, sent = flood(daemon, broker.port)
        spent = cpu_s(daemon.process.pid) - spent
        settled = sorted(lags[len(lags) // 4:])
        t.note(f"{sent} late messages in {SECONDS} s; minutes' ends lay back "
               f"{settled[len(settled) // 2]:.0f} s in the median, {settled[-1]:.0f} s at most "
               f"(69 s is prompt); {spent:.1f} s of processor")
        with store(config) as db:
            chunks, = db.execute("SELECT count(*) FROM chunks WHERE import IS NULL").fetchone()
        t.note(f"{chunks} chunks were committed")
        t.ok(settled[-1] > 0, "minutes' lag was seen")
        over = time.time()
        settle(daemon, over + 1)
        settle(daemon, time.time())
        t.note(f"all was derived {time.time() - over:.0f} s after the flood")
        daemon.stop()
        fresh = rig.demo("fresh", None, change)
        rig.done("import", fresh, rig.export(config, "export.jsonl"))
        until = min(derived_until(config), derived_until(fresh))
        for name in ("minutes", "energy_minutes", "hours", "energy_hours"):
            t.ok(table(config, name, until) == table(fresh, name, until), f"{name} are the same")
        broker.stop()


main()
