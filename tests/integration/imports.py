"""Imports as an owner uses them: every form and packing of one log gives the same rows, a dry run
stores nothing, rejected lines are told, an import is taken back alone and beside a daemon (law 2).

Usage: imports.py HEATBOOKD DEMO_PLANT
"""
import datetime
import gzip
import json
import random
import subprocess
import sys
import zoneinfo

from rig import Rig, derived_until, table, TABLES
from tap import tests

BEGIN, END = "2025-10-25T18:00:00+02:00", "2025-10-26T06:00:00+01:00"  # the night of 25 hours


def rows(config, until):
    return {name: table(config, name, until) for name in TABLES}


def same(tap, config, like, what):
    until = min(derived_until(config), derived_until(like))
    got, wanted = rows(config, until), rows(like, until)
    tap.ok(got == wanted, f"{what}: the same rows", [n for n in TABLES if got[n] != wanted[n]])


def parsed(line):
    stamp, topic, payload = line.rstrip(b"\n").split(b" ", 2)
    return float(stamp), topic.decode(), payload.decode()


def as_object(line):
    stamp, topic, payload = parsed(line)
    when = datetime.datetime.fromtimestamp(stamp, datetime.timezone.utc)
    text = when.isoformat(timespec="milliseconds").replace("+00:00", "+0000")
    value = payload if payload[:1] == "{" else json.dumps(payload)
    return (f'{{"tst":"{text}","topic":"{topic}","qos":0,"retain":0,'
            f'"payloadlen":{len(payload)},"payload":{value}}}\n').encode()


def as_local(line):
    stamp, topic, payload = parsed(line)
    when = datetime.datetime.fromtimestamp(stamp, zoneinfo.ZoneInfo("Europe/Berlin"))
    return (when.replace(tzinfo=None).isoformat(timespec="milliseconds")
            + f" {topic} {payload}\n").encode()


def forms(tap, rig, lines, plain):
    shuffled = list(lines)
    random.Random(1).shuffle(shuffled)
    zstd = subprocess.run(["zstd", "-c"], input=b"".join(lines), stdout=subprocess.PIPE,
                          check=True).stdout
    for name, content, options in (
            ("json", b"".join(map(as_object, lines)), ()),
            ("local", b"".join(map(as_local, lines)), ("--zone", "Europe/Berlin")),
            ("gzip", gzip.compress(b"".join(lines)), ()),
            ("zstd", zstd, ()),
            ("shuffled", b"".join(shuffled), ())):
        path = rig.dir / f"{name}.log"
        path.write_bytes(content)
        config = rig.demo(name)
        rig.done("import", config, *options, path)
        same(tap, config, plain, name)
    config = rig.demo("input")
    rig.done("import", config, "-", input=b"".join(lines))
    same(tap, config, plain, "standard input")
    result = rig.done("import", config, rig.dir / "gzip.log", "--json")
    tap.equal(json.loads(result.stdout)["known"], 1, "the same content, packed, is known")


def dry_run(tap, rig, lines):
    path = rig.dir / "some.log"
    path.write_bytes(b"".join(lines[:500]) + b"rubbish\n2025-01-01T00:00:00 a \x1b[31m\n")
    config, rejected = rig.demo("dry"), rig.dir / "rejected.txt"
    result = rig.verb("import", config, "--dry-run", "--json", "--rejected", rejected, path)
    answer = json.loads(result.stdout)
    tap.equal(result.returncode, 3, "a dry run tells rejected lines: exit 3")
    tap.equal((answer["records"], answer["rejected"]["lines"]), (500, 2), "it counts them")
    tap.equal([r["lines"] for r in answer["rejected"]["reasons"]], [1, 1], "by their reasons")
    tap.ok(any(c["values"] for c in answer["channels"]), "it tells which channels are fed")
    tap.ok(not (config.parent / "heatbook.db").exists(), "it makes no store")
    said = rejected.read_text().splitlines()
    tap.equal(len(said), 2, "each rejected line is written")
    tap.has(said[0], f"{path}:501: ", "with file and number")
    tap.has(said[1], "\\x1b[31m", "fit for a terminal")


def names(rig, config):
    return [i["name"] for i in json.loads(rig.done("imports", config, "--json").stdout)]


def taken_back(tap, rig, lines, plain):
    half = rig.dir / "half.log"
    half.write_bytes(b"".join(lines[:len(lines) // 2]))
    alone = rig.demo("half")
    rig.done("import", alone, half)
    for beside in (False, True):
        what = "beside a daemon" if beside else "alone"
        config = rig.demo(f"drop-{beside}")
        rig.done("import", config, half)
        daemon = rig.serve(config) if beside else None
        rest = rig.dir / "rest.log"
        rest.write_bytes(b"".join(lines[len(lines) // 3:]))
        rig.done("import", config, rest)
        same(tap, config, plain, f"overlapping halves {what}")
        tap.equal(names(rig, config), [str(half), str(rest)], f"{what}: they are listed")
        rig.done("imports", config, "--drop", rest)
        same(tap, config, alone, f"one taken back {what}")
        tap.equal(names(rig, config), [str(half)], f"{what}: the other stays")
        result = rig.verb("imports", config, "--drop", rest)
        tap.equal(result.returncode, 1, f"{what}: not twice")
        rest.write_bytes(b"".join(lines[:100]))
        rig.done("import", config, rest)
        rest.write_bytes(b"".join(lines[:200]))
        rig.done("import", config, rest)
        tap.equal(names(rig, config)[1:], [str(rest), f"{rest} (2)"],
                  f"{what}: a name is given once")
        if daemon:
            tap.equal(daemon.stop(), 0, "the daemon ends in good order")


def main(tap, heatbookd, demo_plant):
    with Rig(heatbookd, demo_plant) as rig:
        log = rig.archive(BEGIN, END)
        lines = log.read_bytes().splitlines(keepends=True)
        plain = rig.demo("plain")
        rig.done("import", plain, log)
        forms(tap, rig, lines, plain)
        dry_run(tap, rig, lines)
        taken_back(tap, rig, lines, plain)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
