"""Open measured data (tests/data/lab_chiller_condenser, MIT licence): the condenser side of a
water-cooled machine read as a heat pump. Daily heat against python3-iapws, electricity against
the recomputed daily sums; one day also through a real broker with times in the payload.

Usage: open_data.py HEATBOOKD
"""
import csv
import datetime
import functools
import pathlib
import sys

from iapws.iapws97 import _Region1

from rig import Publisher, Rig, derived_until, energy_rows, table, wait_until
from tap import tests

DATA = pathlib.Path(__file__).parent.parent / "data" / "lab_chiller_condenser"
DAYS = ("Atlanta_Eff_Default", "Buffalo_Eff_Default", "NewYorkCity_Eff_TypShldr",
        "Tucson_Eff_Default")
GALLON_L = 3.785411784  # US gallon, exactly
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
             "file = @DIR@/heatbook.db", "commit_interval = 10 s", "[journal]",
             "tail = @DIR@/tail", "[http]", "port = 0"]
    return "\n".join(text) + "\n"


def minutes_of(day, number):
    """[(start of the row's minute, row)]; each file gets a date of its own in January 2024."""
    begin = int(datetime.datetime(2024, 1, 10 + 2 * number,
                                  tzinfo=datetime.timezone.utc).timestamp())
    with open(DATA / f"{day}.csv", newline="") as f:
        for row in csv.DictReader(f):
            hours, minutes, _ = row["date_time"].split()[1].split(":")
            yield begin + (int(hours) * 60 + int(minutes) - 1) * 60, row


def word(text):
    return '"n/a"' if float(text) == -9999 else text


def messages_of(day, number):
    for t, row in minutes_of(day, number):
        yield t, (f'{{"t":{t},"out":{word(row["ch1_c_out_rtd"])},'
                  f'"in":{word(row["pump4_out_rtd"])},"flow":{word(row["ch1_f_c"])},'
                  f'"power":{word(row["ch1_power"])}}}')


@functools.lru_cache(maxsize=None)
def water(fahrenheit):
    return _Region1((fahrenheit - 32) * 5 / 9 + 273.15, 0.2)


def expected(day, number):
    """kWh of heat and electricity of a file's day, rows times 60 s."""
    heat = electricity = 0.0
    for _, row in minutes_of(day, number):
        flow, leaving, entering = (float(row[k]) for k in
                                   ("ch1_f_c", "ch1_c_out_rtd", "pump4_out_rtd"))
        electricity += float(row["ch1_power"]) * 60 / 3.6e6
        if flow > 1:
            volume = flow * GALLON_L / 1000
            heat += volume / water(entering)["v"] * (
                water(leaving)["h"] - water(entering)["h"]) / 3600
    return heat, electricity


def booked(config, day, number):
    begin = next(minutes_of(day, number))[0] // 60
    rows = energy_rows(config, begin, begin + 1440).values()
    return (sum(r["heat_j"] or 0 for r in rows) / 3.6e6,
            sum(r["e_unit_j"] or 0 for r in rows) / 3.6e6, len(rows))


def through_broker(tap, rig, imported):
    broker = rig.broker()
    text = config_text() + f"[broker]\nhost = 127.0.0.1\nport = {broker.port}\n"
    config = rig.config("live", text, broker.port)
    daemon = rig.serve(config)
    wait_until(lambda: daemon.health()["broker"]["state"] == "subscribed", "subscription")
    publisher = Publisher(broker.port)
    messages = list(messages_of(DAYS[0], 0))
    for _, payload in messages:
        publisher.publish("lab/machine/1", payload)
    publisher.close()
    wait_until(lambda: len(energy_rows(config)) >= 1440, "the day's rows", 60)
    tap.equal(daemon.stop(), 0, "the daemon ends in good order")
    until = messages[-1][0] // 60 + 10
    tap.ok(derived_until(config) > until, "the day is derived")
    for name in ("minutes", "energy_minutes"):
        tap.ok(table(config, name, until) == table(imported, name, until),
               f"through a broker: the same {name}")


def main(tap, heatbookd):
    with open(DATA / "recomputed_daily.csv", newline="") as f:
        published = {row["day"]: row for row in csv.DictReader(f)}
    with Rig(heatbookd) as rig:
        config = rig.config("archive", config_text())
        for number, day in enumerate(DAYS):
            path = rig.dir / f"{day}.txt"
            path.write_text("".join(f"{t + 3}.250 lab/machine/1 {payload}\n"
                                    for t, payload in messages_of(day, number)))
            rig.done("import", config, path)
            heat, electricity, rows = booked(config, day, number)
            wanted_heat, wanted_electricity = expected(day, number)
            tap.equal(rows, 1440, f"{day}: a row a minute")
            tap.near(heat, wanted_heat, 0.0005 * wanted_heat, f"{day}: heat within 0.05 %")
            tap.near(electricity, wanted_electricity, 0.0005 * wanted_electricity,
                     f"{day}: electricity within 0.05 %")
            tap.equal(f"{electricity:.3f}", f"{float(published[day]['P1_kWh']):.3f}",
                      f"{day}: electricity as recomputed")
            constant = float(published[day]["Qc1_kWh"])
            tap.note(f"{day}: heat {heat:.4f} kWh, python3-iapws {wanted_heat:.4f}; "
                     f"constant rho cp {constant} ({100 * (constant / heat - 1):+.2f} %)")
        one = rig.config("one", config_text())
        rig.done("import", one, rig.dir / f"{DAYS[0]}.txt")
        through_broker(tap, rig, one)


with tests() as tap_of_main:
    main(tap_of_main, sys.argv[1])
