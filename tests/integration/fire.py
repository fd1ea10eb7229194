"""The store under fire: a disk that fills up, damaged pages, files that are moved, replaced or
gone, and what is left behind by kill -9, each with the real daemon and real files.

Law 7: messages are accepted up to the tail's bound, then the newest are refused and counted;
nothing stored is damaged; it recovers by itself; every accepted message is in the journal once,
and the rows are those of a fresh store that is fed with the daemon's own export.

Usage: fire.py HEATBOOKD. Mounts small file systems in memory; where it may not, it tries in a
user namespace of its own (unshare -rm).
"""
import collections
import contextlib
import json
import os
import pathlib
import random
import shutil
import sqlite3
import subprocess
import sys

from rig import (DATA, Publisher, Rig, derived_until, edit, records_of, store, table, wait_until,
                 TABLES)
from tap import tests

NEWEST = len(list((DATA.parent.parent / "sql/schema").glob("*.sql")))  # schema

CONFIG = """[plant]
name = House under fire
zone = UTC
devices = compressor

[broker]
host = 127.0.0.1
port = @BROKER_PORT@
client_id = fire-@NAME@

[source a]
topics = a/#
silent_after = none

[channel flow_temperature]
topic = a/n
pointer = /v
unit = °C
stale_after = 5 min

[channel unit_power]
topic = a/p
unit = W
stale_after = 5 min

[meter unit]
feeds = compressor
power = unit_power

[journal]
tail = @TAIL@
tail_bound = 1 MB
clock_wait = 0 s

[store]
file = @DIR@/heatbook.db
commit_interval = 1 s

[http]
port = 0
"""
PAD = "x" * 4000
PAST_S = 1767571200  # 2026-01-05T00:00:00Z
DAY_S = 86400
LONG = 120000  # lines; an import commits each 50,000


class House:
    """A configuration with its store on a disk of its own, and what it was told."""

    def __init__(self, rig, name, broker, size="4m", tail_size=None):
        self.rig, self.name, self.broker = rig, name, broker
        self.home = rig.dir / name
        self.home.mkdir()
        self.mount(self.home, size)
        tail = self.home / "tail" if tail_size is None else rig.dir / (name + "-tail")
        tail.mkdir(exist_ok=True)
        if tail_size is None:  # not on the disk that fills up
            tail = rig.dir / (name + "-tail")
            (self.home / "tail").rmdir()
            tail.mkdir()
        else:
            self.mount(tail, tail_size)
        self.tail = tail
        text = CONFIG.replace("@TAIL@", str(tail)).replace("@NAME@", name)
        self.config = rig.config(name, text, broker.port)
        self.db = self.home / "heatbook.db"
        self.publisher = Publisher(broker.port)
        self.sent = self.fresh = 0

    @staticmethod
    def mount(path, size):
        subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", path], check=True)

    def remount(self, how):
        return subprocess.run(["mount", "-o", f"remount,{how}", self.home],
                              stderr=subprocess.PIPE).returncode

    def end(self):
        self.publisher.close()
        for path in (self.home, self.tail):
            subprocess.run(["umount", "-l", path], stderr=subprocess.DEVNULL)

    def serve(self):
        daemon = self.rig.serve(self.config)
        daemon.wait_subscribed()
        return daemon

    def say(self, count, pad=""):
        for _ in range(count):
            self.sent += 1
            self.publisher.publish("a/n", json.dumps({"v": 30 + self.sent % 10, "n": self.sent,
                                                      "pad": pad}))

    def archive(self, name, day, lines=300):
        """Lines of two hours of a past day."""
        path = self.rig.dir / name
        begin = PAST_S + day * 86400 + 3600
        with open(path, "w", encoding="utf-8") as f:
            for i in range(lines):
                f.write(f'{begin + 24 * i} a/n {{"v":{30 + i % 7},"n":"{name}-{i}"}}\n')
                f.write(f"{begin + 24 * i + 5} a/p {900 + i % 50}\n")
        return path

    def long_archive(self, days=6):
        """Lines that hardly pack, more than two of the import's commits hold."""
        path, dice = self.rig.dir / "long.txt", random.Random(1)
        with open(path, "w", encoding="utf-8") as f:
            for i in range(LONG):
                moment = PAST_S + DAY_S + i * days * DAY_S // LONG
                f.write(f'{moment} a/n {{"v":{30 + i % 7},"n":"long-{i}",'
                        f'"pad":"{dice.getrandbits(128):x}"}}\n')
        return path

    def fill(self, leave=0):
        """Leaves no block free, or so many bytes."""
        with open(self.home / "ballast", "ab", buffering=0) as f:
            with contextlib.suppress(OSError):
                while True:
                    f.write(b"\0" * 4096)
            f.truncate(f.tell() - leave)

    def free(self):
        (self.home / "ballast").unlink()

    def with_more_and_more(self, step, act, has_begun):
        """Acts with so many bytes free, and with more until it gets at its work; the result. How
        much its first transaction needs is the store's business."""
        for left in range(step, 64 * step, step):
            self.fill(leave=left)
            result = act()
            self.free()
            if result.returncode == 0 or has_begun():
                break
        return result

    def journal(self, name="out"):
        """Exported records, and the file that they are in."""
        path = self.rig.export(self.config, f"{self.name}-{name}.jsonl")
        return records_of(path), path


def text(result):
    return (result.stderr + result.stdout).decode()


def accepted(daemon):
    return daemon.health()["messages"]["accepted"]


def broken(daemon):
    answer = daemon.get("/v1/health")
    found = {b["limit"]: b["detail"] for b in answer.json()["broken"]}
    assert (answer.status == 503) == bool(found), answer.body
    return found


def healthy(daemon):
    return not broken(daemon)


def commits(daemon):
    return daemon.health()["store"]["last_commit"] or 0


def wait_commit(daemon):
    before = commits(daemon)
    wait_until(lambda: commits(daemon) > before or daemon.health()["journal"]["tail_bytes"] == 0,
               "a commit")


def numbers(records):
    return collections.Counter(json.loads(r["payload"])["n"] for r in records
                               if r["kind"] == "message" and r["topic"] == "a/n")


def same_as_fresh(tap, house, name):
    """The rows are those of a fresh store that is fed with the daemon's own export."""
    _, path = house.journal("last")
    house.fresh += 1
    home = f"{house.name}-fresh-{house.fresh}"
    fresh = house.rig.config(home, house.config.read_text().replace(
        str(house.db), str(house.rig.dir / home / "heatbook.db")), 1)
    house.rig.done("import", fresh, path)
    until = min(derived_until(house.config), derived_until(fresh))
    for kind in TABLES:
        tap.ok(table(house.config, kind, until) == table(fresh, kind, until),
               f"{name}: its export gives the same {kind}")
    result = house.rig.verb("verify", house.config)
    tap.equal(result.returncode, 0, f"{name}: verify finds nothing")


def refused(tap, result, words, name):
    tap.equal(result.returncode, 1, f"{name}: exit 1")
    for word in words:
        tap.has(text(result), word, f"{name}: it says {word!r}")


# ---- a full disk ----

def disk_full_while_running(tap, house):
    house.rig.done("import", house.config, house.archive("full-0.txt", 0))
    daemon = house.serve()
    house.say(20)
    wait_until(lambda: accepted(daemon) == 20, "the first messages")
    wait_commit(daemon)
    house.fill()
    house.say(40, PAD)
    fault = wait_until(lambda: broken(daemon).get("commit"), "a commit fails")
    tap.has(fault, "full; free space", "disk full: health says what helps")
    while daemon.health()["messages"]["refused"] == 0:
        house.say(20, PAD)
    house.say(5, PAD)
    wait_until(lambda: sum(daemon.health()["messages"][k] for k in ("accepted", "refused"))
               == house.sent, "every message is counted")
    messages = daemon.health()["messages"]
    tap.ok(messages["accepted"] * len(PAD) > 800000, "disk full: accepted up to the tail's bound",
           messages)
    tap.ok("tail" in broken(daemon), "disk full: health names the tail", broken(daemon))
    tap.has(daemon.text(), "messages are not accepted", "disk full: the log says so")
    tap.equal(house.rig.verb("export", house.config, "--journal").returncode, 0,
              "disk full: the journal can be read")
    house.free()
    wait_until(lambda: healthy(daemon), "it recovers by itself")
    house.say(3)
    wait_until(lambda: accepted(daemon) == messages["accepted"] + 3, "accepted again")
    daemon.stop()
    records, _ = house.journal()
    counts = numbers([r for r in records if r["boot_ms"] is not None])
    tap.equal(len(counts), messages["accepted"] + 3, "disk full: every accepted message is there")
    tap.equal([n for n, c in counts.items() if c > 1], [], "disk full: each once")
    tap.equal(sum(r["count"] for r in records if r["kind"] == "refused"), messages["refused"],
              "disk full: a record counts those that were refused")
    same_as_fresh(tap, house, "disk full")


def disk_full_at_the_other_stages(tap, house):
    """Import, derivation, rebuild, the opening, an upgrade."""
    rig = house.rig
    rig.done("import", house.config, house.archive("stage-0.txt", 0))
    rows = table(house.config, "energy_minutes")
    house.fill()
    late = house.archive("stage-1.txt", 1, 3000)
    refused(tap, rig.verb("import", house.config, late), ["full", "free space"], "full at import")
    result = rig.verb("rebuild", house.config)
    tap.ok(result.returncode in (0, 1), "full at rebuild: it ends", text(result))
    tap.ok(result.returncode == 0 or "free space" in text(result), "full at rebuild: it says why",
           text(result))
    for ending in ("-wal", "-shm"):  # which an opening has to make
        with contextlib.suppress(FileNotFoundError):
            pathlib.Path(f"{house.db}{ending}").unlink()
    house.fill()
    result = rig.verb("serve", house.config)
    refused(tap, result, [str(house.db)], "full at start")
    house.free()
    tap.equal(table(house.config, "energy_minutes"), rows, "full: the rows are as they were")
    tap.equal(rig.verb("verify", house.config).returncode, 0, "full: nothing is damaged")
    rig.done("import", house.config, late)
    rig.done("rebuild", house.config)
    same_as_fresh(tap, house, "full at import")


def filed(config):
    """Records that are in the store."""
    with store(config) as s:
        return s.execute("SELECT coalesce(sum(records), 0) FROM chunks").fetchone()[0]


def days_of(config):
    """Rows by UTC day."""
    days = collections.defaultdict(list)
    for row in table(config, "minutes"):
        days[dict(row)["minute"] // 1440].append(row)
    return days


def import_midway(tap, house, what):
    """An import that the disk has no room for after a while, and once more when it has."""
    rig, long = house.rig, house.long_archive()
    before = filed(house.config)
    result = house.with_more_and_more(
        512 << 10, lambda: rig.verb("import", house.config, long),
        lambda: filed(house.config) > before)
    refused(tap, result, ["full", "free space"], f"{what}: import")
    some = filed(house.config) - before
    tap.ok(0 < some <= LONG, f"{what}: the import was amid its work", some)


def disk_full_midway(tap, house):
    """Import and rebuild alone: what was committed before stays, and no more is needed than
    room and the same command."""
    rig = house.rig
    rig.done("import", house.config, house.archive("mid-0.txt", 0))
    rows = days_of(house.config)[PAST_S // DAY_S]
    import_midway(tap, house, "full midway")
    tap.equal(days_of(house.config)[PAST_S // DAY_S], rows, "full midway: older rows stay")
    tap.equal(rig.verb("verify", house.config).returncode, 0, "full midway: nothing is damaged")
    rig.done("import", house.config, rig.dir / "long.txt")
    tap.ok(filed(house.config) >= LONG, "full midway: with space the same command takes it all")
    same_as_fresh(tap, house, "full midway, then imported")

    edit(house.config, ("pointer = /v\n", "pointer = /v\noffset = 1\n"))
    def left():
        with store(house.config) as s:
            return s.execute("SELECT count(*) FROM dirty").fetchone()[0]
    result = house.with_more_and_more(8 << 10, lambda: rig.verb("rebuild", house.config), left)
    refused(tap, result, ["full", "free space"], "full midway: rebuild")
    tap.ok(left() > 0, "full midway: the rebuild was amid its work")
    result = rig.done("rebuild", house.config)
    tap.has(text(result), "went on where the last one was broken off",
            "full midway: with space the same command goes on")
    same_as_fresh(tap, house, "full midway, then rebuilt")


def disk_full_beside(tap, house):
    """The same beside a daemon, which goes on whatever becomes of import and rebuild."""
    rig = house.rig
    daemon = house.serve()
    house.say(5)
    wait_until(lambda: accepted(daemon) == 5, "messages")
    house.fill(leave=1 << 20)
    refused(tap, rig.verb("import", house.config, house.long_archive()), ["full", "free space"],
            "full beside a daemon: import")
    house.free()
    house.say(5)
    wait_until(lambda: accepted(daemon) == 10, "the daemon goes on")
    rig.done("import", house.config, rig.dir / "long.txt")
    house.fill()
    result = rig.verb("rebuild", house.config)
    refused(tap, result, ["free space"], "full beside a daemon: rebuild")
    house.say(5)
    wait_until(lambda: accepted(daemon) == 15, "messages are accepted on a full disk")
    house.free()
    rig.done("rebuild", house.config)
    wait_until(lambda: healthy(daemon), "the daemon is well again")
    tap.equal(daemon.stop(), 0, "full beside a daemon: it ends in good order")
    counts = numbers([r for r in house.journal()[0] if r["boot_ms"] is not None])
    tap.equal((len(counts), max(counts.values())), (15, 1),
              "full beside a daemon: every message is there once")
    same_as_fresh(tap, house, "full beside a daemon")


def disk_full_while_upgrading(tap, house):
    rig = house.rig
    with sqlite3.connect(house.db) as s:
        s.executescript((DATA / "schema/001.sql").read_text(encoding="utf-8"))
    s.close()
    config = house.home / "kept.conf"
    config.write_text((DATA / "schema/store.conf").read_text(encoding="utf-8") +
                      f"\n[journal]\ntail = {house.tail}\n[store]\nfile = {house.db}\n"
                      "[http]\nport = 0\n")
    before = house.db.read_bytes()
    house.fill()
    refused(tap, rig.verb("serve", config), [str(house.db)], "full while upgrading")
    tap.ok(house.db.read_bytes() == before, "full while upgrading: the file is as it was")
    house.free()
    daemon = rig.serve(config)
    tap.equal(daemon.health()["store"]["schema"], NEWEST, "with space the upgrade is made")
    daemon.stop()
    tap.equal(rig.verb("verify", config).returncode, 0, "and nothing is damaged")


def tail_full(tap, house):
    daemon = house.serve()
    house.say(5)
    wait_until(lambda: accepted(daemon) == 5, "messages")
    wait_commit(daemon)
    with open(house.tail / "ballast", "ab", buffering=0) as f:
        with contextlib.suppress(OSError):
            while True:
                f.write(b"\0" * 4096)
    while daemon.health()["messages"]["refused"] == 0:
        house.say(5, PAD)
    wait_until(lambda: sum(daemon.health()["messages"][k] for k in ("accepted", "refused"))
               == house.sent, "every message is counted")
    lost = daemon.health()["messages"]["refused"]
    (house.tail / "ballast").unlink()
    house.say(3)
    wait_until(lambda: sum(daemon.health()["messages"][k] for k in ("accepted", "refused"))
               == house.sent, "every message is counted")
    tap.equal(daemon.health()["messages"]["refused"], lost, "tail full: accepted again with space")
    daemon.stop()
    counts = numbers(house.journal()[0])
    tap.equal(len(counts), house.sent - lost, "tail full: every accepted message is there")
    tap.equal([n for n, c in counts.items() if c > 1], [], "tail full: each once")
    same_as_fresh(tap, house, "tail full")


# ---- damage ----

def overwrite_root(db, name):
    """Bytes in the first page of a table or index, behind SQLite's back."""
    with sqlite3.connect(db) as s:
        s.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        page = s.execute("SELECT rootpage FROM sqlite_schema WHERE name = ?",
                         (name,)).fetchone()[0]
    s.close()
    for ending in ("-wal", "-shm"):
        with contextlib.suppress(FileNotFoundError):
            pathlib.Path(f"{db}{ending}").unlink()
    with open(db, "r+b") as f:
        f.seek((page - 1) * 4096)
        f.write(b"\xa5" * 64)


def damaged_page(tap, house, name, crash):
    """With a crash the check at the start finds it, else the first commit does."""
    rig, what = house.rig, f"{name} overwritten after a {'crash' if crash else 'clean stop'}"
    rig.done("import", house.config, house.archive(f"page-{house.name}.txt", 0))
    daemon = house.serve()
    house.say(5)
    wait_until(lambda: accepted(daemon) == 5, "messages")
    wait_commit(daemon)
    if crash:
        daemon.kill()
    else:
        daemon.stop()
    backup = rig.dir / f"{house.name}-backup.db"
    with sqlite3.connect(house.db) as s:
        s.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    s.close()
    shutil.copy(house.db, backup)
    overwrite_root(house.db, name)
    before = house.db.read_bytes()
    daemon = house.serve()
    if crash:
        tap.has(daemon.text(), "was not left in good order; it is being checked",
                f"{what}: it is checked")
    house.say(7)
    found = wait_until(lambda: broken(daemon).get("store"), "the damage is found")
    tap.has(found, "put a backup in its place", f"{what}: health says what helps")
    tap.has(daemon.text(), "damaged", f"{what}: the log says so")
    wait_until(lambda: accepted(daemon) == 7, "messages are accepted")
    tap.equal(daemon.stop(), 0, f"{what}: it ends in good order")
    tap.ok(house.db.read_bytes() == before, f"{what}: not a byte of it was written")
    result = rig.verb("verify", house.config)
    tap.equal(result.returncode, 1, f"{what}: verify exits 1")
    for path in house.home.glob("heatbook.db*"):
        path.unlink()
    shutil.copy(backup, house.db)
    daemon = house.serve()
    wait_until(lambda: daemon.health()["journal"]["tail_bytes"] < 400, "the tail is filed")
    daemon.stop()
    counts = numbers([r for r in house.journal()[0] if r["boot_ms"] is not None])
    tap.equal(len(counts), 12, f"{what}: with the backup every accepted message is there")
    tap.equal([n for n, c in counts.items() if c > 1], [], f"{what}: each once")
    same_as_fresh(tap, house, what)


def damaged_chunk(tap, house):
    rig = house.rig
    archive = house.archive("chunk-0.txt", 0)
    rig.done("import", house.config, archive)
    rows = table(house.config, "energy_minutes")
    with sqlite3.connect(house.db) as s:
        chunk, data = s.execute("SELECT id, data FROM chunks").fetchone()
        s.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    s.close()
    content = house.db.read_bytes()
    at = content.find(data[200:260])  # within one page
    assert at > 0
    with open(house.db, "r+b") as f:
        f.seek(at)
        f.write(bytes(b ^ 0xff for b in data[200:260]))
    daemon = house.serve()
    late = rig.dir / "chunk-late.txt"
    late.write_text(f'{PAST_S + 3700} a/n {{"v":50,"n":"late"}}\n')
    tap.equal(rig.verb("import", house.config, late).returncode, 0, "an import beside the daemon")
    health = wait_until(lambda: daemon.health()["journal"]["damaged"], "the chunk is named")
    tap.equal((health[0]["chunk"], health[0]["sealed_days"]), (chunk, 1),
              "damaged chunk: health names it and the sealed day")
    tap.ok(abs(health[0]["from"] - PAST_S - 3600) < 1, "damaged chunk: with its span", health)
    tap.has(daemon.text(), f"journal chunk {chunk} is damaged and was set aside",
            "damaged chunk: the log says so")
    tap.ok(healthy(daemon), "damaged chunk: derivation goes on", broken(daemon))
    daemon.stop()
    tap.equal(table(house.config, "energy_minutes"), rows, "damaged chunk: its day keeps its rows")
    result = rig.verb("verify", house.config)
    tap.equal(result.returncode, 3, "damaged chunk: verify exits 3")
    tap.has(text(result), "import " + str(archive) + " again", "damaged chunk: and says what helps")
    result = rig.verb("rebuild", house.config)
    tap.has(text(result), "1 sealed day kept its rows",
            "damaged chunk: a rebuild says what it left")
    tap.equal(table(house.config, "energy_minutes"), rows, "damaged chunk: and leaves it")
    result = rig.verb("export", house.config, "--journal")
    tap.equal(result.returncode, 1, "damaged chunk: export exits 1")
    tap.has(result.stdout.decode(), '"n\\":\\"late', "damaged chunk: after all that can be read")
    rig.done("import", house.config, archive)
    tap.equal(rig.verb("verify", house.config).returncode, 0, "its archive again mends it")
    same_as_fresh(tap, house, "damaged chunk, mended")


def damaged_today(tap, house):
    """A live chunk of the present day, met when the daemon reads its state back."""
    daemon = house.serve()
    house.say(60, PAD[:200])
    wait_until(lambda: accepted(daemon) == 60, "messages")
    wait_commit(daemon)
    daemon.stop()
    with contextlib.closing(sqlite3.connect(house.db)) as s:
        chunk, data = s.execute("SELECT id, data FROM chunks ORDER BY length(data) DESC"
                                ).fetchone()
        s.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    at = house.db.read_bytes().find(data[20:60])
    assert at > 0
    with open(house.db, "r+b") as f:
        f.seek(at)
        f.write(bytes(b ^ 0xff for b in data[20:60]))
    daemon = house.serve()
    found = wait_until(lambda: daemon.health()["journal"]["damaged"], "the chunk is named")
    tap.equal(found[0]["chunk"], chunk, "a chunk of today: health names it")
    house.say(3)
    wait_until(lambda: accepted(daemon) == 3, "messages")
    wait_commit(daemon)
    wait_until(lambda: daemon.health()["derivation"]["days_waiting"] == 0 and healthy(daemon),
               "derivation goes on")
    tap.ok("derivation: " not in daemon.text(), "a chunk of today: derivation goes on",
           daemon.text())
    daemon.stop()
    tap.equal(house.rig.verb("verify", house.config).returncode, 3,
              "a chunk of today: verify exits 3")


# ---- what is left behind, and what is taken away ----

def left_behind(tap, house):
    rig = house.rig
    rig.done("import", house.config, house.archive("left-0.txt", 0))
    daemon = house.serve()
    house.say(5)
    wait_until(lambda: accepted(daemon) == 5, "messages")
    wait_commit(daemon)
    daemon.kill()
    wal = pathlib.Path(f"{house.db}-wal")
    tap.ok(wal.stat().st_size > 0, "kill -9 leaves a WAL behind")
    pathlib.Path(f"{house.db}-shm").unlink()
    daemon = house.serve()
    tap.has(daemon.text(), "is sound (checked in", "it is checked, and how long that took is said")
    house.say(2)
    wait_until(lambda: accepted(daemon) == 2, "messages")
    wait_commit(daemon)
    daemon.stop()
    daemon = house.serve()
    tap.ok("being checked" not in daemon.text(), "after a clean stop nothing is checked")
    daemon.kill()
    counts = numbers([r for r in house.journal()[0] if r["boot_ms"] is not None])
    tap.equal((len(counts), max(counts.values())), (7, 1), "without -shm: every message, once")
    with contextlib.suppress(FileNotFoundError):
        wal.unlink()  # whatever was not in the file yet is gone; it must be whole all the same
    daemon = house.serve()
    wait_until(lambda: healthy(daemon), "health without the WAL")
    daemon.stop()
    same_as_fresh(tap, house, "without -wal")


def taken_away(tap, house):
    rig = house.rig
    daemon = house.serve()
    house.say(5)
    wait_until(lambda: accepted(daemon) == 5, "messages")
    wait_commit(daemon)
    away = house.home / "away.db"
    house.db.rename(away)
    house.db.mkdir()
    house.say(5)
    fault = wait_until(lambda: broken(daemon).get("commit"), "a commit fails")
    tap.has(fault, "was moved, removed or replaced while in use", "replaced: health says so")
    house.db.rmdir()
    away.rename(house.db)
    wait_until(lambda: healthy(daemon), "with the file back it goes on")
    pathlib.Path(f"{house.db}-wal").unlink()
    house.say(5)
    fault = wait_until(lambda: broken(daemon).get("commit"), "a commit fails")
    tap.has(fault, "heatbook.db-wal was moved", "-wal removed in use: health says so")
    daemon.stop()
    daemon = house.serve()
    wait_until(lambda: healthy(daemon), "a new start mends it")
    daemon.stop()
    counts = numbers(house.journal()[0])
    tap.equal((len(counts), max(counts.values())), (15, 1), "taken away: every message, once")
    house.db.rename(away)
    house.db.mkdir()
    refused(tap, rig.verb("serve", house.config), [str(house.db), "cannot"], "a directory")
    house.db.rmdir()
    away.rename(house.db)
    same_as_fresh(tap, house, "taken away")


def read_only(tap, house):
    rig = house.rig
    rig.done("import", house.config, house.archive("only-0.txt", 0))
    late = house.archive("only-1.txt", 1)
    tap.equal(house.remount("ro"), 0, "the disk is read-only now")
    for verb, args in (("serve", ()), ("import", (late,)), ("rebuild", ())):
        result = rig.verb(verb, house.config, *args)
        tap.equal(result.returncode, 1, f"read-only at {verb}: exit 1")
        tap.ok("heatbook.db" in text(result), f"read-only at {verb}: the file is named",
               text(result))
    tap.equal(house.remount("rw"), 0, "and can be written again")
    rig.done("import", house.config, late)
    same_as_fresh(tap, house, "read-only and back")


CASES = (
    ("full", disk_full_while_running, {}),
    ("stages", disk_full_at_the_other_stages, {}),
    ("midway", disk_full_midway, {"size": "24m"}),
    ("beside", disk_full_beside, {"size": "24m"}),
    ("upgrade", disk_full_while_upgrading, {}),
    ("tail", tail_full, {"tail_size": "256k"}),
    ("minutes", lambda tap, house: damaged_page(tap, house, "minutes", True), {}),
    ("chunks", lambda tap, house: damaged_page(tap, house, "chunks", False), {}),
    ("spans", lambda tap, house: damaged_page(tap, house, "spans_by_time", False), {}),
    ("chunk", damaged_chunk, {}),
    ("today", damaged_today, {}),
    ("left", left_behind, {}),
    ("away", taken_away, {}),
    ("only", read_only, {}),
)


def may_mount():
    path = pathlib.Path(os.environ.get("TMPDIR", "/tmp")) / f"heatbook-mount-{os.getpid()}"
    path.mkdir()
    done = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", path],
                          stderr=subprocess.DEVNULL).returncode == 0
    if done:
        subprocess.run(["umount", path], check=True)
    path.rmdir()
    return done


def main(tap, heatbookd):
    chosen = os.environ.get("CASES", "").split()
    with Rig(heatbookd) as rig:
        broker = rig.broker()
        for name, case, more in CASES:
            if chosen and name not in chosen:
                continue
            house = House(rig, name, broker, **more)
            try:
                case(tap, house)
            finally:
                for process in rig.endings[1:]:
                    if process.poll() is None:
                        process.kill()
                        process.wait()
                house.end()


if not may_mount():
    if "FIRE_INSIDE" not in os.environ and subprocess.run(
            ["unshare", "-rm", "true"], stderr=subprocess.DEVNULL).returncode == 0:
        os.environ["FIRE_INSIDE"] = "1"
        os.execvp("unshare", ["unshare", "-rm", sys.executable, *sys.argv])
    print("1..0 # SKIP no file system may be mounted here: NOTHING of the store under fire was "
          "tried; run it as root")
    sys.exit(0)
with tests() as tap_of_main:
    main(tap_of_main, sys.argv[1])
