"""What a running daemon costs: greatest resident memory (VmHWM of /proc, since getrusage's
figure can be inherited) and processor time, extrapolated to a day, over a minute of the demo
plant at true pace through a broker. Starting is told apart, since a day has one start at most.

Usage: serve_cost.py HEATBOOKD DEMO_PLANT; SECONDS in the environment (default 60).
"""
import os
import pathlib
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "integration"))
from rig import Rig, wait_until
from tap import tests

SECONDS = float(os.environ.get("SECONDS", "60"))


def cpu_s(pid):
    fields = pathlib.Path(f"/proc/{pid}/stat").read_text().rsplit(") ", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def memory_kb(pid, name):
    for line in pathlib.Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith(name + ":"):
            return int(line.split()[1])
    raise LookupError(name)


def schedule_s(pid):
    """Time on a processor in seconds, finer than the clock's tick."""
    total = 0
    for task in pathlib.Path(f"/proc/{pid}/task").iterdir():
        total += int((task / "schedstat").read_text().split()[0])
    return total / 1e9


def main(tap, heatbookd, demo_plant):
    with Rig(heatbookd, demo_plant) as rig:
        broker = rig.broker()
        config = rig.demo("live", broker.port, lambda text: text.replace(
            "[store]\n", "[store]\ncommit_interval = 15 s\n"))
        rig.plant("live", "--host", "127.0.0.1", "--port", str(broker.port))
        daemon = rig.serve(config)
        pid = daemon.process.pid
        wait_until(lambda: daemon.health()["messages"]["accepted"] > 0, "messages come")
        started_s = cpu_s(pid)
        begin, begin_s = time.monotonic(), schedule_s(pid)
        messages = daemon.health()["messages"]["accepted"]
        wait_until(lambda: time.monotonic() - begin > SECONDS, "the span", 2 * SECONDS)
        span_s, used_s = time.monotonic() - begin, schedule_s(pid) - begin_s
        messages = daemon.health()["messages"]["accepted"] - messages
        peak, now = memory_kb(pid, "VmHWM"), memory_kb(pid, "VmRSS")
        tap.ok(messages > SECONDS / 5, f"{messages} messages were accepted")
        tap.equal(daemon.stop(), 0, "the daemon ends in good order")
    tap.note(f"start          {started_s:8.2f} s of processor time")
    tap.note(f"processor      {used_s * 86400 / span_s:8.1f} s a day "
             f"({used_s:.3f} s in {span_s:.0f} s, {messages} messages, a commit each 15 s)")
    tap.note(f"memory         {peak / 1024:8.1f} MB at most, {now / 1024:.1f} MB at the end")
    tap.ok(0 < used_s < span_s, "processor time is below one processor")


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
