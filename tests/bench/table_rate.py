"""A year of rows of 10 seconds and eight channels (25 million values) from CSV: `heatbookd import`
and `heatbookd rebuild` beside `sqlite3 .import` of the same file into one table and the script that
an owner would write (table_script.py). All in turns within this run, since machines wander by more
than the differences of interest; the best of each counts. Needs what etc/packages names for it.

Usage: table_rate.py HEATBOOKD TABLE_YEAR. In the environment: DAYS (default 365), ROUNDS (3), and
RAW=1 to run the script over its own SQLite table of single values as well (minutes, 9 GB).
"""
import importlib.util
import os
import pathlib
import shutil
import subprocess
import sys

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "integration"))
from measured import Run
from rig import Rig, store
from tap import tests

SCRIPT = pathlib.Path(__file__).resolve().parent / "table_script.py"
DAYS = int(os.environ.get("DAYS", "365"))
ROUNDS = int(os.environ.get("ROUNDS", "3"))
ROWS = DAYS * 8640
CHANNELS = {"outdoor_temperature": "", "flow_temperature": "", "return_temperature": "",
            "flow_rate": "unit = L/min", "unit_power": "unit = W", "compressor_frequency": "",
            "room_temperature": "", "water_pressure": ""}
CONFIG = """
[plant]
zone = Europe/Berlin
{channels}
[meter unit]
feeds = compressor
power = unit_power
{register}

[table year]
files = year.csv
{columns}
{register_column}
[journal]
tail = {directory}/tail

[store]
file = {directory}/heatbook.db
"""


def configure(directory, register=False):
    directory.mkdir()
    path = directory / "heatbook.conf"
    path.write_text(CONFIG.format(
        channels="\n".join(f"\n[channel {name}]\n{unit}" for name, unit in CHANNELS.items()),
        columns="\n".join(f"column.{name} = {name}" for name in CHANNELS),
        register="register = unit_register\n[channel unit_register]\nunit = kWh" if register else "",
        register_column="column.unit_register = unit_register" if register else "",
        directory=directory), encoding="utf-8")
    return path


def make(table_year, table, *more):
    with open(table, "wb") as f:
        subprocess.run([table_year, str(DAYS), *more], stdout=f, check=True)


def with_register(tap, rig, heatbookd, table_year, plain):
    """Import and rebuild where each row has a reading of a register."""
    table, ours, again = rig.dir / "register" / "year.csv", Run(), Run()
    config = configure(table.parent, register=True)
    make(table_year, table, "register")
    ours.go(heatbookd, "import", "-c", config, table)
    again.go(heatbookd, "rebuild", "-c", config)
    with store(config) as s:
        spans = s.execute("SELECT count(*) FROM settlements").fetchone()[0]
    size = (config.parent / "heatbook.db").stat().st_size
    tap.ok(spans > DAYS, "a register's spans were laid over minutes", spans)
    for name, run in (("import", ours), ("rebuild", again)):
        tap.note(f"{name}, register {run.best:7.2f} s {run.peak_kb / 1024:7.1f} MB resident  "
                 f"{run.best / plain.best:6.2f} times the import's time without")
    tap.note(f"{spans} spans of the register; the store has {size / 1e6:.0f} MB")


def main(tap, heatbookd, table_year):
    pandas = importlib.util.find_spec("pandas") is not None
    shell = shutil.which("sqlite3")
    ours, again, theirs, script = Run(), Run(), Run(), Run()
    with Rig(heatbookd) as rig:
        table = rig.dir / "year.csv"
        make(table_year, table)
        for i in range(ROUNDS):
            config = configure(rig.dir / f"round{i}")
            ours.go(heatbookd, "import", "-c", config, table)
            again.go(heatbookd, "rebuild", "-c", config)
            if shell:
                theirs.go(shell, rig.dir / f"shell{i}.db", ".mode csv", f".import {table} t")
            if pandas:
                told = script.go(sys.executable, SCRIPT, "csv", table,
                                 rig.dir / f"script{i}.db")
        with store(config) as s:
            records = s.execute("SELECT sum(records) FROM chunks").fetchone()[0]
            minutes = s.execute("SELECT count(*) FROM minutes").fetchone()[0]
            joules = s.execute("SELECT sum(e_unit_j) FROM energy_minutes").fetchone()[0]
        size = (config.parent / "heatbook.db").stat().st_size
        tap.equal(records, ROWS, "each row is a record")
        tap.ok(minutes >= DAYS * 1440, "a row a minute", minutes)
        if pandas:
            kwh = float(told.split()[2])
            tap.ok(abs(joules / 3.6e6 / kwh - 1) < 1e-4, "the script has the same electricity",
                   (joules / 3.6e6, kwh))
        tap.ok(max(ours.peak_kb, again.peak_kb) <= 64 * 1024, "at most 64 MB are resident",
               (ours.peak_kb, again.peak_kb))
        tap.note(f"{ROWS} rows, {table.stat().st_size / 1e6:.0f} MB, best of {ROUNDS}; the store "
                 f"has {size / 1e6:.0f} MB with its journal")
        for name, run in (("import", ours), ("rebuild", again), ("sqlite3 .import", theirs),
                          ("the script", script)):
            if run.seconds:
                tap.note(f"{name:16} {run.best:7.2f} s {run.peak_kb / 1024:7.1f} MB resident  "
                         f"{run.best / ours.best:6.2f} times the import's time")
        with_register(tap, rig, heatbookd, table_year, ours)
        if os.environ.get("RAW"):
            raw = Run()
            Run().go(sys.executable, SCRIPT, "make", table, rig.dir / "raw.db")
            raw.go(sys.executable, SCRIPT, "raw", rig.dir / "raw.db", rig.dir / "raw_out.db")
            tap.note(f"the script over single values {raw.best:.1f} s, "
                     f"{raw.best / ours.best:.1f} times the import's time")


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
