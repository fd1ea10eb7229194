"""Registers in tables: what a row covers is known to be reported, and an increment belongs to just
that. Two meters by hourly rows, whichever end of the hour their stamps mark, by rows of 15 minutes
and of days; the hours' and days' figures are sums made by hand.

The house: hours that begin at an odd hour of the clock in UTC take 1.00 kWh of electricity and
give 3.50 kWh of heat, those at an even one 0.20 and 0.70. So a day of 24 hours is 14.40 kWh of
electricity and 50.40 of heat, and every factor is 3.5.

Usage: table_registers.py HEATBOOKD
"""
import datetime
import json
import sys
import zoneinfo

from rig import Rig
from tap import tests

BEGIN_S = 1736467200  # 2025-01-10T00:00:00Z
ZONE = zoneinfo.ZoneInfo("Europe/Berlin")
DAYS = 5
FACTOR, ODD_KWH, EVEN_KWH = 3.5, 1.0, 0.2
DAY_KWH = 12 * (ODD_KWH + EVEN_KWH)
CONFIG = """
[plant]
zone = Europe/Berlin
heat_source = register
devices = compressor
[channel heat_register]
unit = kWh
{kind}
step = 0.001 kWh
[channel count]
unit = kWh
[meter unit]
feeds = compressor
register = count
{kind}
step = 0.001 kWh
[table rows]
files = *.csv
time = time
{table}
column.heat_register = heat
column.count = electricity
[journal]
tail = @DIR@/tail
[store]
file = @DIR@/heatbook.db
"""


def used_kwh(at_s, seconds):
    """Of a span that ends with its hour or before."""
    return (ODD_KWH if at_s // 3600 % 2 else EVEN_KWH) * seconds / 3600


def increments(covers, step_s):
    """A row tells what was used in the interval before or after its stamp."""
    for at_s in range(BEGIN_S, BEGIN_S + DAYS * 86400, step_s):
        kwh = used_kwh(at_s, step_s)
        yield at_s + (step_s if covers == "before" else 0), kwh * FACTOR, kwh


def readings(step_s, days=DAYS):
    """A row tells where both stand at its stamp."""
    kwh = 50.0
    for at_s in range(BEGIN_S, BEGIN_S + days * 86400 + 1, 900):
        if (at_s - BEGIN_S) % step_s == 0:
            yield at_s, 100 + kwh * FACTOR, kwh
        kwh += used_kwh(at_s, 900)


def local(at_s):
    return datetime.datetime.fromtimestamp(at_s, ZONE)


class House:
    def __init__(self, rig, name, rows, table, kind="", written=str):
        self.rig = rig
        self.config = rig.config(name, CONFIG.format(table=table, kind=kind))
        path = rig.dir / f"{name}.csv"
        path.write_text("time,heat,electricity\n" + "".join(
            f"{written(t)},{heat:.4f},{kwh:.4f}\n" for t, heat, kwh in rows), encoding="utf-8")
        rig.done("import", self.config, path)

    def answer(self, begin, end):
        return json.loads(self.rig.done("report", self.config, "--from", begin, "--to", end,
                                        "--json").stdout)

    def hours(self, begin, end):
        """(heat, electricity) by the hour's begin."""
        out = self.rig.done("export", self.config, "--energy", "--step", "PT1H", "--from", begin,
                            "--to", end).stdout.decode().splitlines()
        rows = [dict(zip(out[0].split(","), line.split(","))) for line in out[1:]]
        return {int(datetime.datetime.fromisoformat(r["t"]).timestamp()):
                (r["heat_kwh [kW.h]"], r["electricity_kwh [kW.h]"]) for r in rows}


def expect_day(tap, name, house, day="2025-01-12"):
    answer = house.answer(day, day)
    total = answer["total"]
    tap.near(total["heat_kwh"], DAY_KWH * FACTOR, 0.002, f"{name}: a day's heat")
    tap.near(total["electricity_kwh"], DAY_KWH, 0.002, f"{name}: its electricity")
    tap.near(total["cop"], FACTOR, 0.002, f"{name}: its factor")
    tap.equal((total["bridged_heat_kwh"], total["bridged_electricity_kwh"]), (0, 0),
              f"{name}: nothing was bridged")
    tap.equal([f["kind"] for f in answer["findings"]], [], f"{name}: nothing is found")


def expect_hours(tap, name, house, begin_s, end_s):
    hours = house.hours("2025-01-10", "2025-01-15")
    wrong = {}
    for at_s in range(begin_s, end_s, 3600):
        kwh = used_kwh(at_s, 3600)
        got = hours.get(at_s, ("", ""))
        if not all(g and abs(float(g) - w) < 0.002 for g, w in zip(got, (kwh * FACTOR, kwh))):
            wrong[local(at_s).isoformat()] = (got, kwh)
    tap.equal(wrong, {}, f"{name}: each hour has its own")


def hourly_increments(tap, rig):
    for covers in ("after", "before"):
        for minutes in (60, 15):
            name = f"increments of {minutes} min, covers {covers}"
            house = House(rig, f"{covers}{minutes}", increments(covers, 60 * minutes),
                          f"interval = {minutes} min\ncovers = {covers}", "kind = increment")
            expect_day(tap, name, house)
            expect_hours(tap, name, house, BEGIN_S, BEGIN_S + DAYS * 86400)


def hourly_readings(tap, rig):
    for minutes in (60, 15, 30):
        name = f"readings each {minutes} min"
        house = House(rig, f"stands{minutes}", readings(60 * minutes),
                      f"interval = {minutes} min")
        expect_day(tap, name, house)
        expect_hours(tap, name, house, BEGIN_S, BEGIN_S + DAYS * 86400)
    late = [(t + i % 7, heat, kwh) for i, (t, heat, kwh) in enumerate(readings(3600))]
    expect_day(tap, "readings some seconds late",
               House(rig, "late", late, "interval = 1 h"))


def gap(tap, rig):
    """Five rows are missing: what was used there is bridged, and told apart."""
    rows = [r for i, r in enumerate(readings(3600)) if not 60 <= i < 65]
    house = House(rig, "gap", rows, "interval = 1 h")
    total = house.answer("2025-01-12", "2025-01-12")["total"]
    kwh = sum(used_kwh(BEGIN_S + i * 3600, 3600) for i in range(59, 65))
    tap.near(total["electricity_kwh"], DAY_KWH, 0.002, "a gap: the day's electricity")
    tap.near(total["bridged_electricity_kwh"], kwh, 0.002, "a gap: what was bridged")
    rows = [r for i, r in enumerate(increments("after", 3600)) if not 60 <= i < 65]
    house = House(rig, "hole", rows, "interval = 1 h", "kind = increment")
    total = house.answer("2025-01-12", "2025-01-12")["total"]
    lacks = sum(used_kwh(BEGIN_S + i * 3600, 3600) for i in range(60, 65))
    tap.near(total["electricity_kwh"], DAY_KWH - lacks, 0.002, "increments: a gap lacks its own")
    tap.equal(total["bridged_electricity_kwh"], 0, "increments: no other is spread over it")
    first = BEGIN_S + 65 * 3600
    expect_hours(tap, "increments behind a gap", house, first, first + 86400)


def days(tap, rig):
    """Of days nobody knows when: the days' sums are exact, also of the day of 23 hours."""
    def midnights(first, count):
        day = datetime.datetime.fromisoformat(first)
        for i in range(count):
            yield (day + datetime.timedelta(days=i)).replace(tzinfo=ZONE)
    dates = list(midnights("2025-03-27", 7))
    kwh = {d: 10.0 + i for i, d in enumerate(dates)}
    rows = [(int(d.timestamp()), kwh[d] * FACTOR, kwh[d]) for d in dates]
    house = House(rig, "days", rows, "interval = 1 d", "kind = increment",
                  lambda t: local(t).date().isoformat())
    for d in dates:
        total = house.answer(d.date().isoformat(), d.date().isoformat())["total"]
        tap.near(total["electricity_kwh"], kwh[d], 0.001, f"rows of days: {d.date()}")
        tap.near(total["cop"], FACTOR, 0.002, f"rows of days: the factor of {d.date()}")


def main(tap, heatbookd):
    with Rig(heatbookd) as rig:
        hourly_increments(tap, rig)
        hourly_readings(tap, rig)
        gap(tap, rig)
        days(tap, rig)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:2])
