"""How quickly the daemon answers over HTTP, beside a bare handler of the same library that sends the
same bytes, which are ready: requests a second, p99, and processor time a request, in turns, with a
load of wrk on keep-alive connections.

Asked are /v1/now of the demo plant, a day of its minutes, a year of its days (answers that stand are
given again), and a day of forty channels by the minute, of stores of one and of ten years. Of the
last three it is told, too, what they take when they are made anew: each time another span.

Usage: http_rate.py HEATBOOKD DEMO_PLANT HTTP_BARE. In the environment: DAYS (365) of the demo plant,
YEARS (10) of the large store (a gigabyte, three minutes to fill), ROUNDS (7) of a second each,
CONNECTIONS (4). On a machine that does something else, too, processor times are the ones to look at.
"""
import http.client
import os
import pathlib
import re
import shutil
import statistics
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "integration"))
import wide_store
from measured import schedule_s
from rig import Rig
from tap import tests

DAYS = int(os.environ.get("DAYS", "365"))
YEARS = int(os.environ.get("YEARS", "10"))
ROUNDS = int(os.environ.get("ROUNDS", "7"))
CONNECTIONS = os.environ.get("CONNECTIONS", "4")
FRESH = 40
DAY_S = 86400


class Bare:
    """The bare handler with a reply of the daemon's, field by field."""

    def __init__(self, rig, program, daemon, target):
        connection = http.client.HTTPConnection("127.0.0.1", daemon.port)
        connection.request("GET", target, headers={"Accept": "*/*"})
        response = connection.getresponse()
        self.body = response.read()
        assert response.status == 200, self.body
        head = "".join(f"{k}: {v}\r\n" for k, v in response.getheaders())
        connection.close()
        path = rig.dir / "reply"
        path.write_bytes(b"HTTP/1.1 200 OK\r\n" + head.encode() + b"\r\n" + self.body)
        self.process = subprocess.Popen([program, path], stdout=subprocess.PIPE, text=True)
        rig.endings.append(self.process)
        self.port = int(self.process.stdout.readline())

    def stop(self):
        self.process.kill()
        self.process.wait()
        self.process.stdout.close()


class Load:
    """Rounds of load on one server."""

    def __init__(self, pid, port, target):
        self.pid, self.url = pid, f"http://127.0.0.1:{port}{target}"
        self.rates, self.tails_ms, self.costs_us = [], [], []

    def round(self):
        before = schedule_s(self.pid)
        out = subprocess.run(["wrk", "-t1", "-c", CONNECTIONS, "-d1", "--latency", self.url],
                             check=True, stdout=subprocess.PIPE, text=True).stdout
        assert "Non-2xx" not in out and "Socket errors" not in out, out
        used = schedule_s(self.pid) - before
        requests = int(re.search(r"(\d+) requests in", out).group(1))
        tail, unit = re.search(r"99% +([\d.]+)(us|ms|s)", out).groups()
        self.rates.append(float(re.search(r"Requests/sec: +([\d.]+)", out).group(1)))
        self.tails_ms.append(float(tail) * {"us": 0.001, "ms": 1, "s": 1000}[unit])
        self.costs_us.append(1e6 * used / requests)


def beside(tap, rig, bare_program, daemon, name, target):
    """One target's figures beside those of the bare handler, in turns."""
    bare = Bare(rig, bare_program, daemon, target)
    ours = Load(daemon.process.pid, daemon.port, target)
    floor = Load(bare.process.pid, bare.port, target)
    for _ in range(ROUNDS):
        floor.round()
        ours.round()
    bare.stop()
    ratio = statistics.median(a / b for a, b in zip(ours.rates, floor.rates))
    tap.note(f"{name:22} {len(bare.body):7} B  {max(ours.rates):7.0f}/s of {max(floor.rates):7.0f}/s,"
             f" ratio {ratio:.2f};  p99 {min(ours.tails_ms):6.2f} of {min(floor.tails_ms):.2f} ms;"
             f"  processor {min(ours.costs_us):6.1f} of {min(floor.costs_us):.1f} us a request,"
             f" ratio {min(floor.costs_us) / min(ours.costs_us):.2f}")
    tap.ok(ratio > 0, f"{name}: answers came")


def fresh(tap, daemon, name, target):
    """Answers that nobody asked for before: `target` makes the n-th."""
    connection = http.client.HTTPConnection("127.0.0.1", daemon.port)
    walls_ms, costs_ms, size = [], [], 0
    for n in range(FRESH):
        used, begin = schedule_s(daemon.process.pid), time.perf_counter()
        connection.request("GET", target(n))
        response = connection.getresponse()
        body = response.read()
        walls_ms.append(1000 * (time.perf_counter() - begin))
        costs_ms.append(1000 * (schedule_s(daemon.process.pid) - used))
        assert response.status == 200, body
        size = len(body)
    connection.close()
    tap.note(f"{name:22} {size:7} B  made anew in {min(walls_ms):6.2f} ms at best,"
             f" {statistics.median(walls_ms):.2f} in the middle;  processor {min(costs_ms):6.2f} ms"
             f" at best, {statistics.median(costs_ms):.2f} in the middle")
    tap.ok(size > 0, f"{name}: answers were made")
    return min(costs_ms)


def demo(tap, rig, bare_program):
    config = rig.demo("demo", registers=True)
    now = int(time.time()) // 60 * 60 - 120
    archive = rig.archive(*(time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(t))
                            for t in (now - DAYS * DAY_S, now)))
    rig.done("import", config, str(archive))
    archive.unlink()
    daemon = rig.serve(config)
    names = ",".join(daemon.get("/v1/channels").json()["channels"])
    day = f"&from={now - DAY_S}&to={now}"
    beside(tap, rig, bare_program, daemon, "/v1/now", "/v1/now")
    beside(tap, rig, bare_program, daemon, "a day of minutes",
           f"/v1/series?channels={names}&step=PT1M{day}")
    beside(tap, rig, bare_program, daemon, "a year of days",
           f"/v1/energy?from={now - DAYS * DAY_S}&to={now}&step=P1D")
    fresh(tap, daemon, "a day of minutes", lambda n:
          f"/v1/series?channels={names}&step=PT1M"
          f"&from={now - (n + 2) * DAY_S}&to={now - (n + 1) * DAY_S}")
    fresh(tap, daemon, "a year of days", lambda n:
          f"/v1/energy?from={now - DAYS * DAY_S}&to={now - (n + 1) * 60}&step=P1D")
    tap.equal(daemon.stop(), 0, "the daemon ends in good order")


def wide(tap, rig, bare_program, years):
    config = rig.config(f"wide{years}", wide_store.configuration())
    rig.serve(config).stop()
    wide_store.fill(config, years)
    daemon = rig.serve(config)
    names = ",".join(f"probe_{i:02}" for i in range(wide_store.CHANNELS))
    end = 60 * wide_store.LAST_MINUTE

    def day(n):
        return (f"/v1/series?channels={names}&values=mean&step=PT1M"
                f"&from={end - (n + 1) * DAY_S}&to={end - n * DAY_S}")

    name = f"40 channels, {years} y"
    fresh(tap, daemon, f"{name}, cold", day)
    best = fresh(tap, daemon, name, lambda n: day(n) + "&format=json")
    beside(tap, rig, bare_program, daemon, name, day(0))
    daemon.stop()
    shutil.rmtree(config.parent)
    return best


def main(tap, heatbookd, demo_plant, bare_program):
    with Rig(heatbookd, demo_plant) as rig:
        demo(tap, rig, bare_program)
        one = wide(tap, rig, bare_program, 1)
        many = wide(tap, rig, bare_program, YEARS)
        tap.note(f"40 channels            {YEARS} years take {100 * (many / one - 1):+.0f} % "
                 "beside one (processor time at best)")


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:4])
