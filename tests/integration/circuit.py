"""The heating circuit end to end, on the demo plant's faults: a leak of four weeks with its top-up,
a flow that falls by a fifth in six weeks, and each Sunday's immersion to 60 °C, against what the
plant published. A finding says of the same days that something is wrong; the circuit only how much.

In the short form the leak lasts eighteen days and the flow falls within three weeks, and what the
circuit does not ask of, the house's meters and rooms, is left out of the archive.

Usage: circuit.py HEATBOOKD DEMO_PLANT faults|weeks
"""
import gzip
import json
import subprocess
import sys

from rig import DEMO_CONFIG, Rig, wait_until
from tap import tests
from truth import local_midnight

MONTH_DAYS, DAY_S = 30.4375, 86400
# begin, end, the fault's first day and the day after its last
LEAK = {"faults": ("2025-05-05", "2025-07-20", "2025-06-02", "2025-06-30"),
        "weeks": ("2025-05-21", "2025-07-06", "2025-06-02", "2025-06-20")}
FALLING = {"faults": ("2024-11-01", "2024-12-13", "2024-11-01", "2024-12-13"),
           "weeks": ("2024-11-01", "2024-11-22", "2024-11-01", "2024-11-22")}
LEAK_BAR, FALLING_SHARE = 0.55, 0.20  # etc/demo/fault_steps.c, plant.h
SHOWN_60 = 59.95


def archive_of(demo_plant, path, begin, end, placed, form):
    """Writes it; the last second in which the cylinder was told to be at 60 °C."""
    last, hot = None, False
    with gzip.open(path, "wb", 1) as f:
        with subprocess.Popen([demo_plant, "archive", "--from", begin, "--to", end, "--fault", placed],
                              stdout=subprocess.PIPE) as plant:
            for line in plant.stdout:
                if form == "weeks" and b" house/" in line:
                    continue
                f.write(line)
                if b" plant/control " not in line:
                    continue
                stamp, _, payload = line.split(b" ", 2)
                if hot:
                    last = float(stamp)  # it held until this one
                hot = json.loads(payload)["cylinder"] >= SHOWN_60
    return last


def asked(tap, rig, demo_plant, form, spans, fault):
    archive = rig.dir / "demo.gz"
    begin, end, since, to = spans[form]
    last_hot = archive_of(demo_plant, archive, begin, end, f"{fault}={since}/{to}", form)
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


def leak(tap, rig, demo_plant, form):
    """Half a bar and a little within its days, then topped up."""
    _, _, since, to = LEAK[form]
    first, topped = local_midnight(since), local_midnight(to)
    answer, kinds = asked(tap, rig, demo_plant, form, LEAK, "pressure_leak")
    evidence = answer["evidence"]
    days = [t["t"] for t in evidence["top_ups"]]
    tap.ok(len(days) == 1 and 0 <= topped - days[0] <= DAY_S, "leak: one top-up, on its day or the one before", days)
    # Between the middles of three days before it, the second of which counts, and of three behind it.
    lost = LEAK_BAR * (1 - 1.5 * DAY_S / (topped - first))
    tap.near(evidence["top_ups"][0]["bar"], lost, 0.05, f"leak: of {lost:.3f} bar")
    tap.equal(len(evidence["stretches"]), 2, "leak: a stretch on either side")
    before, after = evidence["stretches"]
    truth = -LEAK_BAR / ((topped - first) / DAY_S) * MONTH_DAYS
    tap.note(f"leak: {before}, true {truth:.4f} bar a month")
    tap.near(before["a_month"]["value"], truth, 0.05 * -truth, "leak: its rate")
    tap.near((before["since"] - first) / DAY_S, 0, 3.5, "leak: since its first day")
    tap.ok(abs(after["a_month"]["value"]) < 0.05, "leak: none behind the top-up", after)
    tap.near(answer["answer"]["cold_pressure"]["value"], 1.39, 0.03, "leak: cold pressure by the plant's own law")
    tap.ok("pressure_falling" in kinds, "leak: the finding says that it is wrong", kinds)


def falling(tap, rig, demo_plant, form):
    """By a fifth within its days."""
    begin, end, since, to = FALLING[form]
    answer, kinds = asked(tap, rig, demo_plant, form, FALLING, "flow_falling")
    truth = -FALLING_SHARE / ((local_midnight(to) - local_midnight(since)) / DAY_S) * MONTH_DAYS
    for name, full in ("heating", 17.5), ("hot_water", 19.0):
        flow = answer["evidence"][name]
        tap.note(f"{name}: {flow}, true {truth * full:.4f} L/min a month")
        tap.near(flow["a_month"]["value"], truth * full, 0.05 * -truth * full, f"{name}: falls as it did")
        tap.near(flow["flow"]["value"], (1 - FALLING_SHARE) * full, 0.03 * full, f"{name}: down to four fifths")
    if form == "faults":  # which takes four weeks
        tap.ok("flow_falling" in kinds, "falling: the finding says that it is wrong", kinds)
    tap.equal(answer["evidence"]["top_ups"], [], "falling: no top-up")


with tests() as tap_of_main, Rig(sys.argv[1]) as rig_of_main:
    leak(tap_of_main, rig_of_main, *sys.argv[2:4])
    falling(tap_of_main, rig_of_main, *sys.argv[2:4])
