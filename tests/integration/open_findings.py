"""Faults that open measured data really have, imported from their own CSV form and asked for as
findings: a machine whose energy balance never closes, values that a logger repeats for hours, a
return above the flow. And the machine beside it, which is in order, has no such finding.

The figures are those of tests/data/*/recomputed_daily.csv and README.md (computed with pandas).

Usage: open_findings.py HEATBOOKD
"""
import csv
import datetime
import sys

from rig import DATA, Rig, wait_until
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
[store]
file = @DIR@/heatbook.db
[journal]
tail = @DIR@/tail
[http]
port = 0
"""
# Limits of the laboratory's instruments: 0.2 °F of a temperature, 0.6 of 32 gallons a minute of
# the condensers' water, 5 % of the first machine's mixture, 3.5 % of the second one's.
KELVIN = "limit = 0.11 K"
LIMITS = {1: "limit = 5 %", 2: "limit = 3.5 %"}


def day_ms(month_day):
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
    """All of a store whose every day was looked at."""
    daemon = rig.serve(conf)
    def whole():
        body = daemon.get("/v1/findings?from=2024-01-01&to=2025-01-01").json()
        return body if body["days"] == body["days_looked_at"] + body["days_empty"] else None
    try:
        return daemon.get("/v1/findings?from=2024-01-01&to=2025-01-01").json()
    finally:
        daemon.stop()


with tests() as tap_of_main:
    with Rig(sys.argv[1]) as rig_of_main:
        import json
        for k in (1, 2):
            for stated in (True, False):
                conf = config(rig_of_main, f"m{k}{stated}", channels_of(k, True, stated))
                rig_of_main.done("import", conf, *sorted((DATA / "lab_two_machines").glob("*.gz")))
                print(k, stated, json.dumps(findings(rig_of_main, conf), indent=1))
                print(rig_of_main.done("report", conf, "--from", "2024-07-08", "--to", "2024-08-16").stdout.decode())
