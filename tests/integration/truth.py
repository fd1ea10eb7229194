"""The demo plant's truth beside what a store holds: local days, minutes as the plant's observer
wrote them (`archive --truth`), and the comparison of both.
"""
import collections
import csv
import datetime
import subprocess
import zoneinfo

ZONE = zoneinfo.ZoneInfo("Europe/Berlin")
ROUNDING_J = 0.51  # whole joules against three decimals
J_PER_KWH = 3.6e6
QUANTITIES = {"heat_j": "heat_j", "unit_j": "e_unit_j", "immersion_j": "e_immersion_j"}
MODES = ("heating", "hot_water", "defrost", "overrun", "freeze_protection", "standby")


def local_midnight(date):
    return int(datetime.datetime.fromisoformat(date).replace(tzinfo=ZONE).timestamp())


def days_of(begin, end):
    """[(date, first second, end)] of local days."""
    day, last = datetime.date.fromisoformat(begin), datetime.date.fromisoformat(end)
    while day < last:
        after = day + datetime.timedelta(1)
        yield str(day), local_midnight(str(day)), local_midnight(str(after))
        day = after


def read_truth(path):
    """minute -> mode -> row."""
    rows = collections.defaultdict(dict)
    with open(path, encoding="ascii", newline="") as f:
        for r in csv.DictReader(f):
            rows[int(r["minute_epoch_s"]) // 60][r["mode"]] = r
    return rows


def sums_of_truth(path, begin_s, end_s):
    """mode -> (s, heat, electricity) in kWh at H4: the immersion counts on both sides."""
    sums = collections.defaultdict(lambda: [0.0, 0.0, 0.0])
    with open(path, encoding="ascii", newline="") as f:
        for row in csv.DictReader(f):
            if not begin_s <= int(row["minute_epoch_s"]) < end_s:
                continue
            unit, immersion = float(row["unit_j"]), float(row["immersion_j"])
            sums[row["mode"]][0] += int(row["ms"]) / 1000
            sums[row["mode"]][1] += (float(row["heat_j"]) + immersion) / J_PER_KWH
            sums[row["mode"]][2] += (unit + immersion) / J_PER_KWH
    return sums


def compare_minutes(tap, rows, truth, name, begin_min, end_min):
    """One span of minutes: which rows there are, times, joules."""
    wanted = {(m, mode): r for m in range(begin_min, end_min)
              for mode, r in truth[m].items()}
    got = {key: r for key, r in rows.items() if begin_min <= key[0] < end_min}
    odd = sorted(wanted.keys() ^ got.keys())
    tap.ok(not odd and len(wanted) >= end_min - begin_min, f"{name}: rows as in the truth",
           odd[:5])
    both = wanted.keys() & got.keys()
    wrong = [k for k in both if got[k]["ms"] != int(wanted[k]["ms"])]
    tap.ok(not wrong, f"{name}: milliseconds by mode", wrong[:5])
    for truth_name, column in QUANTITIES.items():
        errors = {k: abs((got[k][column] or 0) - float(wanted[k][truth_name])) for k in both}
        worst = max(errors, key=errors.get)
        tap.ok(errors[worst] <= ROUNDING_J, f"{name}: {truth_name} of {len(both)} rows",
               f"{worst}: {errors[worst]} J: {dict(got[worst])} {wanted[worst]}")


def plant_days(demo_plant, begin, end, *args):
    """The plant's own energies: date -> {"heat": kWh, "unit": …, "immersion": …, mode: heat}, and
    how many "defrosts" began."""
    text = subprocess.run([demo_plant, "truth", "--from", begin, "--to", end, *args], check=True,
                          stdout=subprocess.PIPE, text=True).stdout
    days = {}
    for r in csv.DictReader(text.splitlines()):
        day = {mode: float(r[f"{mode}_kwh"]) for mode in MODES}
        days[r["date"]] = {"heat": sum(day.values()), "immersion": float(r["immersion_kwh"]),
                           "unit": float(r["compressor_kwh"]) + float(r["circulation_kwh"]), **day,
                           "defrosts": int(r["defrosts"])}
    return days
