"""Backups of a store that is being written to, and the way back from one.

A copy is of one moment, whole, checked and named only then; whatever fails leaves older ones as
they are. Restored while the tail already counts on from a newer store, everything that is in the
backup, in the tail and still to come is there once, and the rows are those of a fresh store.

Usage: backup.py HEATBOOKD DEMO_PLANT
"""
import collections
import json
import os
import pathlib
import shutil
import signal
import sqlite3
import subprocess
import sys

from rig import Publisher, Rig, derived_until, end_process, records_of, table, wait_until, TABLES
from tap import tests

BEGIN, END = "2025-01-18T00:00:00+01:00", "2025-01-18T06:00:00+01:00"
METER = """[plant]
zone = UTC
[broker]
host = 127.0.0.1
port = @BROKER_PORT@
[channel heater_power]
topic = heater
pointer = /w
unit = W
time = payload
time_pointer = /t
[meter heater]
feeds = immersion
power = heater_power
[journal]
tail = @DIR@/tail
clock_wait = 0 s
[store]
file = @DIR@/heatbook.db
[http]
port = @HTTP_PORT@
"""
NOON = 1737201600  # 2025-01-18T12:00:00Z
OLDER = ["heatbook-20200101T000000Z.db", "heatbook-20200102T000000Z.db"]
OTHERS = ["cellar-20200101T000000Z.db", "heatbook-notes.txt", "heatbook-20200101.db"]


def names(directory):
    return sorted(p.name for p in directory.iterdir())


def backups(directory):
    return [n for n in names(directory) if n.startswith("heatbook-2") and n not in OLDER + OTHERS]


def is_whole(path):
    with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as copy:
        return copy.execute("PRAGMA quick_check").fetchone()[0] == "ok"


def fact(path, name):
    with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as s:
        return s.execute("SELECT value FROM facts WHERE name = ?", (name,)).fetchone()[0]


def fatten(database):
    """So big that a copy can be met half made."""
    with sqlite3.connect(database) as s:
        s.execute("CREATE TABLE ballast (b BLOB)")
        s.executemany("INSERT INTO ballast VALUES (zeroblob(1000000))", [()] * 40)
    s.close()


def refusals(tap, rig):
    config = rig.demo("refused")
    rig.done("import", config, rig.archive(BEGIN, END))
    target = rig.dir / "kept"
    target.mkdir()

    def refused(what, words, *args, status=1, run=None):
        before = names(target)
        result = run() if run else rig.verb("backup", config, *args)
        tap.equal(result.returncode, status, f"{what}: refused")
        for word in words:
            tap.has(result.stderr.decode(), word, f"{what}: the message says {word}")
        tap.equal(names(target), before, f"{what}: older backups stay, nothing is left behind")

    rig.done("backup", config, target)
    tap.equal(len(backups(target)), 1, "a store without a daemon is backed up")
    refused("no directory", ["takes one directory"], status=2)
    refused("no number", ["--keep"], "--keep", "few", target, status=2)
    refused("a directory that is missing", ["absent", "No such file"], rig.dir / "absent")
    refused("the store's own directory", ["holds the store itself", "another directory"],
            config.parent)
    link = rig.dir / "link"
    link.symlink_to(config.parent)
    refused("a link to it", ["holds the store itself"], link)

    half = (config.parent / "heatbook.db").stat().st_size // 2

    def full():  # a file system of half the store's size that ends with its process
        script = (f'mount -t tmpfs -o size={half} none "$2" && cp -p "$3"/heatbook-2* "$2"/; '
                  '"$0" backup -c "$1" "$2"; r=$?; [ "$(ls -A "$2")" = "$(ls -A "$3")" ] && echo one file is left >&2; exit $r')
        return subprocess.run(
            ["unshare", "-m"] + (["-r"] if os.geteuid() else []) +
            ["sh", "-c", script, rig.heatbookd, config, rig.dir / "small", rig.dir / "empty"],
            stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, check=False)
    (rig.dir / "small").mkdir()
    (rig.dir / "empty").mkdir()
    (rig.dir / "empty" / OLDER[0]).write_text("older")
    refused("a full file system", ["no room", "one file is left"], run=full)

    database = config.parent / "heatbook.db"
    with open(database, "r+b") as f:
        f.seek(9 * 4096)
        f.write(os.urandom(4096))
    refused("a damaged store", ["the store is damaged", "verify"], "--keep", "1", target)


def keeping(tap, rig):
    config = rig.demo("keep")
    rig.done("import", config, rig.archive(BEGIN, END, out="keep.txt"))
    target = rig.dir / "rotated"
    target.mkdir()
    for name in OLDER + OTHERS:
        (target / name).write_text("older")
    result = rig.done("backup", config, "--keep", "2", target)
    tap.has(result.stdout.decode(), "checked", "the answer names the file and says it is checked")
    new = backups(target)
    tap.equal(names(target), sorted(new + OLDER[1:] + OTHERS),
              "--keep 2 removes the older of two and no other's file")
    tap.ok(is_whole(target / new[0]), "the copy is whole")
    tap.equal((target / new[0]).stat().st_mode & 0o777, 0o600, "the copy is its owner's alone")
    # A channel that the store knows nothing of yet is no reason to make no backup.
    wider = rig.dir / "keep" / "wider.conf"
    wider.write_text(config.read_text() + "\n[channel attic]\ntopic = a/b\n")
    tap.equal(rig.verb("backup", wider, target).returncode, 0, "a newer configuration backs up too")
    # The copy is a store: it opens, and all of it is there.
    copied = rig.demo("copied")
    shutil.copy(target / new[0], copied.parent / "heatbook.db")
    tap.equal(rig.verb("verify", copied).returncode, 0, "verify is content with it")
    for name in TABLES:
        tap.ok(table(config, name) == table(copied, name), f"it holds the same {name}")


def beside_the_daemon(tap, rig):
    broker = rig.broker()
    config = rig.demo("live", broker.port,
                      lambda text: text.replace("[store]", "[store]\ncommit_interval = 1 s"))
    rig.done("import", config, rig.archive(BEGIN, END, out="live.txt"))
    database = config.parent / "heatbook.db"
    fatten(database)
    daemon = rig.serve(config)
    plant = rig.plant("live", "--host", "127.0.0.1", "--port", str(broker.port))
    target = rig.dir / "running"
    target.mkdir()
    (target / OLDER[0]).write_text("older")

    partial = target / "heatbook.partial"

    def stopped_in_time():
        """A backup, and whether it stands still in the middle of its copying."""
        process = subprocess.Popen([rig.heatbookd, "backup", "-c", config, target],
                                   stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
        rig.endings.append(process)
        wait_until(lambda: process.poll() is not None
                   or partial.exists() and partial.stat().st_size > 0, "the copy has begun",
                   each_s=0.001)
        process.send_signal(signal.SIGSTOP)
        wait_until(lambda: process.poll() is not None
                   or "T" in pathlib.Path(f"/proc/{process.pid}/stat").read_text()
                   .rpartition(")")[2].split()[0], "the copy is stopped")
        half = partial.exists() and 0 < partial.stat().st_size < database.stat().st_size
        return process, process.poll() is None and half

    def begun():
        """The same; a busy machine may look up only when a copy is whole."""
        before = names(target)
        for _ in range(50):
            process, half = stopped_in_time()
            if half:
                break
            process.kill()
            process.wait()
            process.stderr.close()
            for name in set(names(target)) - set(before):
                (target / name).unlink()
        return process, half

    before = fact(database, "version")
    process, half = begun()
    tap.ok(half, "a backup is stopped half way")
    at_stop = fact(database, "version")
    wait_until(lambda: fact(database, "version") >= at_stop + 3, "three commits meanwhile")
    tap.ok(True, "a backup that stands still does not hold commits up")
    second = rig.verb("backup", config, target)
    tap.has(second.stderr.decode(), "another backup", "a second one says that there is a first")
    tap.equal(second.returncode, 1, "and makes nothing")
    process.send_signal(signal.SIGCONT)
    tap.equal(process.wait(60), 0, "the commits do not make it fail or begin anew")
    process.stderr.close()
    made = backups(target)
    tap.equal(len(made), 1, "it has its name")
    tap.ok(is_whole(target / made[0]), "it is whole")
    tap.ok(before <= fact(target / made[0], "version") <= at_stop,
           "it is of the moment when it began")

    process, half = begun()
    process.kill()
    process.wait()
    process.stderr.close()
    (target / "heatbook.partial-wal").write_text("of the killed one")
    tap.ok(half and (target / "heatbook.partial").exists(), "a killed one leaves a partial file")
    tap.equal(backups(target), made, "and no backup")
    wait_until(lambda: rig.verb("backup", config, target).returncode == 0, "the next one is made")
    tap.equal(names(target), sorted([OLDER[0]] + backups(target)), "and clears that away")
    tap.equal(daemon.health()["store"]["commit_fault"], "", "the daemon never failed to commit")
    tap.equal(daemon.stop(), 0, "the daemon ends in good order")
    end_process(plant)
    broker.stop()


def messages_of(path):
    return collections.Counter(r["payload"] for r in records_of(path) if r["kind"] == "message")


def restore(tap, rig):
    broker = rig.broker()
    config = rig.config("restored", METER, broker.port)
    home, target = config.parent, rig.dir / "far"
    target.mkdir()
    said = {}

    def run(name, end):
        """A daemon's life with forty messages of its own; `end` is how it goes."""
        daemon = rig.serve(config)
        daemon.wait_subscribed()
        # Until its start is committed, the same commit may take messages along.
        wait_until(lambda: daemon.health()["store"]["last_commit"], "its start is committed")
        publisher = Publisher(broker.port)
        said[name] = {json.dumps({"w": 100 + i, "t": NOON + 20 * (40 * len(said) + i)})
                      for i in range(40)}
        for payload in said[name]:
            publisher.publish("heater", payload)
        publisher.close()
        wait_until(lambda: daemon.health()["messages"]["accepted"] >= 40, "all are accepted")
        end(daemon)

    def journal():
        return messages_of(rig.export(config, "restored.jsonl"))

    def expect(name_list, what):
        tap.equal(journal(), collections.Counter(set().union(*(said[n] for n in name_list))), what)

    run("saved", lambda d: d.stop())
    rig.done("backup", config, target)
    backup = target / backups(target)[0]
    run("committed", lambda d: d.stop())
    run("waiting", lambda d: d.kill())
    tap.ok((home / "heatbook.db-wal").exists(), "the killed daemon left a WAL")

    # The way that README.md tells.
    aside = rig.dir / "aside"
    aside.mkdir()
    for file in home.glob("heatbook.db*"):
        shutil.move(file, aside / file.name)
    shutil.copy(backup, home / "heatbook.db")
    tap.ok(fact(home / "heatbook.db", "committed_sequence") <
           fact(aside / "heatbook.db", "committed_sequence"), "the store is older than the tail")
    expect(["saved", "waiting"], "restored: the tail's messages are still to be committed")
    run("later", lambda d: d.stop())
    expect(["saved", "waiting", "later"], "the daemon takes the tail and goes on, each once")
    tap.equal(rig.verb("verify", config).returncode, 0, "verify is content")

    # What only the store that was put aside had comes back from its own export.
    old = rig.config("old", METER, broker.port)
    for file in aside.iterdir():
        shutil.copy(file, old.parent / file.name)
    rig.done("import", config, rig.export(old, "old.jsonl"))
    lost = said["committed"] - set(journal())
    tap.equal(lost, set(), "an export of the former store brings back the rest")
    fresh = rig.config("fresh", METER, broker.port)
    rig.done("import", fresh, rig.export(config, "all.jsonl"))
    until = min(derived_until(config), derived_until(fresh))
    for name in TABLES:
        tap.ok(table(config, name, until) == table(fresh, name, until),
               f"and counts nothing twice: {name} are those of a fresh store")
    rows = len(table(config, "minutes", until))
    tap.ok(rows >= 50, "there are rows to compare", rows)
    broker.stop()


def main(tap, heatbookd, demo_plant):
    with Rig(heatbookd, demo_plant) as rig:
        refusals(tap, rig)
        keeping(tap, rig)
        beside_the_daemon(tap, rig)
        restore(tap, rig)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
