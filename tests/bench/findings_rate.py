"""How long findings of a year take: the first look at every day, then answers of a year, of the
store's first and last, and of all, beside what SQLite alone takes to read the same rows of evidence.
The daemon is asked over HTTP; the report and the statement by their verb, too, where nobody looked
at a day yet, and where all were.

A daemon that has just started, and whose file the kernel has dropped, is asked once: that is cold.

Usage: findings_rate.py HEATBOOKD DEMO_PLANT. In the environment: YEARS (default 1), ROUNDS (15).
Ten years take six minutes and a gigabyte.
"""
import pathlib
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "integration"))
from measured import Run
from rig import Rig, store
from tap import tests
from years import DAY_S, SPAN_S, YEARS, fill, forget, looked_at, milliseconds

BACK_DAYS = 400  # that findings look back
RUN_TABLES = ("run_days", "runs", "energy_runs")


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


def size_of_runs(tap, config):
    with store(config) as s:
        days = s.execute("SELECT count(*) FROM run_days").fetchone()[0]
        size = sum(s.execute("SELECT sum(pgsize) FROM dbstat WHERE name = ?", (t,)).fetchone()[0]
                   for t in RUN_TABLES)
        rows = [s.execute(f"SELECT count(*) FROM {t}").fetchone()[0] for t in RUN_TABLES]
    tap.note(f"rows of runs {size / days:8.0f} bytes a day, {rows[1] / days:.1f} pieces, "
             f"{rows[2] / days:.1f} sums of energy")


def report(rig, config, begin_s, *more):
    run = Run()
    day = time.strftime("%Y-%m-%d", time.gmtime(begin_s + DAY_S // 2))
    last = time.strftime("%Y-%m-%d", time.gmtime(begin_s + 365 * DAY_S - DAY_S // 2))
    run.go(rig.heatbookd, "report", "-c", config, "--from", day, "--to", last, *more)
    return run.best


def main(tap, heatbookd, demo_plant):
    with Rig(heatbookd, demo_plant) as rig:
        config = rig.demo("rate", registers=True)
        begin_s = fill(rig, config)
        end_s = begin_s + SPAN_S
        last_s = end_s - 365 * DAY_S
        tap.note(f"report, not looked at  {report(rig, config, last_s):6.2f} s")
        daemon = rig.serve(config)
        days, span_s = looked_at(config)
        tap.note(f"first look    {span_s:8.2f} s for {days} days, {1000 * span_s / days:.2f} ms each")
        ask(tap, daemon, config, "first year", begin_s, begin_s + 365 * DAY_S)
        if YEARS > 1:
            ask(tap, daemon, config, "last year", last_s, end_s)
            ask(tap, daemon, config, "all years", begin_s, end_s)
        daemon.stop()
        size_of_runs(tap, config)
        tap.note(f"report, looked at      {report(rig, config, last_s):6.2f} s")
        tap.note(f"statement, looked at   {report(rig, config, last_s, '--statement'):6.2f} s")
        forget(config)
        daemon = rig.serve(config)
        cold, _, _ = milliseconds(
            lambda: daemon.get(f"/v1/findings?from={last_s}&to={end_s}"), 1)
        tap.note(f"last year, cold        {cold / 1000:6.2f} s")


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
