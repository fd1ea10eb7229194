"""Rows as CSV: by the verb over spans of any length, and over HTTP.

The reference is the JSON of /v1/series and /v1/energy of the same store: every column by name,
every value by its text, unknown as an empty field. CSV is read by Python's csv module; its rules
are RFC 4180's, and the content type's those of RFC 7111's text/csv registration (from memory).

Usage: export.py HEATBOOKD DEMO_PLANT
"""
import csv
import datetime
import io
import json
import re
import sys
import zoneinfo

from rig import Rig, records_of, table
from tap import tests

BEGIN, END = "2025-03-28T23:00:00+01:00", "2025-03-31T07:00:00+02:00"
DAY, NEXT = "2025-03-29T00:00:00+01:00", "2025-04-01T00:00:00+02:00"  # 23 h on the 30th
LATE = "2025-03-31T08:00:00+02:00"  # all of the archive, by minutes in one answer
ZONE = zoneinfo.ZoneInfo("Europe/Berlin")
GAP = 1743238830, 1743246015  # 2025-03-29, 10:00:30 to 12:00:15 local: nothing was said
FOUR = 1743202800 // 60 + 240  # 04:00 of that day, as a minute


def rows_of(text):
    """Header and rows of CSV; every line must end in CR LF."""
    assert text.count("\n") == text.count("\r\n"), "a line does not end in CR LF"
    rows = list(csv.reader(io.StringIO(text, newline="")))
    return rows[0], rows[1:]


def bare(name):
    return re.sub(r" \[.*\]$", "", name)


def unit(name):
    found = re.search(r" \[(.*)\]$", name)
    return found.group(1) if found else None


def columns_of(answer):
    """Name in CSV -> values, of a JSON answer whose numbers are kept as texts."""
    columns = dict(answer["columns"])
    for group, prefix in (("modes", "mode."), ("meters", "meter.")):
        for member, inner in answer.get(group, {}).items():
            for name, values in inner.items():
                if name not in ("t", "t_end"):
                    columns[f"{prefix}{member}.{name}"] = values
    return columns


def asked(daemon, path):
    answer = daemon.get(path)
    assert answer.status == 200, answer.body
    return json.loads(answer.body, parse_int=str, parse_float=str)


def same(tap, text, answer, what, epoch=True):
    header, rows = rows_of(text)
    columns = columns_of(answer)
    tap.equal([bare(n) for n in header], list(columns), f"{what}: the columns of the JSON")
    lines = [list(line) for line in zip(*columns.values())]
    if not epoch:
        for line in lines:
            for i in range(2):
                line[i] = datetime.datetime.fromtimestamp(int(line[i]), ZONE).isoformat()
    wanted = [["" if v is None else v for v in line] for line in lines]
    tap.ok(rows == wanted, f"{what}: its {len(wanted)} rows",
           next((f"{a}\n{b}" for a, b in zip(rows, wanted) if a != b), f"{len(rows)} rows"))
    tap.ok(len(rows) > 0, f"{what}: there are rows")
    units = {n: u for n, u in answer["units"].items() if n in columns and u and
             (epoch or not n.startswith("t"))}
    tap.equal({bare(n): unit(n) for n in header if bare(n) in units}, units,
              f"{what}: the header has the units")


def span(begin, end):
    return f"from={begin.replace('+', '%2B')}&to={end.replace('+', '%2B')}"


def by_verb(tap, rig, config, daemon):
    def verb(*args, to=NEXT):
        return rig.done("export", config, *args, "--from", DAY, "--to", to).stdout.decode()

    series = f"/v1/series?{span(DAY, NEXT)}&channels=flow_temperature,valve,unit_power_1"
    energy = f"/v1/energy?{span(DAY, NEXT)}"
    names = "flow_temperature,valve,unit_power_1"
    for step in ("PT1M", "PT15M", "PT1H", "P1D"):
        same(tap, verb("--series", names, "--step", step, "--time", "epoch"),
             asked(daemon, f"{series}&step={step}"), f"channels by {step}")
        to = LATE if step == "PT1M" else NEXT  # what one answer may hold
        same(tap, verb("--energy", "--step", step, "--time", "epoch", to=to),
             asked(daemon, f"/v1/energy?{span(DAY, to)}&step={step}"), f"energy by {step}")
    same(tap, verb("--energy", "--step", "PT1H", "--by", "mode", "--time", "epoch"),
         asked(daemon, f"{energy}&step=PT1H&by=mode"), "energy by hour and mode")
    same(tap, verb("--energy", "--boundary", "H2", "--step", "P1D"),
         asked(daemon, f"{energy}&boundary=H2"), "days at a boundary, in local time", epoch=False)
    same(tap, verb("--series", names, "--step", "PT1H"),
         asked(daemon, f"{series}&step=PT1H"), "hours of a day of 23", epoch=False)
    whole = rig.done("export", config, "--energy").stdout.decode()
    tap.equal(rows_of(whole)[1][0][0], "2025-03-28T00:00:00+01:00",
              "without a span it begins on the first day that has rows")


def over_http(tap, daemon):
    path = f"/v1/energy?{span(DAY, NEXT)}&step=PT6H&by=mode"
    wanted = asked(daemon, path)
    plain = daemon.get(path, headers={"Accept": "text/csv"})
    same(tap, plain.body.decode(), wanted, "Accept: text/csv", epoch=False)
    tap.equal(plain.headers["content-type"], "text/csv; charset=utf-8; header=present",
              "its type says so")
    tap.equal(plain.headers.get("vary"), "Accept, Accept-Encoding, Origin", "and that it varies")
    again = daemon.get(path, headers={"Accept": "text/csv", "If-None-Match": plain.headers["etag"]})
    tap.equal((again.status, again.body), (304, b""), "its tag is known again")
    tap.ok(plain.headers["etag"] != daemon.get(path).headers["etag"], "the JSON has another tag")
    same(tap, daemon.get(f"{path}&format=csv&time=epoch").body.decode(), wanted, "format=csv")
    series = f"/v1/series?{span(DAY, NEXT)}&step=PT1H&channels=return_temperature"
    same(tap, daemon.get(f"{series}&format=csv").body.decode(), asked(daemon, series),
         "channels, format=csv", epoch=False)
    for accept, is_csv in (("*/*", False), ("application/json", False), ("text/csv, */*", False),
                           ("text/csv, */*;q=0.5", True), ("application/json;q=0.9, text/*", True),
                           ("text/csv;q=0", False), ("TEXT/CSV", True), ("text/html", False)):
        kind = daemon.get(series, headers={"Accept": accept}).headers["content-type"]
        tap.equal(kind.startswith("text/csv"), is_csv, f"Accept: {accept}")
    tap.equal(daemon.get(f"{series}&format=json", headers={"Accept": "text/csv"})
              .headers["content-type"], "application/json", "format goes before Accept")
    for fault, word in (("format=xml", "format"), ("time=gmt", "time")):
        answer = daemon.get(f"{series}&{fault}", headers={"Accept": "text/csv"})
        tap.equal((answer.status, answer.json()["parameter"]), (400, word), f"{fault} is a problem")
        tap.equal(answer.headers["content-type"], "application/problem+json", "in its own type")


def files(tap, rig, config):
    target = rig.dir / "rows.csv"
    target.write_text("older")
    args = ["--series", "flow_temperature", "--step", "PT1H", "--output", target]
    refused = rig.verb("export", config, *args, "--series", "flow_temperature,valve,absent")
    tap.equal((refused.returncode, target.read_text()), (2, "older"), "a refusal leaves the file")
    tap.has(refused.stderr.decode(), '"absent"', "and names the channel")
    rig.done("export", config, *args)
    text = target.read_bytes().decode()
    tap.equal(text, rig.done("export", config, *args[:-2]).stdout.decode(),
              "a file holds what standard output does")
    tap.ok(not (rig.dir / "rows.csv.partial").exists(), "nothing is left beside it")
    full = rig.verb("export", config, *args[:-1], "/dev/full/x")
    tap.equal(full.returncode, 1, "a place that cannot be written is an error")
    with open("/dev/full", "wb") as out:
        full = rig.verb("export", config, *args[:-2], stdout=out)
    tap.equal(full.returncode, 1, "and a device that is full")
    tap.has(full.stderr.decode(), "No space", "which is named")
    for wrong, word in ((["--energy", "--journal"], "one of"), (["--energy", "--step", "PT90S"], "PT90S"),
                        (["--energy", "--by", "day"], "day"), (["--energy", "--boundary", "H9"], "no boundary"),
                        (["--journal", "--step", "P1D"], "CSV"), ([], "one of"),
                        (["--series", "valve,valve"], "twice"), (["--energy", "--from", "yesterday"], "2026-01-31"),
                        (["--energy", "--from", "2025-04-02", "--to", "2025-04-01"], "--from must not")):
        result = rig.verb("export", config, *wrong)
        tap.equal(result.returncode, 2, f"refused: export {' '.join(wrong)}")
        tap.has(result.stderr.decode(), word, "and told why")


def journal_spans(tap, rig, config):
    """Parts of the journal have every record once, and make the rows that the whole makes."""
    whole = records_of(rig.export(config, "whole.jsonl"))
    parts, records = [], []
    for i, (begin, end) in enumerate(((None, "2025-03-28"), ("2025-03-29", "2025-03-29"),
                                      ("2025-03-30", None))):
        args = (["--from", begin] if begin else []) + (["--to", end] if end else [])
        parts.append(rig.dir / f"part{i}.jsonl")
        rig.done("export", config, "--journal", "--output", parts[-1], *args)
        records += records_of(parts[-1])
    key = lambda r: json.dumps(r, sort_keys=True)
    tap.equal(sorted(map(key, records)), sorted(map(key, whole)),
              "parts of the journal hold every record once")
    fresh = rig.demo("parts")
    rig.done("import", fresh, *reversed(parts))
    for name in ("minutes", "energy_minutes", "days", "energy_days"):
        tap.ok(table(fresh, name) == table(config, name), f"imported elsewhere: the same {name}")
    # A day alone makes its own rows but for what was set before it.
    alone = rig.demo("alone")
    rig.done("import", alone, parts[1])


    def later(of):
        return [r for r in table(of, "minutes") if FOUR <= dict(r)["minute"] < FOUR + 1000]
    late = later(config)
    tap.ok(later(alone) == late, "a day alone makes the same minutes once everything was heard")
    tap.ok(len(late) > 400, "which are compared", len(late))


def with_gap(rig):
    path = rig.archive(BEGIN, END)
    lines = [line for line in path.read_text().splitlines(True)
             if not GAP[0] <= float(line.split(" ", 1)[0]) < GAP[1]]
    path.write_text("".join(lines))
    return path


def main(tap, heatbookd, demo_plant):
    with Rig(heatbookd, demo_plant) as rig:
        config = rig.demo("rows", change=lambda t: t.replace(
            "[channel return_temperature]", "[channel return_temperature]\nextremes = yes"))
        archive = with_gap(rig)
        rig.done("import", config, archive)
        daemon = rig.serve(config)
        by_verb(tap, rig, config, daemon)
        over_http(tap, daemon)
        tap.equal(daemon.stop(), 0, "the daemon ends in good order")
        files(tap, rig, config)
        plain = rig.demo("plain")
        rig.done("import", plain, archive)
        journal_spans(tap, rig, plain)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
