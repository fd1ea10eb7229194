"""What is past its age goes: live records, and minutes where the owner says so. Rows stay, the days
are sealed, imports stay, and whoever derives, sums or verifies knows it.

The store is made by an import of old days, some of whose chunks are then called live.

Usage: ages.py HEATBOOKD DEMO_PLANT
"""
import contextlib
import json
import shutil
import sqlite3
import sys
import time

from rig import Rig, store, table, wait_until, TABLES
from tap import tests

BEGIN, END = "2025-01-18T00:00:00+01:00", "2025-01-21T09:00:00+01:00"
FIRST_DAY = 20105  # 2025-01-17, UTC
KEEP = "[store]\n", "[store]\nkeep_minutes = 60 d\n"


def number(config, sql):
    with store(config) as s:
        return s.execute(sql).fetchone()[0]


def call_live(config, where):
    """Chunks that an import filed become live ones."""
    with contextlib.closing(sqlite3.connect(config.parent / "heatbook.db")) as s:
        s.execute(f"UPDATE chunks SET import = NULL WHERE id IN (SELECT chunk FROM spans WHERE {where})")
        s.commit()
        s.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def aged(tap, rig, config, words):
    """The daemon's run of its first day; its one line."""
    daemon = rig.serve(config)
    wait_until(lambda: "past their age" in daemon.text(), "the run has ended")
    text = daemon.text()
    tap.equal(daemon.stop(), 0, "the daemon ends in good order")
    tap.equal(text.count("past their age"), 1, "one line is logged")
    for word in words:
        tap.has(text, word, f"it says {word!r}")


def verified(rig, config, *args):
    result = rig.verb("verify", config, "--json", *args)
    return result.returncode, json.loads(result.stdout)


def rows(config):
    return {name: table(config, name) for name in TABLES}


def days_csv(rig, config):
    args = ["--energy", "--by", "mode", "--from", "2025-01-18", "--to", "2025-01-21"]
    return rig.done("export", config, *args, "--step", "P1D").stdout + \
        rig.done("export", config, *args, "--step", "PT1H").stdout


def records_age(tap, rig):
    config = rig.demo("records", change=lambda t: t.replace("[journal]\n", "[journal]\nkeep = 100 d\n"))
    archive = rig.archive(BEGIN, END)
    rig.done("import", config, archive)
    call_live(config, f"first_ms < {(FIRST_DAY + 2) * 86400000}")
    before, live = rows(config), number(config, "SELECT count(*) FROM chunks WHERE import IS NULL")
    kept = number(config, "SELECT count(*) FROM chunks WHERE import IS NOT NULL")
    tap.ok(live > 0 < kept, "some chunks are live, some of an import", (live, kept))
    aged(tap, rig, config, ["live records before 2025-01-", f"({live} chunks"])
    tap.equal(number(config, "SELECT count(*) FROM chunks WHERE import IS NOT NULL"), kept,
              "imports stay")
    tap.equal(number(config, "SELECT count(*) FROM chunks WHERE import IS NULL AND id IN "
                     "(SELECT chunk FROM spans WHERE first_ms < 1740000000000)"), 0, "live records went")
    tap.equal(number(config, "SELECT value FROM facts WHERE name = 'journal_bytes'"),
              number(config, "SELECT sum(length(data)) FROM chunks"), "the journal's size is right")
    tap.ok(rows(config) == before, "every row stays")
    tap.equal(number(config, "SELECT group_concat(day) FROM aged"), "20105,20106",
              "the days are sealed")
    result = rig.done("rebuild", config)
    tap.has(result.stdout.decode(), "2025-01-17 to 2025-01-18",
            "a rebuild names them")
    tap.ok(rows(config) == before, "and leaves their rows")
    rig.done("rebuild", config, "--sealed")
    tap.ok(rows(config) == before, "also when damaged days are to be taken")
    code, answer = verified(rig, config)
    tap.equal((code, answer["findings"], answer["days_sealed"]), (0, [], 2), "verify knows them")
    late = rig.dir / "late.txt"
    late.write_text(archive.read_text().splitlines()[4000] + "\n# again\n")
    result = rig.done("import", config, late)
    tap.has(result.stdout.decode(), "sealed", "an import into them says that they are sealed")
    tap.ok(rows(config) == before, "and leaves their rows, too")


def minutes_age(tap, rig):
    config = rig.demo("minutes", change=lambda t: t.replace(*KEEP))
    rig.done("import", config, rig.archive(BEGIN, END, out="minutes.txt"))
    before, csv = rows(config), days_csv(rig, config)
    aged(tap, rig, config, ["minutes before 2025-01-22 (4 days)"])
    free = number(config, "SELECT * FROM pragma_freelist_count")
    tap.ok(free > 50, "their pages are free", free)
    after = rows(config)
    tap.equal((after["minutes"], after["energy_minutes"]), ([], []), "the minutes went")
    for name in ("hours", "energy_hours", "days", "energy_days"):
        tap.ok(after[name] == before[name] and after[name], f"{name} stay")
    tap.equal(days_csv(rig, config), csv, "hours and days are answered as before")
    code, answer = verified(rig, config)
    tap.equal((code, answer["findings"]), (0, []), "verify finds nothing")
    rig.done("rebuild", config)
    tap.ok(rows(config) == after, "a rebuild leaves what is left")
    # Another zone: the sums of days whose minutes went stay as they are.
    other = rig.demo("zone", change=lambda t: t.replace(*KEEP).replace("Europe/Berlin", "Asia/Kolkata"))
    shutil.copy(config.parent / "heatbook.db", other.parent / "heatbook.db")
    rig.done("rebuild", other)
    tap.ok(table(other, "energy_days") == after["energy_days"], "and so does another zone")
    rig.done("import", config, rig.archive("2025-03-18", "2025-03-21", out="more.txt"))
    tap.ok(number(config, "SELECT * FROM pragma_freelist_count") < free / 4,
           "which are used again for what comes later")
    code, answer = verified(rig, config)
    tap.equal((code, answer["findings"]), (0, []), "later days beside them are good")


def nothing_young_goes(tap, rig):
    config = rig.demo("young", change=lambda t: t.replace("[store]\n", "[store]\nkeep_minutes = 3650 d\ncommit_interval = 1 s\n")
                      .replace("[journal]\n", "[journal]\nkeep = 3650 d\n"))
    rig.done("import", config, rig.archive(BEGIN, END, out="young.txt"))
    call_live(config, "1")
    before, chunks = rows(config), number(config, "SELECT count(*) FROM chunks")
    daemon = rig.serve(config)
    wait_until(lambda: daemon.health()["derivation"]["days_waiting"] == 0 and
               daemon.health()["store"]["last_commit"], "it is up")
    daemon.stop()
    tap.ok(rows(config) == before, "what is young stays: rows")
    tap.ok(number(config, "SELECT count(*) FROM chunks") >= chunks - 20 and
           number(config, "SELECT count(*) FROM aged") == 0, "and records")


def forecast(tap, rig):
    """How the file grows, of chunks whose spans are moved to the last days."""
    config = rig.demo("forecast")
    rig.done("import", config, rig.archive(BEGIN, END, out="forecast.txt"))
    call_live(config, "1")
    shift = (int(time.time()) // 86400 - 1 - FIRST_DAY - 4) * 86400000
    with contextlib.closing(sqlite3.connect(config.parent / "heatbook.db")) as s:
        s.execute(f"UPDATE spans SET first_ms = first_ms + {shift}, last_ms = last_ms + {shift}")
        s.commit()
    journal, days = (number(config, f"SELECT {what} FROM spans s JOIN chunks c ON c.id = s.chunk")
                     for what in ("sum(length(data))", "count(DISTINCT s.first_ms / 86400000)"))
    stored = number(config, "SELECT count(*) FROM days")
    daemon = rig.serve(config)
    growth = wait_until(lambda: daemon.health()["store"]["growth"]["rows_bytes_a_day"] and
                        daemon.health()["store"]["growth"], "the growth is worked out")
    used = daemon.health()["store"]["bytes"]
    daemon.stop()
    tap.near(growth["journal_bytes_a_day"], journal / days, 1, "the journal's bytes a day")
    rows = growth["rows_bytes_a_day"]
    tap.near(rows * stored, used - journal, 0.1 * used, "those of rows")
    tap.near(growth["bytes_in_a_year"], used + 365 * (journal / days + rows), 0.05 * used,
             "the file in a year")
    tap.ok(growth["device_free_bytes"] > 0, "what is free", growth)


def main(tap, heatbookd, demo_plant):
    with Rig(heatbookd, demo_plant) as rig:
        records_age(tap, rig)
        minutes_age(tap, rig)
        nothing_young_goes(tap, rig)
        forecast(tap, rig)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
