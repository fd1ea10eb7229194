"""How long findings of a year take: the first look at every day, then answers of a year, of the
store's first and last, and of all, beside what SQLite alone takes to read the same rows of evidence.
The daemon is asked over HTTP; the report too, where nobody looked at a day yet, and where all were.

A daemon that has just started, and whose file the kernel has dropped, is asked once: that is cold.

Usage: findings_rate.py HEATBOOKD DEMO_PLANT. In the environment: YEARS (default 1), ROUNDS (15).
Ten years take six minutes and a gigabyte; their times are moved back, so that none lies ahead.
"""
import os
import pathlib
import statistics
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "integration"))
from measured import Run
from rig import Rig, store, wait_until
from tap import tests

YEARS = int(os.environ.get("YEARS", "1"))
ROUNDS = int(os.environ.get("ROUNDS", "15"))
BEGIN_S = 1719784800  # 2024-07-01T00:00+02:00, the demo plant's first day
DAY_S = 86400
PLANT_YEARS = 2  # so many lie behind us for sure
BACK_DAYS = 400  # that findings look back
RUNS = ("runs", "defrosts", "hot-water", "immersion", "freeze-protection")
RUN_TABLES = ("run_days", "runs", "energy_runs")
MISSING = ("SELECT count(*) FROM days WHERE start_minute NOT IN"
           " (SELECT start_minute FROM evidence WHERE kind = 0)")


def fill(rig, config):
    """Imports YEARS of the demo plant with all its faults; when they begin and end."""
    shift_s = max(0, YEARS - PLANT_YEARS) * 1461 // 4 * DAY_S
    plant = subprocess.Popen(
        [rig.demo_plant, "archive", "--from", "2024-07-01", "--to", f"{2024 + YEARS}-07-01",
         "--faults", "all"], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    taker = subprocess.Popen([rig.heatbookd, "import", "-c", config, "-"], stdin=subprocess.PIPE,
                             stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    for line in plant.stdout:  # "1719784800.011 TOPIC PAYLOAD", or a record with "t_ms":1719784800011
        at = line.index(b'"t_ms":') + 7 if line.startswith(b"{") else 0
        taker.stdin.write(b"%s%d%s" % (line[:at], int(line[at:at + 10]) - shift_s, line[at + 10:]))
    taker.stdin.close()
    assert plant.wait() == 0 and taker.wait() == 0
    return BEGIN_S - shift_s


def milliseconds(call, rounds=ROUNDS):
    """The best and the middle of some calls, and the last call's value."""
    times = []
    for _ in range(rounds):
        begin = time.perf_counter()
        value = call()
        times.append(1000 * (time.perf_counter() - begin))
    return min(times), statistics.median(times), value


def read_alone(config, begin_s, end_s):
    with store(config) as s:
        s.row_factory = None
        return milliseconds(lambda: s.execute(
            "SELECT * FROM evidence WHERE start_minute >= ? AND start_minute < ?",
            (begin_s // 60 - BACK_DAYS * 1440, end_s // 60)).fetchall())


def ask(tap, daemon, config, name, begin_s, end_s):
    best, middle, answer = milliseconds(
        lambda: daemon.get(f"/v1/findings?from={begin_s}&to={end_s}"))
    body = answer.json()
    alone, alone_middle, rows = read_alone(config, begin_s, end_s)
    tap.ok(body["days"] == body["days_looked_at"] > 0, f"{name}: all days were looked at")
    tap.note(f"{name:12} {best:8.1f} ms at best, {middle:.1f} in the middle, {body['days']} days, "
             f"{len(body['findings'])} findings; SQLite alone {alone:.1f} and {alone_middle:.1f} ms "
             f"for {len(rows)} rows: {best / alone:.1f} times")


def ask_conditions(daemon, name, begin_s, end_s):
    """What is made of the same rows beside findings: the map, and declared points."""
    for path in ("efficiency-map", "declared"):
        best, middle, answer = milliseconds(
            lambda p=path: daemon.get(f"/v1/{p}?from={begin_s}&to={end_s}"))
        body = answer.json()["evidence"]
        assert body["days"] == body["days_looked_at"] > 0, body
        note = f"{name:12} {best:8.1f} ms at best, {middle:.1f} in the middle: /v1/{path}"
        yield f"{note}, {body['days']} days"


def ask_runs(tap, daemon, name, begin_s, end_s, rounds=ROUNDS):
    for resource in RUNS:
        best, middle, answer = milliseconds(
            lambda path=f"/v1/{resource}?from={begin_s}&to={end_s}&list=no": daemon.get(path), rounds)
        tap.note(f"{name:12} {best:8.1f} ms at best, {middle:.1f} in the middle, "
                 f"{answer.json()['count']} of /v1/{resource}")


def size_of_runs(tap, config):
    with store(config) as s:
        days = s.execute("SELECT count(*) FROM run_days").fetchone()[0]
        size = sum(s.execute("SELECT sum(pgsize) FROM dbstat WHERE name = ?", (t,)).fetchone()[0]
                   for t in RUN_TABLES)
        rows = [s.execute(f"SELECT count(*) FROM {t}").fetchone()[0] for t in RUN_TABLES]
    tap.note(f"rows of runs {size / days:8.0f} bytes a day, {rows[1] / days:.1f} pieces, "
             f"{rows[2] / days:.1f} sums of energy")


def forget(config):
    """The kernel drops what it keeps of the store."""
    with open(config.parent / "heatbook.db", "rb") as f:
        os.fsync(f.fileno())
        os.posix_fadvise(f.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)


def report(rig, config, begin_s, *more):
    run = Run()
    day = time.strftime("%Y-%m-%d", time.gmtime(begin_s + DAY_S // 2))
    last = time.strftime("%Y-%m-%d", time.gmtime(begin_s + 365 * DAY_S - DAY_S // 2))
    run.go(rig.heatbookd, "report", "-c", config, "--from", day, "--to", last, *more)
    return run.best


def missing(config):
    with store(config) as s:
        return s.execute(MISSING).fetchone()[0]


def main(tap, heatbookd, demo_plant):
    with Rig(heatbookd, demo_plant) as rig:
        config = rig.demo("rate", registers=True)
        begin_s = fill(rig, config)
        end_s = begin_s + (YEARS * 1461 // 4) * DAY_S
        last_s = end_s - 365 * DAY_S
        tap.note(f"report, not looked at  {report(rig, config, last_s):6.2f} s")
        daemon, begin, days = rig.serve(config), time.perf_counter(), missing(config)
        wait_until(lambda: missing(config) == 0, "all days are looked at", 1800)
        span_s = time.perf_counter() - begin
        tap.note(f"first look    {span_s:8.2f} s for {days} days, {1000 * span_s / days:.2f} ms each")
        ask(tap, daemon, config, "first year", begin_s, begin_s + 365 * DAY_S)
        if YEARS > 1:
            ask(tap, daemon, config, "last year", last_s, end_s)
            ask(tap, daemon, config, "all years", begin_s, end_s)
        for name, from_s in (("last year", last_s), ("all years", begin_s)):
            for note in ask_conditions(daemon, name, from_s, end_s):
                tap.note(note)
        ask_runs(tap, daemon, "last year", last_s, end_s)
        if YEARS > 1:
            ask_runs(tap, daemon, "all years", begin_s, end_s)
        daemon.stop()
        size_of_runs(tap, config)
        tap.note(f"report, looked at      {report(rig, config, last_s):6.2f} s")
        tap.note(f"statement, looked at   {report(rig, config, last_s, '--statement'):6.2f} s")
        for what in "findings", "statement", "efficiency-map":
            forget(config)
            daemon, path = rig.serve(config), f"/v1/{what}?from={last_s}&to={end_s}"
            cold, _, _ = milliseconds(lambda d=daemon, p=path: d.get(p), 1)
            tap.note(f"{what} of the last year, cold {cold / 1000:6.2f} s")
            daemon.stop()
        forget(config)
        daemon = rig.serve(config)
        ask_runs(tap, daemon, "year, cold", last_s, end_s, 1)
        daemon.stop()


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
