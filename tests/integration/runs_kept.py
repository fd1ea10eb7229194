"""Runs as the store keeps them: answers are those out of minutes, byte for byte; they are the
demo plant's own; whichever way its messages came and however often the daemon was killed while it
kept them, the rows are the same; and whoever asks goes before them.

Usage: runs_kept.py HEATBOOKD DEMO_PLANT
"""
import collections
import csv
import random
import re
import sqlite3
import subprocess
import sys
import time

from rig import Rig, store, wait_until
from tap import tests
from truth import read_truth

BEGIN, END = "2025-03-25", "2025-04-01"  # one day of 23 hours
BEGIN_S, END_S = 1742857200, 1743458400
KINDS = {"runs": ("heating", "hot_water", "defrost"), "defrosts": ("defrost",), "hot-water": ("hot_water",)}
FORMS = ("", "&rows=yes", "&format=csv", "&list=no", "&boundary=H4", "&from=1743000000&to=1743260000",
         "&from=1743202923&to=1743203000")
TABLES = {"run_days": "start_minute, end_minute, form, since, since_ms", "runs": "*", "energy_runs": "*"}
ASKED_DAYS = 300
JOULES_MOST = 0.51  # of a row of the truth, which has three decimals


def rows(config):
    with store(config) as s:
        return {name: [tuple(r) for r in s.execute(f"SELECT {columns} FROM {name} ORDER BY 1, 2, 3, 4")]
                for name, columns in TABLES.items()}


def kept(config):
    with store(config) as s:
        return s.execute("SELECT count(*) FROM run_days").fetchone()[0]


def stored(config):
    with store(config) as s:
        return s.execute("SELECT count(*) FROM days").fetchone()[0]


def changed(config, sql):
    connection = sqlite3.connect(config.parent / "heatbook.db")
    connection.executescript(sql)
    connection.close()


def targets():
    for resource in (*KINDS, "immersion", "freeze-protection"):
        for form in FORMS:
            span = "" if "from=" in form else f"from={BEGIN_S - 86400}&to={END_S + 86400}"
            if resource != "immersion" or "boundary" not in form:
                yield f"/v1/{resource}?{span}{form}".replace("?&", "?")


def answers(daemon):
    """But for the data's version, which each run of the daemon raises."""
    return {t: (a.status, re.sub(rb'"version":[0-9]+', b"", a.body, count=1))
            for t in targets() for a in [daemon.get(t)]}


def same_answers(tap, rig, config):
    """Once out of minutes, since nothing can be kept; once out of what is kept."""
    changed(config, "CREATE TRIGGER keep_none BEFORE INSERT ON run_days BEGIN "
            "SELECT raise(ABORT, 'none is kept'); END")
    daemon = rig.serve(config)
    by_minutes = answers(daemon)
    daemon.stop()
    tap.equal(kept(config), 0, "nothing was kept")
    changed(config, "DROP TRIGGER keep_none")
    daemon = rig.serve(config)
    wait_until(lambda: kept(config) == stored(config), "every day is kept")
    by_rows = answers(daemon)
    for target, (status, body) in by_minutes.items():
        tap.ok(status == 200 and by_rows[target] == (status, body),
               f"{target}: {len(body)} bytes are the same", (status, body[:200], by_rows[target][1][:200]))
    return daemon


def true_runs(truth, modes):
    """Minutes in a row with time in the modes: begin and end in ms, rows, the minute after."""
    run, found = None, []
    for minute in range(min(truth), max(truth) + 1):
        ms = sum(int(truth[minute][m]["ms"]) for m in modes if m in truth[minute])
        if ms:
            run = run or {"t": (minute + 1) * 60000 - ms, "minutes": []}
            first = not run["minutes"]
            run["minutes"].append(minute)
            run["t_end"] = (minute + 1) * 60000 if first else minute * 60000 + ms
        elif run and not (modes == ("hot_water",) and "defrost" in truth[minute]):
            run["next"] = minute
            found.append(run)
            run = None
    return found


def followed(truth, resource, run):
    """Why it ended, as far as modes tell."""
    after = truth[run["next"]]
    if resource == "runs":
        last = truth[run["minutes"][-1]]
        longest = max(KINDS["runs"], key=lambda m: int(last[m]["ms"]) if m in last else 0)
        if longest in ("defrost", "hot_water"):
            return "defrost" if longest == "defrost" else None
        soon = range(run["next"], -(-(run["t_end"] + 600000) // 60000))
        return "hot_water" if any("hot_water" in truth[m] for m in soon) else None
    if resource == "hot-water" and run["next"] > run["minutes"][-1] + 1:
        return "defrost"
    for mode in ("hot_water", "heating"):
        if mode in after:
            return mode
    return None


def compressor_ms(truth, begin, end):
    """Its time between two defrosts, without defrosts."""
    total = 0
    for minute in range(begin["minutes"][-1], end["minutes"][0] + 1):
        if minute == begin["minutes"][-1] == end["minutes"][0]:
            continue
        total += sum(int(truth[minute][m]["ms"]) for m in ("heating", "hot_water") if m in truth[minute])
    return total


def joules(truth, run, modes, column):
    return [float(truth[m][mode][column]) for m in run["minutes"] for mode in modes if mode in truth[m]]


def compare_truth(tap, daemon, truth):
    for resource, modes in KINDS.items():
        answer = daemon.get(f"/v1/{resource}?from={BEGIN_S}&to={END_S}&rows=yes").json()
        told = [r for r in answer["rows"] if r["truncated"] == "no"]
        true = [r for r in true_runs(truth, modes) if r["minutes"][0] > min(truth) and r["t"] < END_S * 1000]
        by_begin = {r["t"]: r for r in true}
        tap.equal([round(r["t"] * 1000) for r in told], sorted(by_begin), f"{resource}: they begin as they did")
        true = [by_begin[round(r["t"] * 1000)] for r in told]
        tap.equal([round(r["t_end"] * 1000) for r in told], [r["t_end"] for r in true],
                  f"{resource}: they end as they did")
        for name, column in (("heat_kwh", "heat_j"), ("electricity_kwh", "unit_j")):
            wrong = [(r, sum(j)) for r, t in zip(told, true) for j in [joules(truth, t, modes, column)]
                     if abs(r[name] * 3.6e6 - sum(j)) > JOULES_MOST * len(j) + 0.2]
            tap.equal(wrong[:3], [], f"{resource}: {name} of {len(told)}")
        ends = [(r["ended"], followed(truth, resource, t)) for r, t in zip(told, true)]
        wrong = [e for e in ends if e[0] != (e[1] or e[0]) or (e[1] is None and e[0] not in ("stopped", "target"))]
        tap.equal(wrong, [], f"{resource}: why they ended: {dict(collections.Counter(e[0] for e in ends))}")
        if resource == "runs":
            short = [r["running_s"] < 600 and r["kind"] == "heating" and r["ended"] in ("stopped", "target")
                     for r in told]
            tap.equal([r["short"] == "yes" for r in told], short, f"short cycles: {sum(short)}")
            tap.equal(answer["total"]["short"], sum(short), "and their number")
        if resource == "defrosts":
            wanted = [compressor_ms(truth, a, b) for a, b in zip(true, true[1:])]
            tap.equal([round(r["interval_s"] * 1000) for r in told[1:]], wanted,
                      f"the compressor's time between {len(told)} defrosts")


def compare_counts(tap, daemon, demo_plant):
    """The plant's own count of what began on each day."""
    text = subprocess.run([demo_plant, "truth", "--from", BEGIN, "--to", END], check=True,
                          stdout=subprocess.PIPE, text=True).stdout
    for day in csv.DictReader(text.splitlines()):
        span = f"?from={day['start_epoch_s']}&to={day['end_epoch_s']}&list=no"
        for resource, column in (("runs", "starts"), ("defrosts", "defrosts"), ("hot-water", "hot_water_runs")):
            count = daemon.get(f"/v1/{resource}{span}").json()["count"]
            tap.ok(abs(count - int(day[column])) <= (1 if column == "starts" else 0),
                   f"{day['date']}: {count} {resource}, the plant began {day[column]}")
        used = daemon.get(f"/v1/immersion{span}").json()["total"]["electricity_kwh"]
        tap.ok(abs(used - float(day["immersion_kwh"])) < 0.05, f"{day['date']}: immersion {used} kWh")


def other_ways(tap, rig, archive, wanted):
    """Halves of the archive, the later one first; and kills while days are kept."""
    other = rig.demo("halves")
    lines = archive.read_text().splitlines(keepends=True)
    for i, part in enumerate((lines[len(lines) // 2:], lines[:len(lines) // 2])):
        path = rig.dir / f"half{i}.txt"
        path.write_text("".join(part))
        rig.done("import", other, path)
        if i == 0:
            daemon = rig.serve(other)
            wait_until(lambda: kept(other) > 0, "some are kept before the rest comes")
            daemon.stop()
    chance = random.Random(7)
    for _ in range(4):
        daemon = rig.serve(other)
        wait_until(lambda n=kept(other), c=chance: kept(other) > n or c.random() < 0.05, "it keeps some")
        daemon.kill()
    daemon = rig.serve(other)
    wait_until(lambda: kept(other) == stored(other), "all are kept")
    daemon.stop()
    tap.ok(rows(other) == wanted, "halves the other way round and kills: the same rows")


def behind_questions(tap, rig):
    """While questions come without a pause few days are kept, and all of them afterwards: at most the
    daemon's eight a turn (LOOK_DAYS), each 100 ms after the last one or later (ASKED_PAUSE_MS)."""
    config = rig.demo("asked")
    archive = rig.dir / "asked.txt"
    archive.write_text("".join(f"{t} house/room/living 20.5\n"
                               for t in range(BEGIN_S, BEGIN_S + ASKED_DAYS * 86400, 3600)))
    rig.done("import", config, archive)
    daemon = rig.serve(config)
    begin, asked = time.monotonic(), 0
    while time.monotonic() - begin < 0.5:
        asked += daemon.get("/v1/health").status == 200
    done, most = kept(config), 8 * (int((time.monotonic() - begin) / 0.1) + 2)
    tap.ok(asked > 0 and done <= most < ASKED_DAYS, f"{done} days are kept beside {asked} questions, {most} at most")
    wait_until(lambda: kept(config) == stored(config), "every day is kept when nobody asks")
    daemon.stop()


def main(tap, heatbookd, demo_plant):
    with Rig(heatbookd, demo_plant) as rig:
        config = rig.demo("whole")
        archive = rig.archive(BEGIN, END, "--truth", rig.dir / "truth.csv")
        rig.done("import", config, archive)
        daemon = same_answers(tap, rig, config)
        compare_truth(tap, daemon, read_truth(rig.dir / "truth.csv"))
        compare_counts(tap, daemon, demo_plant)
        daemon.stop()
        other_ways(tap, rig, archive, rows(config))
        behind_questions(tap, rig)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
