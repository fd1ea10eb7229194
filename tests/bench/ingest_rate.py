"""Messages a second from the broker to committed rows: publisher flat out, Debian's mosquitto,
`heatbookd serve`; and the ratio to a bare subscriber that only counts (mqtt_count.c), both in
turns within this run, since machines wander by more than the differences of interest. The best
of each counts. Messages are JSON objects of 20 numbers, of which 8 feed channels. Nothing may be
lost: every number published is in the journal once.

A minute's rows wait for the minute's end. So the time that counts is until everything is
accepted, plus the processor time from then on until rows and journal are committed and the
daemon has ended.

Usage: ingest_rate.py HEATBOOKD MQTT_FLOOD MQTT_COUNT; COUNT and ROUNDS in the environment.
"""
import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "integration"))
from measured import cpu_s
from rig import Rig, store, wait_until
from tap import tests

COUNT = int(os.environ.get("COUNT", "300000"))
ROUNDS = int(os.environ.get("ROUNDS", "3"))
CHANNELS = {  # name -> pointer, unit
    "flow_temperature": ("/water/out", "°C"), "return_temperature": ("/water/back", "°C"),
    "flow_rate": ("/water/rate", "L/min"), "outdoor_temperature": ("/air/t", "°C"),
    "compressor_frequency": ("/unit/hz", "Hz"), "unit_power": ("/unit/power", "W"),
    "cylinder_temperature": ("/tank/top", "°C"), "fan": ("/unit/fan", "rpm"),
}


def configuration(tail):
    text = ("[plant]\nname = Bench\nzone = Europe/Berlin\ndevices = compressor\n"
            "[broker]\nhost = 127.0.0.1\nport = @BROKER_PORT@\nclient_id = heatbook-bench\n"
            f"[journal]\ntail = {tail}\ntail_bound = 1 GB\n"
            "[store]\nfile = @DIR@/heatbook.db\ncommit_interval = 2 s\n"
            "[http]\nport = @HTTP_PORT@\n[meter unit]\nfeeds = compressor\npower = unit_power\n")
    for name, (pointer, unit) in CHANNELS.items():
        text += f"[channel {name}]\ntopic = bench/+/state\npointer = {pointer}\nunit = {unit}\n"
    return text


def flooding(flood, port):
    """The publisher, ready to begin."""
    process = subprocess.Popen([flood, str(port), str(COUNT)], stdin=subprocess.PIPE,
                               stdout=subprocess.PIPE, text=True)
    assert process.stdout.readline() == "ready\n"
    return process


def begin(publisher):
    started = time.perf_counter()
    publisher.stdin.write("\n")
    publisher.stdin.flush()
    return started


def count_bare(rig, flood, count):
    broker = rig.broker("max_queued_messages 0\n")
    subscriber = subprocess.Popen([count, str(broker.port), str(COUNT)], stdout=subprocess.PIPE,
                                  text=True)
    assert subscriber.stdout.readline() == "ready\n"
    publisher = flooding(flood, broker.port)
    started = begin(publisher)
    received = int(subscriber.stdout.readline())
    seconds = time.perf_counter() - started
    assert publisher.wait() == 0 and subscriber.wait() == 0 and received == COUNT
    broker.stop()
    return seconds


def last_minute(config):
    with store(config) as s:
        return s.execute("SELECT max(minute) FROM minutes").fetchone()[0] or 0


def ingest(rig, flood, name, tail):
    """Seconds that count, those until acceptance, processor seconds, the configuration."""
    broker = rig.broker("max_queued_messages 0\n")
    config = rig.config(name, configuration(tail), broker.port)
    daemon = rig.serve(config)
    daemon.wait_subscribed()
    wait_until(lambda: 30 <= time.time() % 60 < 50, "it is late in a minute")
    publisher = flooding(flood, broker.port)
    before, started = cpu_s(daemon.process.pid), begin(publisher)

    def accepted():
        time.sleep(0.05)  # looking costs the daemon a turn
        return daemon.health()["messages"]["accepted"] >= COUNT
    try:
        wait_until(accepted, "all is accepted", 120)
    except TimeoutError as error:  # which of the three is to blame?
        raise RuntimeError(f"{error}; publisher {publisher.poll()}, broker "
                           f"{broker.process.poll()}\n{daemon.health()}\n{daemon.text()}")
    arrived, between = time.perf_counter() - started, cpu_s(daemon.process.pid)
    minute = int(time.time() // 60)
    wait_until(lambda: time.sleep(1) or last_minute(config) >= minute, "rows are there", 150)
    refused = daemon.health()["messages"]["refused"]
    stopping = time.perf_counter()
    used = cpu_s(daemon.process.pid)
    assert daemon.stop() == 0 and publisher.wait() == 0 and refused == 0
    stopping = time.perf_counter() - stopping
    broker.stop()
    return arrived + used - between + stopping, arrived, used - before, config


def journal_numbers(rig, config):
    lines = rig.export(config, "journal.jsonl").read_bytes().splitlines()
    records = [json.loads(line) for line in lines]
    return [json.loads(r["payload"])["n"] for r in records if r["kind"] == "message"]


def main(tap, heatbookd, flood, count):
    bare_s, ingest_s = [], []
    tail = tempfile.mkdtemp(prefix="heatbook-bench-", dir="/dev/shm")
    try:
        with Rig(heatbookd) as rig:
            for i in range(ROUNDS):
                bare_s.append(count_bare(rig, flood, count))
                seconds, arrived, used, config = ingest(rig, flood, f"rate{i}", f"{tail}/{i}")
                ingest_s.append(seconds)
                tap.note(f"bare {COUNT / bare_s[-1]:7.0f}/s; heatbookd {COUNT / seconds:7.0f}/s "
                         f"(accepted after {arrived:.2f} of {seconds:.2f} s, "
                         f"{used / COUNT * 1e6:.1f} µs of processor a message)")
                numbers = journal_numbers(rig, config)
                tap.equal(len(numbers), COUNT, f"round {i}: every message is in the journal")
                tap.equal(len(set(numbers)), COUNT, f"round {i}: each of them once")
                with store(config) as s:
                    known = s.execute("SELECT count(*) FROM minutes WHERE c_fan IS NOT NULL AND "
                                      "c_flow_temperature IS NOT NULL").fetchone()[0]
                    booked = s.execute("SELECT sum(heat_j) FROM energy_minutes").fetchone()[0]
                tap.ok(known >= 1, f"round {i}: {known} minutes have rows")
                tap.ok(booked, f"round {i}: {booked} J were booked")
    finally:
        shutil.rmtree(tail)
    tap.note(f"bare      {COUNT / min(bare_s):9.0f} messages/s, best of {ROUNDS}")
    tap.note(f"heatbookd {COUNT / min(ingest_s):9.0f} messages/s, broker to committed")
    tap.note(f"ratio     {min(bare_s) / min(ingest_s):9.2f}")


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:4])
