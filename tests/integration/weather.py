"""Degree days of two years of open weather, from their own CSV forms to /v1/degree-days: °F with
offsets in Illinois, °C in UTC that is told in London's days. Each local month by four methods, to
two decimals, against pandas (tests/data/weather/degree_days.csv, computed); each day, those of 23
and 25 hours among them, to 0.01 against a plain evaluation of its hours here.

Usage: weather.py HEATBOOKD
"""
import csv
import datetime
import gzip
import sys
import zoneinfo

from rig import DATA, Rig
from tap import tests

CONFIG = """[plant]
zone = {zone}
[channel outdoor_temperature]
[table weather]
files = *.csv*
time = dt
{time}
interval = 1 h
column.outdoor_temperature = {column}
unit.outdoor_temperature = {unit}
[store]
file = @DIR@/heatbook.db
[journal]
tail = @DIR@/tail
[http]
port = 0
"""
SITES = {"il_hourly_tempF_2016": ("America/Chicago", "", "tempF", "°F"),
         "uk_hourly_tempC_2021": ("Europe/London", "zone = UTC", "tempC", "°C")}
METHODS = ("integral_kd", "daily_mean_kd", "min_max_kd", "eurostat_kd")
BASE_C = 15.5


def local_days(name, zone, unit):
    """Local midnight -> its hours, °C."""
    days = {}
    with gzip.open(DATA / f"weather/{name}.csv.gz", "rt", newline="") as f:
        for stamp, value in list(csv.reader(f))[1:]:
            t = datetime.datetime.fromisoformat(stamp)
            t = t if t.tzinfo else t.replace(tzinfo=datetime.timezone.utc)
            day = t.astimezone(zone).replace(hour=0, minute=0, second=0, fold=0)
            value = float(value)
            days.setdefault(int(day.timestamp()), []).append(
                (value - 32) * 5 / 9 if unit == "°F" else value)
    return days


def four_cases(least, most):
    middle = (least + most) / 2
    if least >= BASE_C:
        return 0
    if most <= BASE_C:
        return BASE_C - middle
    if middle < BASE_C:
        return (BASE_C - least) / 2 - (most - BASE_C) / 4
    return (BASE_C - least) / 4


def degree_days(hours):
    mean = sum(hours) / len(hours)
    return (sum(max(0, BASE_C - t) for t in hours) / 24, max(0, BASE_C - mean),
            four_cases(min(hours), max(hours)), 18 - mean if mean <= 15 else 0)


def apart(columns, wanted):
    """By how much the worst of the values differs, by method."""
    return {m: max(abs(a - b) for a, b in zip(columns[m], values))
            for m, values in zip(METHODS, zip(*wanted))}


def site(tap, rig, name):
    zone_name, time, column, unit = SITES[name]
    config = rig.config(name, CONFIG.format(zone=zone_name, time=time, column=column, unit=unit))
    rig.done("import", config, DATA / f"weather/{name}.csv.gz")
    days = local_days(name, zoneinfo.ZoneInfo(zone_name), unit)
    with open(DATA / "weather/degree_days.csv", newline="") as f:
        months = [[float(row[m]) for m in METHODS]
                  for row in csv.DictReader(line for line in f if not line.startswith("#"))
                  if row["site"] == name]
    last = max(days)
    span = f"from={min(days)}&to={last + 3600 * len(days[last])}&base={BASE_C}"
    daemon = rig.serve(config)
    by_month, by_day = (daemon.get(f"/v1/degree-days?{span}&step={step}").json()
                        for step in ("P1M", "P1D"))
    daemon.stop()
    columns = by_month["columns"]
    tap.equal(len(columns["t"]), 12, f"{name}: twelve months")
    for method, most in apart(columns, months).items():
        # Rows hold 0.01 °C: °F are rounded, which a month of two extremes a day evens out less.
        limit = 0.02 if method == "min_max_kd" and unit == "°F" else 0.01
        tap.ok(most < limit, f"{name}: {method} of months to two decimals, {most:.4f} off at most")
    columns = by_day["columns"]
    tap.equal(columns["t"], sorted(days), f"{name}: its {len(days)} days are local")
    lengths = [(b - a) // 3600 for a, b in zip(columns["t"], columns["t_end"])]
    tap.equal((lengths.count(23), lengths.count(25), lengths), (1, 1, [len(d) for d in days.values()]),
              f"{name}: one has 23 hours, one has 25")
    for method, most in apart(columns, [degree_days(d) for d in days.values()]).items():
        tap.ok(most < 0.01, f"{name}: {method} of days to 0.01, {most:.4f} off at most")
    total = by_day["total"]
    tap.equal((total["days"], total["missing_days"], by_month["total"]), (len(days), 0, total),
              f"{name}: all days count, months sum to what days do")


with tests() as tap_of_main, Rig(sys.argv[1]) as rig_of_main:
    for site_of_main in SITES:
        site(tap_of_main, rig_of_main, site_of_main)
