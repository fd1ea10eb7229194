"""Coarse history: a meter's readings from a notebook, a month apart, become bridged energy, exact to
the joule and told apart; fine data beside them keep their place. And minutes that were printed as
CSV come back by a [table] as the same means.

The sums are exact integers: a month's difference times 3.6 MJ. No other reference is needed.

Usage: notebook.py HEATBOOKD
"""
import csv
import datetime
import io
import json
import sys
import zoneinfo

from rig import Rig, store, table, TABLES
from tap import tests

CONFIG = """
[plant]
zone = Europe/Berlin

[channel flow_temperature]
[channel unit_power]
unit = W
[channel unit_register]
topic = notebook/unit
unit = kWh

[meter unit]
feeds = compressor
power = unit_power
register = unit_register

[table notes]
files = notes*.csv
column.unit_register = kWh

[table minutes]
files = minutes*.csv
time = t [s]
interval = 1 min
column.flow_temperature = flow_temperature [Cel]
column.unit_power = unit_power [W]

[table logger]
files = logger*.csv
interval = 1 min
column.flow_temperature = flow
column.unit_power = power

[journal]
tail = @DIR@/tail

[store]
file = @DIR@/heatbook.db
"""
READINGS = {"2024-10-01": "812", "2024-11-01": "1000", "2024-12-01": "1350.5",
            "2025-01-01": "1800", "2025-02-01": "2301", "2025-03-01": "2600"}
DATES = list(READINGS)
J_PER_KWH = 3600000
ZONE = zoneinfo.ZoneInfo("Europe/Berlin")


def joules(begin, end):
    return round((float(READINGS[end]) - float(READINGS[begin])) * J_PER_KWH)


def notebook(rig, name, order):
    path = rig.dir / name
    path.write_text("date,kWh\n" + "".join(f"{d},{READINGS[d]}\n" for d in order),
                    encoding="utf-8")
    return path


def logger(rig):
    """Two days in the middle of January, a row a minute."""
    path = rig.dir / "logger.csv"
    begin = datetime.datetime(2025, 1, 14, tzinfo=datetime.timezone.utc)
    path.write_text("time;flow;power\n" + "".join(
        f"{begin + datetime.timedelta(minutes=i):%Y-%m-%dT%H:%M:%SZ};"
        f"{30 + i % 97 / 10:.1f};{400 + i % 61 * 20}\n" for i in range(2 * 1440)),
        encoding="utf-8")
    return path


def day_sums(config):
    """Joules by local date."""
    with store(config) as s:
        sums = s.execute("SELECT start_minute, sum(e_unit_j) FROM energy_days "
                         "GROUP BY start_minute").fetchall()
    return {datetime.datetime.fromtimestamp(minute * 60, ZONE).date().isoformat(): j
            for minute, j in sums}


def check_months(tap, config, name):
    days = day_sums(config)
    for begin, end in zip(DATES, DATES[1:]):
        month = sum(j for date, j in days.items() if begin <= date < end and j)
        tap.equal(month, joules(begin, end), f"{name}: {begin} to {end} has its joules")


def coarse(tap, rig):
    orders = {"in order": DATES, "backwards": DATES[::-1], "shuffled": DATES[::2] + DATES[1::2]}
    rows = {}
    for name, order in orders.items():
        config = rig.config(name.replace(" ", "-"), CONFIG)
        for i in range(0, len(order), 2):  # two readings a file
            rig.done("import", config, notebook(rig, f"notes{i}.csv", order[i:i + 2]))
        check_months(tap, config, name)
        rows[name] = {t: table(config, t) for t in TABLES}
    for name in orders:
        tap.ok(rows[name] == rows["in order"], f"{name}: the same rows")
    return config


def half_width(rig, config, begin, end):
    """Of the electricity of local days [begin, end], kWh, and the day's or month's own kWh."""
    body = json.loads(rig.done("report", config, "--from", begin, "--to", end, "--json").stdout)
    return body["uncertainty"]["electricity_kwh"], body["total"]["electricity_kwh"]


def how_sure(tap, rig, config):
    """A month between two readings is as sure as the meter (2 %, a step of 0.01 kWh); of a day in
    it nobody knows more than that it is a part (JCGM 100:2008, 4.3.7 and 4.3.9, by hand)."""
    kwh = joules("2024-11-01", "2024-12-01") / J_PER_KWH
    got, month = half_width(rig, config, "2024-11-01", "2024-11-30")
    tap.near(month, kwh, 1e-7, "the month's electricity")
    meter = (month * 0.02) ** 2 / 3 + 0.01 ** 2 / 6
    tap.near(got, 2 * meter ** 0.5, 1e-6, "a month between readings is as sure as the meter")
    got, day = half_width(rig, config, "2024-11-11", "2024-11-11")
    cuts = [max(part, 1 - part) * kwh for part in (10 / 30, 11 / 30)]
    meter = (day * 0.02) ** 2 / 3 + 0.01 ** 2 / 6
    tap.near(got, 2 * (meter + sum(c * c for c in cuts) / 3) ** 0.5, 1e-5,
             "a day amid a month may be mistaken by what lies across its ends")


def as_messages(tap, rig, config):
    other = rig.config("messages", CONFIG)
    lines = rig.dir / "notebook.txt"
    zone = {"10": "+02:00"}
    lines.write_text("".join(f"{d}T00:00:00{zone.get(d[5:7], '+01:00')} notebook/unit {kwh}\n"
                             for d, kwh in READINGS.items()), encoding="utf-8")
    rig.done("import", other, lines)
    tap.equal(day_sums(other), day_sums(config), "typed as messages: the same days")


def beside_fine_data(tap, rig, config):
    rig.done("import", config, logger(rig))
    check_months(tap, config, "with fine data")
    days = day_sums(config)
    tap.ok(days["2025-01-14"] > 0, "the fine days have their share", days["2025-01-14"])
    with store(config) as s:
        bridged = s.execute("SELECT sum(b_unit_j) FROM energy_days").fetchone()[0]
    tap.ok(0 < bridged <= joules(DATES[0], DATES[-1]), "what is bridged is told apart", bridged)
    tap.equal(rig.verb("verify", config, "--all").returncode, 0, "verify finds nothing")


def round_trip(tap, rig):
    first, second = rig.config("first", CONFIG), rig.config("second", CONFIG)
    rig.done("import", first, logger(rig))
    printed = rig.done("export", first, "--series", "flow_temperature,unit_power", "--step", "PT1M",
                       "--time", "epoch", "--from", "2025-01-14", "--to", "2025-01-16").stdout
    path = rig.dir / "minutes.csv"
    path.write_bytes(printed)
    rows = list(csv.DictReader(io.StringIO(printed.decode())))
    tap.ok(len(rows) >= 2 * 1440, "a line a minute", len(rows))
    rig.done("import", second, path)
    query = "SELECT minute, c_flow_temperature, c_unit_power FROM minutes " \
            "WHERE c_flow_temperature NOT NULL ORDER BY minute"
    with store(first) as a, store(second) as b:
        mine, theirs = a.execute(query).fetchall(), b.execute(query).fetchall()
    tap.equal(len(mine), 2 * 1440, "each minute is there")
    tap.ok(mine == theirs, "minutes printed as CSV come back as the same means")


def main(tap, heatbookd):
    with Rig(heatbookd) as rig:
        config = coarse(tap, rig)
        how_sure(tap, rig, config)
        as_messages(tap, rig, config)
        beside_fine_data(tap, rig, config)
        round_trip(tap, rig)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:2])
