"""The table "What checks lean on" of DEVELOPERS.md against tests/data: every file and folder has a row
with source and status, none is named that is not there, and each is read by just the tests that its
row names. What README says of health and safety against tests/data/safety_numbers.csv (each row's
body and status stand in it).

Usage: references.py BUILD_DIRECTORY
"""
import csv
import json
import pathlib
import re
import sys

from rig import DATA, SOURCE
from tap import tests

STATUS = ("read", "second-hand", "computed", "memory", "by hand", "common practice",
          "status in each row", "of that time")
NAME = re.compile(r"[a-z0-9_]+(\.[a-z]+)?")
TESTS = SOURCE / "tests"


def rows():
    """(items of the first column, the other columns)."""
    text = (SOURCE / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = text[text.index("## What checks lean on"):].split("\n## ")[0]
    for line in [line for line in section.splitlines() if line.startswith("| ")][2:]:
        first, *others = line.strip("|").split(" | ")
        yield re.sub(r" *\(.*?\)", "", first).strip().split(", "), [o.strip() for o in others]


def registered(build):
    """Name of a test -> its source, of all that are registered."""
    programs = {p.stem: p for p in TESTS.rglob("check_*.c")}
    found = {}
    for test in json.loads((build / "meson-info/intro-tests.json").read_text()):
        scripts = [pathlib.Path(c) for c in test["cmd"][:2] if c.endswith(".py")]
        program = pathlib.Path(test["cmd"][0]).name
        source = scripts[0] if scripts else programs.get(program)
        if source:
            found[test["name"]] = source.resolve()
    return found


def readers(name, of_tests):
    """Tests whose source speaks of the file or, by a path, of the folder."""
    folder = (DATA / name).is_dir()
    spoken = re.compile(rf"(DATA / f?\"|data\" / \"|data/){name}\b" if folder
                        else rf"\b{re.escape(name)}\b")
    return {test for test, source in of_tests.items()
            if spoken.search(source.read_text(encoding="utf-8"))}


def findings(tap):
    """Each kind that the program knows has its row in "How soon findings tell"."""
    text = (SOURCE / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = text[text.index("## How soon findings tell"):].split("\n## ")[0]
    told = set()
    for line in [line for line in section.splitlines() if line.startswith("| ")][2:]:
        names = line.strip("|").split(" | ")[0].strip().split(", ")
        stem = names[0].rsplit("_", 1)[0]
        told |= {stem + n if n.startswith("_") else n for n in names}
    source = (SOURCE / "daemon/base/finding_names.c").read_text(encoding="utf-8")
    known = set(re.findall(r"\[FINDING_[A-Z_]+\] = \{\s*\"([a-z_]+)\"", source))
    tap.ok(len(known) > 25, f"{len(known)} kinds of findings")
    tap.equal(told, known, "each of them has a row, and no other")


def table(tap, build):
    of_tests = registered(build)
    tap.ok(len(of_tests) > 100, f"{len(of_tests)} tests are registered")
    named, rows_of_files = {}, []
    for items, (source, status, by) in rows():
        what = ", ".join(items)
        tap.ok(source and any(word in status for word in STATUS), f"{what}: source and status",
               (source, status))
        told = set(re.findall(r"`(\w+)`", by))
        tap.ok(told and told <= set(of_tests), f"{what}: its tests are registered",
               sorted(told - set(of_tests)))
        if all(NAME.fullmatch(item) for item in items):
            named.update(dict.fromkeys(items, told))
            rows_of_files.append((items, told))
        for script in re.findall(r"`(\w+\.py)`", source):
            tap.ok(list(DATA.rglob(script)), f"{what}: {script} is there")
    there = {p.name for p in DATA.iterdir()}
    tap.equal(sorted(there - set(named)), [], "every file and folder of tests/data has its row")
    tap.equal(sorted(set(named) - there), [], "none is named that is not there")
    for items, told in rows_of_files:
        # What made another file is read by no test.
        reading = {name: readers(name, of_tests) for name in items if not name.endswith(".py")}
        told_sources = {of_tests[test] for test in told}  # one program may be several tests
        unread = [name for name, by in reading.items() if not by & told]
        strange = {test for by in reading.values() for test in by
                   if of_tests[test] not in told_sources}
        idle = told - set().union(*reading.values())
        tap.equal((unread, strange, idle), ([], set(), set()), f"{', '.join(items)}: read by "
                  f"{', '.join(sorted(told))} and nobody else")


def origins(tap):
    for path in sorted(DATA.iterdir()):
        if path.suffix == ".csv":
            first = path.read_text(encoding="utf-8").split("\n", 1)[0]
            tap.ok(first.startswith("# ") and len(first) > 30, f"{path.name}: says where it is from",
                   first)
        elif path.is_dir() and path.name != "schema":
            readme = path / "README.md"
            text = readme.read_text(encoding="utf-8") if readme.exists() else ""
            tap.ok("icence" in text and list(path.glob("LICENSE*")) and
                   ("commit" in text or "ource" in text), f"{path.name}: source and licence")


def cautions(tap):
    with open(DATA / "safety_numbers.csv", newline="", encoding="utf-8") as f:
        numbers = list(csv.DictReader(line for line in f if not line.startswith("#")))
    text = (SOURCE / "README.md").read_text(encoding="utf-8")
    text = text[text.index("## Cautions"):].split("\n## ")[0]
    allowed = set()
    for row in numbers:
        tap.ok(row["body_and_document"] and row["status"] in ("seen", "seen2", "memory", "note"),
               f"{row['topic']}: {row['quantity']}: source and status", row)
        if row["status"] == "seen" and row["unit"] == "C":
            allowed.add(row["value"])
    stored = [row["value"] for row in numbers if row["quantity"] == "hot water stored at least"]
    tap.equal(re.findall(r"storage at (\d+) °C or more", text), stored,
              "README: stored hot water as public guidance has it")
    told = set(re.findall(r"(\d+) °C", text))
    tap.ok(told and told <= allowed, "README: no other temperature than what was read", told)
    tap.ok(not re.search(r"\d+ (min|s|minutes|seconds)\b", text),
           "README: sources contradict each other about times, so none is given")
    for topic, words in {"electrical": "mains voltage and refrigerant: isolate it first", "refrigerant": "refrigerant",
                         "scald": "scald", "warranty": "warranty may end"}.items():
        tap.ok(words in text and any(row["topic"] == topic for row in numbers),
               f"README: warns of it: {topic}")


with tests() as tap_of_main:
    findings(tap_of_main)
    table(tap_of_main, pathlib.Path(sys.argv[1]))
    origins(tap_of_main)
    cautions(tap_of_main)
