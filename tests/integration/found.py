"""What findings say of the demo plant's faults: each as what it is and in time, nothing besides."""
import csv
import subprocess

from rig import wait_until

# What a fault brings with it beside its own finding, each for a reason that an owner would give.
ALSO = {
    "clamp_reversed": {"power_against_register"},  # a phase that counts backwards
    "slow_source": {"source_skewed"},  # what comes each five minutes is late by half of that
    "power_late": {"power_against_register"},
}
SLACK_S = 3600  # what happens in an instant is seen by the next readings


def faults_of(demo_plant, args):
    text = subprocess.run([demo_plant, "faults", *args], check=True, stdout=subprocess.PIPE,
                          text=True).stdout
    rows = list(csv.DictReader(text.splitlines()))
    for r in rows:
        r["from"], r["to"] = int(r["from_epoch_s"]), int(r["to_epoch_s"])
        r["within"] = int(r["within_s"])
    return rows


def findings(daemon, begin_s, end_s):
    """Once every day of the span was looked at."""
    def whole():
        answer = daemon.get(f"/v1/findings?from={begin_s}&to={end_s}")
        assert answer.status == 200, answer.body
        body = answer.json()
        return body if body["days"] == body["days_looked_at"] else None
    return wait_until(whole, "all days are looked at", 300)["findings"]


def overlaps(finding, fault, slack_s):
    return finding["since"] <= fault["to"] + slack_s and finding["until"] >= fault["from"] - slack_s


def check_in_time(tap, daemon, faults, begin_s, end_s):
    """Asked as it was so long after the fault's begin, the finding is there."""
    for fault in faults:
        if fault["finding"] == "none":
            continue
        to_s = min(-(-(fault["from"] + fault["within"]) // 60) * 60, end_s)
        told = findings(daemon, begin_s, to_s)
        hits = [f for f in told if f["kind"] == fault["finding"] and overlaps(f, fault, SLACK_S)
                and fault["subject"] in ("", f["subject"])]
        tap.ok(hits, f"{fault['name']}: {fault['finding']} within {fault['within'] / 3600:g} h",
               [(f["kind"], f["subject"], f["since"], f["until"]) for f in told])


def check_nothing_else(tap, told, faults, slack_s):
    def explained(finding):
        return any(overlaps(finding, fault, slack_s) and
                   finding["kind"] in {fault["finding"], *ALSO.get(fault["name"], ())}
                   for fault in faults)
    odd = [f for f in told if not explained(f)]
    tap.equal(odd, [], "nothing else is found")
