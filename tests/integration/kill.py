"""Law 7 on the real daemon: kill -9 at random instants, with a real broker feeding.

A feeder publishes numbered messages fast, on several topics, JSON and bare, some with the times
of days past, some twice on purpose; now and then an archive is imported beside, and that may be
killed, too. Whether the compressor runs and defrosts are told by rule, by even seeds hot water as
well: what rules look at changes minute by minute, so that deaths meet rows that wait for those
that confirm them. Of four seeds, two let temperatures go along lines, whose rows come later still,
by readings of which a minute has more than wait for them. The daemon commits each second, so that deaths meet commits, seals, derivations,
rollups, checkpoints and starts. It dies by a timer, at the N-th system call of a kind (strace),
while the disk is slow (strace), or between a SIGSTOP and long after; it is started again at once.

What was accepted is known from outside: by the tail's frames as each death left them, read by this
program; by sequence numbers, of which the store has as many as it has live records; and by what
the broker delivered, since one connection's messages are a run of numbers without a hole. At the
end the export holds all of it exactly once, and a store that is fed with it has the same rows.

Usage: kill.py HEATBOOKD; KILLS (default 12), SEED and LIFE_S in the environment. Minutes come by
rule three minutes late: enough KILLS or LIFE_S for the live ones to be among the rows compared.
"""
import collections
import json
import os
import random
import signal
import subprocess
import sys
import threading
import time

from remains import left_behind, message
from rig import (Publisher, Rig, derived_until, end_process, records_of, store, table,
                 wait_until, MODES, TABLES)
from tap import tests

KILLS = int(os.environ.get("KILLS", "12"))
SEED = int(os.environ.get("SEED", "0")) or random.SystemRandom().randrange(1, 10**6)
LIFE_S = float(os.environ.get("LIFE_S", "2.5"))
RATE = 400  # numbers a second
BATCH = 20
DOUBLED = 23  # each such number is said twice
SPENT = 10**9  # numbers of archives lie above
ARCHIVE_LINES = 3000
DAY_S = 86400
SETTLE_MOST_S = 600
BY_VALVE = SEED % 2 == 1
BY_LINES = SEED // 2 % 2 == 1
LINE = "between = line\nperiod = 1 s\n"
VALVE = """[channel valve]
topic = k/valve
map = rooms:heating, cylinder:hot_water
"""
CONFIG = """[plant]
zone = Europe/Berlin
nominal_flow = 15 L/min
[modes]
hot_water_flow = 19 L/min
[broker]
host = 127.0.0.1
port = @BROKER_PORT@
[channel flow_temperature]
topic = k/unit
pointer = /out
unit = °C
[channel return_temperature]
topic = k/unit
pointer = /back
unit = °C
[channel flow_rate]
topic = k/unit
pointer = /rate
unit = L/min
[channel unit_power]
topic = k/power
unit = W
[channel room_temperature]
topic = k/late
pointer = /v
unit = °C
time = payload
time_pointer = /t
[channel outdoor_temperature]
topic = k/unit
pointer = /air
unit = °C
[channel unit_register]
topic = k/register
pointer = /kwh
unit = kWh
[meter unit]
feeds = compressor, circulation
power = unit_power
register = unit_register
[journal]
tail = @DIR@/tail
clock_wait = 0 s
[store]
file = @DIR@/heatbook.db
commit_interval = 1 s
[http]
port = @HTTP_PORT@
""" + (VALVE if BY_VALVE else "")
if BY_LINES:
    CONFIG = CONFIG.replace("unit = °C\n[", f"unit = °C\n{LINE}[")
# By the number's rest.
TOPICS = ("k/unit", "k/unit", "k/power", "k/power", "k/late", "k/register")
KW = 1.1  # that the register counts, whatever the power says
# Minute by minute: the power, whether heat is drawn, the flow rate.
POWERS_W = (900, 900, 12, 900, 900, 120, 120, 12, 120, 12, 12, 900, 900)
DRAWN = (False, False, True, True, True, False, True)
RATES = (15, 15, 15, 15, 19, 19, 19, 15, 19, 19, 19)


def by_minute(values, moment):
    return values[int(moment) // 60 % len(values)]


def say(number, moment):
    """Topic and payload of a number at an instant."""
    topic = TOPICS[number % len(TOPICS)]
    if topic == "k/power":
        watts = by_minute(POWERS_W, moment)
        return topic, f"{watts + (number % 700 if watts > 150 else 0)}.{number:010d}"
    if topic == "k/unit":
        back = 41 if by_minute(DRAWN, moment) else 25
        return topic, json.dumps({"out": 30 + number % 10, "back": back + number % 5, "air": 3,
                                  "rate": by_minute(RATES, moment), "n": number})
    if topic == "k/register":
        return topic, json.dumps({"kwh": f"{moment / 3600 * KW:.2f}", "n": number})
    # Late ones come in bursts: while they come, the daemon derives and does nothing else.
    days = (0, 0, 0, 1, 3)[number // len(TOPICS) % 5] if number % 1600 < 200 else 0
    return topic, json.dumps({"v": 19 + number % 4, "t": int(moment) - days * DAY_S, "n": number})


def said_times(number):
    return 2 if number % DOUBLED == 0 else 1


def number_of(topic, payload):
    return int(payload.split(".")[1]) if topic == "k/power" else json.loads(payload)["n"]


class Feeder(threading.Thread):
    """Publishes without waiting for anybody: what the broker has it passes on in order."""

    def __init__(self, port):
        super().__init__(daemon=True)
        self.publisher = Publisher(port)
        self.publisher.publish("k/valve", "rooms", retain=True)
        self.number, self.going = 0, True
        self.start()

    def run(self):
        while self.going:
            for _ in range(BATCH):
                topic, payload = say(self.number, time.time())
                body = Publisher.text(topic) + payload.encode()
                for _ in range(said_times(self.number)):
                    self.publisher.send(0x30, body)  # QoS 0
                self.number += 1
            time.sleep(BATCH / RATE)

    def stop(self):
        self.going = False
        self.join()
        self.publisher.close()


# ---- the ways to die ----

def traced(*what):
    """strace as a grandchild, so that the daemon is our own child."""
    return ["strace", "-D", "-f", "-qq", "-o", "/dev/null", *what]


def may_trace():
    try:
        return subprocess.run(traced("true"), stdout=subprocess.DEVNULL,
                              stderr=subprocess.DEVNULL).returncode == 0
    except FileNotFoundError:
        return False


def at_call(dice):
    call, most = dice.choice((("pwrite64", 300), ("pwrite64", 40), ("fdatasync", 4),
                              ("ftruncate", 3), ("unlink", 2), ("fcntl", 150)))
    count = dice.randint(1, most)
    return f"at {call} {count}", traced("-e", f"trace={call}", "-e",
                                        f"inject={call}:signal=KILL:when={count}")


def slow_disk(dice):
    ms = dice.choice((20, 100, 400))
    return f"disk slow by {ms} ms", traced(
        "-e", "trace=fdatasync,fsync", "-e", f"inject=fdatasync,fsync:delay_enter={ms * 1000}")


def live_and_die(dice, heatbookd, config, tracing, beside):
    """One life; how it went, in words, and its status. `beside` is called within it."""
    words, before = "plain", []
    kind = dice.random()
    if tracing and kind < 0.4:
        words, before = at_call(dice)
    elif tracing and kind < 0.6:
        words, before = slow_disk(dice)
    span_s = dice.uniform(0.02, LIFE_S) * (2 if words.startswith("at ") else 1)
    with open(config.parent / "log", "ab") as log:
        process = subprocess.Popen([*before, heatbookd, "serve", "-c", config],
                                   stdin=subprocess.DEVNULL, stderr=log)
    try:
        if beside:
            time.sleep(span_s / 3)
            beside()
            span_s *= 2 / 3
        if kind > 0.85:
            words = "stopped in between"
            time.sleep(span_s / 2)
            process.send_signal(signal.SIGSTOP)
            time.sleep(dice.uniform(0.1, 1.0))
            process.send_signal(signal.SIGCONT)
            span_s /= 2
        try:
            process.wait(span_s)
        except subprocess.TimeoutExpired:
            words += f"; by the timer after {span_s:.2f} s"
    finally:
        status = end_process(process, signal.SIGKILL)
    return words, status


def archive(dice, path, first):
    """Lines of days past, numbered from `first`."""
    begin = int(time.time()) - 5 * DAY_S
    with open(path, "w", encoding="utf-8") as f:
        for i in range(ARCHIVE_LINES):
            moment = begin + dice.randrange(4 * DAY_S)
            f.write("{}.{:03d} {} {}\n".format(moment, i % 1000, *say(first + i, moment)))


# ---- the verdict ----

def times_of(topic, payload):
    return 1 if topic == "k/valve" else said_times(number_of(topic, payload))


def exported(path):
    """Its records; an imported one has no boot time."""
    whole = records_of(path)
    for r in whole:
        r["boot_ms"] = -1 if r["boot_ms"] is None else r["boot_ms"]
    return whole


def check_life(tap, name, messages, subscribed_ms):
    """One connection's messages: by topic a run without a hole, each as often as it was said;
    after all subscriptions were granted, over the topics as well."""
    counts = collections.Counter()
    for boot_ms, topic, payload in messages:
        counts[number_of(topic, payload)] += 1
    wrong = []
    for topic in set(TOPICS):
        numbers = [n for n in counts if TOPICS[n % len(TOPICS)] == topic]
        if not numbers:
            continue
        low, high = min(numbers), max(numbers)
        for n in range(low, high + 1):
            if TOPICS[n % len(TOPICS)] != topic:
                continue
            said = said_times(n)
            cut = n in (low, high)  # of two, one may have come before, or never
            if counts[n] != said and not (cut and 1 <= counts[n] <= said):
                wrong.append(f"{topic} {n}: {counts[n]} for {said}")
    late = [number_of(t, p) for boot_ms, t, p in messages
            if subscribed_ms is not None and boot_ms > subscribed_ms]
    if late:
        wrong += [f"number {n} is missing" for n in range(min(late), max(late) + 1)
                  if n not in counts]
    if wrong:
        tap.ok(False, name, "\n".join(wrong[:20]))
    return not wrong


def lives_of(records):
    """The lives' messages and when each was subscribed, by the boot times of their starts."""
    live = sorted((r for r in records if r["boot_ms"] >= 0), key=lambda r: r["boot_ms"])
    lives = []
    for r in live:
        if r["kind"] == "start":
            lives.append(([], []))
        elif r["kind"] == "subscribed":
            lives[-1][1].append(r["boot_ms"])
        elif r["kind"] == "message" and r["topic"] != "k/valve":
            lives[-1][0].append((r["boot_ms"], r["topic"], r["payload"]))
    return lives


def check_export(tap, records, evidence, heard):
    present = collections.Counter((r["boot_ms"], r["topic"], r["payload"]) for r in records
                                  if r["kind"] == "message" and r["boot_ms"] >= 0)
    # Of two that were said at once one may have been filed before the death.
    wrong = [f"{key}: {present[key]} for {count}" for key, count in evidence.items()
             if not count <= present[key] <= max(count, times_of(*key[1:]))]
    tap.equal(wrong[:20], [], f"{evidence.total()} messages that deaths left in the tail are "
              "there as often as they were")
    lives = lives_of(records)
    good = [check_life(tap, f"life {i + 1}", messages, min(subscribed) if subscribed else None)
            for i, (messages, subscribed) in enumerate(lives)]
    tap.ok(all(good), f"in each of {len(lives)} lives what was heard is a run without a hole")
    tap.ok(sum(len(m) for m, _ in lives) >= heard > 0, f"all of {heard} accepted are there")
    imported = collections.Counter(
        number_of(r["topic"], r["payload"]) for r in records
        if r["kind"] == "message" and r["boot_ms"] < 0)
    return imported


def check_rows(tap, rig, config, journal):
    fresh = rig.config("fresh", CONFIG)
    rig.done("import", fresh, journal)
    until = min(derived_until(config), derived_until(fresh))
    for name in TABLES:
        killed, plain = table(config, name, until), table(fresh, name, until)
        tap.ok(killed == plain, f"a fresh store has the same {name}",
               "\n".join([f"{len(killed)} rows and {len(plain)}; the first that differ:"] + [
                   f"{k}\n{p}" for k, p in zip(killed, plain) if k != p][:2]))
    tap.ok(len(table(config, "minutes", until)) > 10, "there are rows")
    with store(config) as s:
        spans = s.execute("SELECT count(*) FROM settlements").fetchone()[0]
    tap.ok(spans > 10, "and spans of the register over them", spans)
    for c in (config, fresh):
        result = rig.verb("verify", c)
        tap.equal(result.returncode, 0, f"verify finds nothing in {c.parent.name}")
    return fresh, until


def check_modes(tap, config, archives, begin_s):
    """Rules found what is there to be found: in an archive, and while the daemon lived."""
    with store(config) as s:
        found = {MODES[r[0]] for r in s.execute("SELECT DISTINCT slot % 16 FROM energy_minutes")}
        lived = s.execute("SELECT count(*) FROM energy_minutes WHERE slot >= ?",
                          (int(begin_s) // 60 * 16,)).fetchone()[0]
    wanted = {"defrost", "standby"} | (set() if BY_VALVE else {"heating", "hot_water"})
    tap.ok(not archives or wanted <= found, "rules told modes", found)
    tap.note(f"{lived} rows are of minutes in which the daemon lived and died")


OF_OPEN = {"uncertainty", "cop_uncertainty", "until", "register_kwh", "power_kwh", "beyond_kwh"}


def without_open(answer):
    """But for what a register's span that goes on has so far: that is of each store's last commit."""
    if isinstance(answer, dict):
        return {k: without_open(v) for k, v in answer.items() if k not in OF_OPEN}
    return [without_open(v) for v in answer] if isinstance(answer, list) else answer


def check_answers(tap, rig, config, fresh, until):
    """The same sums over HTTP; the killed store is served without its broker."""
    quiet = config.parent / "quiet.conf"
    quiet.write_text("\n".join(line for line in config.read_text().splitlines()
                               if not line.startswith("host = ")))
    begin_s, end_s = (until * 60 // DAY_S - 6) * DAY_S, until // 60 * 3600
    paths = [f"/v1/energy?from={begin_s}&to={end_s}&step={step}&by=mode"
             for step in ("PT1H", "P1D")]
    paths.append(f"/v1/series?channels=room_temperature,unit_power&from={begin_s}&to={end_s}"
                 "&step=PT1H")
    answers = []
    for c in (quiet, fresh):
        daemon = rig.serve(c)
        since_s = [span["since"] for span in daemon.get(paths[0]).json()["provisional"]]
        if since_s and c is quiet:  # up to there, their uncertainty is the same as well
            end_s = int(min(since_s)) // 3600 * 3600
            paths.append(f"/v1/energy?from={begin_s}&to={end_s}&step=PT1H&by=mode")
        answers.append([daemon.get(path) for path in paths])
        tap.equal(daemon.stop(), 0, "it ends in good order")
    for path, killed, plain in zip(paths, *answers):
        bodies = [killed.json(), plain.json()]
        numbers = [body.pop("version") for body in bodies]  # of changes: each store's own
        if any(body.get("provisional") for body in bodies):
            bodies = [without_open(body) for body in bodies]
        tap.ok(killed.status == 200 and bodies[0] == bodies[1] and all(numbers),
               f"the same from {path}", [key for key in bodies[0] if bodies[0][key] !=
                                         bodies[1].get(key)])


# ---- the run ----

class Story:
    """All that happened, for the verdict."""

    def __init__(self):
        self.evidence, self.seen = collections.Counter(), set()
        self.archives, self.importer = [], None

    def take_evidence(self, left):
        """A frame may be met at several deaths in a row: it is the same one."""
        for sequence, record in left:
            key = message(record)
            if key and sequence not in self.seen:
                self.seen.add(sequence)
                self.evidence[key] += 1

    def importing(self):
        return self.importer is not None and self.importer.poll() is None


def check_left(tap, home, scratch, story):
    committed, records, left = left_behind(home, scratch)
    story.take_evidence(left)
    numbers = [sequence for sequence, _ in left]
    good = records == committed and numbers == list(range(committed + 1,
                                                          committed + 1 + len(numbers)))
    if not good:
        tap.ok(False, "a death leaves each sequence number once",
               f"{committed} committed, {records} records, then {numbers[:3]}…{numbers[-3:]}")
    return good


def another_archive(rig, dice, story):
    path = rig.dir / f"archive{len(story.archives)}.txt"
    archive(dice, path, SPENT + len(story.archives) * ARCHIVE_LINES)
    story.archives.append(path)


def start_import(rig, config, dice, story):
    """Of a new archive, or of one that was met before."""
    if not story.archives or dice.random() < 0.7:
        another_archive(rig, dice, story)
    story.importer = subprocess.Popen(
        [rig.heatbookd, "import", "-c", config, dice.choice(story.archives)],
        stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    rig.endings.append(story.importer)


def one_life(tap, rig, config, dice, story, tracing):
    imports = not story.importing() and dice.random() < 0.3
    first = imports and dice.random() < 0.2  # then it may derive, and the daemon is refused

    def beside():
        start_import(rig, config, dice, story)
    if first:
        beside()
    words, status = live_and_die(dice, rig.heatbookd, config, tracing,
                                 beside if imports and not first else None)
    if story.importing() and dice.random() < 0.5:
        end_process(story.importer, signal.SIGKILL)
        words += ", an import with it"
    tap.note(f"{words}, status {status}")
    log = (config.parent / "log").read_text()
    refused = story.importer is not None and status == 1 and "in use by another" in log
    if status != -signal.SIGKILL and not refused:
        tap.ok(False, f"the daemon dies only when killed: {words}", log[-2000:])


def run_lives(tap, rig, config, dice, story):
    tracing = may_trace()
    tap.note(f"SEED={SEED} KILLS={KILLS}; hot water by {'valve' if BY_VALVE else 'rule'}, "
             f"temperatures {'along lines' if BY_LINES else 'held'}"
             + ("" if tracing else "; strace may not trace here"))
    good = []
    for _ in range(KILLS):
        (config.parent / "log").unlink(missing_ok=True)
        one_life(tap, rig, config, dice, story, tracing)
        if not story.importing():
            good.append(check_left(tap, config.parent, rig.dir / "copy", story))
    if story.importing():
        end_process(story.importer, signal.SIGKILL)
    tap.ok(all(good), f"{len(good)} deaths left each sequence number once, none with a hole")


def start_at_once(tap, rig, dice):
    """Several processes make the same store, none of them alone."""
    path = rig.dir / "small.txt"
    archive(dice, path, SPENT)
    words = []
    for i in range(12):
        config = rig.config(f"once{i}", CONFIG)
        imports = [subprocess.Popen([rig.heatbookd, "import", "-c", config, path],
                                    stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
                                    stderr=subprocess.PIPE, text=True) for _ in range(4)]
        rig.endings.extend(imports)
        for process in imports:
            text = process.communicate()[1]
            words += [text] if process.returncode else []
    tap.equal(words, [], "imports that make a store at once are all content")


def settled(daemon):
    """Everything is committed and nothing waits to be derived."""
    health = daemon.health()
    return health["journal"]["tail_bytes"] == 0 and health["derivation"]["days_waiting"] == 0


def main(tap, heatbookd):
    with Rig(heatbookd) as rig:
        dice = random.Random(SEED)
        broker = rig.broker("max_queued_messages 0\nmax_queued_bytes 0\n")
        config = rig.config("killed", CONFIG, broker.port)
        start_at_once(tap, rig, dice)
        begin_s = time.time()
        feeder, story = Feeder(broker.port), Story()
        run_lives(tap, rig, config, dice, story)
        if not story.archives:  # the dice gave no life one
            another_archive(rig, dice, story)
        daemon = rig.serve(config)
        for path in story.archives:
            result = rig.verb("import", config, path)
            tap.ok(result.returncode == 0, f"{path.name} comes in whole", result.stderr.decode())
        wait_until(lambda: daemon.health()["messages"]["accepted"] > 100, "messages come")
        heard = daemon.health()["messages"]["accepted"]
        feeder.stop()
        # What came late waits nine times as long as the derivation before it took.
        wait_until(lambda: settled(daemon), "all is committed and derived", SETTLE_MOST_S)
        tap.equal(daemon.stop(), 0, "the last life ends in good order")
        committed, records, left = left_behind(config.parent, rig.dir / "copy")
        tap.equal((records, left), (committed, []), f"all {committed} sequence numbers are filed")
        tap.equal(list((config.parent / "tail").glob("*.broken")), [], "nothing was set aside")

        journal = rig.export(config, "journal.jsonl")
        imported = check_export(tap, exported(journal), story.evidence, heard)
        tap.equal((len(imported), set(imported.values()) - {1}),
                  (len(story.archives) * ARCHIVE_LINES, set()), "each archived line is there once")
        fresh, until = check_rows(tap, rig, config, journal)
        check_modes(tap, config, story.archives, begin_s)
        check_answers(tap, rig, config, fresh, until)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:2])
