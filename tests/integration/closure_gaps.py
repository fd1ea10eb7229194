"""A day and a half of the demo plant with everything taken out of it that a house takes out:
topics that stop, sources that fall silent, a Will, words for nothing, broken payloads. What
is left must be booked as oracle.py says, to the joule and the millisecond; lines in any order
and in two archives must give the same rows.

Usage: closure_gaps.py HEATBOOKD DEMO_PLANT
"""
import random
import sys

import oracle
from rig import Rig, derived_until, energy_rows, table, TABLES
from tap import tests

BEGIN, END = "2025-01-18T00:00:00+01:00", "2025-01-19T15:30:00+01:00"  # a Sunday's immersion
BEGIN_MS, END_MS = 1737154800_000, 1737297000_000
H, M = 3_600_000, 60_000
SEED = 20250118

# (from, to, which topics begin so): nothing of them in [from, to)
TAKEN = (
    (2 * H, 2 * H + 4 * M, "plant/hydraulics"),  # shorter than its limit
    (3 * H, 3 * H + 7 * M, "plant/hydraulics"),  # longer
    (4 * H, 4 * H + 9 * M, "house/meter/unit/l2"),
    (5 * H, 5 * H + 6 * M, "plant/refrigerant"),
    (6 * H, 6 * H + 2 * M, "plant/refrigerant"),
    (7 * H, 7 * H + 25 * M, "plant/weather"),
    (8 * H, 8 * H + 9 * M + 59_000, "plant/"),  # just alive
    (9 * H, 9 * H + 12 * M, "plant/"),  # dead; states come back with the hour
    (11 * H, 11 * H + 12 * M, "house/"),
    (13 * H, 13 * H + 31 * M, ""),
    (15 * H, 29 * H, "plant/state/"),  # less than 26 h: they hold
    (33 * H, 33 * H + 20 * M, "house/meter/immersion/power"),
    # Each hides a stop: its last "on" holds 5 min, so 2 min are unknown (bridged), then 3.5 min.
    (33 * H + 50 * M, 33 * H + 57 * M, "plant/refrigerant"),
    (37 * H + 10 * M, 37 * H + 18 * M, "plant/refrigerant"),
)
# (from, to, topic, payload): what its messages say instead. The pump runs on beyond overrun's
# 10 min; cold water then is freeze protection while the air is cold, too.
SAID = (
    (33 * H + 45 * M, 35 * H, "plant/hydraulics",
     '{"water":{"out":21.0,"back":20.0},"loop":{"rate":9.0,"gauge":1.5}}'),
    (35 * H, 36 * H, "plant/hydraulics",
     '{"water":{"out":12.5,"back":12.0},"loop":{"rate":9.0,"gauge":1.5}}'),
    (35 * H + 30 * M, 36 * H, "plant/weather", '{"air":{"t":6.5,"rh":80}}'),
    (37 * H + 5 * M, 37 * H + 50 * M, "plant/hydraulics",
     '{"water":{"out":31.0,"back":30.0},"loop":{"rate":9.0,"gauge":1.5}}'),
)
# (when, topic, payload) put in
PUT = (
    (16 * H + 90_007, "plant/gateway", "offline"),  # alive again with the next message
    (17 * H + 5_003, "plant/state/service", "sauna"),  # an unknown word
    (17 * H + 40 * M + 1, "plant/state/service", "rooms"),
    (18 * H + 1, "plant/state/defrost", "n/a"),
    (18 * H + 20 * M, "plant/state/defrost", "no"),
    (19 * H + 10_007, "plant/hydraulics", '{"water":{"out":null,"back":30.1},'
                                          '"loop":{"rate":17.5,"gauge":1.5}}'),
    (20 * H + 11_007, "plant/hydraulics", '{"water":{"out":35.0,"back"'),
    (21 * H + 7, "plant/refrigerant", "[]"),
    (22 * H + 5_007, "house/meter/unit/l1", "-"),
    (22 * H + 30_007, "house/meter/unit/l1", "twelve"),
    (23 * H + 1_007, "plant/gateway", "offline"),
    (23 * H + 1_008, "plant/gateway", "online"),
    (24 * H + 13, "plant/hydraulics", ""),
)


def said(t, topic, payload):
    for begin, end, which, instead in SAID:
        if begin <= t < end and topic == which:
            return instead
    return payload


def damaged(lines):
    rng = random.Random(SEED)
    kept = []
    for line in lines:
        stamp, topic, payload = line.split(" ", 2)
        t = int(stamp.replace(".", "")) - BEGIN_MS
        if any(a <= t < b and topic.startswith(which) for a, b, which in TAKEN):
            continue
        if 30 * H < t < 31 * H and rng.random() < 0.3:
            continue  # a bad radio
        kept.append(f"{stamp} {topic} {said(t, topic, payload)}")
    for t, topic, payload in PUT:
        t += BEGIN_MS
        kept.append(f"{t // 1000}.{t % 1000:03} {topic} {payload}")
    return sorted(kept, key=lambda line: float(line.split(" ", 1)[0]))


def write(rig, name, lines):
    path = rig.dir / name
    path.write_text("\n".join(lines) + "\n")
    return path


def main(tap, heatbookd, demo_plant):
    with Rig(heatbookd, demo_plant) as rig:
        lines = damaged(rig.archive(BEGIN, END).read_text().splitlines())
        config = rig.demo("whole")
        done = rig.verb("import", config, write(rig, "whole.txt", lines))
        tap.equal(done.returncode, 0, "import exits 0")
        begin, end = BEGIN_MS // M, END_MS // M + 1600  # until the longest limit has passed
        wanted = oracle.account(list(oracle.archive_lines("\n".join(lines))), begin, end)
        rows = energy_rows(config)
        oracle.compare(tap, rows, wanted, "all")
        modes = {mode for _, mode in wanted}
        for mode in ("heating", "hot_water", "defrost", "freeze_protection", "overrun", "standby",
                     "unassigned"):
            tap.ok(mode in modes, f"there is {mode}")
        stop, cold, mild, unseen = (BEGIN_MS // M + m for m in (33 * 60 + 57, 35 * 60,
                                                                35 * 60 + 30, 37 * 60 + 18))
        for minute, mode, name in (
                (stop + 5, "overrun", "a stop behind 2 unknown minutes begins overrun"),
                (stop + 12, "standby", "overrun is over after 10 min, though the pump runs"),
                (cold + 10, "freeze_protection", "cold water in cold air"),
                (mild + 10, "standby", "cold water in mild air"),
                (unseen + 5, "standby", "a stop behind 3.5 unknown minutes is none")):
            tap.equal([m for at, m in rows if at == minute], [mode], name)
        tap.equal(rig.verb("verify", config).returncode, 0, "verify exits 0")

        rng = random.Random(SEED + 1)
        shuffled = lines[:]
        rng.shuffle(shuffled)
        cut = len(shuffled) // 3
        other = rig.demo("parts")
        for name, part in (("b.txt", shuffled[cut:]), ("a.txt", shuffled[:cut])):
            rig.done("import", other, write(rig, name, part))
        until = min(derived_until(config), derived_until(other))
        for name in TABLES:
            tap.ok(table(other, name, until) == table(config, name, until),
                   f"in two shuffled parts: the same {name}")


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
