"""What a running daemon costs: greatest resident memory (VmHWM of /proc, since getrusage's
figure can be inherited) and processor time, extrapolated to a day, of the demo plant at true pace
through a broker: one commit interval as it is by default, its commit included, so that all from
the broker to rows is in it. Starting is told apart, since a day has one start at most.

What a day's length adds is measured by the test clock (live_days.c): memory at a day's end and
after nine more, hours, days and the packing of the journal included.

Usage: serve_cost.py HEATBOOKD DEMO_PLANT LIVE_DAYS; SECONDS in the environment (default 310).
"""
import os
import pathlib
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "integration"))
from measured import cpu_s, schedule_s
from rig import Rig, wait_until
from tap import tests

SECONDS = float(os.environ.get("SECONDS", "310"))
COMMIT_S = 300  # the default
MEMORY_MOST_KB = 15 * 1024


def days(rig, live_days, count):
    """The last hour's figures of days by the test clock."""
    out = subprocess.run([live_days, rig.demo(f"days{count}"), "2026-01-05", str(count)],
                         check=True, stdout=subprocess.PIPE, text=True).stdout.splitlines()
    names = out[0].split()
    first, last = (dict(zip(names, map(int, line.split()))) for line in (out[1], out[-1]))
    return last | {"first_kb": first["hwm_kb"]}


def main(tap, heatbookd, demo_plant, live_days):
    with Rig(heatbookd, demo_plant) as rig:
        broker = rig.broker()
        config = rig.demo("live", broker.port)
        rig.plant("live", "--host", "127.0.0.1", "--port", str(broker.port))
        daemon = rig.serve(config)
        pid = daemon.process.pid
        wait_until(lambda: daemon.health()["messages"]["accepted"] > 0, "messages come")
        started_s = cpu_s(pid)
        wait_until(lambda: daemon.health()["store"]["last_commit"], "its start is committed")
        first = daemon.health()["store"]["last_commit"]
        begin, begin_s = time.monotonic(), schedule_s(pid)
        messages = daemon.health()["messages"]["accepted"]
        wait_until(lambda: time.monotonic() - begin > SECONDS, "the span", 2 * SECONDS)
        span_s, used_s = time.monotonic() - begin, schedule_s(pid) - begin_s
        messages = daemon.health()["messages"]["accepted"] - messages
        last = daemon.health()["store"]["last_commit"]
        commits = int(last > first)
        tap.ok(commits or SECONDS < COMMIT_S, "a commit is in the span")
        peak, now = daemon.figure("VmHWM"), daemon.figure("VmRSS")
        tap.ok(messages > SECONDS / 5, f"{messages} messages were accepted")
        tap.equal(daemon.stop(), 0, "the daemon ends in good order")
        one, ten = days(rig, live_days, 1), days(rig, live_days, 10)
    tap.note(f"start          {started_s:8.2f} s of processor time")
    tap.note(f"processor      {used_s * 86400 / span_s:8.1f} s a day "
             f"({used_s:.3f} s in {span_s:.0f} s, {messages} messages, commits: {commits})")
    tap.note(f"memory         {peak / 1024:8.1f} MB at most, {now / 1024:.1f} MB at the end")
    tap.note(f"by test clock  {one['hwm_kb'] / 1024:8.1f} MB at most in a day, "
             f"{ten['hwm_kb'] / 1024:.1f} MB in ten; {(ten['cpu_ms'] - one['cpu_ms']) / 9e3:.2f} s "
             "of processor time a day, the plant's own included")
    # A day adds to the running daemon what it adds by the test clock.
    day = peak + max(0, one["hwm_kb"] - one["first_kb"])
    tap.note(f"a day          {day / 1024:8.1f} MB at most (aim 15)")
    tap.ok(day <= MEMORY_MOST_KB, "memory is in the budget", day)
    tap.ok(0 < used_s < span_s, "processor time is below one processor")


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:4])
