"""The heating circuit end to end, on the demo plant's faults: a leak of four weeks with its top-up,
a flow that falls by a fifth in six weeks, and each Sunday's immersion to 60 °C, against what the
plant published. A finding says of the same days that something is wrong; the circuit only how much.

Usage: circuit.py HEATBOOKD DEMO_PLANT
"""
import gzip
import json
import subprocess
import sys

from rig import DEMO_CONFIG, Rig, wait_until
from tap import tests
from truth import local_midnight

MONTH_DAYS, DAY_S = 30.4375, 86400
SHOWN_60 = 59.95


def archive_of(demo_plant, path, begin, end, fault):
    """Writes it; the last second in which the cylinder was told to be at 60 °C."""
    last, hot = None, False
    with gzip.open(path, "wb", 1) as f:
        with subprocess.Popen([demo_plant, "archive", "--from", begin, "--to", end, "--faults", fault],
                              stdout=subprocess.PIPE) as plant:
            for line in plant.stdout:
                f.write(line)
                if b" plant/control " not in line:
                    continue
                stamp, _, payload = line.split(b" ", 2)
                if hot:
                    last = float(stamp)  # it held until this one
                hot = json.loads(payload)["cylinder"] >= SHOWN_60
    return last


def asked(tap, rig, demo_plant, begin, end, fault):
    archive = rig.dir / "demo.gz"
    last_hot = archive_of(demo_plant, archive, begin, end, fault)
    config = rig.config(fault, DEMO_CONFIG.read_text(encoding="utf-8"))
    rig.done("import", config, archive)
    daemon = rig.serve(config)
    first, until = local_midnight(begin), local_midnight(end)
    answers = []

    def looked():
        answers[:] = [daemon.get(f"/v1/circuit?from={first}&to={until}&rows=yes").json()]
        evidence = answers[0]["evidence"]
        return evidence["days_looked_at"] == evidence["days"]
    wait_until(looked, "all days are looked at")
    answer = answers[0]
    tap.near(answer["answer"]["hours_since_60"]["value"], (until - last_hot) / 3600, 0.05,
             f"{fault}: hours since the cylinder was at 60 °C")
    findings = daemon.get(f"/v1/findings?from={first}&to={until}").json()["findings"]
    daemon.stop()
    return answer, [f["kind"] for f in findings]


def leak(tap, rig, demo_plant):
    """Half a bar from 2 to 30 June, then topped up."""
    answer, kinds = asked(tap, rig, demo_plant, "2025-05-05", "2025-07-20", "pressure_leak")
    evidence = answer["evidence"]
    days = [t["t"] for t in evidence["top_ups"]]
    tap.ok(len(days) == 1 and days[0] in (local_midnight("2025-06-29"), local_midnight("2025-06-30")),
           "leak: one top-up, on its day or the one before", days)
    tap.near(evidence["top_ups"][0]["bar"], 0.5, 0.06, "leak: of half a bar")
    tap.equal(len(evidence["stretches"]), 2, "leak: a stretch on either side")
    before, after = evidence["stretches"]
    truth = -0.5 / 28 * MONTH_DAYS
    tap.near(before["a_month"]["value"], truth, 0.1 * -truth, "leak: its rate")
    tap.near((before["since"] - local_midnight("2025-06-02")) / DAY_S, 0, 3.5, "leak: since its first day")
    tap.ok(abs(after["a_month"]["value"]) < 0.05, "leak: none behind the top-up", after)
    tap.near(answer["answer"]["cold_pressure"]["value"], 1.39, 0.03, "leak: cold pressure by the plant's own law")
    tap.ok("pressure_falling" in kinds, "leak: the finding says that it is wrong", kinds)


def falling(tap, rig, demo_plant):
    """A fifth in six weeks from 1 November on."""
    answer, kinds = asked(tap, rig, demo_plant, "2024-11-01", "2024-12-13", "flow_falling")
    truth = -0.20 / 42 * MONTH_DAYS
    for name, full in ("heating", 17.5), ("hot_water", 19.0):
        flow = answer["evidence"][name]
        tap.near(flow["a_month"]["value"], truth * full, 0.05 * -truth * full, f"{name}: falls as it did")
        tap.near(flow["flow"]["value"], 0.8 * full, 0.03 * full, f"{name}: down to four fifths")
    tap.ok("flow_falling" in kinds, "falling: the finding says that it is wrong", kinds)
    tap.equal(answer["evidence"]["top_ups"], [], "falling: no top-up")


with tests() as tap_of_main, Rig(sys.argv[1]) as rig_of_main:
    leak(tap_of_main, rig_of_main, sys.argv[2])
    falling(tap_of_main, rig_of_main, sys.argv[2])
