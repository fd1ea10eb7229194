"""How fast an archive comes in: lines a second of `heatbookd import` over some days of the demo
plant, and the ratio to bench_floor (floor.c), both measured in turns within this run, since
machines wander by more than the differences of interest. The best of each counts; of memory the
most that was resident.

Usage: import_rate.py HEATBOOKD DEMO_PLANT BENCH_FLOOR. In the environment: DAYS (default 10), EACH
(1): only each n-th line, ROUNDS (3). A year of a smaller plant, 5 million lines: DAYS=365 EACH=3.
"""
import datetime
import os
import pathlib
import subprocess
import sys

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "integration"))
from measured import Run
from rig import Rig, store
from tap import tests

DAYS = int(os.environ.get("DAYS", "10"))
EACH = int(os.environ.get("EACH", "1"))
ROUNDS = int(os.environ.get("ROUNDS", "3"))
BEGIN = datetime.date(2025, 1, 5)
RESIDENT_MOST_KB = 64 * 1024


def thinned(rig, archive):
    if EACH == 1:
        return archive
    path = rig.dir / "thinned.txt"
    with open(archive, "rb") as f, open(path, "wb") as out:
        out.writelines(line for i, line in enumerate(f) if i % EACH == 0)
    archive.unlink()
    return path


def main(tap, heatbookd, demo_plant, bench_floor):
    floor, ours = Run(), Run()
    with Rig(heatbookd, demo_plant) as rig:
        archive = thinned(rig, rig.archive(f"{BEGIN}", f"{BEGIN + datetime.timedelta(DAYS)}"))
        size = archive.stat().st_size
        for i in range(ROUNDS):
            lines, rows = map(int, floor.go(bench_floor, archive, rig.dir / f"floor{i}.db").split())
            config = rig.demo(f"import{i}")
            ours.go(heatbookd, "import", "-c", config, archive)
        with store(config) as s:
            records = s.execute("SELECT sum(records) FROM chunks").fetchone()[0]
            minutes = s.execute("SELECT count(*) FROM minutes").fetchone()[0]
        tap.equal(records, lines, "both took all lines")
        tap.equal(rows, DAYS * 1440, "the floor wrote a row a minute")
        tap.ok(minutes >= rows, "the import wrote a row a minute")
        bytes_stored = (config.parent / "heatbook.db").stat().st_size
    tap.ok(ours.peak_kb <= RESIDENT_MOST_KB, "at most 64 MB are resident", ours.peak_kb)
    tap.note(f"{lines} lines, {size / 1e6:.1f} MB, {DAYS} days; best of {ROUNDS}")
    tap.note(f"floor   {lines / floor.best:9.0f} lines/s  ({floor.best:.2f} s)")
    tap.note(f"import  {lines / ours.best:9.0f} lines/s  ({ours.best:.2f} s), "
             f"{ours.peak_kb / 1024:.1f} MB resident")
    tap.note(f"ratio   {floor.best / ours.best:9.2f}  of the floor's rate; journal, "
             "engine and rollups included")
    tap.note(f"store   {bytes_stored / 1e6:9.1f} MB with its journal")


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:4])
