"""What the demo plant did by its own steps (`heatbook-demo-plant happenings`), beside the rows of
/v1/runs and its like: each happening is told once, as late as its messages come, and nothing else.
"""
import collections
import csv
import subprocess

RESOURCES = {"run": "runs", "defrost": "defrosts", "hot_water": "hot-water", "immersion": "immersion",
             "freeze_protection": "freeze-protection"}
# A change is told at the next message that has it: its cadence, and the instant within a step
# (etc/demo/messages.c). A run by its frequency, each 30 s; freeze protection by the flow, each 20 s;
# immersion by its power, each minute, and by whole minutes.
LATE_S = {"run": 32.5, "defrost": 0.1, "hot_water": 32.5, "immersion": 120.4, "freeze_protection": 21.1}
SHORT_S, SOON_S = 600, 600
BESIDE_S = 600  # so near to what is left out a row may be of it

Happening = collections.namedtuple("Happening", "begin end hot_water_s defrost_s heat unit immersion")


def happenings(demo_plant, begin, end, *args):
    """kind -> what began in the span, by its begins; energies in kWh."""
    text = subprocess.run([demo_plant, "happenings", "--from", begin, "--to", end, *args], check=True,
                          stdout=subprocess.PIPE, text=True).stdout
    found = {kind: [] for kind in RESOURCES}
    for r in csv.DictReader(text.splitlines()):
        found[r["kind"]].append(Happening(
            int(r["from_epoch_s"]), int(r["to_epoch_s"]), int(r["hot_water_s"]), int(r["defrost_s"]),
            float(r["heat_kwh"]), float(r["unit_kwh"]), float(r["immersion_kwh"])))
    return found


def clear_of(begin, end, spans):
    return not any(begin < to + BESIDE_S and end > since - BESIDE_S for since, to in spans)


def asked(daemon, kind, begin_s, end_s):
    return daemon.get(f"/v1/{RESOURCES[kind]}?from={begin_s}&to={end_s}&rows=yes").json()


def is_told(kind, happening, row, more_s=0):
    late = LATE_S[kind] + more_s
    return 0 <= row["t"] - happening.begin <= late and 0 <= row["t_end"] - happening.end <= late


def compare(kind, true, rows, spans=(), slow=(), slow_s=0):
    """Pairs of a happening and its row; what touches `spans` is left out on both sides, what touches
    `slow` may come `slow_s` later. What the first messages of all find going on has no begin."""
    rows = [r for r in rows if r["truncated"] == "no"]
    by_begin = sorted(rows, key=lambda r: r["t"])
    pairs, lost = [], []
    for h in true:
        more_s = 0 if clear_of(h.begin, h.end, slow) else slow_s
        hits = [r for r in by_begin if is_told(kind, h, r, more_s)]
        if len(hits) == 1:
            pairs.append((h, hits[0]))
        elif clear_of(h.begin, h.end, spans):
            lost.append((h, len(hits)))
    told = {r["t"] for _, r in pairs}
    odd = [(r["t"], r["t_end"]) for r in rows if r["t"] not in told and clear_of(r["t"], r["t_end"], spans)]
    return pairs, lost, odd


def check(tap, kind, true, rows, spans=()):
    """The same as assertions."""
    pairs, lost, odd = compare(kind, true, rows, spans)
    tap.note(f"{RESOURCES[kind]}: {len(pairs)} of {len(true)} paired")
    tap.equal(lost[:3], [], f"{RESOURCES[kind]}: each of {len(true)} is told when it was")
    tap.equal(odd[:3], [], f"{RESOURCES[kind]}: none of {len(rows)} that was not")
    return pairs


def check_short(tap, pairs, hot_water):
    """Short is less than ten minutes of heating that neither hot water nor a defrost ended; where
    the truth is so near to that that messages decide, the row must go by its own length."""
    begins = sorted(h.begin for h in hot_water)
    wrong, counts = [], collections.Counter()
    late = LATE_S["run"]
    for h, row in pairs:
        heated = not h.hot_water_s and not h.defrost_s
        soon = [b - h.end for b in begins if h.end <= b < h.end + SOON_S + late]
        if any(abs(s - SOON_S) <= late for s in soon):
            continue
        if abs(h.end - h.begin - SHORT_S) > late:
            short, counted = h.end - h.begin < SHORT_S, "clear"
        else:
            short, counted = row["running_s"] < SHORT_S, "near ten minutes"
        short = short and heated and not soon
        counts[counted, short] += 1
        if row["short"] != ("yes" if short else "no"):
            wrong.append((h, row))
    tap.equal(wrong[:3], [], f"short cycles are those that were: {dict(counts)}")
    return counts["clear", True]
