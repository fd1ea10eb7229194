"""Years of the demo plant with all its faults in a store, for benchmarks of what is asked of them.
Their times are moved back, so that none lies ahead.

In the environment: YEARS (default 1), ROUNDS (15).
"""
import os
import pathlib
import statistics
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "integration"))
from rig import store, wait_until

YEARS = int(os.environ.get("YEARS", "1"))
ROUNDS = int(os.environ.get("ROUNDS", "15"))
BEGIN_S = 1719784800  # 2024-07-01T00:00+02:00, the demo plant's first day
DAY_S = 86400
SPAN_S = (YEARS * 1461 // 4) * DAY_S
PLANT_YEARS = 2  # so many lie behind us for sure
MISSING = ("SELECT count(*) FROM days WHERE start_minute NOT IN"
           " (SELECT start_minute FROM evidence WHERE kind = 0)"
           " OR start_minute NOT IN (SELECT start_minute FROM run_days)")


def fill(rig, config):
    """Imports YEARS of the demo plant with all its faults; when they begin and end."""
    shift_s = max(0, YEARS - PLANT_YEARS) * 1461 // 4 * DAY_S
    plant = subprocess.Popen(
        [rig.demo_plant, "archive", "--from", "2024-07-01", "--to", f"{2024 + YEARS}-07-01",
         "--faults", "all"], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    taker = subprocess.Popen([rig.heatbookd, "import", "-c", config, "-"], stdin=subprocess.PIPE,
                             stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    for line in plant.stdout:  # "1719784800.011 TOPIC PAYLOAD", or a record with "t_ms":1719784800011
        at = line.index(b'"t_ms":') + 7 if line.startswith(b"{") else 0
        taker.stdin.write(b"%s%d%s" % (line[:at], int(line[at:at + 10]) - shift_s, line[at + 10:]))
    taker.stdin.close()
    assert plant.wait() == 0 and taker.wait() == 0
    return BEGIN_S - shift_s


def milliseconds(call, rounds=ROUNDS):
    """The best and the middle of some calls, and the last call's value."""
    times = []
    for _ in range(rounds):
        begin = time.perf_counter()
        value = call()
        times.append(1000 * (time.perf_counter() - begin))
    return min(times), statistics.median(times), value


def forget(config):
    """The kernel drops what it keeps of the store."""
    with open(config.parent / "heatbook.db", "rb") as f:
        os.fsync(f.fileno())
        os.posix_fadvise(f.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)


def missing(config):
    with store(config) as s:
        return s.execute(MISSING).fetchone()[0]


def looked_at(config):
    """Waits until a daemon has looked at every day; how many these were, and how long it took."""
    begin, days = time.perf_counter(), missing(config)
    wait_until(lambda: missing(config) == 0, "all days are looked at", 1800)
    return days, time.perf_counter() - begin
