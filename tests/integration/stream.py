"""The event stream and the metrics of a real daemon beside a real broker, with a clock that runs
sixty times as fast (libfaketime): who follows holds what /v1/energy and /v1/series answer, over
broken connections, a late archive, a reload and kill -9; counters are the sums of the minutes that
closed and never fall, and the text is read by a parser of that format that is not ours.

Outside: WHATWG HTML 9.2 (event streams) and OpenMetrics 1.0, from memory; the latter by Debian's
python3-prometheus-client.

Usage: stream.py HEATBOOKD
"""
import json
import os
import random
import signal
import socket
import sys
import threading
import time

from prometheus_client.openmetrics.parser import text_string_to_metric_families

from clocks import with_library
from rig import Publisher, Rig, wait_until
from tap import tests

SPEED = 60
CONFIG = """[plant]
name = Followed house
zone = Europe/Berlin
devices = compressor, immersion
[broker]
host = 127.0.0.1
port = @BROKER_PORT@
client_id = heatbook-stream
[source house]
silent_after = none
[channel flow_temperature]
topic = plant/flow
unit = °C
stale_after = 1 min
[channel return_temperature]
topic = plant/return
unit = °C
[channel flow_rate]
topic = plant/rate
unit = L/min
[channel operating_mode]
topic = plant/mode
map = rooms:heating, tap:hot_water
[channel defrost]
topic = plant/defrost
map = no:off, running:on
[channel unit_power]
topic = meter/power
unit = W
[channel share]
topic = plant/share
unit = %
[channel cellar_register]
topic = meter/energy
unit = kWh
[meter unit]
feeds = compressor
power = unit_power
[meter cellar]
feeds = immersion
register = cellar_register
[journal]
tail = @DIR@/tail
clock_wait = 0 s
[store]
file = @DIR@/heatbook.db
commit_interval = 1 min
[http]
port = 0
"""


class House:
    """What publishes, until it is told to stop."""

    def __init__(self, port):
        self.publisher, self.stopped = Publisher(port), threading.Event()
        self.thread = threading.Thread(target=self.run)
        self.thread.start()

    def run(self):
        n = 0
        while not self.stopped.is_set():
            defrost = n // 8 % 3 == 2  # some seconds of three
            for topic, value in (("plant/mode", "rooms"), ("plant/return", 30),
                                 ("plant/defrost", "running" if defrost else "no"),
                                 ("plant/flow", 24 if defrost else 35 + n % 3),
                                 ("plant/rate", 12), ("plant/share", 50),
                                 ("meter/power", 1000 + n % 7),
                                 ("meter/energy", f"{100 + n * 0.01:.2f}")):
                self.publisher.publish(topic, str(value))
            n += 1
            self.stopped.wait(0.15)

    def stop(self):
        self.stopped.set()
        self.thread.join()
        self.publisher.close()


class Follower:
    """Reads events and holds minutes; `breaks`: it loses its connection now and then. The format
    is read by the standard's rules, apart from the daemon's code."""

    def __init__(self, daemon, breaks=None):
        self.daemon, self.random = daemon, random.Random(breaks) if breaks else None
        self.last_id, self.held, self.twice, self.revised = "", {}, [], []
        self.began, self.openings, self.told, self.notices = None, 0, 0, []
        self.closed = threading.Event()
        self.thread = threading.Thread(target=self.run, daemon=True)
        self.thread.start()

    def run(self):
        while not self.closed.is_set():
            try:
                self.follow()
            except OSError:
                pass  # the daemon is away
            time.sleep(0.02)

    def follow(self):
        with socket.create_connection(("127.0.0.1", self.daemon.port), 5) as s:
            field = f"Last-Event-ID: {self.last_id}\r\n" if self.last_id else ""
            # HTTP/1.0: the body is what comes up to the end.
            s.sendall(f"GET /v1/stream HTTP/1.0\r\nHost: localhost\r\n{field}\r\n".encode())
            s.settimeout(0.2)
            self.openings += 1
            left = self.random.randrange(100, 1500) if self.random else 1 << 60
            text, head = b"", None
            while not self.closed.is_set() and left > 0:
                try:
                    part = s.recv(min(65536, left))
                except TimeoutError:
                    continue
                if not part:
                    return
                left -= len(part)
                text += part
                if head is None:
                    head, found, text = text.partition(b"\r\n\r\n")
                    if not found:
                        head, text = None, head
                        continue
                    if b" 200 " not in head.split(b"\r\n")[0]:
                        raise ConnectionError(head)
                *whole, text = text.split(b"\n\n")
                for event in whole:
                    self.take(event.decode())

    def take(self, text):
        fields = {}
        for line in text.split("\n"):
            name, _, value = line.partition(":")
            fields[name] = value.removeprefix(" ")
        self.last_id = fields.get("id", self.last_id)
        if self.began is None and self.last_id:
            self.began = int(self.last_id.split(".")[0])
        if "data" not in fields:
            return
        data = json.loads(fields["data"])
        if fields["event"] == "minute":
            if data["t"] in self.held:
                self.twice.append(data["t"])
            self.held[data["t"]] = data
            self.told += 1
        elif fields["event"] == "notices":
            self.notices.append(data)
        else:
            self.revised.append((data["from"], data["to"]))
            for t in [t for t in self.held if data["from"] <= t < data["to"]]:
                del self.held[t]

    def covered(self, t):
        return t in self.held or any(a <= t < b for a, b in self.revised)

    def end(self):
        return int(self.last_id.split(".")[0]) if self.last_id else 0

    def close(self):
        self.closed.set()
        self.thread.join()


def minutes(daemon, begin, end):
    """t -> what the rows' resources answer of the minute."""
    energy = daemon.get(f"/v1/energy?from={begin}&to={end}&step=PT1M&by=mode&boundary=H2").json()
    series = daemon.get(f"/v1/series?from={begin}&to={end}&step=PT1M"
                        "&channels=flow_temperature,operating_mode").json()
    return {t: {"heat_kwh": energy["columns"]["heat_kwh"][i],
                "heat_s": energy["columns"]["heat_observed_s"][i],
                "unit_kwh": energy["meters"]["unit"]["electricity_kwh"][i],
                "flow": series["columns"]["flow_temperature"][i],
                "mode": series["columns"]["operating_mode"][i]}
            for i, t in enumerate(energy["columns"]["t"])}


def same(event, row):
    heat = event["heat_w"]
    watts = row["heat_kwh"] * 3.6e6 / row["heat_s"] if row["heat_s"] else None
    return (event["channels"]["flow_temperature"] == row["flow"] and
            event["channels"]["operating_mode"] == row["mode"] and
            (heat is None) == (watts is None) and
            (heat is None or abs(heat - watts) < 1))


def check_follower(tap, daemon, name, follower):
    end = follower.end()
    rows = minutes(daemon, follower.began, end)
    tap.equal(follower.twice, [], f"{name}: no minute came twice")
    tap.equal([t for t in rows if not follower.covered(t)], [],
              f"{name}: each minute came, or was revised since")
    tap.equal([(event, rows[t]) for t, event in follower.held.items()
               if t in rows and not same(event, rows[t])], [],
              f"{name}: minutes are what the rows say")
    return follower.told


class Metrics:
    """One look, parsed."""

    def __init__(self, daemon):
        answer = daemon.get("/metrics")
        self.type, self.text = answer.headers["content-type"], answer.body.decode()
        self.families = {f.name: f for f in text_string_to_metric_families(self.text)}
        self.samples = {(s.name, tuple(sorted(s.labels.items()))): s.value
                        for f in self.families.values() for s in f.samples}

    def value(self, name, **labels):
        return self.samples.get(("heatbook_" + name, tuple(sorted(labels.items()))))

    def counters(self):
        return {key: value for key, value in self.samples.items() if key[0].endswith("_total")}


def check_metrics(tap, daemon, earlier):
    m = Metrics(daemon)
    tap.equal(m.type, "application/openmetrics-text; version=1.0.0; charset=utf-8",
              "metrics have OpenMetrics' type")
    kinds = {f.type for f in m.families.values()}
    tap.equal(kinds, {"counter", "gauge", "stateset", "info"}, "families have their types")
    tap.near(m.value("temperature_celsius", channel="return_temperature",
                     role="return_temperature"), 30, 0, "temperatures are in °C")
    tap.near(m.value("flow_cubic_meters_per_second", channel="flow_rate", role="flow_rate"),
             12 / 60000, 1e-12, "flow is in m³/s")
    tap.near(m.value("share_ratio", channel="share", role="plain"), 0.5, 0, "shares are of one")
    tap.equal(m.value("state", channel="operating_mode", heatbook_state="heating"), 1,
              "a state that holds is 1")
    tap.equal(m.value("state", channel="operating_mode", heatbook_state="hot_water"), 0,
              "one that does not is 0")
    tap.equal(m.value("broken_limit", heatbook_broken_limit="commit"), 0, "no limit is broken")
    fallen = [key for key, value in earlier.counters().items() if m.samples.get(key, -1) < value]
    tap.equal(fallen, [], "no counter fell")


def sums(daemon, begin, end):
    """Joules of minutes, as counters have them: by sign of each minute and mode."""
    answer = daemon.get(f"/v1/energy?from={begin}&to={end}&step=PT1M&by=mode&boundary=H2").json()
    found = {"heat_delivered": 0, "heat_drawn": 0, "electricity": 0}
    for mode in answer["modes"].values():
        for heat, electricity in zip(mode["heat_kwh"], mode["electricity_kwh"]):
            joules = round((heat or 0) * 3.6e6)
            found["heat_delivered" if joules > 0 else "heat_drawn"] += abs(joules)
            found["electricity"] += round((electricity or 0) * 3.6e6)
    return found


def of_family(m, name, **labels):
    return sum(value for (family, have), value in m.samples.items()
               if family == f"heatbook_{name}_joules_total" and labels.items() <= dict(have).items())


def fast(after_s=0):
    """The environment of a daemon whose clock runs fast, from so many seconds ahead of ours."""
    return with_library(FAKETIME=f"+{after_s} x{SPEED}")


def late_archive(tap, rig, config, follower):
    """Readings of an hour ago: a derivation while others follow."""
    past = int(time.time()) // 60 * 60 - 3600
    path = rig.dir / "late.txt"
    path.write_text("".join(f"{past + i * 10} plant/share {i}\n" for i in range(6)))
    rig.done("import", config, path)
    wait_until(lambda: any(a <= past < b for a, b in follower.revised), "the archive is told")
    tap.ok(True, "an archive that comes late is told as revised")


def reload(tap, daemon, followers):
    openings = [f.openings for f in followers]
    daemon.process.send_signal(signal.SIGHUP)
    wait_until(lambda: all(f.openings > n for f, n in zip(followers, openings)),
               "streams end and are resumed")
    ends = [f.end() for f in followers]
    wait_until(lambda: all(f.end() > e for f, e in zip(followers, ends)), "minutes go on")
    tap.ok(True, "a reload ends streams, which go on when they are resumed")


def check_counters(tap, daemon):
    wait_until(lambda: of_family(Metrics(daemon), "heat_drawn") > 0, "a defrost is in a minute")
    m = Metrics(daemon)
    begin = int(m.value("start_time_seconds")) // 60 * 60 + 60
    wanted = sums(daemon, begin, int(m.value("rows_end_time_seconds")))
    for name, joules in wanted.items():
        got = of_family(m, name, **({"meter": "unit"} if name == "electricity" else {}))
        tap.ok(joules > 0 and abs(got - joules) <= 8, f"{name} is the minutes' sum",
               f"got {got}, rows {joules}")
    wait_until(lambda: of_family(Metrics(daemon), "register", meter="cellar") > 0,
               "a span of the register closes")
    tap.ok(True, "a register counts in its own name")
    tap.equal(of_family(m, "electricity", meter="cellar"), 0, "and not as power")


def stale(tap, daemon):
    wait_until(lambda: Metrics(daemon).value(
        "temperature_celsius", channel="flow_temperature", role="flow_temperature") is None,
        "the flow temperature is stale")
    tap.ok(Metrics(daemon).value("power_watts", channel="unit_power", role="plain"),
           "what is stale has no sample, what holds has one")


def restart(tap, rig, config, daemon, followers):
    daemon.kill()
    end = followers[0].end()
    daemon = rig.serve(config, env=fast(int((time.time() - BEGAN) * SPEED) + 60))
    for follower in followers:
        follower.daemon = daemon
    wait_until(lambda: any(b >= end for a, b in followers[0].revised), "another run says so")
    wait_until(lambda: followers[0].end() >= end + 180, "minutes go on")
    tap.ok(True, "after kill -9 all that was told is revised, and minutes go on")
    return daemon


def main(tap, heatbookd):
    with Rig(heatbookd) as rig:
        broker = rig.broker()
        config = rig.config("stream", CONFIG, broker.port)
        daemon = rig.serve(config, env=fast())
        daemon.wait_subscribed()
        house = House(broker.port)
        early = Metrics(daemon)
        followers = [Follower(daemon), Follower(daemon, breaks=int(os.environ.get("SEED", "1")))]
        wait_until(lambda: len(followers[0].held) >= 2, "minutes are told")
        late_archive(tap, rig, config, followers[0])
        reload(tap, daemon, followers)
        check_metrics(tap, daemon, early)
        check_counters(tap, daemon)
        house.stop()
        stale(tap, daemon)
        for name, follower in zip(("unbroken", "broken"), followers):
            tap.ok(check_follower(tap, daemon, name, follower) > 2, f"{name}: minutes were told")
        tap.ok(followers[1].openings > 2, "it was broken", followers[1].openings)
        first, daemon = daemon, restart(tap, rig, config, daemon, followers)
        for name, follower in zip(("unbroken", "broken"), followers):
            check_follower(tap, daemon, f"{name}, after a restart", follower)
        tap.equal(daemon.stop(), 0, "the daemon ends in good order though others follow")
        for follower in followers:
            follower.close()
        text = first.text() + daemon.text()
        tap.ok("Sanitizer" not in text and "runtime error" not in text, "nothing is wrong in memory",
               text)


BEGAN = time.time()
if __name__ == "__main__":
    with tests() as tap_of_main:
        main(tap_of_main, *sys.argv[1:2])
