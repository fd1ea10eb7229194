"""Faults that open measured data really have, imported from their own CSV form and asked for as
findings: a machine whose energy balance never closes, values that a logger repeats for hours, a
return above the flow. And the machine beside it, which is in order, has no such finding.

The figures are those of tests/data/*/recomputed_daily.csv and README.md (computed with pandas).

Usage: open_findings.py HEATBOOKD
"""
import csv
import datetime
import sys

from rig import DATA, KEPT, Rig, energy_rows
from tap import tests

CONFIG = """[plant]
zone = UTC
least_flow = 3.785411784 L/min
source_fluid = propylene_glycol
source_fluid_percent = 30 %
{plant}
{channels}
[meter unit]
feeds = compressor
power = unit_power
[table lab]
files = *.csv*
time = date_time
time_form = MM/DD hh:mm:ss
year = 2024
interval = 1 min
covers = before
{columns}
""" + KEPT
# Limits of the laboratory's instruments: 0.2 °F of a temperature, 0.6 of 32 gallons a minute of
# the condensers' water, 5 % of the first machine's mixture, 3.5 % of the second one's.
KELVIN = "limit = 0.11 K"
LIMITS = {1: "limit = 5 %", 2: "limit = 3.5 %"}


def day_s(month_day):
    date = datetime.datetime.strptime(f"2024/{month_day} +0000", "%Y/%m/%d %z")
    return int(date.timestamp())


def channels_of(k, source=True, stated=True):
    """Machine k: channel -> (column, its unit, further lines)."""
    def limit(text):
        return text if stated else ""
    sides = {"flow_temperature": (f"ch{k}_c_out_rtd", "°F", limit(KELVIN)),
             "return_temperature": ("pump4_out_rtd", "°F", limit(KELVIN)),
             "flow_rate": (f"ch{k}_f_c", "gpm", limit("limit = 2 %")),
             "unit_power": (f"ch{k}_power", None, "unit = W")}
    if source:
        sides.update({
            "source_entering_temperature": ("ch1_e_in_rtd", "°F", limit(KELVIN)),
            "source_leaving_temperature": (f"ch{k}_e_out_rtd", "°F", limit(KELVIN)),
            "source_flow_rate": (f"ch{k}_f_e", "gpm", limit(LIMITS[k]))})
    return sides


def config(rig, name, columns, plant=""):
    channels, lines = [], []
    for channel, (column, unit, own) in columns.items():
        channels += [f"[channel {channel}]", own]
        lines += [f"column.{channel} = {column}", *([f"unit.{channel} = {unit}"] if unit else [])]
    return rig.config(name, CONFIG.format(plant=plant, channels="\n".join(channels),
                                          columns="\n".join(lines)))


def findings(rig, conf):
    """By kind, of a store whose every day is looked at when it is asked."""
    daemon = rig.serve(conf)
    try:
        body = daemon.get("/v1/findings?from=2024-01-01T00:00:00Z&to=2025-01-01T00:00:00Z").json()
    finally:
        daemon.stop()
    result = {}
    for finding in body["findings"]:
        result.setdefault(finding["kind"], []).append(finding)
    return result


def recomputed():
    with open(DATA / "lab_chiller_condenser/recomputed_daily.csv", newline="") as f:
        return {row["day"]: row for row in csv.DictReader(f)}


def balances(tap, rig):
    """Five days of two machines that stand side by side. Of the second one heat is 0.78 to 0.82 of
    what goes in by pandas, which took the mixture for 1035 kg/m³ and 3750 J/(kg K); by the mixture's
    own properties 1.5 % more is taken from it, and what still flowed after a stop counts here."""
    days = sorted((DATA / "lab_two_machines").glob("*.csv.gz"))
    sums = [recomputed()[path.name[:-len(".csv.gz")]] for path in days]
    for k in (1, 2):
        for stated in (True, False):
            what = f"machine {k}, limits {'stated' if stated else 'left out'}"
            conf = config(rig, f"{k}-{stated}", channels_of(k, True, stated))
            rig.done("import", conf, *days)
            told = findings(rig, conf).get("balance_open", [])
            if k == 1:
                tap.equal(told, [], f"{what}: its balance closes")
                continue
            if not tap.equal(len(told), 1, f"{what}: its balance never closes"):
                continue
            heat = sum(float(row["Qc2_kWh"]) for row in sums)
            taken = sum(1.015 * float(row["Qe2_kWh"]) for row in sums)
            power = sum(float(row["P2_kWh"]) for row in sums)
            wanted = 100 * (heat / (taken + power) - 1)
            found = told[0]
            tap.near(found["size"], wanted, 0.8, f"{what}: by so many percent, {wanted:.1f}")
            # On the first of these days it ran for 44 minutes with 2 K of difference, which pairs of
            # 0.3 K and flows of 3 %, the limits by default, explain.
            since = "06/26" if stated else "07/08"
            tap.equal((found["since"], found["until"]), (day_s(since), day_s("08/29")),
                      f"{what}: since the first day that they do not explain, up to the last")
            # All heat of the store's one season over its electricity, were the balance's heat true.
            tap.near(found["effect"], (heat - taken - power) / power, 0.06,
                     f"{what}: the season's factor would be off by so much")
            tap.ok(found["remedy"] and found["correction"] is None, f"{what}: a remedy, and nothing "
                   "to paste, since it is not known which of the three is wrong", found)


def repeated(tap, rig):
    """A logger that goes on sending its last values, hour after hour, when the machine rests: with
    the return above the flow on one day, the flow above the return on another. No heat is booked."""
    wanted = {  # kind, subject, minutes of it, of the flow, of the return, °C; by README.md of the data
        "Buffalo_Eff_Default": ("return_above_flow", "07/02", 300, 1.41),
        "Tucson_Eff_Default": ("channel_frozen", "08/28", 315, None),
    }
    for name, (kind, date, minutes, apart) in wanted.items():
        conf = config(rig, name, channels_of(1, source=False))
        rig.done("import", conf, DATA / f"lab_chiller_condenser/{name}.csv")
        told = findings(rig, conf)
        odd = set(told) - {"return_above_flow", "channel_frozen"}
        tap.equal(odd, set(), f"{name}: nothing else is found")
        found = [f for f in told.get(kind, []) if f["since"] < day_s(date) + 3600]
        if not tap.equal(len(found), 1, f"{name}: {kind}"):
            continue
        found = found[0]
        tap.near(found["since"], day_s(date), 120, f"{name}: from midnight on")
        tap.near((found["until"] - found["since"]) / 60, minutes, 2, f"{name}: {minutes} minutes")
        if apart:
            tap.near(found["size"], apart, 0.01, f"{name}: by so many K")
        else:
            tap.has(found["evidence"], "it said 32.16, and the return 31.13", f"{name}: both values")
        rows = energy_rows(conf, day_s(date) // 60, day_s(date) // 60 + minutes)
        tap.equal(sum(r["heat_j"] for r in rows.values()), 0, f"{name}: no heat is booked for it")


with tests() as tap_of_main:
    with Rig(sys.argv[1]) as rig_of_main:
        balances(tap_of_main, rig_of_main)
        repeated(tap_of_main, rig_of_main)
