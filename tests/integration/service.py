"""heatbookd as a service: what it tells the service manager (the datagrams that sd_notify(3)
describes; from memory), and SIGHUP: the configuration swapped or refused, nothing lost.

Usage: service.py HEATBOOKD
"""
import os
import re
import signal
import socket
import sys
import threading

from rig import Publisher, Rig, edit, records_of, wait_until
from tap import tests

CONFIG = """
[plant]
name = Service house
zone = Europe/Berlin

[broker]
host = 127.0.0.1
port = @BROKER_PORT@
client_id = heatbook-service

[source house]
silent_after = none

[channel first]
topic = house/first
unit = W
; more

[journal]
tail = @DIR@/tail
clock_wait = 0 s

[store]
file = @DIR@/heatbook.db

[http]
port = @HTTP_PORT@
"""
SECOND = "[channel second]\ntopic = house/second\nunit = W\n"


class Manager:
    """The service manager's end of the socket."""

    def __init__(self, path):
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind(str(path))
        self.messages = []
        threading.Thread(target=self.read, daemon=True).start()

    def read(self):
        while True:
            self.messages.append(self.socket.recv(4096).decode())

    def count(self, start):
        return sum(m.startswith(start) for m in self.messages)

    def has(self, start):
        return any(m.startswith(start) for m in self.messages)


class Reloads:
    """SIGHUP, and what the daemon then says."""

    def __init__(self, daemon, manager):
        self.daemon, self.manager = daemon, manager

    def __call__(self):
        before, told = self.manager.count("READY=1"), len(self.daemon.lines)
        self.daemon.process.send_signal(signal.SIGHUP)
        wait_until(lambda: self.manager.count("READY=1") > before, "the reload is over")
        wait_until(lambda: re.search(r"in force", "".join(self.daemon.lines[told:])),
                   "its line")
        return "".join(self.daemon.lines[told:])


def counts(rig, config, topic):
    """Payloads of a topic in the journal, in the order of filing."""
    return [int(r["payload"]) for r in records_of(rig.export(config, "journal.jsonl"))
            if r["kind"] == "message" and r["topic"] == topic]


def channel_names(daemon):
    return list(daemon.get("/v1/channels").json()["channels"])


def value_now(daemon, channel):
    return daemon.get("/v1/now").json()["channels"][channel]["value"]


def told_to_manager(tap, manager, daemon):
    tap.ok(wait_until(lambda: manager.has("READY=1"), "READY"), "says READY=1")
    tap.equal(daemon.get("/v1/health").status, 200, "and answers by then")
    tap.ok(wait_until(lambda: manager.count("WATCHDOG=1") >= 2, "WATCHDOG"),
           "says WATCHDOG=1 again and again")
    tap.ok(wait_until(lambda: manager.has("STATUS=broker: subscribed"), "STATUS"),
           "says in what state the broker is")


def faulty(tap, reload, daemon, config):
    good = config.read_text()
    edit(config, ("unit = W", "unit = furlong"))
    said = reload()
    line = good.splitlines().index("unit = W") + 1
    tap.has(said, f"{config}:{line}: [channel first] unit = furlong", "a fault has file and line")
    tap.has(said, "the former configuration stays in force", "and changes nothing")
    for old, new, what in ((f"{config.parent}/heatbook.db", f"{config.parent}/other.db", "store"),
                           ("Europe/Berlin", "Europe/Paris", "zone"),
                           ("port = 0", "port = 1", "port"),
                           ("zone = Europe/Berlin\n", "", "default zone")):
        config.write_text(good)
        edit(config, (old, new))
        said = reload()
        tap.has(said, "takes effect at a start only; restart heatbookd",
                f"another {what} asks for a restart")
    config.unlink()
    tap.has(reload(), "No such file", "a file that is gone is named")
    config.write_text(good)
    edit(config, ("unit = W", "unit = °C"))
    said = reload()
    tap.has(said, "its stored history is in W", "what the store does not take is refused")
    config.write_text(good)
    tap.equal(channel_names(daemon), ["first"], "all the time the former one was in force")


def main(tap, heatbookd):
    with Rig(heatbookd) as rig:
        broker = rig.broker()
        manager = Manager(rig.dir / "notify")
        os.environ.update(NOTIFY_SOCKET=str(rig.dir / "notify"), WATCHDOG_USEC="400000")
        config = rig.config("service", CONFIG, broker.port)
        daemon = rig.serve(config)
        told_to_manager(tap, manager, daemon)
        reload = Reloads(daemon, manager)
        faulty(tap, reload, daemon, config)

        publisher = Publisher(broker.port)
        connects = "".join(daemon.lines).count("subscribed at")
        sent = 0
        for turn in range(20):  # messages all along, while the file is read again and again
            if turn % 5 == 2:
                edit(config, ("name = Service house", "name = Service house again"))
                daemon.process.send_signal(signal.SIGHUP)
            for _ in range(200):
                publisher.publish("house/first", str(sent))
                sent += 1
        wait_until(lambda: len(counts(rig, config, "house/first")) >= sent, "all messages")
        tap.equal(counts(rig, config, "house/first"), list(range(sent)),
                  f"{sent} messages around four reloads are in the journal once")
        tap.equal("".join(daemon.lines).count("subscribed at"), connects,
                  "the connection stayed: nothing of the broker's had changed")

        edit(config, ("; more\n", SECOND))
        said = reload()
        tap.has(said, "is in force", "a new channel is taken")
        tap.equal(channel_names(daemon), ["first", "second"], "and listed")
        daemon.wait_subscribed()
        publisher.publish("house/second", "7")
        tap.ok(wait_until(lambda: value_now(daemon, "second") == 7, "its value"),
               "its topic is subscribed")

        other = rig.broker()
        edit(config, (f"port = {broker.port}", f"port = {other.port}"))
        reload()
        daemon.wait_subscribed()
        elsewhere = Publisher(other.port)
        elsewhere.publish("house/first", str(sent))
        wait_until(lambda: len(counts(rig, config, "house/first")) == sent + 1, "the last one")
        tap.ok(True, "another broker is connected to")

        tap.equal(daemon.stop(), 0, "ends in good order")
        tap.ok(manager.has("STOPPING=1"), "says STOPPING=1")
        tap.equal(rig.verb("verify", config).returncode, 0, "sums close")


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:2])
