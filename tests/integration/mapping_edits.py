"""Law 2 with random edits of a configuration: after a rebuild the store's rows are those of a
store that imported the same journal under the new mapping and never knew another.

Usage: mapping_edits.py HEATBOOKD DEMO_PLANT. SEED and ROUNDS of the environment repeat and widen.
"""
import os
import random
import re
import shutil
import sys
import time

import rig
import tap

FROM, TO = "2026-01-17", "2026-01-20"  # the immersion heater runs on Sunday the 18th
NUMBERS = ("flow_temperature", "return_temperature", "flow_rate", "outdoor_temperature",
           "cylinder_temperature", "compressor_frequency", "unit_power_1", "immersion_power",
           "room_temperature", "water_pressure")
PLAIN = ("room_kitchen", "room_bath", "room_study", "outdoor_humidity", "compressor_demand")


def in_section(text, heading, change):
    """The text with the body of a section changed."""
    match = re.search(rf"(?ms)^\[{heading}\]\n.*?(?=^\[|\Z)", text)
    assert match, heading
    return text[:match.start()] + change(match.group(0)) + text[match.end():]


def with_line(text, heading, key, value):
    """The section with a key set anew."""
    def change(body):
        body = re.sub(rf"(?m)^{key} = .*\n", "", body)
        return body.rstrip("\n") + f"\n{key} = {value}\n\n"
    return in_section(text, heading, change)


def unit(text, dice):
    heading, words = dice.choice((("channel flow_rate", ("L/h", "m³/h", "gpm")),
                                  ("channel outdoor_temperature", ("°F",)),
                                  ("channel unit_power_2", ("kW",)),
                                  ("channel water_pressure", ("kPa", "psi"))))
    return with_line(text, heading, "unit", dice.choice(words))


def scale(text, dice):
    text = with_line(text, f"channel {dice.choice(NUMBERS)}", "scale",
                     f"{dice.uniform(0.5, 1.5):.3f}")
    return with_line(text, f"channel {dice.choice(NUMBERS)}", "offset",
                     f"{dice.uniform(-3, 3):.2f}")


def value_map(text, dice):
    heading, value = dice.choice((
        ("channel valve", "rooms:hot_water, cylinder:heating"),
        ("channel valve", "rooms:heating"),
        ("channel operating_mode", "rooms:heating, tap:standby"),
        ("channel defrost", "no:on, running:off")))
    return with_line(text, heading, "map", value)


def valid_range(text, dice):
    name, least, most = dice.choice((("outdoor_temperature", -3, 3), ("flow_rate", 5, 18),
                                     ("flow_temperature", 25, 40), ("unit_power_3", 0, 500)))
    text = with_line(text, f"channel {name}", "valid_least", least)
    return with_line(text, f"channel {name}", "valid_most", most)


def stale_after(text, dice):
    return with_line(text, f"channel {dice.choice(NUMBERS + ('valve', 'operating_mode'))}",
                     "stale_after", dice.choice(("5 s", "25 s", "61 s", "3 h", "none")))


def correction(text, dice):
    name = dice.choice(NUMBERS)
    if f"[correction {name}]" in text:
        return text
    begin = dice.randrange(1768600000000, 1768860000000)  # of the days, 2026-01-16 to 19

    def instant(ms):
        return time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(ms // 1000)) + f".{ms % 1000:03}Z"
    end = f"to = {instant(begin + dice.randrange(1, 172800000))}\n" if dice.random() < 0.6 else ""
    return (text + f"\n[correction {name}]\nchannel = {name}\noffset = {dice.uniform(-1, 1):.2f}\n"
            f"factor = {dice.uniform(0.8, 1.2):.3f}\nfrom = {instant(begin)}\n{end}")


def meter_sum(text, dice):
    phases = dice.sample(("unit_power_1", "unit_power_2", "unit_power_3"), dice.choice((1, 2)))
    return with_line(text, "meter unit", "power", " + ".join(phases))


def no_register(text, _dice):
    return in_section(text, "meter unit", lambda body: re.sub(r"register = .*\n", "", body))


def channel_goes(text, dice):
    name = dice.choice(PLAIN)
    if f"[channel {name}]" not in text or f"[correction {name}]" in text:
        return text
    return in_section(text, f"channel {name}", lambda body: "")


def channel_comes(text, dice):
    name, topic, pointer = dice.choice((("air", "plant/weather", "/air/t"),
                                        ("gauge", "plant/hydraulics", "/loop/gauge"),
                                        ("aim", "plant/control", "/target")))
    if f"[channel {name}]" in text:
        return text
    return text + f"\n[channel {name}]\ntopic = {topic}\npointer = {pointer}\nextremes = yes\n"


def source_dies(text, dice):
    return with_line(text, "source plant", "silent_after", dice.choice(("12 s", "40 s", "none")))


def heat(text, dice):
    key, value = dice.choice((("pressure", "water_pressure"), ("pressure", "3 bar"),
                              ("flow_sensor_pipe", "flow"), ("least_flow", "10 L/min")))
    return with_line(text, "plant", key, value)


EDITS = (unit, scale, value_map, valid_range, stale_after, correction, meter_sum, no_register,
         channel_goes, channel_comes, source_dies, heat)


def rows_of(config):
    """All rows without what is unknown: columns of channels that are gone hold nothing."""
    return {name: [[(k, v) for k, v in row if v is not None] for row in rig.table(config, name)]
            for name in rig.TABLES}


def moved(text, before, after):
    return text.replace(f"{before.parent}/", f"{after.parent}/")


def one_round(t, r, first, archive, seed):
    dice = random.Random(seed)
    chosen = dice.sample(EDITS, dice.randrange(2, 6))
    what = f"SEED={seed}: " + ", ".join(edit.__name__ for edit in chosen)
    rebuilt, fresh = r.demo("rebuilt"), r.demo("fresh")
    text = first.read_text()
    for edit in chosen:
        text = edit(text, dice)
    rebuilt.write_text(moved(text, first, rebuilt))
    fresh.write_text(moved(text, first, fresh))
    shutil.copy(first.parent / "heatbook.db", rebuilt.parent / "heatbook.db")
    r.done("rebuild", rebuilt)
    r.done("import", fresh, archive)
    until = min(rig.derived_until(rebuilt), rig.derived_until(fresh))
    got, wanted = rows_of(rebuilt), rows_of(fresh)
    for table in rig.TABLES:
        differing = [(a, b) for a, b in zip(got[table], wanted[table]) if a != b]
        t.ok(len(got[table]) == len(wanted[table]) and not differing, f"{what}: {table}",
             f"{len(got[table])} rows, wanted {len(wanted[table])}; {differing[:1]}")
    t.ok(wanted["minutes"] and until > 0, f"{what}: there are rows")
    for home in (rebuilt, fresh):
        shutil.rmtree(home.parent)
    return wanted


with tap.tests() as main, rig.Rig(*sys.argv[1:3]) as the_rig:
    base = the_rig.demo("first")
    log = the_rig.archive(FROM, TO)
    the_rig.done("import", base, log)
    before = rows_of(base)
    start = int(os.environ.get("SEED", "1"))
    changed = 0
    for number in range(start, start + int(os.environ.get("ROUNDS", "3"))):
        changed += one_round(main, the_rig, base, log, number) != before
    main.ok(changed > 0, "the edits change rows")
