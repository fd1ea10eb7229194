"""Modes by rule: the demo plant as a table of one-minute means without any flag, against the
plant's own truth: starts, defrosts and hot-water runs by the flags of the messages that the
table was made of, energies by what the plant knows of itself. The same in five minutes' means,
whose loss is printed; and flags that come late, whose lag is found.

Usage: modes_by_rule.py HEATBOOKD DEMO_PLANT LIST_RUNS FORM. Forms: a winter month, a year.
SEED in the environment is another plant of the same kind.
"""
import bisect
import collections
import csv
import datetime
import json
import os
import subprocess
import sys

from found import findings
from rig import MODES, Rig, store
from tap import tests
from truth import local_midnight, plant_days

FORMS = {"month": ("2024-12-30", "2025-01-01", "2025-02-01"),
         "year": ("2024-07-01", "2024-07-02", "2025-07-01")}
SEED = os.environ.get("SEED", "1")
FOUND_LEAST = 0.99
NEAR_MIN = 5  # a beginning that was found is so near to the true one
ENERGY_MOST = {"heating": 0.01, "hot_water": 0.01, "defrost": 0.03}

CHANNELS = {"flow_temperature": "°C", "return_temperature": "°C", "flow_rate": "L/min",
            "outdoor_temperature": "°C", "target_flow_temperature": "°C",
            "cylinder_temperature": "°C", "unit_power": "W", "immersion_power": "W"}
TOPICS = {"plant/hydraulics": (("flow_temperature", ("water", "out")),
                               ("return_temperature", ("water", "back")),
                               ("flow_rate", ("loop", "rate"))),
          "plant/weather": (("outdoor_temperature", ("air", "t")),),
          "plant/control": (("target_flow_temperature", ("target",)),
                            ("cylinder_temperature", ("cylinder",)))}
METERS = {"house/meter/unit/l1": "l1", "house/meter/unit/l2": "l2", "house/meter/unit/l3": "l3",
          "house/meter/immersion/power": "immersion_power"}
NAMES = [*(n for n in CHANNELS if n != "unit_power"), "l1", "l2", "l3"]


class Means:
    """Each channel holds its last word; a row of time-weighted means a minute."""

    def __init__(self):
        self.value = dict.fromkeys(NAMES)
        self.since = dict.fromkeys(NAMES, 0)
        self.sum = dict.fromkeys(NAMES, 0.0)
        self.minute = None
        self.rows = []  # (minute, means by name)

    def say(self, name, t_ms, value):
        if self.value[name] is not None:
            self.sum[name] += self.value[name] * (t_ms - self.since[name])
        self.since[name], self.value[name] = t_ms, value

    def advance(self, t_ms):
        minute = t_ms // 60000
        if self.minute is None:
            self.minute = minute
        while self.minute < minute:
            end_ms = (self.minute + 1) * 60000
            whole = all(v is not None for v in self.value.values())
            for name in NAMES:
                if self.value[name] is not None:
                    self.say(name, end_ms, self.value[name])
            if whole and self.rows is not None:
                self.rows.append((self.minute, {n: self.sum[n] / 60000 for n in NAMES}))
            self.sum = dict.fromkeys(NAMES, 0.0)
            self.minute += 1


class Flags:
    """When the plant's own flags begin."""

    def __init__(self):
        self.last = {}
        self.begun = collections.defaultdict(list)

    def say(self, kind, t_ms, on):
        if on and self.last.get(kind) is False:
            self.begun[kind].append(t_ms / 60000)
        self.last[kind] = on


def read_archive(path):
    means, flags = Means(), Flags()
    with open(path, encoding="utf-8") as f:
        for line in f:
            stamp, topic, payload = line.rstrip("\n").split(" ", 2)
            t_ms = int(stamp.replace(".", ""))
            means.advance(t_ms)
            if topic in METERS:
                means.say(METERS[topic], t_ms, float(payload))
            elif topic in TOPICS:
                said = json.loads(payload)
                for name, keys in TOPICS[topic]:
                    value = said
                    for key in keys:
                        value = value[key]
                    means.say(name, t_ms, value)
            elif topic == "plant/refrigerant":
                flags.say("compressor", t_ms, json.loads(payload)["compressor"]["hz"] > 0)
            elif topic == "plant/state/service":
                flags.say("hot_water", t_ms, payload == "tap")
            elif topic == "plant/state/defrost":
                flags.say("defrost", t_ms, payload == "running")
    return means.rows, flags.begun


def write_table(path, rows, step):
    """Means of `step` minutes, the first of which is a multiple of it."""
    columns = list(CHANNELS)
    at = next(i for i, (minute, _) in enumerate(rows) if minute % step == 0)
    with open(path, "w", encoding="ascii") as f:
        f.write("time," + ",".join(columns) + "\n")
        for i in range(at, len(rows) - step + 1, step):
            part = [m for _, m in rows[i:i + step]]
            mean = {n: sum(m[n] for m in part) / step for n in part[0]}
            mean["unit_power"] = mean["l1"] + mean["l2"] + mean["l3"]
            f.write(f"{rows[i][0] * 60}," + ",".join(f"{mean[n]:.2f}" for n in columns) + "\n")


def configuration(rig, name, step, thresholds):
    directory = rig.dir / name
    directory.mkdir()
    text = ("[plant]\nname = Without flags\nzone = Europe/Berlin\nnominal_flow = 17.5 L/min\n"
            f"[modes]\n{thresholds}"
            f"[store]\nfile = {directory}/heatbook.db\n[journal]\ntail = {directory}/tail\n"
            "[meter unit]\nfeeds = compressor, circulation\npower = unit_power\n"
            "[meter immersion]\nfeeds = immersion\npower = immersion_power\n"
            f"[table minutes]\nfiles = *.csv\ntime = time\ntime_form = s\ninterval = {step} min\n")
    text += "".join(f"column.{c} = {c}\n" for c in CHANNELS)
    text += "".join(f"[channel {c}]\nunit = {unit}\n" for c, unit in CHANNELS.items())
    path = directory / "heatbook.conf"
    path.write_text(text)
    return path


def list_runs(program, config):
    """Runs by kind, lags by kind, the grain in minutes."""
    text = subprocess.run([program, config], check=True, stdout=subprocess.PIPE,
                          text=True).stdout
    runs, lags, grain = collections.defaultdict(list), {}, None
    for row in csv.reader(text.splitlines()):
        if row[0] == "run":
            runs[row[1]].append({"rule": row[2] == "1", "begin_cut": row[3] == "1",
                                 "begin_min": float(row[5]) / 60})
        elif row[0] == "lag":
            lags[row[1]] = dict(zip(("pairs", "flag", "rule", "median", "most"),
                                    map(float, row[2:])))
        else:
            grain = float(row[1])
    return runs, lags, grain


def match(true, found):
    """How many of the true ones were found, how many found ones are of none."""
    left, hits = sorted(found), 0
    for t in sorted(true):
        i = bisect.bisect_left(left, t - NEAR_MIN)
        near = [f for f in left[i:i + 4] if abs(f - t) <= NEAR_MIN]
        if near:
            left.remove(min(near, key=lambda f: abs(f - t)))
            hits += 1
    return hits, len(left)


def heat_by_mode(config, begin, end):
    """kWh of minutes between two local midnights."""
    span = [local_midnight(date) // 60 * 16 for date in (begin, end)]
    with store(config) as s:
        rows = s.execute("SELECT slot % 16, sum(heat_j) FROM energy_minutes "
                         "WHERE slot >= ? AND slot < ? GROUP BY 1", span)
        return {MODES[mode]: (j or 0) / 3.6e6 for mode, j in rows}


def judge(tap, config, list_program, form, begun, true_heat, strict):
    _, first, end = FORMS[form]
    span = local_midnight(first) / 60, local_midnight(end) / 60
    runs, _, grain = list_runs(list_program, config)
    heat = heat_by_mode(config, first, end)
    for kind in ("compressor", "defrost", "hot_water"):
        true = [t for t in begun[kind] if span[0] <= t < span[1]]
        found = [r["begin_min"] for r in runs[kind]
                 if not r["begin_cut"] and span[0] <= r["begin_min"] < span[1]]
        hits, invented = match(true, found)
        text = f"{kind}: {hits} of {len(true)} beginnings found, {invented} invented"
        if strict:
            tap.ok(len(true) > 20 and hits >= FOUND_LEAST * len(true) and invented == 0, text)
            tap.ok(all(r["rule"] for r in runs[kind]), f"{kind}: all of them by rule")
        else:
            tap.note(text)
    for mode, most in ENERGY_MOST.items():
        error = heat[mode] / true_heat[mode] - 1
        text = (f"{mode}: {heat[mode]:.1f} kWh of {true_heat[mode]:.1f} kWh, "
                f"{100 * error:+.2f} %")
        if strict:
            tap.ok(abs(error) <= most, text)
        else:
            tap.note(text)
    return grain


def true_heat_of(demo_plant, form):
    _, first, end = FORMS[form]
    total = collections.Counter()
    for day in plant_days(demo_plant, first, end, "--seed", SEED).values():
        for mode in ENERGY_MOST:
            total[mode] += day[mode]
    return total


def take_table(tap, rig, name, rows, step, thresholds=""):
    config = configuration(rig, name, step, thresholds)
    table = rig.dir / f"{name}.csv"
    write_table(table, rows, step)
    done = rig.verb("import", config, table)
    tap.equal(done.returncode, 0, f"{name}: the table is taken")
    return config


def late_as_found(tap, rig, config, name, wanted):
    """What findings say of it, by channel: told where it is late, and there alone."""
    _, first, end = FORMS["month"]
    daemon = rig.serve(config)
    told = findings(daemon, local_midnight(first), local_midnight(end))
    daemon.stop()
    size = {f["subject"]: f["size"] for f in told if f["kind"] == "flag_late"}
    tap.equal(set(size), {"valve", "defrost"} if name == "late" else set(),
              f"flags {name}: found as such")
    for channel, kind in (("valve", "hot_water"), ("defrost", "defrost")):
        if channel in size:
            tap.near(size[channel], wanted[kind], 1, f"flags {name}: {channel} by so many minutes")


def late_flags(tap, rig, demo_plant, list_program, archive):
    """The messages themselves, flags included, which come so many minutes late."""
    late_s = {"plant/state/valve": 240, "plant/state/defrost": 120}
    moved = []
    with open(archive, encoding="utf-8") as f:
        for line in f:
            stamp, topic, payload = line.split(" ", 2)
            if topic == "plant/state/service":
                continue
            if topic in late_s:
                stamp = f"{float(stamp) + late_s[topic]:.3f}"
            moved.append((float(stamp), f"{stamp} {topic} {payload}"))
    moved.sort(key=lambda x: x[0])
    path = rig.dir / "late.txt"
    path.write_text("".join(line for _, line in moved), encoding="utf-8")
    for name, lines in (("late", path), ("in time", archive)):
        config = rig.demo(name.replace(" ", "_"))
        text = config.read_text()
        head, tail = text.split("[channel operating_mode]", 1)
        text = head + tail[tail.index("[channel defrost]"):]
        text = text.replace("[plant]\n", "[plant]\nnominal_flow = 17.5 L/min\n")
        config.write_text(text + "\n[modes]\nhot_water_flow = 19 L/min\n")
        done = rig.verb("import", config, lines)
        tap.equal(done.returncode, 0, f"flags {name}: the messages are taken")
        _, lags, grain = list_runs(list_program, config)
        tap.note(f"flags {name}: {lags}, a value for {grain:g} min")
        wanted = {"defrost": 2, "hot_water": 4} if name == "late" else dict.fromkeys(lags, 0)
        for kind, lag in lags.items():
            tap.ok(lag["pairs"] >= 0.95 * lag["rule"] > 0, f"flags {name}: {kind} is seen twice")
            tap.near(lag["median"], wanted[kind], 1, f"flags {name}: {kind} by so many minutes")
        tap.equal(grain, 1, f"flags {name}: the source is fine enough")
        late_as_found(tap, rig, config, name, wanted)


def all_rows(config):
    with store(config) as s:
        return {tuple(r) for r in s.execute("SELECT * FROM energy_minutes")}


def row_alone(tap, rig, rows):
    """The second row of a defrost, which confirms the first, comes after all others."""
    def difference(i):
        return rows[i][1]["flow_temperature"] - rows[i][1]["return_temperature"]
    second = next(i for i in range(600, len(rows))
                  if difference(i) < -0.8 <= difference(i - 2) and difference(i - 1) < -0.8)
    part = rows[second - 600:second + 600]
    level = "hot_water_flow = 19 L/min\n"
    whole = take_table(tap, rig, "whole", part, 1, level)
    alone = take_table(tap, rig, "alone", part[:600] + part[601:], 1, level)
    tap.ok(all_rows(whole) != all_rows(alone), "a defrost's second row confirms the first")
    table = rig.dir / "row.csv"
    write_table(table, part[600:601], 1)
    tap.equal(rig.verb("import", alone, table).returncode, 0, "the row is taken")
    tap.equal(all_rows(alone) ^ all_rows(whole), set(), "alone, it confirms what came before it")


def told_coarse(tap, rig, form):
    """Who asks a store of means of five minutes or of hours is told what they lose, and nothing
    that they only seem to say; of one-minute means there is nothing to tell."""
    _, first, end = FORMS[form]
    last = datetime.date.fromisoformat(end) - datetime.timedelta(days=1)
    begin, after = local_midnight(first), local_midnight(end)
    for name, step in (("minutes", 1), ("coarse", 5), ("hourly", 60)):
        report = rig.done("report", rig.dir / name / "heatbook.conf", "--from", first, "--to",
                          last.isoformat(), "--json").stdout
        told = json.loads(report)["findings"]
        wanted = [("source_slow", step, "min")] if step > 1 else []
        tap.equal([(f["kind"], f["size"], f["unit"]) for f in told], wanted,
                  f"means of {step} min: "
                  + ("the finding source_slow says so, alone" if step > 1 else "no finding"))
        for f in told[:len(wanted)]:
            tap.ok(f["since"] <= begin + 86400 and f["until"] >= after - 86400,
                   f"means of {step} min: it is of the whole span", f)
            tap.ok("defrosts" in f["evidence"] and "lose" in f["remedy"],
                   f"means of {step} min: it names what falls between its values", f)


def main(tap, heatbookd, demo_plant, list_program, form):
    tap.note(f"SEED={SEED}")
    with Rig(heatbookd, demo_plant) as rig:
        begin, _, end = FORMS[form]
        archive = rig.archive(begin, end, "--seed", SEED)
        rows, begun = read_archive(archive)
        true_heat = true_heat_of(demo_plant, form)
        config = take_table(tap, rig, "minutes", rows, 1, "hot_water_flow = 19 L/min\n")
        grain = judge(tap, config, list_program, form, begun, true_heat, True)
        tap.equal(grain, 1, "one-minute means are fine enough")
        verified = rig.verb("verify", config)
        tap.equal(verified.returncode, 0, "minutes: verify finds the same rows")
        tap.note("without the second level of flow, by target and cylinder:")
        config = take_table(tap, rig, "target", rows, 1)
        judge(tap, config, list_program, form, begun, true_heat, False)
        tap.note("in means of five minutes:")
        config = take_table(tap, rig, "coarse", rows, 5, "hot_water_flow = 19 L/min\n")
        grain = judge(tap, config, list_program, form, begun, true_heat, False)
        tap.equal(grain, 5, "five-minute means are told to be so coarse")
        take_table(tap, rig, "hourly", rows, 60, "hot_water_flow = 19 L/min\n")
        told_coarse(tap, rig, form)
        row_alone(tap, rig, rows)
        if form == "month":
            late_flags(tap, rig, demo_plant, list_program, archive)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:5])
