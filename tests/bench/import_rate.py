"""How fast an archive comes in: lines a second of `heatbookd import` over ten days of the demo
plant, and the ratio to bench_floor (floor.c), both measured in turns within this run, since
machines wander by more than the differences of interest. The best of each counts.

Usage: import_rate.py HEATBOOKD DEMO_PLANT BENCH_FLOOR
"""
import pathlib
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "integration"))
from rig import Rig, store
from tap import tests

BEGIN, END, DAYS = "2025-01-05", "2025-01-15", 10
ROUNDS = 3


def timed(run):
    begin = time.perf_counter()
    result = run()
    return time.perf_counter() - begin, result


def main(tap, heatbookd, demo_plant, bench_floor):
    floor_s, import_s = [], []
    with Rig(heatbookd, demo_plant) as rig:
        archive = rig.archive(BEGIN, END)
        size = archive.stat().st_size
        for i in range(ROUNDS):
            database = rig.dir / f"floor{i}.db"
            seconds, result = timed(lambda: subprocess.run(
                [bench_floor, archive, database], check=True, stdout=subprocess.PIPE))
            floor_s.append(seconds)
            lines, rows = map(int, result.stdout.split())
            config = rig.demo(f"import{i}")
            seconds, result = timed(lambda: rig.done("import", config, archive))
            import_s.append(seconds)
        with store(config) as s:
            records = s.execute("SELECT sum(records) FROM chunks").fetchone()[0]
            minutes = s.execute("SELECT count(*) FROM minutes").fetchone()[0]
        tap.equal(records, lines, "both took all lines")
        tap.equal(rows, DAYS * 1440, "the floor wrote a row a minute")
        tap.ok(minutes >= rows, "the import wrote a row a minute")
        bytes_stored = (config.parent / "heatbook.db").stat().st_size
    tap.note(f"{lines} lines, {size / 1e6:.1f} MB, {DAYS} days; best of {ROUNDS}")
    tap.note(f"floor   {lines / min(floor_s):9.0f} lines/s  ({min(floor_s):.2f} s)")
    tap.note(f"import  {lines / min(import_s):9.0f} lines/s  ({min(import_s):.2f} s)")
    tap.note(f"ratio   {min(floor_s) / min(import_s):9.2f}  of the floor's rate; journal, "
             "engine and rollups included")
    tap.note(f"store   {bytes_stored / 1e6:9.1f} MB with its journal")


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:4])
