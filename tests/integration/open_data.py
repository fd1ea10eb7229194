"""Open measured data (tests/data/lab_chiller_condenser, MIT licence): the condenser side of a
water-cooled machine read as a heat pump. Daily heat against python3-iapws (IAPWS R7-97(2012)
region 1, computed), electricity against the recomputed daily sums (computed from the same rows);
one day also with cells missing, and through a real broker with times in the payload.

Usage: open_data.py HEATBOOKD
"""
import csv
import datetime
import functools
import pathlib
import sys

from iapws.iapws97 import _Region1

from rig import Publisher, Rig, energy_rows, table, wait_until
from tap import tests

DATA = pathlib.Path(__file__).parent.parent / "data" / "lab_chiller_condenser"
DAYS = ("Atlanta_Eff_Default", "Buffalo_Eff_Default", "NewYorkCity_Eff_TypShldr",
        "Tucson_Eff_Default")
GALLON_L = 3.785411784  # US gallon, exactly (231 cubic inches)
MISSING = "-9999"
GAP = 30  # rows
BESIDE = 60  # minutes
CHANNELS = {"flow_temperature": ("out", "°F"), "return_temperature": ("in", "°F"),
            "flow_rate": ("flow", "gpm"), "unit_power": ("power", "W")}


def config_text():
    text = ["[plant]", "zone = UTC", "flow_sensor_pipe = return", "pressure = 2 bar",
            f"least_flow = {GALLON_L} L/min", "[source lab]", "silent_after = none"]
    for name, (key, unit) in CHANNELS.items():
        text += [f"[channel {name}]", "topic = lab/machine/1", f"pointer = /{key}",
                 f"unit = {unit}", "stale_after = 60 s", "time = payload",
                 "time_pointer = /t"]
    text += ["[meter unit]", "feeds = compressor", "power = unit_power", "[store]",
             "file = @DIR@/heatbook.db", "commit_interval = 1 s", "[journal]",
             "tail = @DIR@/tail", "clock_wait = 0 s", "[http]", "port = 0"]
    return "\n".join(text) + "\n"


@functools.lru_cache(maxsize=None)
def minutes_of(day):
    """[(start of the row's minute, row)], the stamp being its end, up to 24:00:00. It has no
    year and no zone: 2024 and UTC here."""
    result = []
    with open(DATA / f"{day}.csv", newline="") as f:
        for row in csv.DictReader(f):
            date, clock = row["date_time"].split()
            begin = datetime.datetime.strptime(f"2024/{date} +0000", "%Y/%m/%d %z")
            hours, minutes, _ = clock.split(":")
            result.append((int(begin.timestamp()) + (int(hours) * 60 + int(minutes) - 1) * 60,
                           row))
    return result


def with_gap(rows):
    """The same with the entering water's temperature missing for GAP rows. These channels lack
    no cell on these days, so the word for it is put where the machine runs."""
    first = next(i for i, (_, row) in enumerate(rows) if float(row["ch1_f_c"]) > 20)
    return [(t, {**row, "pump4_out_rtd": MISSING} if first <= i < first + GAP else row)
            for i, (t, row) in enumerate(rows)]


def word(text):
    return '"n/a"' if text == MISSING else text


def messages_of(rows):
    for t, row in rows:
        yield t, (f'{{"t":{t},"out":{word(row["ch1_c_out_rtd"])},'
                  f'"in":{word(row["pump4_out_rtd"])},"flow":{word(row["ch1_f_c"])},'
                  f'"power":{word(row["ch1_power"])}}}')


@functools.lru_cache(maxsize=None)
def water(fahrenheit):
    return _Region1((fahrenheit - 32) * 5 / 9 + 273.15, 0.2)


def expected(rows):
    """kWh of heat and electricity of a day's rows, each 60 s."""
    heat = electricity = 0.0
    for _, row in rows:
        flow, leaving, entering = (float(row[k]) for k in
                                   ("ch1_f_c", "ch1_c_out_rtd", "pump4_out_rtd"))
        electricity += float(row["ch1_power"]) * 60 / 3.6e6
        if flow > 1 and row["pump4_out_rtd"] != MISSING:
            volume = flow * GALLON_L / 1000
            heat += volume / water(entering)["v"] * (
                water(leaving)["h"] - water(entering)["h"]) / 3600
    return heat, electricity


def archive_of(rig, name, rows):
    """Archive lines, each stamped a moment after the time in its payload."""
    path = rig.dir / f"{name}.txt"
    path.write_text("".join(f"{t + 3}.250 lab/machine/1 {payload}\n"
                            for t, payload in messages_of(rows)))
    return path


def booked(config, rows):
    """kWh of heat and of electricity, and the minutes that know each, of the rows' UTC day."""
    begin = rows[720][0] // 86400 * 1440
    stored = energy_rows(config, begin, begin + 1440).values()
    return (sum(r["heat_j"] or 0 for r in stored) / 3.6e6,
            sum(r["e_unit_j"] or 0 for r in stored) / 3.6e6,
            sum(r["heat_ms"] for r in stored) / 60000,
            sum(r["e_unit_ms"] for r in stored) / 60000)


def whole_day(tap, rig, config, day, published):
    rows = minutes_of(day)
    rig.done("import", config, archive_of(rig, day, rows))
    heat, electricity, heat_min, electricity_min = booked(config, rows)
    wanted_heat, wanted_electricity = expected(rows)
    tap.equal((heat_min, electricity_min), (1440, 1440), f"{day}: every minute is known")
    end = rows[720][0] // 86400 * 1440 + 1440
    beside = [r for begin in (end - 1440 - BESIDE, end)
              for r in energy_rows(config, begin, begin + BESIDE).values()]
    tap.equal(sum(r["heat_ms"] + r["e_unit_ms"] for r in beside), 0,
              f"{day}: no row holds beyond its minute")
    tap.near(heat, wanted_heat, 0.0005 * wanted_heat, f"{day}: heat within 0.05 %")
    tap.near(electricity, wanted_electricity, 0.0005 * wanted_electricity,
             f"{day}: electricity within 0.05 %")
    tap.equal(f"{electricity:.3f}", f"{float(published['P1_kWh']):.3f}",
              f"{day}: electricity as recomputed")
    constant = float(published["Qc1_kWh"])
    tap.note(f"{day}: heat {heat:.4f} kWh, python3-iapws {wanted_heat:.4f} "
             f"({100 * (heat / wanted_heat - 1):+.1e} %); "
             f"constant rho cp {constant} ({100 * (constant / heat - 1):+.2f} %)")


def day_with_gap(tap, rig):
    config = rig.config("gap", config_text())
    rows = with_gap(minutes_of(DAYS[0]))
    rig.done("import", config, archive_of(rig, "gap", rows))
    heat, electricity, heat_min, electricity_min = booked(config, rows)
    wanted_heat, wanted_electricity = expected(rows)
    tap.ok(wanted_heat < 0.99 * expected(minutes_of(DAYS[0]))[0], "missing cells matter")
    tap.equal((heat_min, electricity_min), (1440 - GAP, 1440),
              "missing cells: heat is unknown for as long, electricity is not")
    tap.near(heat, wanted_heat, 0.0005 * wanted_heat, "missing cells: heat of the others")
    tap.near(electricity, wanted_electricity, 0.0005 * wanted_electricity,
             "missing cells: electricity of all")


def through_broker(tap, rig, imported):
    broker = rig.broker()
    text = config_text() + f"[broker]\nhost = 127.0.0.1\nport = {broker.port}\n"
    config = rig.config("live", text, broker.port)
    daemon = rig.serve(config)
    daemon.wait_subscribed()
    publisher = Publisher(broker.port)
    rows = minutes_of(DAYS[0])
    for _, payload in messages_of(rows):
        publisher.publish("lab/machine/1", payload)
    publisher.close()
    wait_until(lambda: len(energy_rows(config)) >= 1440, "the day's rows", 60)
    tap.equal(daemon.stop(), 0, "the daemon ends in good order")
    until = rows[-1][0] // 60 + 10
    for name in ("minutes", "energy_minutes"):
        stored = table(config, name, until)
        tap.ok(len(stored) >= len(rows), f"through a broker: {name} of the whole day",
               len(stored))
        tap.ok(stored == table(imported, name, until), f"through a broker: the same {name}")


def main(tap, heatbookd):
    with open(DATA / "recomputed_daily.csv", newline="") as f:
        published = {row["day"]: row for row in csv.DictReader(f)}
    with Rig(heatbookd) as rig:
        config = rig.config("archive", config_text())
        for day in DAYS:
            whole_day(tap, rig, config, day, published[day])
        day_with_gap(tap, rig)
        one = rig.config("one", config_text())
        rig.done("import", one, rig.dir / f"{DAYS[0]}.txt")
        through_broker(tap, rig, one)


with tests() as tap_of_main:
    main(tap_of_main, sys.argv[1])
