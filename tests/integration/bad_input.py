"""What is wrong gets an error that names file, line, topic or parameter, the offending text and
the remedy, and nothing stored is lost for it.

Usage: bad_input.py HEATBOOKD DEMO_PLANT
"""
import gzip
import os
import shutil
import sqlite3
import sys

from rig import Publisher, Rig, energy_rows, free_port, table, wait_until, TABLES
from tap import tests

BEGIN, END = "2025-01-18T00:00:00+01:00", "2025-01-18T03:00:00+01:00"
FAULTY = """[plant]
zone = Europe/Nowhere
colour = green

[channel flow_temperature]
topic = plant/a#b
unit = furlong
"""


def text(result):
    return (result.stderr + result.stdout).decode()


def configuration(tap, rig):
    path = rig.dir / "faulty.conf"
    path.write_text(FAULTY)
    result = rig.verb("check", path)
    tap.equal(result.returncode, 2, "a faulty configuration: exit 2")
    for line, part in ((2, "Europe/Nowhere"), (3, "colour"), (6, "plant/a#b"),
                       (7, "furlong")):
        tap.ok(any(f"faulty.conf:{line}:" in said and part in said
                   for said in text(result).splitlines()), f"line {line} is told: {part}",
               text(result))
    tap.equal(rig.verb("check", rig.dir / "absent.conf").returncode, 2, "no file: exit 2")


def archives(tap, rig, config, good):
    rows = energy_rows(config)
    result = rig.verb("import", config, good)
    tap.equal(result.returncode, 0, "the same archive again: exit 0")
    tap.has(text(result), "imported before", "it says that it knows the archive")
    tap.equal(energy_rows(config), rows, "it changes nothing")
    result = rig.verb("import", config, rig.dir / "absent.log")
    tap.equal(result.returncode, 1, "an absent archive: exit 1")
    tap.has(text(result), "absent.log: No such file", "it is named")
    packed = rig.dir / "packed.gz"
    packed.write_bytes(gzip.compress(good.read_bytes()))
    result = rig.verb("import", config, packed)
    tap.equal(result.returncode, 1, "a compressed archive: exit 1")
    tap.has(text(result), "is compressed; unpack it", "it names the remedy")
    ugly = rig.dir / "ugly.log"
    ugly.write_text("# a comment\n\n1737154801.5 plant/room 20.5\nyesterday plant/room 21\n"
                    "1737154802\n{\"kind\":\"message\"}\n")
    result = rig.verb("import", config, ugly)
    tap.equal(result.returncode, 3, "rejected lines: exit 3")
    tap.has(text(result), "3 lines rejected", "they are counted")
    tap.has(text(result), "ugly.log:4: ", "the first is named")
    tap.has(text(result), "yesterday plant/room 21", "with its text")
    tap.equal(rig.verb("import", config).returncode, 2, "no archive: exit 2")
    tap.equal(rig.verb("import", config, "--format", "stone", ugly).returncode, 2,
              "an unknown form: exit 2")
    tap.equal(energy_rows(config), rows, "none of it changed a row")
    tap.equal(rig.verb("imprt", config).returncode, 2, "an unknown verb: exit 2")


def input_pipe(tap, rig, config, good):
    other = rig.demo("piped")
    with open(good, "rb") as f:
        tap.equal(rig.verb("import", other, "-", stdin=f).returncode, 0, "standard input: exit 0")
    for name in TABLES:
        tap.equal(table(other, name), table(config, name), f"standard input: the same {name}")


def newer_store(tap, rig, good):
    config = rig.demo("newer")
    rig.done("import", config, good)
    path = config.parent / "heatbook.db"
    with sqlite3.connect(path) as s:
        s.execute("PRAGMA user_version = 99")
    s.close()
    before = path.read_bytes()
    for verb, args in (("serve", ()), ("import", (good,)), ("report", ())):
        result = rig.verb(verb, config, *args)
        tap.equal(result.returncode, 1, f"{verb} on a newer store: exit 1")
        tap.has(text(result), "newer heatbook (schema 99", f"{verb}: it says so")
    tap.equal(path.read_bytes(), before, "the newer store is untouched")


def locked_directory(tap, rig, good):
    """As a user without the right to write; root has it everywhere and becomes nobody."""
    user = {}
    program = rig.heatbookd
    if os.geteuid() == 0:
        user = {"user": 65534, "group": 65534, "extra_groups": []}
        rig.dir.chmod(0o755)
        program = shutil.copy(rig.heatbookd, rig.dir)  # nobody may not reach the build
    with_store = rig.demo("locked")
    rig.done("import", with_store, good)
    without = rig.demo("locked_empty")
    bytes_of = with_store.parent / "heatbook.db"
    before = bytes_of.read_bytes()
    rig.heatbookd, normal = program, rig.heatbookd
    for config in (with_store, without):
        config.parent.chmod(0o555)
    for config, name in ((with_store, "a store"), (without, "no store")):
        for verb, args in (("import", (good,)), ("serve", ()), ("export", ("--journal",))):
            result = rig.verb(verb, config, *args, **user)
            what = f"{verb} in a directory without the right to write, {name}"
            tap.equal(result.returncode, 1, f"{what}: exit 1")
            tap.ok(str(config.parent / "heatbook.db") in text(result), f"{what}: it is named",
                   text(result))
            tap.ok("not a heatbook store" not in text(result), f"{what}: and not mistaken",
                   text(result))
    rig.heatbookd = normal
    for config in (with_store, without):
        config.parent.chmod(0o755)
    tap.equal(bytes_of.read_bytes(), before, "the store is untouched")
    tap.ok(not (without.parent / "heatbook.db").exists(), "nothing was made")
    stranger = rig.demo("stranger")
    (stranger.parent / "heatbook.db").write_bytes(b"a letter, not a database " * 200)
    result = rig.verb("import", stranger, good)
    tap.equal(result.returncode, 1, "a store that is another file: exit 1")
    tap.has(text(result), "is not a heatbook store; name another file", "it says so")
    tap.equal((stranger.parent / "heatbook.db").read_bytes(),
              b"a letter, not a database " * 200, "the other file is untouched")


def no_broker(tap, rig, good):
    port = free_port()
    config = rig.demo("alone", port)
    daemon = rig.serve(config)
    wait_until(lambda: "refused" in daemon.health()["broker"]["cause"], "the cause")
    broker = daemon.health()["broker"]
    tap.has(broker["cause"], f"127.0.0.1 port {port}", "the absent broker is named")
    second = rig.verb("serve", config)
    tap.equal(second.returncode, 1, "a second daemon: exit 1")
    tap.has(text(second), "in use by another heatbookd", "it says why")
    tap.equal(rig.verb("import", config, good).returncode, 0, "import beside the daemon: exit 0")
    url = "/v1/energy?from=1737154800&to=1737165600&step=PT1H"
    wait_until(lambda: daemon.get(url).json()["total"]["heat_kwh"], "the imported rows")
    tap.ok(daemon.get(url).json()["total"]["paired_s"] > 10000, "its rows are answered")
    for query, parameter in (("/v1/series?channels=flow_temperature,nonsense", "channels"),
                             ("/v1/energy?colour=green", "colour"),
                             ("/v1/energy?from=2025-01-18T00:00:00", "from"),
                             ("/v1/energy?boundary=H9", "boundary"),
                             ("/v1/energy?step=PT7S", "step")):
        answer = daemon.get(query)
        tap.equal(answer.status, 400, f"{query}: 400")
        tap.equal(answer.headers["content-type"], "application/problem+json", "a problem")
        tap.equal(answer.json()["parameter"], parameter, f"it names {parameter}")
    tap.equal(daemon.get("/v1/heat").status, 404, "an unknown resource: 404")
    tap.equal(daemon.get("/v1/now", "POST").status, 405, "POST: 405")
    tap.equal(daemon.stop(), 0, "it ends in good order")
    tap.ok(energy_rows(config), "the rows are still there")


def broken_messages(tap, rig):
    broker = rig.broker()
    config = rig.demo("broken", broker.port)
    daemon = rig.serve(config)
    wait_until(lambda: daemon.health()["broker"]["state"] == "subscribed", "subscription")
    publisher = Publisher(broker.port)
    good = '{"water":{"out":35.5,"back":30.5},"loop":{"rate":17.5,"gauge":1.5}}'
    for payload in (good, good[:20], b"\xff\x00\x01", "[" * 40, "x" * 70000,
                    good.replace("35.5", "36.5")):
        publisher.publish("plant/hydraulics", payload)
    publisher.publish("plant/nobody", "1")
    wait_until(lambda: daemon.get("/v1/now").json()["channels"]["flow_temperature"]["value"]
               == 36.5, "the good message after the bad ones")
    tap.ok(daemon.health()["messages"]["bad"] >= 4, "bad readings are counted")
    tap.equal(daemon.stop(), 0, "it ends in good order")
    publisher.close()
    journal = rig.export(config, "broken.jsonl").read_text()
    tap.equal(journal.count('"topic":"plant/hydraulics"'), 6, "all are in the journal")


def main(tap, heatbookd, demo_plant):
    with Rig(heatbookd, demo_plant) as rig:
        good = rig.archive(BEGIN, END, out="good.txt")
        config = rig.demo("main")
        rig.done("import", config, good)
        configuration(tap, rig)
        archives(tap, rig, config, good)
        input_pipe(tap, rig, config, good)
        newer_store(tap, rig, good)
        locked_directory(tap, rig, good)
        no_broker(tap, rig, good)
        broken_messages(tap, rig)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
