"""Each fault of the demo plant alone, in two days of an autumn: what the store holds against the
same days without it, against the plant's own truth, and against the registers' readings, joule by
joule. What a correction can put right must be put right by it.

Usage: faults_alone.py HEATBOOKD DEMO_PLANT
"""
import datetime
import sys

import oracle
from faulty import (BEGIN, BEGIN_MS, BRIDGED, END, END_MS, H_MS, MIN_MS, RESET, STEP_J, House,
                    check_spans)
from rig import Rig, energy_rows, store, table, TABLES
from tap import tests
from truth import J_PER_KWH, compare_minutes, plant_days

AFTER = "2024-10-15"  # the last values are held into it
EVENT_RESET, EVENT_WRAPPED = 0, 2  # event.h
CORRECTION = """
[correction mend]
channel = {}
{}
from = {}
to = {}
"""


def at(day, hour, minute=0):
    """Of the span's days, 1 or 2."""
    return f"2024-10-{11 + day}T{hour:02}:{minute:02}:00+02:00"


def ms_of(day, hour, minute=0):
    return BEGIN_MS + ((day - 1) * 24 + hour) * H_MS + minute * MIN_MS


def same_tables(tap, house, plain, names=tuple(TABLES)):
    for name in names:
        tap.ok(table(house.config, name) == table(plain.config, name),
               f"{house.name}: {name} as without it")


def near_rows(tap, house, plain, name, skip=(0, 0), columns=("heat_j", "e_unit_j")):
    """Rows as without the fault, to a joule of rounding, outside of `skip` (ms)."""
    def kept(rows):
        return {k: r for k, r in rows.items() if not skip[0] <= k[0] * MIN_MS < skip[1]}
    mine, theirs = kept(house.rows), kept(plain.rows)
    odd = sorted(mine.keys() ^ theirs.keys())
    tap.ok(not odd, f"{house.name}: {name}: the same rows", odd[:5])
    wrong = [(k, c, mine[k][c], theirs[k][c]) for k in mine.keys() & theirs.keys()
             for c in columns if abs((mine[k][c] or 0) - (theirs[k][c] or 0)) > 1]
    tap.ok(not wrong, f"{house.name}: {name}: the same joules", wrong[:5])


# ---- faults of the plant: what happened is what is booked ----

def plant_goes_wrong(tap, rig):
    placed = (f"immersion_daily={BEGIN}/{END}", f"flow_falling={BEGIN}/{END}",
              f"efficiency_low={at(2, 0)}/{END}", f"power_cut={at(2, 9)}/{at(2, 11)}")
    house = House(rig, "plant", *placed, registers=False)
    args = [word for fault in placed for word in ("--fault", fault)]
    first = min(house.truth)
    compare_minutes(tap, house.rows, house.truth, "plant: before the cut", first,
                    ms_of(2, 9) // MIN_MS)
    compare_minutes(tap, house.rows, house.truth, "plant: after the cut", ms_of(2, 11, 10) // MIN_MS,
                    END_MS // MIN_MS)
    dark = house.sum("heat_j", ms_of(2, 9, 11), ms_of(2, 11))
    tap.equal(dark, 0, "plant: nothing is booked while nothing is heard")
    wanted = plant_days(rig.demo_plant, BEGIN, END, *args)
    before = plant_days(rig.demo_plant, BEGIN, END)
    for i, (date, day) in enumerate(wanted.items()):
        begin = BEGIN_MS + i * 24 * H_MS
        for what, column in (("heat", "heat_j"), ("unit", "e_unit_j"),
                             ("immersion", "e_immersion_j")):
            got = house.sum(column, begin, begin + 24 * H_MS) / J_PER_KWH
            tap.near(got, day[what], 0.01 * day[what] + 0.02, f"plant: {date} {what} is the truth's")
        tap.ok(day["immersion"] > before[date]["immersion"] + 1, f"plant: {date}: more immersion")
    ratio = [d[date]["heat"] / d[date]["unit"] for d in (before, wanted) for date in [max(d)]]
    tap.ok(ratio[1] < 0.95 * ratio[0], "plant: the efficiency fell", ratio)


def power_cut(tap, rig):
    house = House(rig, "power_cut", f"power_cut={at(2, 9)}/{at(2, 11)}")
    check_spans(tap, house)
    bridged = [r for r in house.settlements["unit"] if r["kind"] == BRIDGED]
    tap.equal(len(bridged), 1, "power_cut: one span is bridged")
    tap.ok(bridged[0]["j"] <= STEP_J, "power_cut: nothing was used in it", bridged[0]["j"])
    tap.near(house.sum("e_unit_j"), house.true_j("unit_j"), 3 * STEP_J,
             "power_cut: the days have their electricity")


# ---- sensors and registers at fault ----

def return_low(tap, rig, power):
    house = House(rig, "return_low", f"return_low={BEGIN}/{END}", registers=False)
    said, true = house.sum("heat_j"), power.sum("heat_j")
    tap.ok(said > 1.03 * true, "return_low: too much heat is booked", (said, true))
    foretold = said - 0.3 * house.sum("sensitivity")
    tap.near(foretold, true, 0.0002 * true, "return_low: the sensitivity foretells the truth")
    house.mend(CORRECTION.format("return_temperature", "offset = 0.3 K", BEGIN, AFTER))
    near_rows(tap, house, power, "corrected")


def sensor_frozen(tap, rig, power):
    """While the compressor runs: the truth's rows but for those forty minutes."""
    runs = [m for m, rows in sorted(power.truth.items()) if "heating" in rows
            and int(rows["heating"]["ms"]) == 60000]
    begin = next(m for m in runs if all(m + i in runs for i in range(40))) * 60
    house = House(rig, "frozen", f"sensor_frozen={utc(begin)}/{utc(begin + 2400)}",
                  registers=False)
    span = (begin * 1000, begin * 1000 + 2400_000 + MIN_MS)
    near_rows(tap, house, power, "outside", span)
    off = house.sum("heat_j", *span) - power.sum("heat_j", *span)
    tap.ok(abs(off) > 3e5, "frozen: inside heat is wrong", off)
    with store(house.config) as s:
        values = {r[0] for r in s.execute(
            "SELECT c_flow_temperature FROM minutes WHERE minute > ? AND minute < ?",
            (begin // 60, begin // 60 + 39))}
    tap.equal(len(values), 1, "frozen: one value for forty minutes")


def utc(epoch_s):
    return datetime.datetime.fromtimestamp(epoch_s, datetime.timezone.utc
                                           ).strftime("%Y-%m-%dT%H:%M:%SZ")


def coarse(tap, rig, power):
    house = House(rig, "integers", f"integer_temperatures={BEGIN}/{END}", registers=False)
    off = house.sum("heat_j") - power.sum("heat_j")
    tap.ok(0 < abs(off) < house.sum("sensitivity"), "integers: within a kelvin of the pair", off)
    tap.equal(house.sum("e_unit_j"), power.sum("e_unit_j"), "integers: electricity as without it")
    tap.note(f"integers: heat {100 * off / power.sum('heat_j'):+.2f} %")


def beside_the_account(tap, rig, registers):
    house = House(rig, "beside", f"pressure_leak={BEGIN}/{END}", f"outdoor_sun={BEGIN}/{END}")
    near_rows(tap, house, registers, "heat and electricity")
    with store(house.config) as a, store(registers.config) as b:
        means = [s.execute("SELECT avg(c_water_pressure), max(c_outdoor_temperature) FROM minutes "
                           "WHERE minute >= ?", (END_MS // MIN_MS - 1440,)).fetchone()
                 for s in (a, b)]
    tap.ok(means[0][0] < 0.8 * means[1][0] and means[0][1] > means[1][1],
           "beside: pressure is lower, the air seems warmer", [tuple(m) for m in means])


def clamp_reversed(tap, rig, registers):
    house = House(rig, "clamp", f"clamp_reversed={BEGIN}/{END}")
    check_spans(tap, house)
    tap.equal(house.counted("unit"), registers.counted("unit"), "clamp: the register rules the total")
    house.mend(CORRECTION.format("unit_power_2", "factor = -1", BEGIN, AFTER))
    same_tables(tap, house, registers)


def register_reset(tap, rig, registers):
    when = ms_of(1, 7, 10)
    house = House(rig, "reset", f"register_reset={at(1, 7, 10)}")
    check_spans(tap, house)
    resets = [r for r in house.settlements["unit"] if r["kind"] == RESET]
    tap.equal(len(resets), 1, "reset: one is seen")
    old = max(t for t in house.readings["unit"] if t < when)
    new = min(t for t in house.readings["unit"] if t >= when)
    tap.equal((resets[0]["begin_ms"], resets[0]["end_ms"]), (old, new),
              "reset: between the last reading and the first of the new count")
    tap.equal((resets[0]["from_j"], resets[0]["to_j"]),
              (house.readings["unit"][old], house.readings["unit"][new]), "reset: from what to what")
    kwh = [round(house.readings["unit"][t] / J_PER_KWH, 2) for t in (old, new)]
    tap.equal(house.events, [(EVENT_RESET, "unit", new, *kwh)], "reset: is told as an event")
    # What was used in the minute between is not counted; steps are cut at both ends.
    lost = registers.sum("e_unit_j") - house.sum("e_unit_j")
    tap.ok(-2 * STEP_J <= lost <= 0.06 * J_PER_KWH + 2 * STEP_J, "reset: loses a minute at most",
           lost)


def register_wrap(tap, rig):
    when = ms_of(1, 7, 10)
    house = House(rig, "wrap", f"register_wrap={at(1, 7, 10)}")
    check_spans(tap, house)
    readings = house.readings["unit"]
    old, new = max(t for t in readings if t < when), min(t for t in readings if t >= when)
    kwh = [round(readings[t] / J_PER_KWH, 2) for t in (old, new)]
    tap.ok(kwh[0] > 65535.8 and kwh[1] < 0.1, "wrap: the register began anew at 65,536 kWh", kwh)
    tap.equal(house.events, [(EVENT_WRAPPED, "unit", new, *kwh)], "wrap: is told as an event")
    tap.equal([r for r in house.settlements["unit"] if r["kind"] >= RESET], [],
              "wrap: is no reset")
    tap.near(house.sum("e_unit_j"), house.true_j("unit_j"), 3 * STEP_J,
             "wrap: the days have their electricity")


# ---- messages that went wrong ----

def broker_away(tap, rig, registers):
    begin, end = ms_of(2, 5), ms_of(2, 10)
    house = House(rig, "away", f"broker_away={at(2, 5)}/{at(2, 10)}")
    check_spans(tap, house)
    bridged = [r for r in house.settlements["unit"] if r["kind"] == BRIDGED]
    readings = house.readings["unit"]
    old, new = (max(t for t in readings if t < begin), min(t for t in readings if t >= end))
    tap.equal([(r["begin_ms"], r["end_ms"]) for r in bridged], [(old, new)],
              "away: bridged from the last report to the first")
    # Power is held for five minutes more: that part was seen.
    seen = house.sum("e_unit_j", old // MIN_MS * MIN_MS, begin + 5 * MIN_MS)
    told = house.sum("b_unit_j", old - MIN_MS, new + MIN_MS)
    tap.ok(0 <= bridged[0]["j"] - told <= seen, "away: rows tell what was bridged",
           (bridged[0]["j"], told, seen))
    edges = (house.sum("e_unit_j", old + MIN_MS, new // MIN_MS * MIN_MS),
             house.sum("e_unit_j", old // MIN_MS * MIN_MS, new + MIN_MS))
    tap.ok(edges[0] <= bridged[0]["j"] <= edges[1], "away: and add up to it", edges)
    true_j = house.true_j("unit_j", old // MIN_MS * MIN_MS, new // MIN_MS * MIN_MS)
    tap.ok(true_j > 2 * J_PER_KWH, "away: something was used meanwhile", true_j)
    tap.near(bridged[0]["j"], true_j, STEP_J + 2 * MIN_MS // 1000 * 3000,
             "away: what was bridged is the truth within a step and a minute at both ends")
    tap.near(house.sum("e_unit_j"), house.true_j("unit_j"), 3 * STEP_J,
             "away: the days have their electricity")
    tap.equal(house.sum("heat_j", begin + 11 * MIN_MS, end), 0, "away: no heat is invented")
    near_rows(tap, house, registers, "outside", (begin - 30 * MIN_MS, end + 30 * MIN_MS),
              ("heat_j", "ms"))


def retained_replayed(tap, rig, registers):
    house = House(rig, "retained", f"retained_replayed={BEGIN}/{at(2, 23)}")
    copies = [line for line in house.path.read_text().splitlines() if line.startswith("{")]
    tap.ok(len(copies) > 30 * 19, "retained: copies came", len(copies))
    same_tables(tap, house, registers)


def power_late(tap, rig, registers):
    house = House(rig, "late", f"power_late={at(1, 2)}/{at(2, 20)}")
    check_spans(tap, house)
    near_rows(tap, house, registers, "heat", columns=("heat_j",))
    tap.near(house.sum("e_unit_j"), house.true_j("unit_j"), 3 * STEP_J,
             "late: the days have their electricity")


def slow_source(tap, rig, power):
    house = House(rig, "slow", f"slow_source={at(1, 1)}/{END}", registers=False)
    off = house.sum("heat_j") / power.sum("heat_j") - 1
    tap.ok(abs(off) < 0.05, "slow: heat is near the truth", off)
    tap.note(f"slow: heat {100 * off:+.2f} %")
    unknown = [m for m in range(ms_of(1, 2) // MIN_MS, END_MS // MIN_MS)
               if sum(house.rows.get((m, mode), {"heat_ms": 0})["heat_ms"]
                      for mode in ("heating", "hot_water", "defrost", "overrun", "standby",
                                   "freeze_protection", "unassigned")) != 60000]
    tap.equal(unknown[:5], [], "slow: every minute is known")


def bad_payloads(tap, rig):
    """Also what is late and what a broker kept: booked as the oracle says, message by message."""
    house = House(rig, "payloads", f"bad_payloads={BEGIN}/{at(2, 0)}",
                  f"power_late={at(1, 9)}/{at(1, 12)}", f"retained_replayed={at(1, 12)}/{at(1, 15)}",
                  f"broker_away={at(1, 16)}/{at(1, 16, 30)}", f"slow_source={at(1, 18)}/{at(1, 20)}",
                  f"clamp_reversed={at(1, 20)}/{at(1, 22)}", registers=False, end=at(2, 0))
    text = house.path.read_text()
    wanted = oracle.account(list(oracle.archive_lines(text)), BEGIN_MS // MIN_MS,
                            ms_of(2, 3) // MIN_MS)
    rows = energy_rows(house.config, 0, ms_of(2, 3) // MIN_MS)
    oracle.compare(tap, rows, wanted, "payloads")
    tap.ok(text.count("n/a") > 100 and text.count('","') > 5 and text.count("#") > 100,
           "payloads: words, commas and broken ones are among them")
    off = house.sum("heat_j") / house.true_j("heat_j") - 1
    tap.ok(abs(off) < 0.1, "payloads: and little is lost", off)


def main(tap, heatbookd, demo_plant):
    with Rig(heatbookd, demo_plant) as rig:
        power = House(rig, "power", registers=False)
        registers = House(rig, "registers")
        compare_minutes(tap, power.rows, power.truth, "without a fault", min(power.truth),
                        END_MS // MIN_MS)
        check_spans(tap, registers)
        tap.equal(registers.events, [], "without a fault nothing happens to a register")
        plant_goes_wrong(tap, rig)
        power_cut(tap, rig)
        return_low(tap, rig, power)
        sensor_frozen(tap, rig, power)
        coarse(tap, rig, power)
        beside_the_account(tap, rig, registers)
        clamp_reversed(tap, rig, registers)
        register_reset(tap, rig, registers)
        register_wrap(tap, rig)
        broker_away(tap, rig, registers)
        retained_replayed(tap, rig, registers)
        power_late(tap, rig, registers)
        slow_source(tap, rig, power)
        bad_payloads(tap, rig)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
