"""The verb verify: a store that is as it was made is good, and whatever is changed in it by hand
is found and named, with what is stored and what is made.

Usage: verify.py HEATBOOKD DEMO_PLANT
"""
import collections
import contextlib
import json
import os
import shutil
import sqlite3
import sys

from rig import Rig, store, wait_until
from tap import tests

BEGIN, END = "2025-01-18T00:00:00+01:00", "2025-01-20T09:00:00+01:00"
NOON = 1737284400 // 60  # 2025-01-19T11:00:00Z, as a minute; the middle of the data
DAY = 1737241200 // 60  # 2025-01-19T00:00:00+01:00
HOUR = NOON // 60

# What is done to the store; words of a finding, or a table and what it says of it. Each of these
# changes another row.
TOGETHER = (
    ("what a day says of its pair", f"UPDATE evidence SET v0 = v0 + 1e-9 WHERE start_minute = {DAY} AND kind = 9",
     {"table": "evidence", "row": "2025-01-19T00:00:00+01:00 flow", "column": "v0"}),
    ("what a day says of a mode", f"DELETE FROM evidence WHERE start_minute = {DAY} AND kind = 13 AND subject = 'heating'",
     {"table": "evidence", "row": "2025-01-19T00:00:00+01:00 efficiency heating", "column": None, "stored": None}),
    ("what a day does not say", f"INSERT INTO evidence VALUES ({DAY}, 14, '', {DAY + 605}, 30, 7, 0, 12, NULL, NULL, NULL)",
     {"table": "evidence", "row": "2025-01-19T10:05:00+01:00 missing", "column": None, "made": None}),
    ("a run's end", f"UPDATE runs SET ended = 6 WHERE kind = 0 AND start_minute = {DAY} AND meter = 0 AND "
     f"begin_ms = (SELECT min(begin_ms) FROM runs WHERE kind = 0 AND start_minute = {DAY})",
     {"table": "runs", "column": "ended", "stored": "6"}),
    ("a joule of a run", f"UPDATE energy_runs SET heat_j = heat_j + 1 WHERE kind = 0 AND start_minute = {DAY} AND "
     f"begin_ms = (SELECT min(begin_ms) FROM runs WHERE kind = 0 AND start_minute = {DAY})",
     {"table": "energy_runs", "column": "heat_j"}),
    ("how a day of runs ends", f"UPDATE run_days SET since_ms = since_ms + 1 WHERE start_minute = {DAY}",
     {"table": "run_days", "row": "2025-01-19T00:00:00+01:00", "column": "since_ms"}),
    ("a minute's mean", f"UPDATE minutes SET c_flow_temperature = c_flow_temperature + 1 WHERE minute = {NOON}",
     {"table": "minutes", "row": "2025-01-19T11:00:00Z", "column": "c_flow_temperature"}),
    ("a minute too many", f"INSERT INTO minutes (minute, c_flow_temperature) VALUES ({NOON + 1300}, 4000)",
     {"table": "minutes", "row": "2025-01-20T08:40:00Z", "column": None, "made": None}),
    ("a joule in a minute", "UPDATE energy_minutes SET heat_j = heat_j + 1 WHERE slot = "
     f"(SELECT min(slot) FROM energy_minutes WHERE slot >= {NOON * 16} AND heat_j IS NOT NULL)",
     {"table": "energy_minutes", "column": "heat_j"}),
    ("an hour's mean", f"UPDATE hours SET c_flow_temperature = c_flow_temperature - 1 WHERE hour = {HOUR}",
     {"table": "hours", "row": "2025-01-19T11:00:00Z", "column": "c_flow_temperature"}),
    ("an hour too many", f"INSERT INTO hours (hour, c_flow_temperature) VALUES ({HOUR - 24 * 3}, 1)",
     {"table": "hours", "row": "2025-01-16T11:00:00Z", "column": None, "made": None}),
    ("a joule in an hour", f"UPDATE energy_hours SET heat_j = heat_j + 1 WHERE hour = {HOUR} AND mode = 7",
     {"table": "energy_hours", "column": "heat_j"}),
    ("a mode of an hour too many", "INSERT INTO energy_hours (hour, mode, known, ms, heat_ms, sensitivity)"
     f" VALUES ({HOUR}, 4, 0, 1, 0, 0)",
     {"table": "energy_hours", "row": "2025-01-19T11:00:00Z cooling known 0", "column": None, "made": None}),
    ("a day's mean", f"UPDATE days SET c_flow_temperature = 1 WHERE start_minute = {DAY}",
     {"table": "days", "row": "2025-01-19T00:00:00+01:00", "column": "c_flow_temperature", "stored": "1"}),
    ("a joule in a day", f"UPDATE energy_days SET e_unit_j = e_unit_j + 1 WHERE start_minute = {DAY} AND mode = 1",
     {"table": "energy_days", "column": "e_unit_j"}),
    ("a day of energy too many", "INSERT INTO energy_days (start_minute, mode, known, ms, heat_ms, sensitivity)"
     f" VALUES ({DAY}, 4, 0, 1, 0, 0)", {"table": "energy_days", "column": None, "made": None}),
)
# These change the same rows otherwise,
OTHERWISE = (
    ("a run that is missing", f"DELETE FROM runs WHERE kind = 0 AND start_minute = {DAY} AND "
     f"begin_ms = (SELECT min(begin_ms) FROM runs WHERE kind = 0 AND start_minute = {DAY})",
     {"table": "runs", "column": None, "stored": None}),
    ("a minute that is missing", f"DELETE FROM minutes WHERE minute = {NOON}",
     {"table": "minutes", "row": "2025-01-19T11:00:00Z", "column": None, "stored": None}),
    ("a mode of a minute that is missing", "DELETE FROM energy_minutes WHERE slot = "
     f"(SELECT min(slot) FROM energy_minutes WHERE slot >= {NOON * 16})",
     {"table": "energy_minutes", "column": None, "stored": None}),
    ("an hour that is missing", f"DELETE FROM hours WHERE hour = {HOUR}",
     {"table": "hours", "row": "2025-01-19T11:00:00Z", "column": None, "stored": None}),
    ("a millisecond in an hour", f"UPDATE energy_hours SET ms = ms - 1 WHERE hour = {HOUR} AND mode = 7",
     {"table": "energy_hours", "column": "ms"}),
    ("a day's end", f"UPDATE days SET end_minute = end_minute - 1 WHERE start_minute = {DAY}",
     {"table": "days", "column": "end_minute"}),
    ("two joules of a day that even out", f"UPDATE energy_days SET heat_j = heat_j + "
     f"CASE mode WHEN 1 THEN 1 ELSE -1 END WHERE start_minute = {DAY} AND mode IN (1, 7)",
     {"table": "energy_days", "column": "heat_j"}),
)
# and these take others with them, or hide them.
ALONE = (
    ("a mode of an hour that is missing", f"DELETE FROM energy_hours WHERE hour = {HOUR} AND mode = 7",
     {"table": "energy_hours", "column": None, "stored": None}),
    ("a day that is missing", f"DELETE FROM days WHERE start_minute = {DAY}",
     {"table": "days", "column": None, "stored": None}),
    ("a state carried over", "UPDATE checkpoints SET state = (SELECT state FROM checkpoints "
     "ORDER BY day LIMIT 1 OFFSET 1) WHERE day = 20108", {"table": "checkpoints", "column": "state"}),
    ("a chunk that is missing", "DELETE FROM chunks WHERE id = (SELECT max(chunk) FROM spans WHERE "
     f"first_ms / 86400000 = {NOON // 1440})", {"table": "minutes"}),
    ("a chunk that leaves its span behind", "DELETE FROM chunks WHERE id = (SELECT max(chunk) FROM spans WHERE "
     f"first_ms / 86400000 = {NOON // 1440})", "of spans belongs to no row of chunks"),
    ("a chunk's span", f"UPDATE spans SET last_ms = first_ms WHERE first_ms / 86400000 = {NOON // 1440}",
     "its span leaves out readings"),
    ("a chunk without span", f"DELETE FROM spans WHERE first_ms / 86400000 = {NOON // 1440}", "has no span"),
    ("a row that belongs to none", "UPDATE days_made SET mapping = 99 WHERE day = 20107",
     "of days_made belongs to no row of mappings"),
)
BREAKS = (TOGETHER, OTHERWISE, *((each,) for each in ALONE))


@contextlib.contextmanager
def changed(config):
    """A connection to the store of a configuration, for harm."""
    path = config.parent / "heatbook.db"
    connection = sqlite3.connect(path)
    yield connection
    connection.commit()
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()


def verified(rig, config, *args):
    result = rig.verb("verify", config, "--json", *args)
    return result.returncode, json.loads(result.stdout)


def matches(finding, wanted):
    if isinstance(wanted, str):
        return wanted in finding.get("finding", "")
    return all(key in finding and finding[key] == value for key, value in wanted.items())


def breaks(tap, rig, good):
    broken = rig.demo("broken")
    for together in BREAKS:
        for file in broken.parent.glob("heatbook.db*"):
            file.unlink()
        shutil.copy(good.parent / "heatbook.db", broken.parent / "heatbook.db")
        with changed(broken) as s:
            orphans = any("leaves" in what or "none" in what for what, _, _ in together)
            s.execute(f"PRAGMA foreign_keys = {'OFF' if orphans else 'ON'}")  # before any change
            for what, sql, _ in together:
                tap.ok(s.execute(sql).rowcount > 0, f"{what}: changed")
        code, answer = verified(rig, broken)
        tap.equal((code, answer["good"]), (3, False), f"{together[0][0]}, {len(together)} in all: exit 3")
        for what, _, wanted in together:
            tap.ok(any(matches(f, wanted) for f in answer["findings"]), f"{what}: named",
                   f"{wanted}\n" + json.dumps(answer["findings"][:8], indent=1))


def in_words(tap, rig, good):
    broken = rig.demo("words")
    shutil.copy(good.parent / "heatbook.db", broken.parent / "heatbook.db")
    with changed(broken) as s:
        before = s.execute(f"SELECT c_flow_temperature FROM hours WHERE hour = {HOUR}").fetchone()[0]
        s.execute(f"UPDATE hours SET c_flow_temperature = 1 WHERE hour = {HOUR}")
    text = rig.verb("verify", broken, "--days", "1", "--seed", "5").stdout.decode()
    tap.has(text, f"hours 2025-01-19T11:00:00Z: c_flow_temperature is stored as 1 and made again as {before}",
            "a difference is told in words")
    tap.has(text, "--days 1 --seed 5", "with what repeats the run")
    with changed(broken) as s:
        s.execute("UPDATE hours SET c_flow_temperature = 1")
        s.execute("UPDATE minutes SET c_flow_temperature = 1")
    code, answer = verified(rig, broken)
    shown = collections.Counter(f.get("table", "") for f in answer["findings"])
    tap.equal((code, max(shown.values())), (3, 50), "fifty of a table are shown")
    tap.ok(shown["hours"] and shown["minutes"] == 50, "those of minutes are not hidden by sums", shown)
    tap.ok(answer["findings_count"] > 2000, "and all are counted", answer["findings_count"])


def chunk_byte(tap, rig, good):
    broken = rig.demo("byte")
    path = broken.parent / "heatbook.db"
    shutil.copy(good.parent / "heatbook.db", path)
    with sqlite3.connect(path) as s:
        chunk, data = s.execute("SELECT id, data FROM chunks ORDER BY id LIMIT 1").fetchone()
    s.close()
    at = path.read_bytes().find(data[200:240])
    with open(path, "r+b") as f:
        f.seek(at)
        f.write(bytes([data[200] ^ 0xff]))
    code, answer = verified(rig, broken)
    tap.equal(code, 3, "a byte of a chunk: exit 3")
    tap.ok(any(f"journal chunk {chunk} is damaged" in f.get("finding", "")
               for f in answer["findings"]), "a byte of a chunk: named", answer["findings"][:5])


def cannot(tap, rig, good):
    absent = rig.demo("absent")
    tap.equal(rig.verb("verify", absent).returncode, 1, "no store: exit 1")
    env = dict(os.environ, TMPDIR="/dev/full")
    result = rig.verb("verify", good, env=env)
    tap.equal(result.returncode, 1, "no place for the copy: exit 1")
    tap.has(result.stderr.decode(), "/dev/full", "which is named")
    for args in (["--days", "few"], ["--seed", "-1"], ["--all", "--days", "3"], ["file"]):
        tap.equal(rig.verb("verify", good, *args).returncode, 2, f"misused: {args}")


def of_another_form(tap, rig, good):
    """What an earlier version made of a day, or nobody yet, is made by the daemon: no difference."""
    broken = rig.demo("form")
    shutil.copy(good.parent / "heatbook.db", broken.parent / "heatbook.db")
    with changed(broken) as s:
        s.execute(f"UPDATE evidence SET minutes = 1 WHERE kind = 0 AND start_minute = {DAY}")
        s.execute(f"UPDATE evidence SET v0 = 1 WHERE kind = 9 AND start_minute = {DAY}")
    code, answer = verified(rig, broken)
    tap.equal((code, answer["findings"]), (0, []), "days of an earlier form are not compared")
    with changed(broken) as s:
        s.execute(f"DELETE FROM evidence WHERE start_minute = {DAY}")
    code, answer = verified(rig, broken)
    tap.equal((code, answer["findings"]), (0, []), "nor days that were not looked at")


def left_out(tap, rig, good):
    """Days that are known to be otherwise are left out, and counted."""
    other = rig.demo("other", change=lambda t: t.replace("stale_after = 5 min", "stale_after = 6 min"))
    shutil.copy(good.parent / "heatbook.db", other.parent / "heatbook.db")
    code, answer = verified(rig, other)
    tap.equal((code, answer["days"]), (0, 0), "of another mapping none is made again")
    code, answer = verified(rig, other, "--all")
    tap.ok(answer["days_older"] >= 3, "they are counted", answer)
    asked = rig.demo("asked", change=lambda t: t + "\n[modes]\ndefrost_difference = 4 K\n"
                     "hot_water_above = 15 K\ncompressor_off = 90 %\n")
    shutil.copy(good.parent / "heatbook.db", asked.parent / "heatbook.db")
    code, answer = verified(rig, asked, "--all")
    tap.equal((code, answer["findings"]), (0, []), "what flags are held against is of the mapping")
    tap.ok(answer["days_older"] >= 3, "and its days are counted as well", answer)
    waiting = rig.demo("waiting")
    shutil.copy(good.parent / "heatbook.db", waiting.parent / "heatbook.db")
    with changed(waiting) as s:
        s.execute(f"INSERT INTO dirty VALUES ({NOON * 60000}, {NOON * 60000 + 1})")
        s.execute(f"UPDATE minutes SET c_flow_temperature = 1 WHERE minute = {NOON}")
    code, answer = verified(rig, waiting)
    tap.equal(answer["days_waiting"], 1, "a day that waits to be derived is left out")
    tap.ok(not any(f.get("table") == "minutes" for f in answer["findings"]), "so nothing is said of it")


def beside(tap, rig):
    """While a daemon listens and stores."""
    broker = rig.broker()
    config = rig.demo("beside", broker.port,
                      lambda text: text.replace("[store]", "[store]\ncommit_interval = 1 s"))
    rig.done("import", config, rig.archive(BEGIN, END, out="beside.txt"))
    daemon = rig.serve(config)
    rig.plant("live", "--host", "127.0.0.1", "--port", str(broker.port))
    wait_until(lambda: daemon.health()["messages"]["accepted"] > 5, "messages come")
    for _ in range(3):
        before = daemon.health()["store"]["last_commit"]
        code, answer = verified(rig, config)
        tap.equal((code, answer["findings"]), (0, []), "beside a daemon: nothing is found")
        wait_until(lambda at=before: daemon.health()["store"]["last_commit"] != at, "it commits on")
    tap.equal(daemon.health()["store"]["commit_fault"], "", "and the daemon never failed to commit")
    tap.equal(daemon.stop(), 0, "it ends in good order")
    tap.equal(verified(rig, config)[0], 0, "alone: nothing is found")
    broker.stop()


def look_at_days(tap, rig, config):
    """The daemon looks at days that are over."""
    daemon = rig.serve(config)

    def looked():
        with store(config) as s:
            return s.execute("SELECT count(*) FROM evidence WHERE kind = 0 AND start_minute "
                             f"IN ({DAY - 1440}, {DAY})").fetchone()[0] == 2
    wait_until(looked, "both days are looked at")
    tap.equal(daemon.stop(), 0, "the daemon ends in good order")


def main(tap, heatbookd, demo_plant):
    with Rig(heatbookd, demo_plant) as rig:
        os.environ["TMPDIR"] = str(rig.dir)
        good = rig.demo("good")
        rig.done("import", good, rig.archive(BEGIN, END))
        look_at_days(tap, rig, good)
        content = (good.parent / "heatbook.db").read_bytes()
        code, answer = verified(rig, good)
        tap.equal((code, answer["findings"]), (0, []), "a store as it was made is good")
        tap.ok(answer["days"] >= 4 and answer["records"] > 90000, "it was looked at", answer)
        tap.ok(answer["days_looked_again"] >= 2, "and what days say, too", answer)
        tap.ok((good.parent / "heatbook.db").read_bytes() == content, "and not written")
        tap.equal(list(rig.dir.glob("heatbook-verify-*")), [], "no copy is left")
        breaks(tap, rig, good)
        in_words(tap, rig, good)
        chunk_byte(tap, rig, good)
        of_another_form(tap, rig, good)
        left_out(tap, rig, good)
        cannot(tap, rig, good)
        beside(tap, rig)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
