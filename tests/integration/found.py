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
DAY_S = 86400
# By how much a finding may lie beyond its fault: a pair needs rest, a flow the middle of a week.
BEYOND_S = {"pair_offset": 10 * DAY_S, "flow_falling": 4 * DAY_S}
SLACK_S = 3600  # what happens in an instant is seen by the next readings


def faults_of(demo_plant, args):
    text = subprocess.run([demo_plant, "faults", *args], check=True, stdout=subprocess.PIPE,
                          text=True).stdout
    rows = list(csv.DictReader(text.splitlines()))
    for r in rows:
        r["from"], r["to"] = int(r["from_epoch_s"]), int(r["to_epoch_s"])
        r["within"] = int(r["within_s"])
        r["size"] = float(r["least"]), float(r["most"])
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


def within(finding, fault):
    """Neither before its cause nor after it, but for the whole days that findings are told by."""
    slack_s = BEYOND_S.get(finding["kind"], 2 * DAY_S)
    return (overlaps(finding, fault, SLACK_S) and finding["since"] >= fault["from"] - slack_s
            and finding["until"] <= fault["to"] + slack_s)


def check_sizes(tap, told, faults):
    """Each as large as its fault is."""
    for fault in faults:
        least, most = fault["size"]
        sizes = [f["size"] for f in told if f["kind"] == fault["finding"] and within(f, fault)
                 and fault["subject"] in ("", f["subject"])]
        if fault["finding"] != "none":
            tap.ok(len(sizes) == 1 and least <= sizes[0] <= most,
                   f"{fault['name']}: one {fault['finding']} of {least:g} to {most:g}", sizes)


def check_nothing_else(tap, told, faults):
    def explained(finding):
        return any(within(finding, fault) and
                   finding["kind"] in {fault["finding"], *ALSO.get(fault["name"], ())}
                   for fault in faults)
    odd = [f for f in told if not explained(f)]
    tap.equal(odd, [], "nothing else is found")
