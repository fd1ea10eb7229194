"""The report's rows and courses: a season with gaps, by days, weeks and months; both weeks in which
clocks change; terminals of any width, a pipe, and a locale that takes ASCII alone. Each row is
what /v1/energy and /v1/degree-days answer of its time.

Usage: report_rows.py HEATBOOKD DEMO_PLANT [write]. With `write` the expected text in tests/data
is written anew: read its difference before you believe it.
"""
import fcntl
import json
import os
import pty
import re
import struct
import subprocess
import sys
import termios
import unicodedata

import rig
import tap

AUTUMN, SPRING, WINTER = "2025-10-26", "2026-03-29", ("2026-01-17", "2026-01-19")
SEASON = ("--from", "2025-10-20", "--to", "2026-03-31")
DAYS = ("--from", "2026-01-15", "--to", "2026-01-20")
LEVELS = "▁▂▃▄▅▆▇█"


def on_terminal(r, config, width, *args, **env):
    """What the report prints on a terminal of so many columns."""
    outside, inside = pty.openpty()
    fcntl.ioctl(inside, termios.TIOCSWINSZ, struct.pack("HHHH", 50, width, 0, 0))
    with subprocess.Popen([r.heatbookd, "report", "-c", config, *args], stdout=inside,
                          env=dict(os.environ, **env)) as process:
        os.close(inside)
        text = b""
        while True:
            try:
                text += os.read(outside, 65536)
            except OSError:  # it is closed
                break
    os.close(outside)
    assert process.returncode == 0
    return text.decode().replace("\r\n", "\n")


def lines_named(text, name):
    return [line for line in text.splitlines() if line.split(" ")[0] == name]


def row(text, name):
    """Numbers of a row: heat, electricity, efficiency, ±, outdoors, degree days, known %."""
    [line] = [line for line in text.splitlines() if line.startswith(name)]
    return [None if word in "?-" else float(word)
            for word in line[10:65].replace(" %", "").split()]


def two(value, decimals=2):
    """Rounded half away from zero, as the report does."""
    return None if value is None else round(value + (1e-9 if value >= 0 else -1e-9), decimals)


def same_rows(t, daemon, text, step, names):
    """Every row's figures are those that are answered over HTTP."""
    span = f"from={BEGIN}&to={END}&step={step}&rows=yes"
    energy = daemon.get(f"/v1/energy?{span}").json()["rows"]
    weather = daemon.get(f"/v1/degree-days?{span}").json()["rows"]
    for name, e, d in zip(names(energy), energy, weather, strict=True):
        got = row(text, name)
        wanted = [two(e["heat_kwh"]), two(e["electricity_kwh"]), two(e["cop"])]
        if e["cop"] is not None:
            wanted.append(two(e["cop_uncertainty"]))
        wanted += [two(d["outdoor_c"], 1), two(d["integral_kd"], 1)]
        wanted.append(float(min(e["heat_observed_s"], e["electricity_observed_s"]) * 100
                            // (e["t_end"] - e["t"])))
        t.ok(len(got) == len(wanted) and all(
            g is w is None or (g is not None and w is not None and abs(g - w) < 0.0101)
            for g, w in zip(got, wanted)), f"{step}: the row of {name} is what HTTP answers",
            f"{got}\n{wanted}")


def course(text, name):
    """A course's columns, and its scale in words."""
    [line] = [line for line in lines_named(text, name) if " to " in line and "kWh" not in line]
    columns, scale = line[17:].split("   ", 1)
    return columns, scale


BEGIN, END = 1760911200, 1774994400  # 2025-10-20 and 2026-04-01, 00:00 in Berlin

with tap.tests() as t, rig.Rig(*sys.argv[1:3]) as r:
    write = sys.argv[3:] == ["write"]
    config = r.demo("rows")
    r.done("import", config, r.archive(*WINTER, out="winter.txt"),
           r.archive(AUTUMN, "2025-10-27", out="autumn.txt"),
           r.archive(SPRING, "2026-03-30", out="spring.txt"))

    def report(*args, **env):
        return r.done("report", config, *args, env=dict(os.environ, **env)).stdout.decode()

    weeks = report(*SEASON, "--step", "P1W")
    path = rig.DATA / "report_demo_weeks.txt"
    if write:
        path.write_text(weeks, encoding="utf-8")
    t.equal(weeks.splitlines(), path.read_text(encoding="utf-8").splitlines(),
            "a season by weeks is that of report_demo_weeks.txt")
    months = report(*SEASON, "--step", "P1M")
    daemon = r.serve(config)
    same_rows(t, daemon, months, "P1M", lambda rows: [
        "2025-10*", "2025-11", "2025-12", "2026-01", "2026-02", "2026-03"])
    same_rows(t, daemon, weeks, "P1W", lambda rows: [
        f"{year}-W{week:02d}" for year, first, last in ((2025, 43, 52), (2026, 1, 14))
        for week in range(first, last + 1)])
    by_months = r.done("report", config, *SEASON, "--step", "P1M", "--json").stdout
    answer = daemon.get(f"/v1/energy?from={BEGIN}&to={END}&step=P1M&by=mode").json()
    got = json.loads(by_months)
    got.pop("findings")
    got["version"] = answer["version"]
    t.equal(got, answer, "as JSON they are what /v1/energy answers by that step")
    t.equal(daemon.stop(), 0, "the daemon ends well")
    t.has(weeks, "2026-W14* ", "a week that the span cuts is marked")
    t.ok(re.search(r"2025-W45 +\? +\? +\? +\? +\? +0 % +·\n", weeks), "a gap stands as a gap")
    t.ok(re.search(r"2026-W03 .* 28 % at least", weeks), "of which little is known says so")
    t.ok("2026-W03*" not in weeks, "a week that lies whole in the span is not marked")

    # Days of 25 and 23 hours: as many columns.
    for day, hours in ((AUTUMN, 25), (SPRING, 23), (WINTER[0], 24)):
        columns, scale = course(report("--of", day), "heat")
        t.equal(len(columns), hours, f"{day} has {hours} columns of an hour")
        t.ok(set(columns) <= set(LEVELS + "·") and LEVELS[-1] in columns,
             f"{day}: drawn by blocks, up to the highest", columns)
        t.ok(re.fullmatch(r"-?\d+\.\d\d to \d+\.\d\d kW", scale), f"{day}: the scale is named",
             scale)
    for of, count in (("2025-W43", 7), ("2026-W13", 7)):
        text = report("--of", of, "--step", "P1D")
        t.equal(len(course(text, "heat")[0]), count, f"{of} has a column a day")
        t.has(text, "·", f"{of}: days without a word are gaps")
    t.equal(len(course(report("--last", "P3D", "--to", "2026-01-19"), "heat")[0]), 3,
            "three days are three columns where the paper has no room for hours")

    # Terminals.
    for width in (40, 50, 66, 76, 80, 100, 132, 200):
        text = on_terminal(r, config, width, *DAYS, "--step", "P1D")
        table = text.split("\n\n")[1].splitlines()
        widest = max(len(unicodedata.normalize("NFC", line)) for line in table[:9])
        t.ok(widest <= max(width, 59), f"{width} columns: the rows fit", f"{widest}\n{text}")
        t.equal("degree" in table[0], width >= 76, f"{width} columns: degree days, or no room")
        t.equal("█" in table[4], width >= 80, f"{width} columns: bars, or no room")
        if width >= 50:  # else there is no room for six days
            drawn, scale = course(text, "heat")
            t.ok(17 + len(drawn) + 3 + len(scale) <= width, f"{width} columns: so does the course",
                 text)
    t.equal(on_terminal(r, config, 80, *DAYS), report(*DAYS),
            "a pipe is a terminal of 80 columns")
    for name, env, text in (("LC_ALL=C", {"LC_ALL": "C"}, None),
                            ("TERM=dumb", {"TERM": "dumb"}, on_terminal)):
        args = (*DAYS, "--step", "P1D")
        text = on_terminal(r, config, 80, *args, **env) if text else report(*args, **env)
        t.ok(text.isascii(), f"{name}: all of it is ASCII", [c for c in text if ord(c) > 127])
        columns, _ = course(text, "heat")
        t.ok(re.fullmatch(r"[0-9.]+", columns), f"{name}: digits draw the course", columns)
        t.has(text, "digits: tenths of the scale", f"{name}: and says so")

    # Refusals.
    for args, part in ((("--step", "PT1H"), "must be P1D, P1W, P1M or P1Y"),
                       (("--of", "2026-02-30"), "or one of these by its name"),
                       (("--last", "P1D", "--from", "2026-01-17"), "two beginnings"),
                       (("now",), "options alone")):
        result = r.verb("report", config, *args)
        t.equal((result.returncode, result.stdout), (2, b""), f"{args} is misuse")
        t.has(result.stderr.decode(), part, f"{args}: it says why")
    empty = r.verb("report", config, "--of", "2025-12", "--step", "P1D")
    t.equal(empty.returncode, 1, "a month of which nothing is known fails")
