"""How long the answers behind the numbers take of a year, where the store holds YEARS of them: every
resource of the contract that is asked of a span, but for rows by step. Each is asked cold, of a daemon
that has just started and whose file the kernel has dropped, and warm; the answer that is kept is
avoided by an end that moves by a minute. All of them together, each once, are asked cold in a row,
beside what SQLite alone takes to read the year's rows that they are made of, once and as cold.

Usage: insight_rate.py HEATBOOKD DEMO_PLANT. In the environment: YEARS (default 1), ROUNDS (15).
Ten years take six minutes and a gigabyte.
"""
import pathlib
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "integration"))
from measured import cpu_s
from rig import Rig, store, wait_until
from tap import tests
from years import DAY_S, SPAN_S, YEARS, fill, forget, looked_at, milliseconds

# What the owner says besides; invented.
SAID = """
[tariff two_prices]
price = 0.34
window.night = 22:00-06:00 0.26
[carbon grid]
intensity = 380 g/kWh
[other_heat oil_boiler]
price = 0.11
efficiency = 86 %
[declared a7_w35]
outdoor = 7 °C
flow_temperature = 35 °C
cop = 4.3
[notice low_pressure]
watch = value water_pressure
below = 1.0
clears = 1.2
"""
CHANGES = "/v1/changes"  # of all that were noted; warm it is the answer that is kept
ROWS = ("/v1/series", "/v1/energy", "/v1/degree-days", "/v1/findings")  # have benchmarks of their own

COLD_ROUNDS = 5
TOGETHER_MOST_MS = 1000
TOGETHER_MOST_TIMES = 3  # as long as SQLite alone
DAYS = ("days", "energy_days", "run_days", "evidence")
PIECES = ("runs", "energy_runs")
MINUTES = "sum(c_outdoor_temperature), min(c_water_pressure)"  # degree days; the notice


def asked_of_spans(contract):
    """Resources that are told of from and to, without needing anything else."""
    for path, item in contract["paths"].items():
        parameters = item["get"].get("parameters", ())
        names = {p["name"] for p in parameters}
        if {"from", "to"} <= names and path not in ROWS and not any(p.get("required")
                                                                    for p in parameters):
            yield path


def unpriced(config):
    """Days whose cost is not kept: who asks before that has it worked out, a year of them."""
    with store(config) as s:
        return s.execute("SELECT count(*) FROM days WHERE start_minute NOT IN"
                         " (SELECT start_minute FROM evidence WHERE kind = 32)").fetchone()[0]


def answer(daemon, path, begin_s, end_s):
    reply = daemon.get(path if path == CHANGES else f"{path}?from={begin_s}&to={end_s}")
    return reply.status, len(reply.body)


def cold(rig, config, path, begin_s, end_s):
    forget(config)
    daemon = rig.serve(config)
    best, _, told = milliseconds(lambda: answer(daemon, path, begin_s, end_s), 1)
    daemon.stop()
    return best, told


def warm(daemon, path, begin_s, end_s):
    at = [end_s]

    def next_answer():
        at[0] -= 60
        return answer(daemon, path, begin_s, at[0])
    return milliseconds(next_answer)


def read_alone(config, begin_s, end_s):
    """Milliseconds for a year's rows, each once, of a file that the kernel has dropped."""
    forget(config)
    begin, span = time.perf_counter(), (begin_s // 60, end_s // 60)
    with store(config) as s:
        for table in DAYS + PIECES:
            kinds = "kind BETWEEN 0 AND 4 AND " if table in PIECES else ""
            s.execute(f"SELECT * FROM {table} WHERE {kinds}start_minute >= ? AND start_minute < ?",
                      span).fetchall()
        s.execute(f"SELECT {MINUTES} FROM minutes WHERE minute >= ? AND minute < ?", span).fetchall()
    return 1000 * (time.perf_counter() - begin)


def asked_together(rig, config, paths, begin_s, end_s):
    """Milliseconds, those on a processor (the start's, too), and the daemon's memory at most."""
    forget(config)
    daemon = rig.serve(config)
    begin = time.perf_counter()
    for path in paths:
        answer(daemon, path, begin_s, end_s)
    told = (1000 * (time.perf_counter() - begin), 1000 * cpu_s(daemon.process.pid), daemon.figure("VmHWM"))
    daemon.stop()
    return told


def together(tap, rig, config, paths, begin_s, end_s):
    ours, alone = [], []
    for _ in range(COLD_ROUNDS):  # in turns, so that both meet the same machine
        ours.append(asked_together(rig, config, paths, begin_s, end_s))
        alone.append(read_alone(config, begin_s, end_s))
    best, limit = min(ours)[0], min(alone)
    tap.note(f"all {len(paths)} cold {best:8.1f} ms, {min(o[1] for o in ours):.0f} on a processor; SQLite alone "
             f"{limit:.1f} ({best / limit:.2f} times); {max(o[2] for o in ours) / 1024:.1f} MB at most")
    tap.ok(best <= TOGETHER_MOST_MS, f"all of a year's answers come within {TOGETHER_MOST_MS} ms", best)
    tap.ok(best <= TOGETHER_MOST_TIMES * limit, "they take a small multiple of SQLite's own time", best / limit)


def main(tap, heatbookd, demo_plant):
    with Rig(heatbookd, demo_plant) as rig:
        config = rig.demo("rate", registers=True, change=lambda text: text + SAID)
        begin_s = fill(rig, config) + SPAN_S - 365 * DAY_S
        end_s = begin_s + 365 * DAY_S
        daemon = rig.serve(config)
        days, span_s = looked_at(config)
        wait_until(lambda: unpriced(config) == 0, "what every day cost is kept", 1800)
        tap.note(f"first look {span_s:.2f} s for {days} days, {1000 * span_s / days:.2f} ms each")
        paths = [*asked_of_spans(daemon.get("/openapi.json").json()), CHANGES]
        tap.ok(len(paths) > 1, "the contract names resources that are asked of spans")
        times = {path: warm(daemon, path, begin_s, end_s) for path in paths}
        daemon.stop()
        tap.note(f"a year of {YEARS}: path, cold, warm at best and in the middle (ms), bytes")
        for path in paths:
            cold_ms, (status, size) = cold(rig, config, path, begin_s, end_s)
            best, middle, told = times[path]
            tap.equal((status, told[0]), (200, 200), f"{path} is answered")
            tap.note(f"{path:22} {cold_ms:8.1f} {best:8.1f} {middle:8.1f} {size:9}")
        together(tap, rig, config, paths, begin_s, end_s)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
