"""Closes the circle: the demo plant's messages as an archive, in by `import`, and every row of
the store against what the plant's own observer (etc/demo/observer.c, which shares no code with
the daemon) makes of the same messages; then the sums over HTTP.

Usage: closure_archive.py HEATBOOKD DEMO_PLANT SPAN. Spans: a winter month with a change of the
heating curve in it; the local days around both changes of the clock.
"""
import collections
import sys

import found
from rig import Rig, energy_rows, store
from tap import tests
from truth import ROUNDING_J, compare_minutes, days_of, read_truth

PIECE_S = {"PT1M": 8 * 3600, "PT1H": 10 * 86400}  # 180 values a step, 100,000 an answer
AFTER_END_MIN = 11  # sources are dead after 10 min of silence
SPANS = {  # begin of the messages, first whole day, end
    "month": ("2024-12-31", "2025-01-01", "2025-02-01"),
    "spring": ("2025-03-28", "2025-03-29", "2025-04-01"),
    "autumn": ("2024-10-25", "2024-10-26", "2024-10-29"),
}


def compare_rows(tap, config, truth, days):
    rows = energy_rows(config)
    first, end = min(truth), days[-1][2] // 60
    tap.ok(first * 60 <= days[0][1], "all channels are heard before the first whole day")
    compare_minutes(tap, rows, truth, "before the first day", first, days[0][1] // 60)
    for date, begin_s, end_s in days:
        compare_minutes(tap, rows, truth, date, begin_s // 60, end_s // 60)
    beyond = [m for m, _ in rows if m >= end + AFTER_END_MIN]
    tap.equal(beyond, [], "no row after the sources' death")
    early = [r for (m, mode), r in rows.items() if m < first and r["known"] & 1
             and mode == "unassigned"]
    tap.ok(len(early) < 3700, "before all states are known, modes are unassigned")


def joules(kwh):
    return round((kwh or 0) * 3.6e6)


def sums(answer):
    """Quantities of an answer in joules, by name, over all its buckets."""
    total = collections.Counter()
    for name in ("heat_kwh", "electricity_kwh", "paired_heat_kwh", "paired_electricity_kwh"):
        total[name] = sum(joules(v) for v in answer["columns"][name])
    for mode, columns in answer["modes"].items():
        for name in ("heat_kwh", "electricity_kwh"):
            total[f"{mode} {name}"] = sum(joules(v) for v in columns[name])
    for meter, columns in answer["meters"].items():
        total[meter] = sum(joules(v) for v in columns["electricity_kwh"])
    total["observed ms"] = round(1000 * sum(answer["columns"]["observed_s"]))
    return {name: value for name, value in total.items() if value}  # signs stay


def ask(daemon, step, begin_s, end_s):
    answer = daemon.get(f"/v1/energy?from={begin_s}&to={end_s}&step={step}&by=mode")
    assert answer.status == 200, answer.body
    return answer.json()


def ask_in_pieces(daemon, step, begin_s, end_s):
    """Sums over a span, asked for in pieces as large as an answer may be."""
    total, piece_s = collections.Counter(), PIECE_S[step]
    for at_s in range(begin_s, end_s, piece_s):
        total.update(sums(ask(daemon, step, at_s, min(at_s + piece_s, end_s))))
    return total


def compare_sums(tap, daemon, days, truth, by_month):
    begin_s, end_s = days[0][1], days[-1][2]
    by_day = ask(daemon, "P1D", begin_s, end_s)
    tap.equal(list(zip(by_day["columns"]["t"], by_day["columns"]["t_end"])),
              [(b, e) for _, b, e in days], "days begin and end with the zone's midnights")
    whole = sums(by_day)
    tap.ok(whole["heat_kwh"] > 0 and whole["electricity_kwh"] > 0, "there is something to sum")
    minutes = collections.Counter()
    for i, (date, b, e) in enumerate(days):
        of_day = ask_in_pieces(daemon, "PT1M", b, e)
        minutes.update(of_day)
        tap.equal(of_day["heat_kwh"], joules(by_day["columns"]["heat_kwh"][i]),
                  f"{date}: minutes sum to the day's heat")
        # At the widest boundary the immersion's electricity is heat as well.
        told = sum(float(r["heat_j"]) + float(r["immersion_j"])
                   for m in range(b // 60, e // 60) for r in truth[m].values())
        tap.near(of_day["heat_kwh"], told, ROUNDING_J * 2 * (e - b) / 60,
                 f"{date}: the day's heat is the truth's")
    tap.equal(dict(minutes), whole, "PT1M and P1D sum to the same joule")
    tap.equal(dict(ask_in_pieces(daemon, "PT1H", begin_s, end_s)), whole,
              "PT1H and P1D sum to the same joule")
    if by_month:
        month = ask(daemon, "P1M", begin_s, end_s)
        tap.equal(len(month["columns"]["t"]), 1, "the month is one bucket")
        tap.equal(sums(month), whole, "P1M and P1D sum to the same joule")
    parts = sum(v for k, v in whole.items() if k.endswith(" heat_kwh"))
    tap.equal(parts, whole["heat_kwh"], "modes add up to the heat")
    meters = whole["unit"] + whole["immersion"]
    tap.equal(meters, whole["electricity_kwh"], "meters add up to the electricity")


def main(tap, heatbookd, demo_plant, span):
    begin, first_day, end = SPANS[span]
    days = list(days_of(first_day, end))
    with Rig(heatbookd, demo_plant) as rig:
        archive = rig.archive(begin, end, "--change", "2025-01-15", "--truth",
                              rig.dir / "truth.csv")
        truth = read_truth(rig.dir / "truth.csv")
        config = rig.demo("plant")
        done = rig.verb("import", config, archive)
        tap.equal(done.returncode, 0, "import exits 0")
        tap.note(done.stdout.decode())
        with store(config) as s:
            lines = sum(1 for _ in open(archive, "rb"))
            tap.equal(s.execute("SELECT sum(records) FROM chunks").fetchone()[0], lines,
                      f"the journal holds all {lines} records")
        compare_rows(tap, config, truth, days)
        verified = rig.verb("verify", config)
        tap.equal(verified.returncode, 0, "verify exits 0")
        daemon = rig.serve(config)
        compare_sums(tap, daemon, days, truth, span == "month")
        tap.equal(found.findings(daemon, days[0][1], days[-1][2]), [], "nothing is found")
        tap.equal(daemon.stop(), 0, "the daemon ends in good order")
        lengths = {(e - b) // 3600 for _, b, e in days}
        wanted = {"month": {24}, "spring": {23, 24}, "autumn": {24, 25}}[span]
        tap.equal(lengths, wanted, "the span has the days that it is about")


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:4])
