"""Degree days of three years of open weather, from their own CSV forms to /v1/degree-days: °F with
offsets in Illinois, °C in UTC that is told in London's days, and Alaska's typical year, whose
months are of several years, with hours told by their end in a column apart. Each local month by
four methods, to two decimals, against pandas (tests/data/weather/degree_days.csv, computed);
each day of the first two, those of 23 and 25 hours among them, to 0.01 against a plain
evaluation of its hours here.

Usage: weather.py HEATBOOKD
"""
import csv
import datetime
import gzip
import sys
import zoneinfo

from rig import DATA, KEPT, Rig
from tap import tests

CONFIG = """[plant]
zone = {zone}
[channel outdoor_temperature]
[table weather]
files = *.csv*
{time}
interval = 1 h
column.outdoor_temperature = {column}
unit.outdoor_temperature = {unit}
""" + KEPT
SITES = {"il_hourly_tempF_2016": ("America/Chicago", "time = dt", "tempF", "°F"),
         "uk_hourly_tempC_2021": ("Europe/London", "time = dt\nzone = UTC", "tempC", "°C")}
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


def months_of(name):
    with open(DATA / "weather/degree_days.csv", newline="") as f:
        return [[float(row[m]) for m in METHODS]
                for row in csv.DictReader(line for line in f if not line.startswith("#"))
                if row["site"] == name]


def site(tap, rig, name):
    zone_name, time, column, unit = SITES[name]
    config = rig.config(name, CONFIG.format(zone=zone_name, time=time, column=column, unit=unit))
    rig.done("import", config, DATA / f"weather/{name}.csv.gz")
    days = local_days(name, zoneinfo.ZoneInfo(zone_name), unit)
    last = max(days)
    span = f"from={min(days)}&to={last + 3600 * len(days[last])}&base={BASE_C}"
    daemon = rig.serve(config)
    by_month, by_day = (daemon.get(f"/v1/degree-days?{span}&step={step}").json()
                        for step in ("P1M", "P1D"))
    daemon.stop()
    columns = by_month["columns"]
    tap.equal(len(columns["t"]), 12, f"{name}: twelve months")
    for method, most in apart(columns, months_of(name)).items():
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


TYPICAL = "tmy3_fairbanks_hourly"
TYPICAL_ZONE = datetime.timezone(datetime.timedelta(hours=-9))  # standard time all year


def typical_months(tap, rig):
    path = DATA / f"weather/{TYPICAL}.csv.gz"
    config = rig.config(TYPICAL, CONFIG.format(
        zone="Etc/GMT+9", column="drybulb_C", unit="°C",
        time="time = date + time\ntime_form = MM/DD/YYYY hh:mm\ncovers = before"))
    with gzip.open(path, "rt") as f:
        header, *rows = f
    said = rig.verb("import", config, path).stderr.decode()
    tap.has(said, f"{sum(row[6:10] < '2000' for row in rows)} lines rejected",
            f"{TYPICAL}: months before 2000 are of no clock that was set")
    tap.has(said, "01/01/1987,01:00,-14.4", "the first of them is shown")
    dated = rig.dir / f"{TYPICAL}.csv"
    dated.write_text(header + "".join(f"{row[:6]}2001{row[10:]}" for row in rows))
    rig.done("import", config, dated)
    begin, end = (int(datetime.datetime(year, 1, 1, tzinfo=TYPICAL_ZONE).timestamp())
                  for year in (2001, 2002))
    daemon = rig.serve(config)
    answer = daemon.get(f"/v1/degree-days?from={begin}&to={end}&base={BASE_C}&step=P1M").json()
    daemon.stop()
    tap.equal((answer["total"]["days"], answer["total"]["missing_days"]), (365, 0),
              f"{TYPICAL}: as of one year it is whole, to 24:00 of its last day")
    for method, most in apart(answer["columns"], months_of(TYPICAL)).items():
        tap.ok(most < 0.01, f"{TYPICAL}: {method} of months to two decimals, {most:.4f} off at most")


with tests() as tap_of_main, Rig(sys.argv[1]) as rig_of_main:
    for site_of_main in SITES:
        site(tap_of_main, rig_of_main, site_of_main)
    typical_months(tap_of_main, rig_of_main)
