"""What is wrong gets an error that names file, line, topic or parameter, the offending text and
the remedy, and nothing stored is lost for it.

Usage: bad_input.py HEATBOOKD DEMO_PLANT
"""
import gzip
import json
import os
import shutil
import sqlite3
import sys

from rig import Publisher, Rig, edit, energy_rows, free_port, table, wait_until, TABLES
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
    return (result.stderr + (result.stdout or b"")).decode()


def refused(tap, result, status, words, name):
    tap.equal(result.returncode, status, f"{name}: exit {status}")
    tap.has(text(result), words, f"{name}: it says so")


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
    tap.has(text(result), "4 faults in the configuration, nothing done", "they are counted")
    serve = rig.verb("serve", path)
    tap.equal((serve.returncode, serve.stderr), (2, result.stderr), "serve says the same")
    refused(tap, rig.verb("check", rig.dir / "absent.conf"), 2,
            "absent.conf: No such file or directory; name a configuration", "no file")


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
    tap.equal(result.returncode, 0, "the same one compressed: exit 0")
    tap.has(text(result), "imported before", "it is known by its content")
    packed.write_bytes(packed.read_bytes()[:-4])
    refused(tap, rig.verb("import", config, packed), 1,
            "packed.gz: its compressed data is damaged or cut short", "a cut archive")
    refused(tap, rig.verb("import", config, "-", input=packed.read_bytes()), 1,
            "standard input: its compressed data is damaged", "a cut input")
    ugly = rig.dir / "ugly.log"
    ugly.write_text("# a comment\n\n1737154801.5 plant/room 20.5\nyesterday plant/room 21\n"
                    "1737154802\n{\"kind\":\"message\"}\n")
    result = rig.verb("import", config, ugly)
    tap.equal(result.returncode, 3, "rejected lines: exit 3")
    tap.has(text(result), "3 lines rejected", "they are counted")
    tap.has(text(result), "ugly.log:4: ", "the first is named")
    tap.has(text(result), "yesterday plant/room 21", "with its text")
    tap.has(text(result), "1 records from 6 lines of 1 archive, 2 lines passed over",
            "the good one among them counts")
    tap.has(rig.export(config, "ugly.jsonl").read_text(), '"topic":"plant/room","payload":"20.5"',
            "and is in the journal")
    refused(tap, rig.verb("import", config), 2, "import needs at least one archive", "no archive")
    refused(tap, rig.verb("import", config, "--format", "stone", ugly), 2,
            "--format takes lines|json|journal or the name of a [table]", "an unknown form")
    tap.equal(energy_rows(config), rows, "none of it changed a row")
    refused(tap, rig.verb("imprt", config), 2, 'there is no verb "imprt"', "an unknown verb")


def full_output(tap, rig, config):
    with open("/dev/full", "wb") as f:
        refused(tap, rig.verb("export", config, "--journal", stdout=f), 1,
                "the output could not be written: No space left on device", "a full output")


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
    for verb, args in (("serve", ()), ("import", (good,)), ("report", ()), ("rebuild", ()),
                       ("export", ("--journal",)), ("verify", ())):
        refused(tap, rig.verb(verb, config, *args), 1,
                "heatbook.db: was written by a newer heatbook (schema 99",
                f"{verb} on a newer store")
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
    refused(tap, rig.verb("serve", config), 1, "in use by another heatbookd", "a second daemon")
    rebuilt = rig.verb("rebuild", config)
    tap.equal(rebuilt.returncode, 0, "a rebuild beside it: exit 0")
    tap.has((rebuilt.stdout + rebuilt.stderr).decode(), "derived by the running heatbookd",
            "a rebuild beside it: the daemon does it")
    tap.equal(rig.verb("import", config, good).returncode, 0, "import beside the daemon: exit 0")
    url = "/v1/energy?from=1737154800&to=1737165600&step=PT1H"
    wait_until(lambda: daemon.get(url).json()["total"]["heat_kwh"], "the imported rows")
    tap.ok(daemon.get(url).json()["total"]["paired_s"] > 10000, "its rows are answered")
    # /v1/… ? …, parameter, what of it was wrong, words, one of those that are allowed
    for query, parameter, given, words, allowed in (
            ("series?channels=flow_temperature,nonsense", "channels", "nonsense",
             'no channel is named "nonsense"', "return_temperature"),
            ("energy?colour=green", "colour", "green", 'no parameter "colour"', "boundary"),
            ("energy?from=2025-01-18T00:00:00", "from", "2025-01-18T00:00:00",
             "a local time without offset: add Z", "epoch seconds, 1767222000"),
            ("energy?boundary=H9", "boundary", "H9", "no boundary has this name", "H4"),
            ("energy?step=PT7S", "step", "PT7S", "step is none of those", "P1D")):
        answer = daemon.get("/v1/" + query)
        tap.equal(answer.status, 400, f"{query}: 400")
        tap.equal(answer.headers["content-type"], "application/problem+json", "a problem")
        said = answer.json()
        tap.equal((said["parameter"], said["given"]), (parameter, given), f"it names {parameter}")
        tap.has(said["detail"], words, f"{parameter}: it says what is wrong")
        tap.ok(allowed in said["allowed"], f"{parameter}: and what is allowed", said)
    unknown, posted = daemon.get("/v1/heat"), daemon.get("/v1/now", "POST")
    tap.equal(unknown.status, 404, "an unknown resource: 404")
    tap.has(unknown.json()["detail"], "/v1/heat", "it is named")
    tap.equal(posted.status, 405, "POST: 405")
    # The broker has 15 s from the daemon's start before its absence counts as broken.
    health = wait_until(lambda: (h := daemon.get("/v1/health")).status == 503 and h,
                        "health is broken").json()
    tap.equal([b["limit"] for b in health["broken"]], ["broker"], "the broker alone is broken")
    tap.has(health["broken"][0]["detail"], "Connection refused", "it says from what cause")
    tap.equal(daemon.stop(), 0, "it ends in good order")
    tap.ok(energy_rows(config), "the rows are still there")


def broken_messages(tap, rig):
    broker = rig.broker()
    config = rig.demo("broken", broker.port)
    daemon = rig.serve(config)
    daemon.wait_subscribed()
    publisher = Publisher(broker.port)
    good = '{"water":{"out":35.5,"back":30.5},"loop":{"rate":17.5,"gauge":1.5}}'
    publisher.publish("plant/hydraulics", good)
    wait_until(lambda: daemon.get("/v1/now").json()["channels"]["flow_temperature"]["value"]
               == 35.5, "the good message before the bad ones")
    tap.equal(daemon.health()["messages"]["bad"], 0, "a good message is not bad")
    for payload in (good[:20], b"\xff\x00\x01", "[" * 40, "x" * 70000,
                    good.replace('"out":35.5', '"out":36.5,"out":99.5')):
        publisher.publish("plant/hydraulics", payload)
    publisher.publish("plant/nobody", "1")
    wait_until(lambda: daemon.get("/v1/now").json()["channels"]["flow_temperature"]["value"]
               == 36.5, "the good message after the bad ones, the first of its two keys")
    counted = daemon.health()["messages"]
    tap.equal(counted["bad"], 16, "four bad messages for four channels each are counted")
    tap.equal(counted["repeated_keys"], 1, "so is the message with one key twice")
    tap.equal((counted["accepted"], counted["refused"]), (6, 0), "all are accepted")
    tap.equal(daemon.stop(), 0, "it ends in good order")
    publisher.close()
    journal = rig.export(config, "broken.jsonl").read_text()
    tap.equal(journal.count('"topic":"plant/hydraulics"'), 6, "all are in the journal")


WORDS = """[plant]
zone = Europe/Berlin
[store]
file = @DIR@/heatbook.db
[journal]
tail = @DIR@/tail
[channel operating_mode]
topic = a/mode
map = heizen:heating, ruhe:standby
[channel power]
topic = a/power
unit = W
[meter unit]
feeds = compressor
power = power
"""


def unknown_words(tap, rig):
    config = rig.config("words", WORDS)
    archive = rig.dir / "words.log"
    said = ["heizen", "Abtauen", "ruhe"]
    archive.write_text("".join(f"{1737154800 + 300 * i} a/mode {said[i % 3]}\n"
                               f"{1737154800 + 300 * i} a/power {900 + i % 7}\n"
                               for i in range(2 * 288)))
    rig.done("import", config, archive)

    def found():
        out = rig.done("report", config, "--from", "2025-01-18", "--to", "2025-01-19", "--json")
        return [f for f in json.loads(out.stdout)["findings"] if f["kind"] == "state_unknown"]
    first = found()
    tap.equal(len(first), 1, "words that no map names are a finding")
    tap.has(first[0]["evidence"], 'It said "Abtauen".', "it quotes the word")
    tap.has(first[0]["remedy"], "to the map of [channel operating_mode]", "and names the map")
    edit(config, ("ruhe:standby", "ruhe:standby, abtauen:defrost"))
    rig.done("rebuild", config)
    tap.equal(found(), [], "mapped and rebuilt, it is gone")


def main(tap, heatbookd, demo_plant):
    with Rig(heatbookd, demo_plant) as rig:
        good = rig.archive(BEGIN, END, out="good.txt")
        config = rig.demo("main")
        rig.done("import", config, good)
        configuration(tap, rig)
        archives(tap, rig, config, good)
        full_output(tap, rig, config)
        input_pipe(tap, rig, config, good)
        newer_store(tap, rig, good)
        locked_directory(tap, rig, good)
        no_broker(tap, rig, good)
        broken_messages(tap, rig)
        unknown_words(tap, rig)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
