"""The daemon for long: a hundred times the demo plant's rate through a broker, in cycles of quiet
and of load: long queries one after the other, a commit each second, archives imported beside and
their days derived. Memory, descriptors, threads and the write-ahead log stay where they were.

How exact arrival stamps are is printed, not judged, since it is the machine's business, too: each
probe's payload holds when it was sent, the export its stamp. Quiet and load are told apart, and a
bare subscriber beside says what is not the daemon's doing.

Then days by the test clock (live_days.c): after the first, memory is flat.

Usage: soak.py HEATBOOKD DEMO_PLANT LIVE_DAYS SANITIZE; MINUTES (default 0.5) and DAYS (default 2)
in the environment. SANITIZE is `none` or what the build is checked with: memory is then its.
"""
import collections
import os
import subprocess
import sys
import tempfile
import threading
import time

from ballast import YEARS
from probes import Listener, Speaker, check_stamps, probe_word
from rig import Rig, wait_until
from tap import tests

MINUTES = float(os.environ.get("MINUTES", "0.5"))
DAYS = int(os.environ.get("DAYS", "2"))
RATE = 48  # messages a second: the demo plant says 0.48
PROBES = 20  # a second, besides
CYCLES = max(1, int(MINUTES / 2))
GROWTH_MOST_KB = 1024  # from the first cycle's end to the last's
LOG_MOST = 8 << 20  # bytes: twice the limit that the store sets its log
PROBE = """
[channel probe]
topic = probe
pointer = /v
"""


class Load:
    """Queries without a pause, and an archive of its own beside."""

    def __init__(self, rig, config, daemon, archive):
        self.daemon, self.going, self.longest_s = daemon, True, 0.0
        self.answers = collections.Counter()  # by status and whole seconds
        self.importer = subprocess.Popen([rig.heatbookd, "import", "-c", config, archive],
                                         stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        rig.endings.append(self.importer)
        self.asker = threading.Thread(target=self.ask, daemon=True)
        self.asker.start()

    def ask(self):
        while self.going:
            begin = time.monotonic()
            answer = self.daemon.get(YEARS.query, patience_s=0)
            assert answer.status in (200, 503), answer.status  # 503: longer than 2 s
            took_s = time.monotonic() - begin
            self.longest_s = max(self.longest_s, took_s)
            self.answers[answer.status, int(took_s)] += 1

    def stop(self):
        self.going = False
        self.asker.join()
        return self.importer.wait(600)


def descriptors(daemon):
    """The fewest of some looks: a client's connection may still be on its way out."""
    counts = []
    for _ in range(10):
        counts.append(daemon.descriptors())
        time.sleep(0.1)
    return min(counts)


def measure(config, daemon):
    return {"rss_kb": daemon.figure("VmRSS"), "threads": daemon.figure("Threads"),
            "descriptors": descriptors(daemon), "log": log_after_load(config)}


def log_after_load(config):
    """The write-ahead log's bytes once the load's pages are back in the file: the first commit
    after it moves them, the next begins the log anew and cuts it. One a second is made."""
    log = config.parent / "heatbook.db-wal"
    end = time.monotonic() + 30
    while (size := log.stat().st_size) > LOG_MOST and time.monotonic() < end:
        time.sleep(0.1)
    return size


def cycles(tap, rig, config, daemon):
    """The measures at each cycle's end, in quiet, and the spans of load."""
    span_s = MINUTES * 60 / CYCLES / 2
    measures, loads = [], []
    for i in range(CYCLES):
        end = time.monotonic() + span_s
        wait_until(lambda: time.monotonic() > end, "the quiet half", span_s + 60)
        archive = rig.archive(f"2025-01-{2 * i + 5:02d}", f"2025-01-{2 * i + 7:02d}",
                              out=f"load{i}.txt")
        begin, end = time.time(), time.monotonic() + span_s
        load = Load(rig, config, daemon, archive)
        wait_until(lambda: time.monotonic() > end, "the loaded half", span_s + 60)
        tap.equal(load.stop(), 0, f"cycle {i + 1}: the import is content")
        loads.append((begin, time.time()))
        wait_until(lambda: daemon.health()["derivation"]["days_waiting"] == 0, "all is derived")
        measures.append(measure(config, daemon))
        tap.note(f"cycle {i + 1}: {measures[-1]}, answers {dict(load.answers)}, the longest "
                 f"{load.longest_s:.2f} s, the longest turn "
                 f"{daemon.health()['loop']['turn_ms_longest']:.0f} ms")
    return measures, loads


def check_flat(tap, measures, sanitized):
    first, last = measures[0], measures[-1]
    tap.ok(last["descriptors"] <= first["descriptors"], "no descriptor more", measures)
    tap.equal(last["threads"], first["threads"], "no thread more")
    tap.ok(max(m["log"] for m in measures) <= LOG_MOST, "the write-ahead log is bounded", measures)
    if not sanitized:
        tap.ok(last["rss_kb"] - first["rss_kb"] <= GROWTH_MOST_KB, "memory is flat", measures)


def live(tap, rig, tail, sanitized):
    broker = rig.broker("max_queued_messages 0\nmax_queued_bytes 0\n")
    config = rig.demo("soak", broker.port, lambda text: text.replace(
        "[store]\n", PROBE + "[store]\ncommit_interval = 1 s\n").replace("@DIR@/tail", tail),
                      registers=True)
    rig.serve(config).stop()
    YEARS.load(config)
    daemon = rig.serve(config)
    daemon.wait_subscribed()
    listener = Listener(broker.port)
    lines = [line.split(" ", 2)[1:] for line in rig.archive("2026-01-05", "2026-01-06")
             .read_text(encoding="utf-8").splitlines()]  # at a steady rate, whatever their times
    speakers = [Speaker(broker.port, RATE, lambda n: lines[n % len(lines)]),
                Speaker(broker.port, PROBES, probe_word)]
    measures, loads = cycles(tap, rig, config, daemon)
    for speaker in speakers:
        speaker.stop()
    heard = listener.stop()
    health = daemon.health()
    tap.note(f"{health['messages']['accepted']} messages in {MINUTES:.1f} minutes and some")
    tap.equal(health["messages"]["refused"], 0, "none is refused")
    tap.equal(daemon.stop(), 0, "the daemon ends in good order")
    check_flat(tap, measures, sanitized)
    check_stamps(tap, rig.export(config, "soak.jsonl"), heard, loads)


def by_test_clock(tap, rig, live_days, sanitized):
    config = rig.demo("days", registers=True)
    out = subprocess.run([live_days, config, "2026-01-05", str(DAYS)], check=True,
                         stdout=subprocess.PIPE, text=True).stdout.splitlines()
    hours = [dict(zip(out[0].split(), map(int, line.split()))) for line in out[1:]]
    late = hours[len(hours) // 2:]
    tap.note(f"{DAYS} days by the test clock: {late[-1]}")
    tap.equal(len(hours), DAYS * 24, "each hour passed")
    tap.equal(late[-1]["descriptors"], late[0]["descriptors"], "no descriptor more")
    tap.ok(max(h["wal_bytes"] for h in hours) <= LOG_MOST, "the write-ahead log is bounded")
    if not sanitized and DAYS >= 10:  # SQLite's cache is full after some days
        tap.ok(late[-1]["rss_kb"] - late[0]["rss_kb"] <= GROWTH_MOST_KB, "memory is flat",
               [h["rss_kb"] for h in late])


def main(tap, heatbookd, demo_plant, live_days, sanitize):
    with Rig(heatbookd, demo_plant) as rig:
        by_test_clock(tap, rig, live_days, sanitize != "none")
        # As under the service, the tail is on tmpfs: on the store's own disk an append would
        # wait for the store's writes now and then.
        shared = "/dev/shm" if os.path.isdir("/dev/shm") else None
        with tempfile.TemporaryDirectory(prefix="heatbook-test-", dir=shared) as tail:
            live(tap, rig, tail, sanitize != "none")


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:5])
