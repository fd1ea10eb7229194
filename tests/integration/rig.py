"""What the integration tests share: a directory of their own, a private broker, the daemon and
its verbs, an HTTP client, a publisher, and looks into the store's file.

Ports are the kernel's choice, waiting ends with its condition or after a bound, processes are
ended by their own handles, and the directory goes with the rig, also when the runner stops the
test by SIGTERM.
"""
import atexit
import contextlib
import gzip
import http.client
import json
import os
import pathlib
import re
import shutil
import signal
import socket
import sqlite3
import struct
import subprocess
import sys
import tempfile
import threading
import time

from contract import Contract

WAIT_MOST_S = 60
MODES = ("unassigned", "heating", "hot_water", "defrost", "cooling", "freeze_protection",
         "overrun", "standby")  # include/heatbook/mode.h
SOURCE = pathlib.Path(__file__).resolve().parent.parent.parent
DEMO_CONFIG = SOURCE / "etc/demo/heatbook-demo.conf"
DATA = SOURCE / "tests/data"
# The end of a configuration: all that is kept stands in its own directory, and the kernel chooses
# the port (Rig.config).
KEPT = """[store]
file = @DIR@/heatbook.db
[journal]
tail = @DIR@/tail
[http]
port = 0
"""
os.environ["LC_ALL"] = "C.UTF-8"  # what a verb prints does not depend on who runs the tests


def wait_until(condition, what, most_s=WAIT_MOST_S, each_s=0.02):
    """The condition's first true value."""
    end = time.monotonic() + most_s
    while True:
        value = condition()
        if value:
            return value
        if time.monotonic() > end:
            raise TimeoutError(f"after {most_s} s still not: {what}")
        time.sleep(each_s)


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def accepts(port):
    with socket.socket() as s:
        s.settimeout(5)
        return s.connect_ex(("127.0.0.1", port)) == 0


def end_process(process, number=signal.SIGTERM, most_s=WAIT_MOST_S):
    """Its exit status; one that does not go is killed, and that is an error."""
    if process.poll() is None:
        process.send_signal(number)
    try:
        return process.wait(most_s)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
        raise


class Broker:
    """Debian's mosquitto, loopback, no persistence; `more` are lines of its configuration."""

    def __init__(self, directory, more=""):
        self.conf = pathlib.Path(directory) / "broker.conf"
        for _ in range(5):  # another process may take the port first
            self.port = free_port()
            self.conf.write_text(f"listener {self.port} 127.0.0.1\nallow_anonymous true\n"
                                 "user root\npersistence false\nset_tcp_nodelay true\n" + more)
            if self.start():
                return
        raise RuntimeError("no broker")

    def start(self):
        """Whether it listens."""
        program = shutil.which("mosquitto", path="/usr/sbin:/usr/bin:/usr/local/sbin")
        self.process = subprocess.Popen([program, "-c", self.conf], stderr=subprocess.DEVNULL,
                                        stdout=subprocess.DEVNULL)
        wait_until(lambda: self.process.poll() is not None or accepts(self.port),
                   "the broker listens")
        return self.process.poll() is None

    def stop(self):
        end_process(self.process)


class Publisher:
    """The few packets of MQTT 3.1.1 (OASIS standard; from memory) that publishing needs. Each
    publication waits for its acknowledgement, so none is lost on the way to the broker."""

    def __init__(self, port):
        self.socket = socket.create_connection(("127.0.0.1", port), WAIT_MOST_S)
        self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.number = 0
        self.send(0x10, self.text("MQTT") + b"\x04\x02\x00\x3c" + self.text(f"p{self.port()}"))
        assert self.receive(4) == b"\x20\x02\x00\x00", "the broker refused"

    def port(self):
        return self.socket.getsockname()[1]

    @staticmethod
    def text(text):
        data = text.encode() if isinstance(text, str) else text
        return struct.pack(">H", len(data)) + data

    def send(self, kind, body):
        length, size = b"", len(body)
        while True:
            length += bytes([size % 128 | (128 if size > 127 else 0)])
            size //= 128
            if not size:
                break
        self.socket.sendall(bytes([kind]) + length + body)

    def receive(self, count):
        data = b""
        while len(data) < count:
            part = self.socket.recv(count - len(data))
            assert part, "the broker closed the connection"
            data += part
        return data

    def publish(self, topic, payload, retain=False):
        payload = payload.encode() if isinstance(payload, str) else payload
        self.number = self.number % 65535 + 1
        number = struct.pack(">H", self.number)
        self.send(0x32 | retain, self.text(topic) + number + payload)
        assert self.receive(4) == b"\x40\x02" + number

    def close(self):
        self.send(0xE0, b"")
        self.socket.close()


class Answer:
    def __init__(self, response):
        self.status = response.status
        self.headers = {k.lower(): v for k, v in response.getheaders()}
        body = response.read()
        if self.headers.get("content-encoding") == "gzip":
            body = gzip.decompress(body)
        self.body = body

    def json(self):
        return json.loads(self.body)


class Daemon:
    """heatbookd serve. Its lines on standard error are kept."""

    def __init__(self, program, config, env=None):
        self.lines, self.contract = [], None
        fast = re.search(r" x(\d+)", (env or {}).get("FAKETIME", ""))
        self.speed = int(fast[1]) if fast else 1  # of its clock (libfaketime)
        self.process = subprocess.Popen([program, "serve", "-c", config], text=True, env=env,
                                        stdin=subprocess.DEVNULL, stderr=subprocess.PIPE)
        self.reader = threading.Thread(target=self.read, daemon=True)
        self.reader.start()
        wait_until(lambda: self.process.poll() is not None or self.found_port(),
                   "the daemon serves")
        self.port = self.found_port()
        if not self.port:
            self.reader.join(WAIT_MOST_S)
            raise RuntimeError("the daemon did not start:\n" + self.text())

    def read(self):
        for line in self.process.stderr:
            self.lines.append(line)

    def text(self):
        return "".join(self.lines)

    def found_port(self):
        found = re.search(r"at port (\d+)", self.text())
        return int(found.group(1)) if found else None

    def ask(self, path, method, headers):
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=WAIT_MOST_S)
        try:
            connection.request(method, path, headers=headers)
            return Answer(connection.getresponse())
        finally:
            connection.close()

    def ask_again(self, path, method, headers, patience_s=WAIT_MOST_S):
        """Asks as long as the daemon says when to ask again: its queries may take 2 s by its
        clock. Where that runs fast, these are few, as are the 10 s in which a request must
        arrive, so that one may go unanswered."""
        give_up = time.monotonic() + patience_s
        while True:
            try:
                answer = self.ask(path, method, headers)
                again_s = int(answer.headers.get("retry-after", -1)) / self.speed
                if answer.status != 503 or again_s < 0:
                    return answer
            except ConnectionResetError:  # http.client.RemoteDisconnected is one
                if self.speed == 1 or time.monotonic() > give_up:
                    raise
                continue
            if time.monotonic() + again_s > give_up:
                return answer
            time.sleep(again_s)

    def get(self, path, method="GET", headers=None, patience_s=WAIT_MOST_S):
        """Its answer, which is as the daemon's contract says."""
        answer = self.ask_again(path, method, headers or {}, patience_s)
        if not self.contract:
            access = {k: v for k, v in (headers or {}).items() if k == "Authorization"}
            document = self.ask_again("/openapi.json", "GET", access)
            self.contract = Contract(document.json()) if document.status == 200 else None
        if self.contract:
            self.contract.check(path, answer)
        elif answer.status == 200:
            raise RuntimeError(f"{path} is answered, and no contract")
        return answer

    def health(self):
        return self.get("/v1/health").json()

    def wait_subscribed(self):
        wait_until(lambda: self.health()["broker"]["state"] == "subscribed", "it is subscribed")

    def figure(self, name):
        """What /proc tells of the process: VmRSS (kB), Threads, ... (proc(5))."""
        text = pathlib.Path(f"/proc/{self.process.pid}/status").read_text(encoding="ascii")
        return int(re.search(rf"(?m)^{name}:\s*(\d+)", text)[1])

    def descriptors(self):
        return len(list(pathlib.Path(f"/proc/{self.process.pid}/fd").iterdir()))

    def stop(self):
        status = end_process(self.process)
        self.reader.join(WAIT_MOST_S)
        return status

    def kill(self):
        return end_process(self.process, signal.SIGKILL)


class Rig:
    """Use with `with`. `heatbookd` and `demo_plant` are paths of programs."""

    def __init__(self, heatbookd, demo_plant=None):
        self.heatbookd, self.demo_plant = heatbookd, demo_plant
        self.endings = []

    def __enter__(self):
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
        self.dir = pathlib.Path(tempfile.mkdtemp(prefix="heatbook-test-"))
        return self

    def __exit__(self, *_):
        for process in reversed(self.endings):
            if process.poll() is None:
                process.kill()
                process.wait()
        shutil.rmtree(self.dir, ignore_errors=True)

    def config(self, name, text, broker_port=None):
        """Writes a configuration with a directory of its own; without a broker's port it
        has no broker. Returns its path; the store is `heatbook.db` beside it."""
        home = self.dir / name
        home.mkdir(exist_ok=True)
        if broker_port is None:
            text = re.sub(r"(?m)^host = .*\n", "", text)
        text = text.replace("@DIR@", str(home)).replace("@HTTP_PORT@", "0")
        text = text.replace("@BROKER_PORT@", str(broker_port or 1))
        path = home / "heatbook.conf"
        path.write_text(text)
        return path

    def demo(self, name, broker_port=None, change=lambda text: text, registers=False):
        """The demo plant's. Its observer and the oracle work electricity out from power; with
        `registers` these rule it, as they do for an owner."""
        text = DEMO_CONFIG.read_text()
        if not registers:
            text = re.sub(r"(?m)^register = .*\n", "", text)
        return self.config(name, change(text), broker_port)

    def broker(self, more=""):
        broker = Broker(self.dir, more)
        self.endings.append(broker.process)
        return broker

    def serve(self, config, env=None):
        daemon = Daemon(self.heatbookd, config, env)
        self.endings.append(daemon.process)
        return daemon

    def plant(self, *args):
        """The demo plant, publishing."""
        process = subprocess.Popen([self.demo_plant, *args], stdin=subprocess.DEVNULL)
        self.endings.append(process)
        return process

    def archive(self, begin, end, *args, out="archive.txt"):
        path = self.dir / out
        with open(path, "wb") as f:
            subprocess.run([self.demo_plant, "archive", "--from", begin, "--to", end, *args],
                           check=True, stdout=f, stderr=subprocess.DEVNULL)
        return path

    def verb(self, verb, config, *args, **more):
        """Runs a verb to its end; standard output and error as bytes."""
        return subprocess.run([self.heatbookd, verb, "-c", config, *args], timeout=600,
                              stdin=more.pop("stdin", subprocess.DEVNULL) if "input" not in more
                              else None, stdout=more.pop("stdout", subprocess.PIPE),
                              stderr=subprocess.PIPE, **more)

    def done(self, verb, config, *args, **more):
        """The same where nothing may go wrong."""
        result = self.verb(verb, config, *args, **more)
        if result.returncode != 0:
            raise RuntimeError(f"{verb}: {result.returncode}: {result.stderr.decode()}")
        return result

    def export(self, config, name):
        path = self.dir / name
        with open(path, "wb") as f:
            self.done("export", config, "--journal", stdout=f)
        return path


def edit(config, *changes):
    """Changes a configuration in place: (what is there once, with what), or lines to be added."""
    text = config.read_text()
    for change in changes:
        if isinstance(change, str):
            text += change
        else:
            assert text.count(change[0]) == 1, change
            text = text.replace(*change)
    config.write_text(text)


def code_blocks(text):
    """The indented blocks of a text like README's, as they would be typed."""
    blocks = re.findall(r"(?:^ {4}.*\n|^\n(?= {4}))+", text, re.M)
    return [re.sub(r"(?m)^ {4}", "", b).strip() + "\n" for b in blocks]


def records_of(path):
    """Of an export, as they stand in its lines."""
    with open(path, encoding="utf-8") as f:
        return [json.loads(line) for line in f]


@contextlib.contextmanager
def store(config):
    """The store of a configuration's directory, for reading; closed at the end, since a
    connection that lingers keeps the write-ahead log from being put away."""
    path = pathlib.Path(config).parent / "heatbook.db"
    connection = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    connection.row_factory = sqlite3.Row
    try:
        yield connection
    finally:
        connection.close()


def derived_until(config):
    """Minute up to which rows are derived."""
    with store(config) as s:
        return s.execute("SELECT value FROM facts WHERE name = 'derived_until_ms'"
                         ).fetchone()[0] // 60000


def energy_rows(config, begin=0, end=2**40):
    """(minute, mode) -> the row with its whole-minute times put in, of [begin, end)."""
    rows = {}
    with store(config) as s:
        for r in s.execute("SELECT * FROM energy_minutes WHERE slot >= ? AND slot < ? "
                           "ORDER BY slot", (begin * 16, end * 16)):
            row = dict(r)
            row["ms"] = 60000 if row["ms"] is None else row["ms"]
            for value in [k for k in row if k == "heat_j" or re.fullmatch("e_.*_j", k)]:
                time_key = value[:-2] + "_ms"
                if row[value] is None:
                    row[time_key] = 0
                elif row[time_key] is None:
                    row[time_key] = 60000
            rows[row["slot"] // 16, MODES[row["slot"] % 16]] = row
    return rows


WHOLE_DAYS = "end_minute + 15 <= :until"  # a day's runs lean on what follows it (runs.h)
TABLES = {  # name -> what of it ends before :until (a minute)
    "minutes": "minute < :until",
    "energy_minutes": "slot < :until * 16",
    "hours": "hour < :until / 60",
    "energy_hours": "hour < :until / 60",
    "days": "end_minute <= :until",
    "energy_days": "start_minute IN (SELECT start_minute FROM days WHERE end_minute <= :until)",
    "run_days": WHOLE_DAYS,
    "runs": f"start_minute IN (SELECT start_minute FROM run_days WHERE {WHOLE_DAYS})",
    "energy_runs": f"start_minute IN (SELECT start_minute FROM run_days WHERE {WHOLE_DAYS})",
}
KEPT_RUNS = ("runs", "energy_runs")
KEPT_LATE = ("run_days", *KEPT_RUNS)  # by whoever has time
copies = {}  # of a configuration: when its store was copied, and where to


def with_runs(config):
    """The configuration of a copy of the store in which the runs of all days are kept, so that
    stores can be compared of which some were served for a while and others never. What the daemon
    kept stays as it is."""
    config = pathlib.Path(config)
    stamp = [(p.stat().st_mtime_ns, p.stat().st_size)
             for p in sorted(config.parent.glob("heatbook.db*")) if p.suffix != ".db-shm"]
    if config in copies and copies[config][0] == (stamp, config.read_text()):
        return copies[config][1]
    home = pathlib.Path(tempfile.mkdtemp(prefix="heatbook-runs-"))
    atexit.register(shutil.rmtree, home, ignore_errors=True)
    with store(config) as source, contextlib.closing(sqlite3.connect(home / "heatbook.db")) as copy:
        source.backup(copy)
    copied = home / "heatbook.conf"
    copied.write_text(config.read_text().replace(f"{config.parent}/heatbook.db", f"{home}/heatbook.db"))
    keep_runs = pathlib.Path(sys.argv[1]).resolve().parent.parent / "tests/keep_runs"  # of the same build
    subprocess.run([keep_runs, copied], check=True)
    copies[config] = (stamp, config.read_text()), copied
    return copied


def table(config, name, until=2**40):
    """All rows of a table that end before a minute, by column name."""
    with store(with_runs(config) if name in KEPT_LATE else config) as s:
        return sorted((sorted(dict(r).items()) for r in s.execute(
            f"SELECT * FROM {name} WHERE {TABLES[name]}", {"until": until})), key=repr)
