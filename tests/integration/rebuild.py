"""Rebuilding by hand: a mapping that is corrected afterwards, what it would change beforehand,
readers beside it, breaking it off, the running daemon, days that are sealed.

Usage: rebuild.py HEATBOOKD DEMO_PLANT. SEED and KILLS of the environment are of the kills.
"""
import hashlib
import json
import os
import random
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time

import rig
import tap

FROM, TO = "2026-01-01", "2026-01-07"
DAY_MIN = 1440
JAN_1 = 1767225600 // 60  # 2026-01-01T00:00:00Z
KITCHEN = "[channel room_kitchen]\ntopic = house/room/kitchen\nunit = °C\n"
STRAP = """
[correction strap_on]
channel = flow_temperature
offset = -0.4 K
from = 2026-01-03
to = 2026-01-05
"""


def rows_of(config):
    """All rows without what is unknown: columns of channels that are gone hold nothing."""
    return {name: [[(k, v) for k, v in row if v is not None] for row in rig.table(config, name)]
            for name in rig.TABLES}


def compare(t, got, wanted, name):
    for table in rig.TABLES:
        differing = [(a, b) for a, b in zip(got[table], wanted[table]) if a != b]
        t.ok(len(got[table]) == len(wanted[table]) and not differing, f"{name}: {table}",
             f"{len(got[table])} rows, wanted {len(wanted[table])}; {differing[:1]}")


def content(config):
    return hashlib.sha256((config.parent / "heatbook.db").read_bytes()).hexdigest()


class Houses:
    """Homes with the same history, which is imported once a mapping."""

    def __init__(self, r):
        self.rig, self.known = r, {}
        self.archive = r.archive(FROM, TO)
        self.first = r.demo("first", change=lambda text: text.replace(KITCHEN, ""))
        r.done("import", self.first, self.archive)

    def copy(self, name):
        """A home with the first one's history."""
        config = self.rig.demo(name, change=lambda text: text.replace(KITCHEN, ""))
        shutil.copy(self.first.parent / "heatbook.db", config.parent / "heatbook.db")
        return config

    def fresh(self, config):
        """The rows of a store that never knew another mapping."""
        mapping = config.read_text().replace(f"{config.parent}/", "/")
        if mapping not in self.known:
            home = self.rig.dir / (config.parent.name + "-fresh")
            home.mkdir()
            text = config.read_text().replace(f"{config.parent}/", f"{home}/")
            (home / "heatbook.conf").write_text(text)
            self.rig.done("import", home / "heatbook.conf", self.archive)
            self.known[mapping] = rows_of(home / "heatbook.conf")
        return self.known[mapping]


def retroactive_channel(t, houses):
    r, config = houses.rig, houses.copy("retro")
    rig.edit(config, KITCHEN, STRAP)
    untouched = content(config)
    what = json.loads(r.done("rebuild", config, "--what", "--json").stdout)
    text = r.done("rebuild", config, "--what").stdout.decode()
    t.equal(content(config), untouched, "--what leaves the store byte for byte")
    t.equal([p.name for p in config.parent.iterdir() if "what" in p.name], [],
            "--what leaves no copy behind")
    changed = [i for i, yes in enumerate(what["days"]["changes"]) if yes]
    t.equal([what["days"]["t"][i] for i in changed], [1767394800, 1767481200],
            "--what names the days of the correction")
    t.has(text, "2026-01-03", "as text, too")
    t.equal([c["name"] for c in what["corrections"]], ["strap_on"], "it names the correction")
    t.has(text, "correction: strap_on: flow_temperature - 0.4 K", "in the text, too")
    t.has(text, "channel room_kitchen: 7 days", "--what counts the days of a new channel")
    t.has(text, "channel flow_temperature: 2 days", "and those of a corrected one")
    t.has(text, "nothing was changed", "and says that it is a question only")

    early = r.verb("report", config, "--from", "2026-01-03", "--to", "2026-01-04")
    t.has(early.stderr.decode(), "knows nothing of channel room_kitchen yet",
          "before the rebuild a reader says what to do")
    done = r.done("rebuild", config)
    t.has(done.stdout.decode(), "7 days derived", "the rebuild derives every day")
    compare(t, rows_of(config), houses.fresh(config), "rebuilt as if it had always been right")
    report = r.done("report", config, "--from", "2026-01-03", "--to", "2026-01-04", "--json")
    after = json.loads(report.stdout)
    for name in ("heat_kwh", "electricity_kwh", "cop"):
        got = after["columns"][name]
        t.equal([what["days"]["after"][name][i] for i in changed], got,
                f"--what foretold {name} of each day")
        t.ok(name == "electricity_kwh" or
             [what["days"]["before"][name][i] for i in changed] != got, f"{name} changed")
    t.equal([c["name"] for c in after["corrections"]], ["strap_on"], "the answer names it")
    t.equal(after["older_mapping_days"], 0, "no day is of the older mapping any more")
    with rig.store(config) as s:
        first = s.execute("SELECT min(minute) FROM minutes WHERE c_room_kitchen NOT NULL")
        t.ok(first.fetchone()[0] < JAN_1, "the channel has its history from the beginning")
    t.equal(r.done("verify", config).returncode, 0, "sums close")


def span_of_days(t, houses):
    """From a day in the midst on: the days before stay, the new channel holds what it said the
    evening before."""
    r, config = houses.rig, houses.copy("span")
    before = rig.energy_rows(config)
    rig.edit(config, KITCHEN, STRAP.replace("2026-01-03", "2025-12-31"))
    r.done("rebuild", config, "--from", "2026-01-04", "--to", "2026-01-05")
    fresh = houses.fresh(config)
    first, last = JAN_1 + 2 * DAY_MIN, JAN_1 + 5 * DAY_MIN  # whole UTC days of these local ones
    after = rig.energy_rows(config)
    t.equal({k: v for k, v in after.items() if not first <= k[0] < last},
            {k: v for k, v in before.items() if not first <= k[0] < last},
            "other days keep their rows")
    got = [row for row in rows_of(config)["minutes"] if first <= dict(row)["minute"] < last]
    wanted = [row for row in fresh["minutes"] if first <= dict(row)["minute"] < last]
    t.equal(len(got), 3 * DAY_MIN, "the span is rebuilt to the end of its last UTC day")
    t.ok(got == wanted, "it is as if the mapping had been there the evening before",
         [p for p in zip(got, wanted) if p[0] != p[1]][:2])
    answer = json.loads(r.done("report", config, "--from", "2026-01-03", "--to", "2026-01-06",
                               "--json").stdout)
    t.equal(answer["older_mapping_days"], 2, "the days beside it are of the older mapping")


def foretold_by_sensitivity(t, houses):
    """Physics of the error budget: Q + S * offset within 0.02 % of Q."""
    r, config = houses.rig, houses.copy("sensitivity")
    query = ("SELECT start_minute, sum(heat_j), sum(sensitivity) FROM energy_days "
             "GROUP BY 1 ORDER BY 1")
    with rig.store(config) as s:
        before = [tuple(row) for row in s.execute(query)]
    rig.edit(config, STRAP.replace("-0.4 K", "0.1 K").replace("2026-01-03", "2025-12-31")
             .replace("to = 2026-01-05\n", ""))
    r.done("rebuild", config)
    with rig.store(config) as s:
        after = [tuple(row) for row in s.execute(query)]
    t.ok(len(before) >= 6, "there are days to compare")
    for (start, heat, sensitivity), (start_after, moved, _) in zip(before, after):
        t.equal(start_after, start, "the same day")
        t.near(moved, heat + 0.1 * sensitivity, 0.0002 * abs(heat),
               f"day at minute {start}: heat moves as its sensitivity foretells")
        t.ok(abs(moved - heat) > 0.005 * abs(heat), "and it does move")


class Reader(threading.Thread):
    """Sums of each UTC day, again and again, each in one read."""

    def __init__(self, config):
        super().__init__()
        self.path = config.parent / "heatbook.db"
        self.seen, self.ends = {}, threading.Event()

    def look(self, s):
        for day, *sums in s.execute(
                "SELECT slot / 23040, count(*), sum(heat_j), sum(sensitivity) "
                "FROM energy_minutes GROUP BY 1"):
            self.seen.setdefault(day, set()).add(tuple(sums))

    def run(self):
        s = sqlite3.connect(f"file:{self.path}?mode=ro", uri=True)
        while not self.ends.is_set():
            self.look(s)
        self.look(s)
        s.close()


def readers_see_whole_days(t, houses):
    r, config = houses.rig, houses.copy("reader")
    rig.edit(config, STRAP.replace("2026-01-03", "2025-12-31").replace("to = 2026-01-05\n", ""))
    reader = Reader(config)
    r.done("report", config, "--from", "2026-01-02")  # the files beside the store are there
    reader.start()
    rig.wait_until(lambda: reader.seen, "the reader reads")
    r.done("rebuild", config)
    reader.ends.set()
    reader.join()
    fresh = Reader(config)
    fresh.ends.set()
    fresh.run()
    last = {day: next(iter(sums)) for day, sums in fresh.seen.items()}
    t.ok(all(len(sums) == 2 for sums in reader.seen.values()),
         "of every day a reader sees the old rows or the new ones, and both", reader.seen)
    t.ok(all(last[day] in sums for day, sums in reader.seen.items()), "the last is what stays")


def broken_off(t, houses):
    r, config = houses.rig, houses.copy("broken")
    rig.edit(config, STRAP)
    process = subprocess.Popen([r.heatbookd, "rebuild", "-c", config], stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE, text=True)

    # Without a pause: some days are a matter of tenths of a second.
    with rig.store(config) as s:
        give_up = time.monotonic() + rig.WAIT_MOST_S
        while not s.execute("SELECT count(*) FROM dirty").fetchone()[0]:
            assert time.monotonic() < give_up, "the span is not marked"
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=rig.WAIT_MOST_S)
    t.equal(process.returncode, 1, "a rebuild that is broken off says so")
    t.has(err, "ended as asked with", "and how much is left")
    done = int(re.search(r"(\d+) days? derived", out).group(1))
    left = int(re.search(r"with (\d+) days? to go", err).group(1))
    # What has passed since the import is a day more.
    t.ok(left > 0 and done + left in (7, 8), "it ended between two days", out + err)
    again = r.done("rebuild", config).stdout.decode()
    t.has(again, "went on where the last one was broken off", "the same command goes on")
    t.has(again, f"{left} day{'' if left == 1 else 's'} derived", "with the days that were left")
    compare(t, rows_of(config), houses.fresh(config), "broken off and gone on")
    t.ok("went on" not in r.done("rebuild", config).stdout.decode(), "a third one begins anew")

    process = subprocess.Popen([r.heatbookd, "rebuild", "--what", "-c", config],
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    rig.wait_until(lambda: list(config.parent.glob("*.what-*/copy.db.lock")), "the copy is made")
    process.send_signal(signal.SIGTERM)
    out, err = process.communicate(timeout=rig.WAIT_MOST_S)
    t.equal((process.returncode, out), (1, ""), "--what can be ended, too")
    t.has(err, "nothing was changed", "and says that nothing was changed")
    t.equal(list(config.parent.glob("*.what-*")), [], "its copy is gone")


def killed(t, houses):
    """By SIGKILL at any moment: nothing is lost, the same command goes on."""
    r, config = houses.rig, houses.copy("killed")
    rig.edit(config, STRAP)
    dice, seed = random.Random(), os.environ.get("SEED") or str(random.randrange(10**6))
    dice.seed(seed)
    begin = time.monotonic()
    r.done("rebuild", config)
    whole_s, kills = time.monotonic() - begin, 0
    for _ in range(int(os.environ.get("KILLS", "4"))):
        process = subprocess.Popen([r.heatbookd, "rebuild", "-c", config],
                                   stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            process.wait(dice.uniform(0, whole_s))
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
            kills += 1
    t.note(f"SEED={seed}: {kills} kills within {whole_s:.2f} s")
    t.ok(kills > 0, "some were killed")
    r.done("rebuild", config)
    compare(t, rows_of(config), houses.fresh(config), "killed and gone on")
    with rig.store(config) as s:
        t.equal(s.execute("SELECT sum(records) FROM chunks").fetchone()[0],
                sum(1 for _ in open(houses.archive, "rb")), "the journal is whole")
    t.equal(r.done("verify", config, "--days", "2").returncode, 0, "and so is the store")


def beside_the_daemon(t, houses):
    r, config = houses.rig, houses.copy("beside")
    daemon = r.serve(config)
    rig.wait_until(lambda: daemon.health()["derivation"]["days_waiting"] == 0, "it caught up")
    rig.edit(config, STRAP)
    refused = r.verb("rebuild", config)
    t.equal(refused.returncode, 1, "a daemon with another mapping in force is not asked")
    t.has(refused.stderr.decode(), "make it read the file again", "and the remedy is named")
    daemon.process.send_signal(signal.SIGHUP)
    rig.wait_until(lambda: "is in force" in daemon.text(), "the file was read again")
    older = daemon.health()["derivation"]["older_mapping_days"]
    t.ok(older >= 6, "health counts the days of the older mapping", older)
    t.has(daemon.text(), "days were made by a former mapping", "the log does, too")
    answer = daemon.get("/v1/energy?from=2026-01-03T00:00:00%2B01:00"
                        "&to=2026-01-04T00:00:00%2B01:00").json()
    t.equal([c["name"] for c in answer["corrections"]], ["strap_on"],
            "an answer that waits for the rebuild names the correction")
    t.ok(answer["older_mapping_days"] > 0, "and says that its rows are older")
    done = r.done("rebuild", config)
    t.has(done.stdout.decode(), "by the running heatbookd", "the daemon derives")
    t.equal(daemon.health()["derivation"]["older_mapping_days"], 0, "no older day is left")
    t.equal(daemon.stop(), 0, "the daemon ends well")
    until = rig.derived_until(config)
    t.ok(until > JAN_1, "rows are there")
    compare(t, rows_of(config), houses.fresh(config), "rebuilt by the daemon")


def sealed_days(t, houses):
    r, config = houses.rig, houses.copy("sealed")
    rig.edit(config, STRAP.replace("2026-01-03", "2025-12-31").replace("to = 2026-01-05\n", ""))
    path = config.parent / "heatbook.db"
    s = sqlite3.connect(path)
    day = 1767225600000 + 2 * 86400000  # 2026-01-03
    chunks = s.execute("SELECT chunk FROM spans WHERE first_ms < ? AND last_ms >= ?",
                       (day + 86400000, day)).fetchall()
    assert chunks
    s.execute("UPDATE chunks SET data = zeroblob(length(data)) WHERE id = ?", chunks[0])
    s.commit()
    s.close()
    before = rig.energy_rows(config, day // 60000, day // 60000 + DAY_MIN)
    done = r.done("rebuild", config).stdout.decode()
    t.has(done, "2026-01-03", "the sealed day is named")
    t.has(done, "sealed day", "as what it is")
    t.equal(rig.energy_rows(config, day // 60000, day // 60000 + DAY_MIN), before,
            "it keeps its rows")
    what = json.loads(r.done("rebuild", config, "--what", "--json").stdout)
    t.ok(what["sealed_days"] >= 1 and "2026-01-03" in what["sealed_dates"],
         "--what names it as well", what["sealed_dates"])
    t.ok("sealed" not in r.done("rebuild", config, "--sealed").stdout.decode(),
         "--sealed takes it anyway")
    t.ok(rig.energy_rows(config, day // 60000, day // 60000 + DAY_MIN) != before,
         "with what the journal still holds")


def misuse(t, houses):
    r, config = houses.rig, houses.first
    for args, part in ((("--from", "soon"), "local dates"),
                       (("--from", "2026-01-05", "--to", "2026-01-04"), "must not lie after"),
                       (("--json",), "are for --what"), (("--what", "--boundary", "H9"), "H2")):
        result = r.verb("rebuild", config, *args)
        t.equal(result.returncode, 2, f"{' '.join(args)} is misuse")
        t.has(result.stderr.decode(), part, "and it says why")
    nothing = r.demo("nothing")
    result = r.verb("rebuild", nothing, "--what")
    t.equal(result.returncode, 1, "without a store there is nothing to foretell")
    t.has(result.stderr.decode(), "nothing is stored", "which it says")


with tap.tests() as main, rig.Rig(*sys.argv[1:3]) as the_rig:
    homes = Houses(the_rig)
    for case in (retroactive_channel, span_of_days, foretold_by_sensitivity,
                 readers_see_whole_days, broken_off, killed, beside_the_daemon, sealed_days, misuse):
        main.note(case.__name__)
        case(main, homes)
