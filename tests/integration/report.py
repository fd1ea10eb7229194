"""The report of three invented days: as text and JSON byte for byte, against the demo plant's
own truth (etc/demo/observer.c, held to python3-iapws by demo_truth.py) and against /v1/energy.

Usage: report.py HEATBOOKD DEMO_PLANT [write]. With `write` the expected texts in tests/data are
written anew: read their difference before you believe it.
"""
import datetime
import json
import re
import sys
import zoneinfo

import rig
import tap
from truth import J_PER_KWH, sums_of_truth

FROM, TO = "2026-01-17", "2026-01-20"  # the immersion heater runs on Sunday the 18th
SUNDAY = ("--from", "2026-01-18", "--to", "2026-01-18")
NOTICES = """
[notice heater]
watch = power immersion
above = 100 W
text = The heater is on
[notice ice]
watch = value flow_temperature
below = -50 °C
[notice warm]
watch = value flow_temperature
above = 5 °C
for = 1 min
"""
SUNDAY_S = (1768690800, 1768777200)  # 2026-01-18 and -19, 00:00 in Berlin (UTC+1)


def unversioned(text):
    """The data's version counts commits, which are no matter of the report."""
    return re.sub(rb'"version":\d+', b'"version":0', text)


def refuses(t, r, config, args, code, part, name):
    result = r.verb("report", config, *args)
    t.equal((result.returncode, result.stdout), (code, b""), name)
    t.has(result.stderr.decode(), part, f"{name}: it says why")


def compare_golden(t, name, got, write):
    path = rig.DATA / name
    if write:
        path.write_bytes(got)
    t.equal(got.decode().splitlines(), path.read_text(encoding="utf-8").splitlines(),
            f"the report is that of {name}")


def compare_truth(t, body, truth):
    t.equal(sorted(body["modes"]), sorted(truth), "the modes are those of the plant's truth")
    for mode, (seconds, heat, electricity) in truth.items():
        got = body["modes"][mode]
        # A minute's joules are rounded; truth is rounded to a millijoule.
        most = 2880 * 0.5 / J_PER_KWH
        t.near(got["observed_s"][0], seconds, 1e-6, f"{mode}: time is the plant's")
        t.near(got["heat_kwh"][0], heat, most, f"{mode}: heat is the plant's")
        t.near(got["electricity_kwh"][0], electricity, most, f"{mode}: electricity is")


def compare_notices(t, r, config):
    """The lines say what /v1/notices answers."""
    plain = r.done("report", config, *SUNDAY).stdout.decode()
    rig.edit(config, NOTICES)
    daemon = r.serve(config)
    answer = daemon.get(f"/v1/notices?from={SUNDAY_S[0]}&to={SUNDAY_S[1]}&rows=yes").json()
    daemon.stop()
    times = [(row["t"], row["t_end"]) for row in answer["rows"] if row["notice"] == "heater"]
    t.equal([n["count"] for n in answer["notices"]], [len(times), 0, 1], "what is raised that day")
    text = r.done("report", config, *SUNDAY).stdout.decode()
    t.ok(text.startswith(plain), "all else of the report is the same")
    zone = zoneinfo.ZoneInfo("Europe/Berlin")
    begin, end = (datetime.datetime.fromtimestamp(s, zone).strftime("%Y-%m-%d %H:%M")
                  for s in times[-1])
    often = f"{len(times)} times, the last from" if len(times) > 1 else "From"
    t.equal(text[len(plain):].splitlines(), [
        "", "2 notices were raised, of 3", "", "heater: The heater is on", f"  {often} {begin} to {end}.",
        "", "warm: value flow_temperature above 5 °C", "  Since 2026-01-17 00:00."],
            "notices that were raised are told, since when and how often")


with tap.tests() as t, rig.Rig(*sys.argv[1:3]) as r:
    write = sys.argv[3:] == ["write"]
    config = r.demo("report")
    refuses(t, r, config, (), 1, "nothing is stored", "without a store it fails")
    truth = r.dir / "truth.csv"
    r.done("import", config, r.archive(FROM, TO, "--truth", str(truth)))

    sunday = r.done("report", config, *SUNDAY).stdout
    compare_golden(t, "report_demo_day.txt", sunday, write)
    longer = r.done("report", config, "--from", "2026-01-16", "--to", "2026-01-20",
                    "--boundary", "H2+circulation").stdout
    compare_golden(t, "report_demo_partial.txt", longer, write)
    sunday_json = unversioned(r.done("report", config, *SUNDAY, "--json").stdout)
    compare_golden(t, "report_demo_day.json", sunday_json, write)

    body = json.loads(sunday_json)
    compare_truth(t, body, sums_of_truth(truth, *SUNDAY_S))
    for text in (sunday, longer):
        widest = max(len(line) for line in text.decode().splitlines())
        t.ok(widest <= 80, "no line is wider than a terminal", widest)

    refuses(t, r, config, ("--from", "2025-08-01", "--to", "2025-08-02"), 1,
            "the journal has 2026-01-17 to 2026-01-19", "days without data fail")
    daemon = r.serve(config)
    answer = daemon.get(f"/v1/energy?from={SUNDAY_S[0]}&to={SUNDAY_S[1]}&step=P1D&by=mode")
    t.equal(body.pop("findings"), [], "a day without faults has no finding")
    t.equal(json.loads(unversioned(answer.body)), body, "/v1/energy answers the same")
    t.equal(r.done("report", config, *SUNDAY).stdout, sunday, "it reads beside the daemon")
    t.equal(daemon.stop(), 0, "the daemon ends well")

    compare_notices(t, r, config)
    refuses(t, r, config, ("--from", "2026-02-30"), 2, "local dates", "no date is misuse")
    refuses(t, r, config, ("--from", "2026-01-19", "--to", "2026-01-18"), 2, "after",
            "a span that ends before it begins is misuse")
    refuses(t, r, config, ("--boundary", "H1"), 2, "H2+circulation", "H1 is misuse")
