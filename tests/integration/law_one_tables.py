"""Law 1 with tables: random rows, wide and long, with intervals before and after the stamp and
without, states, registers, increments, words for missing values, messages that feed the same
channels. Whatever the order of files, however rows are spread over files, with rows that stand in
several of them; alone or beside a running daemon; rebuilt, or exported and imported elsewhere: the
six tables of rows are the same, byte for byte.

Usage: law_one_tables.py HEATBOOKD; ROUNDS (default 3) and SEED in the environment.
"""
import os
import random
import sys

from rig import TABLES, Rig, derived_until, store, table, wait_until
from tap import tests

ROUNDS = int(os.environ.get("ROUNDS", "3"))
SEED = int(os.environ.get("SEED", random.SystemRandom().randrange(1 << 30)))
BEGIN_S = 1741478400  # 2025-03-09T00:00:00Z: the zone's clocks are put forward three weeks later
DAYS = 4
CHANNELS = ("flow_temperature", "return_temperature", "flow_rate", "unit_power")
CONFIG = """
[plant]
zone = {zone}
pressure = 2 bar
{heat}
[channel flow_temperature]
topic = plant/flow
stale_after = {stale}
[channel return_temperature]
[channel flow_rate]
unit = L/min
[channel unit_power]
topic = plant/power
unit = W
[channel valve]
map = 0:heating, 1:hot_water
[channel unit_register]
unit = kWh
[channel heat_register]
unit = kWh
{heat_kind}
[channel pump_register]
topic = plant/pumps
unit = kWh
{limit}
[meter pumps]
feeds = circulation
register = pump_register
{pump_kind}
[meter unit]
feeds = compressor
power = unit_power
{register}
[table wide]
files = wide*.csv
{interval}
silent_after = {silent}
missing_words = -9999, fault
column.flow_temperature = out
column.return_temperature = in
column.flow_rate = rate
column.unit_power = power
column.valve = valve
unit.flow_temperature = °F
[table long]
files = long*.csv
name = sensor
value = reading
column.unit_power = meter
column.unit_register = register
column.valve = ventil
[table counts]
files = counts*.csv
{covers}
column.heat_register = heat
column.pump_register = pumps
{broker}
[journal]
tail = @DIR@/tail
[store]
file = @DIR@/heatbook.db
[http]
port = @HTTP_PORT@
"""


class House:
    """A random configuration and all that it was ever told: rows and messages with their times."""

    def __init__(self, rng):
        self.rng = rng
        interval = rng.choice(["", "interval = 1 min\ncovers = before", "interval = 90 s",
                               "interval = 15 min\ncovers = after"])
        self.text = CONFIG.format(
            zone=rng.choice(["UTC", "Europe/Berlin", "Asia/Kathmandu"]),
            stale=rng.choice(["5 min", "none"]), interval=interval,
            register=rng.choice(["", "register = unit_register"]),
            silent=rng.choice(["10 min", "1 h"]), broker="",
            heat=rng.choice(["", "heat_source = register"]),
            heat_kind=rng.choice(["", "kind = daily", "kind = increment"]),
            pump_kind=rng.choice(["kind = increment"] * 3 + ["", "kind = daily"]),
            limit=rng.choice(["", "stale_after = none", "stale_after = 2 h"]),
            covers=rng.choice(["", "interval = 1 h\ncovers = before", "interval = 1 h",
                               "interval = 1 h", "interval = 1 d", "interval = 430 s"]))
        self.step_s = rng.choice([20, 60, 300])
        self.wide = [self.wide_row(t) for t in self.times(self.step_s)]
        self.long = [row for t in self.times(173) for row in self.long_rows(t)]
        self.counts = [self.counts_row(t) for t in self.times(rng.choice([3600, 900, 430]))]
        self.messages = [f"{t}.{rng.randrange(1000):03d} plant/{name} {rng.randrange(900)}"
                         for t in self.times(400) for name in ("flow", "power")]
        self.messages += [f"{t} plant/pumps {rng.randrange(9) / 100}" for t in self.times(40000)]

    def times(self, step_s):
        """With gaps, and now and then two rows on one stamp."""
        t, end = BEGIN_S + self.rng.randrange(3600), BEGIN_S + DAYS * 86400
        while t < end:
            yield t
            t += self.rng.choice([step_s] * 30 + [0, step_s * 40])

    def wide_row(self, t):
        r = self.rng
        cells = [f"{80 + r.randrange(400) / 10}", f"{25 + r.randrange(90) / 10}",
                 r.choice(["0", "17.5", "18.25"]), str(r.randrange(3000)), r.choice("01")]
        if r.random() < 0.1:
            cells[r.randrange(5)] = r.choice(["", "-9999", "FAULT", "x7"])
        return f"{t}," + ",".join(cells)

    def counts_row(self, t):
        """As registers or as increments: which is right is the configuration's business."""
        r = self.rng
        hours = (t - BEGIN_S) / 3600
        cells = [r.choice([f"{hours * 2:.2f}", f"{r.randrange(300) / 100}"]),
                 f"{r.choice([0, 1, 8, 20, 45]) / 100}"]
        if r.random() < 0.1:
            cells[r.randrange(2)] = r.choice(["", "-1", "x7", "99"])
        return f"{t},{cells[0]},{cells[1]}"

    def long_rows(self, t):
        kwh = 5000 + (t - BEGIN_S) / 3600 * 1.1
        register = f"{kwh:.2f}".replace(".", ",")
        rows = [f"{t};register;{register}", f"{t};ventil;{self.rng.choice('01')}",
                f"{t};meter;{self.rng.randrange(3000)},5", f"{t};other;1"]
        return self.rng.sample(rows, self.rng.randrange(1, 4))


HEADS = {"wide": "epoch,out,in,rate,power,valve", "long": "epoch;sensor;reading",
         "counts": "epoch,heat,pumps"}


def whole(house, directory):
    return spread(house, directory, random.Random(0), parts=1)


def spread(house, directory, rng, parts):
    """The rows over several files, some of them in two; shuffled within a file."""
    directory.mkdir()
    paths = []
    for name, rows in (("wide", house.wide), ("long", house.long), ("counts", house.counts),
                       ("log", house.messages)):
        files = [[] for _ in range(parts)]
        for row in rows:
            for i in {rng.randrange(parts), rng.randrange(parts)}:
                files[i].append(row)
        for i, part in enumerate(files):
            if parts > 1:
                rng.shuffle(part)
            path = directory / f"{name}{i}.{'txt' if name == 'log' else 'csv'}"
            path.write_text("\n".join(([HEADS[name]] if name in HEADS else []) + part) + "\n",
                            encoding="utf-8")
            paths.append(path)
    rng.shuffle(paths)
    return paths


def everything(config, until):
    return {name: table(config, name, until) for name in TABLES}


def expect_same(tap, what, wanted, config, other):
    until = min(derived_until(config), derived_until(other))
    mine = everything(other, until)
    theirs = {name: rows for name, rows in everything(wanted, until).items()}
    for name in TABLES:
        if not tap.ok(mine[name] == theirs[name], f"{what}: {name} are the same",
                      (len(mine[name]), len(theirs[name]))):
            return


def beside(rig, house, name, broker, paths):
    config = rig.config(name, house.text.replace(
        "[journal]", "[broker]\nhost = 127.0.0.1\nport = @BROKER_PORT@\n[journal]"), broker.port)
    daemon = rig.serve(config)
    daemon.wait_subscribed()
    for path in paths:
        rig.done("import", config, path)
    wait_until(lambda: daemon.health()["derivation"]["days_waiting"] == 0, "all is derived")
    assert daemon.stop() == 0
    return config


def one_round(tap, rig, broker, number):
    rng = random.Random(SEED + number)
    house = House(rng)
    name = f"round {number + 1}"
    first = rig.config(f"a{number}", house.text)
    # What is not understood is counted and stops nothing: the cells x7 reject no row.
    for path in whole(house, rig.dir / f"whole{number}"):
        rig.done("import", first, path)
    with store(first) as s:
        rows = s.execute("SELECT count(*) FROM minutes").fetchone()[0]
    tap.ok(rows > 100, f"{name}: there are minutes", rows)

    def check(what, config):
        expect_same(tap, f"{name}, {what}", first, first, config)

    second = rig.config(f"b{number}", house.text)
    rig.done("import", second, *spread(house, rig.dir / f"parts{number}", rng, 3))
    check("spread over files in one command", second)
    third = rig.config(f"c{number}", house.text)
    for path in spread(house, rig.dir / f"turns{number}", rng, 4):
        rig.done("import", third, path)
    check("a file a command", third)
    rig.done("rebuild", third)
    check("rebuilt", third)
    fourth = rig.config(f"d{number}", house.text)
    rig.done("import", fourth, rig.export(third, f"export{number}.jsonl"))
    check("exported and imported", fourth)
    check("beside a daemon", beside(rig, house, f"e{number}", broker,
                                    spread(house, rig.dir / f"live{number}", rng, 2)))


def main(tap, heatbookd):
    tap.note(f"SEED={SEED}")
    with Rig(heatbookd) as rig:
        broker = rig.broker()
        for number in range(ROUNDS):
            one_round(tap, rig, broker, number)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:2])
