"""SIGTERM and SIGINT at bad moments: while days are derived, while a long query runs, with a client
that does not read its answer and one that does not finish its request, while the broker does not
answer or does not even take the connection, with an import beside. The daemon ends in good order:
exit status 0, everything committed, its end in the journal as the last record.

How long each end took is printed, not judged.

Usage: endings.py HEATBOOKD DEMO_PLANT
"""
import json
import signal
import socket
import subprocess
import sys
import threading
import time

from ballast import MONTHS
from remains import left_behind
from rig import Publisher, Rig, end_process, wait_until
from tap import tests

BEGIN, END = "2025-01-05", "2025-01-20"


def ends_well(tap, rig, config, daemon, what, number=signal.SIGTERM):
    """Sends the signal; looks at the end and at what is left."""
    begin = time.monotonic()
    status = end_process(daemon.process, number)
    tap.note(f"{what}: {time.monotonic() - begin:.2f} s")
    tap.ok(status == 0, f"{what}: the exit status is 0", f"{status}\n{daemon.text()}")
    committed, records, left = left_behind(config.parent, rig.dir / "copy")
    tap.equal((records, left), (committed, []), f"{what}: all is committed")
    with open(rig.export(config, "end.jsonl"), encoding="utf-8") as f:
        live = [r for r in map(json.loads, f) if r["boot_ms"] is not None]
    last = max(enumerate(live), key=lambda pair: (pair[1]["boot_ms"], pair[0]))[1]
    tap.equal(last["kind"], "stop", f"{what}: its end is the last record")


def publish(port, count=50):
    publisher = Publisher(port)
    for i in range(count):
        publisher.publish("house/room/living", f"20.{i:02d}")
    publisher.close()


def with_messages(daemon, port):
    daemon.wait_subscribed()
    publish(port)
    wait_until(lambda: daemon.health()["messages"]["accepted"] >= 50, "messages are accepted")


def at_rest(tap, rig, broker):
    for number in (signal.SIGTERM, signal.SIGINT):
        config = rig.demo(f"rest{number}", broker.port)
        daemon = rig.serve(config)
        with_messages(daemon, broker.port)
        ends_well(tap, rig, config, daemon, f"at rest, signal {int(number)}", number)


def while_deriving(tap, rig, broker):
    config = rig.demo("derive", broker.port)
    archive = rig.archive(BEGIN, END)
    daemon = rig.serve(config)
    with_messages(daemon, broker.port)
    importer = subprocess.Popen([rig.heatbookd, "import", "-c", config, archive],
                                stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
    rig.endings.append(importer)
    wait_until(lambda: daemon.health()["derivation"]["days_waiting"] > 0, "days wait")
    ends_well(tap, rig, config, daemon, "days are derived, an import beside")
    tap.equal(importer.wait(60), 0, "the import is content: its archive is filed")
    daemon = rig.serve(config)
    wait_until(lambda: daemon.health()["derivation"]["days_waiting"] == 0, "all are derived")
    ends_well(tap, rig, config, daemon, "all is derived")
    tap.equal(rig.verb("verify", config).returncode, 0, "verify finds nothing")


def with_clients(tap, rig, broker):
    config = rig.demo("clients", broker.port)
    daemon = rig.serve(config)
    daemon.stop()
    MONTHS.load(config)
    daemon = rig.serve(config)
    with_messages(daemon, broker.port)
    clients = []
    for words in (f"GET {MONTHS.query} HTTP/1.1\r\nHost: 127.0.0.1:{daemon.port}\r\n\r\n",
                  "GET /v1/health HTTP/1.1\r\nHo"):
        client = socket.socket()
        client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        client.connect(("127.0.0.1", daemon.port))
        client.sendall(words.encode())
        clients.append(client)
    first = clients[0].recv(1000)
    tap.ok(first.startswith(b"HTTP/1.1 200"), "a slow reader got its first bytes", first)
    ends_well(tap, rig, config, daemon, "a slow reader and half a request", signal.SIGINT)
    for client in clients:
        client.close()

    daemon = rig.serve(config)
    with_messages(daemon, broker.port)
    asking = threading.Thread(target=lambda: ask(daemon), daemon=True)
    asking.start()
    time.sleep(0.05)  # into the query, or before it: either way it is an end
    ends_well(tap, rig, config, daemon, "a long query runs")
    asking.join()


def ask(daemon):
    try:
        daemon.get(MONTHS.query)
    except (OSError, ValueError, EOFError):  # the daemon ended first
        pass
    except Exception:  # of http.client: the answer broke off
        pass


def without_broker(tap, rig):
    """One that takes connections and says nothing, one that does not take them, none."""
    silent, full = socket.socket(), socket.socket()
    silent.bind(("127.0.0.1", 0))
    silent.listen(5)
    full.bind(("127.0.0.1", 0))
    full.listen(0)
    fillers = []
    for _ in range(4):
        filler = socket.socket()
        filler.setblocking(False)
        filler.connect_ex(full.getsockname())
        fillers.append(filler)
    for name, port in (("silent", silent.getsockname()[1]), ("full", full.getsockname()[1]),
                       ("absent", 1)):
        config = rig.demo(name, port)
        daemon = rig.serve(config)
        wait_until(lambda: daemon.health()["broker"]["state"] in ("connecting", "waiting"),
                   "it tries")
        ends_well(tap, rig, config, daemon, f"the broker is {name}")
    for s in (silent, full, *fillers):
        s.close()


def main(tap, heatbookd, demo_plant):
    with Rig(heatbookd, demo_plant) as rig:
        broker = rig.broker()
        at_rest(tap, rig, broker)
        while_deriving(tap, rig, broker)
        with_clients(tap, rig, broker)
        without_broker(tap, rig)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
