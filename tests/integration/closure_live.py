"""The live way at true pace: demo plant, broker, daemon, which is killed once without warning and
started again. What its own `export --journal` gives in a fresh store must be the same rows, and
both what oracle.py makes of the exported stamps.

Usage: closure_live.py HEATBOOKD DEMO_PLANT; MINUTES in the environment (default 2).
"""
import collections
import os
import sys
import time

import oracle
from rig import Rig, derived_until, end_process, energy_rows, records_of, table, wait_until, TABLES
from tap import tests

MINUTES = float(os.environ.get("MINUTES", "2"))
# Meters speak each 10 s: a minute whose last seconds alone are heard may have no row.
LATEST_S = 40


def accepted(daemon):
    return daemon.health()["messages"]["accepted"]


def messages_of(path):
    """The exported messages, counted. The gateway says each one at an instant of its own."""
    return collections.Counter((r["boot_ms"], r["topic"], r["payload"]) for r in records_of(path)
                               if r["kind"] == "message")


def main(tap, heatbookd, demo_plant):
    with Rig(heatbookd, demo_plant) as rig:
        wait_until(lambda: time.time() % 60 < LATEST_S, "a minute's beginning")
        broker = rig.broker()
        config = rig.demo("live", broker.port)
        daemon = rig.serve(config)
        plant = rig.plant("live", "--host", "127.0.0.1", "--port", str(broker.port))
        begin = time.time()
        end = begin + MINUTES * 60 + 15  # a minute closes ten seconds after its end
        wait_until(lambda: time.time() > (begin + end) / 2, "the middle", 3600)
        seen = accepted(daemon)
        tap.ok(seen > 10, "messages are accepted before the kill")
        daemon.kill()
        before = messages_of(rig.export(config, "before.jsonl"))
        tap.ok(before.total() >= seen, f"all {seen} accepted messages outlive kill -9",
               f"{before.total()} are in the export")
        daemon = rig.serve(config)
        wait_until(lambda: time.time() > end, "the end", 3600)
        tap.ok(accepted(daemon) > 10, "messages are accepted after the kill")
        tap.equal(daemon.health()["messages"]["refused"], 0, "none is refused")
        tap.equal(daemon.stop(), 0, "the daemon ends in good order")
        end_process(plant)

        journal = rig.export(config, "journal.jsonl")
        after = messages_of(journal)
        tap.equal(list((before - after).keys()), [], "they are in the journal at the end")
        tap.equal([m for m, n in after.items() if n > 1], [], "each message is there once")
        fresh = rig.demo("fresh", broker.port)
        rig.done("import", fresh, journal)
        until = min(derived_until(config), derived_until(fresh))
        for name in TABLES:
            tap.ok(table(config, name, until) == table(fresh, name, until),
                   f"its export gives the same {name}")

        messages = list(oracle.journal_lines(journal))
        first = int(begin // 60)
        wanted = oracle.account(messages, first, until)
        rows = {key: row for key, row in energy_rows(config).items() if key[0] < until}
        tap.ok(len({minute for minute, _ in rows}) >= int(MINUTES), "the minutes are there",
               sorted(rows))
        oracle.compare(tap, rows, wanted, "live")
        tap.equal(rig.verb("verify", config).returncode, 0, "verify exits 0")


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
