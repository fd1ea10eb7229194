"""Notices, with a real daemon beside a real broker and a clock that runs sixty times as fast
(libfaketime): each is published once when it is raised and once when it is cleared, while values
waver about its threshold, over kill -9, orderly restarts, a broker that forgot, and a reload. What
is found on a day is told at six in the morning after it, and is over at six a day later.

Usage: notices.py HEATBOOKD
"""
import datetime
import json
import signal
import sys
import time
import zoneinfo

from clocks import with_library
from publish import Spy
from rig import Publisher, Rig, edit, wait_until
from stream import SPEED, Follower, fast
from tap import tests

CONFIG = """[plant]
name = Watched house
zone = Europe/Berlin
devices = compressor
[broker]
host = 127.0.0.1
port = @BROKER_PORT@
client_id = heatbook-notices
[source house]
silent_after = none
[channel water_pressure]
topic = house/pressure
unit = bar
stale_after = none
[channel unit_power]
topic = house/power
unit = W
stale_after = none
[meter unit]
feeds = compressor
power = unit_power
[notice low_pressure]
watch = value water_pressure
below = 1 bar
clears = 1.2 bar
for = 1 min
text = The water's pressure is low
[notice running]
watch = power unit
above = 500 W
for = 1 min
[publish]
prefix = heatbook
interval = 5 min
[journal]
tail = @DIR@/tail
clock_wait = 0 s
[store]
file = @DIR@/heatbook.db
commit_interval = 3 min
[http]
port = @HTTP_PORT@
"""
FOUND = CONFIG[:CONFIG.index("[notice")] + """[notice words]
watch = finding payload_bad
[notice cut]
watch = finding power_cut
[publish]
prefix = found
interval = 5 min
""" + CONFIG[CONFIG.index("[journal]"):].replace("3 min", "1 s")
TOPIC = "heatbook/notices"
BEGAN = time.time()


def words(spy, topic=TOPIC):
    """What was said of notices, one after the other: the names that are raised."""
    said = [m[1] for m in list(spy.heard) if m[0] == topic]
    return [[n["name"] for n in json.loads(w)["notices"]] if w else None for w in said]


def begin(rig, config):
    """A run whose clock goes on where that of the former one would be."""
    daemon = rig.serve(config, env=fast(int((time.time() - BEGAN) * SPEED) + 60))
    daemon.wait_subscribed()
    return daemon


def asked(daemon, name="low_pressure", more=""):
    answer = daemon.get(f"/v1/notices?last=PT12H{more}").json()
    return answer, next(n for n in answer["notices"] if n["name"] == name)


def pass_minutes(daemon, count):
    """So many more minutes close."""
    end = wait_until(lambda: asked(daemon)[0]["closed_until"], "a minute") + 60 * count
    wait_until(lambda: asked(daemon)[0]["closed_until"] >= end, f"{count} minutes close")


def raised(tap, daemon, spy, house):
    house.publish("house/pressure", "1.5")
    house.publish("house/power", "20")
    wait_until(lambda: words(spy), "a first word")
    house.publish("house/pressure", "0.8")
    wait_until(lambda: words(spy)[-1:] == [["low_pressure"]], "it is raised")
    tap.equal(words(spy), [[], ["low_pressure"]], "what is low is said, once")
    said = json.loads(spy.last(TOPIC))["notices"][0]
    answer, notice = asked(daemon)
    tap.equal({k: notice[k] for k in said}, said, "as /v1/notices says it")
    tap.ok(notice["raised"] and notice["count"] == 1 and abs(notice["value"] - 0.8) < 0.3 and
           answer["columns"]["t_end"] == [None], "where it lasts", answer)
    tap.equal(said["text"], "The water's pressure is low", "in the owner's words")
    for i in range(4):
        house.publish("house/pressure", "1.15" if i % 2 else "0.95")
        pass_minutes(daemon, 1)
    tap.equal(words(spy), [[], ["low_pressure"]], "wavering about the threshold is no news")
    return notice["since"]


def dies(tap, rig, config, daemon, spy, since):
    before = len(spy.heard)
    daemon.kill()
    spy.wait_state("gone")
    daemon = begin(rig, config)
    spy.wait_state("present")
    pass_minutes(daemon, 1)
    tap.equal(words(spy), [[], ["low_pressure"]], "after a death it is not said again")
    tap.ok(len(spy.heard) > before, "though all else is")
    tap.equal(asked(daemon)[1]["since"], since, "it is so since the same minute")
    return daemon


def ends_in_order(tap, rig, config, daemon, spy, since):
    daemon.stop()
    # The half second in which a broker must have acknowledged "stopped" is short by this clock.
    wait_until(lambda: spy.last("heatbook/state") in ("stopped", "gone"), "it is away")
    tap.equal(words(spy), [[], ["low_pressure"]], "an orderly end leaves it as it is")
    daemon = begin(rig, config)
    spy.wait_state("present")
    pass_minutes(daemon, 1)
    tap.equal(words(spy), [[], ["low_pressure"]], "and the next run does not say it again")
    notice = asked(daemon)[1]
    tap.ok(notice["raised"] and notice["since"] == since, "which knows of it", notice)
    return daemon


def broker_forgets(tap, rig, broker):
    broker.stop()
    if not broker.start():
        raise RuntimeError("its port was taken")
    rig.endings.append(broker.process)
    spy = Spy(broker.port)
    wait_until(lambda: words(spy), "the word that stands")
    tap.equal(words(spy), [["low_pressure"]], "a broker that forgot it is told it")
    return spy, Publisher(broker.port)


def cleared(tap, daemon, spy, house):
    house.publish("house/pressure", "1.4")
    wait_until(lambda: words(spy)[-1:] == [[]], "it is cleared")
    pass_minutes(daemon, 1)
    tap.equal(words(spy), [["low_pressure"], []], "what is well again is cleared, once")
    answer, notice = asked(daemon, more="&rows=yes")
    tap.ok(not notice["raised"] and notice["since"] is None and notice["count"] == 1,
           "and was so once", notice)
    row = answer["rows"][0]
    tap.ok(len(answer["rows"]) == 1 and row["notice"] == "low_pressure" and row["t_end"] > row["t"],
           "from when to when is told", answer["rows"])
    csv = daemon.get("/v1/notices?last=PT12H&format=csv&time=epoch").body.decode().split("\r\n")
    tap.equal(csv[1], f"{row['t']},{row['t_end']},low_pressure,no", "in a line of CSV, too")
    house.publish("house/power", "900")
    wait_until(lambda: words(spy)[-1:] == [["running"]], "the unit runs")
    tap.equal(words(spy), [["low_pressure"], [], ["running"]], "a meter's power is watched, too")


def reload(tap, config, daemon, spy):
    edit(config, ("below = 1 bar\nclears = 1.2 bar", "below = 2 bar"))
    daemon.process.send_signal(signal.SIGHUP)
    wait_until(lambda: words(spy)[-1:] == [["low_pressure", "running"]], "the other threshold")
    notice = asked(daemon)[1]
    tap.ok(notice["below"] == 2 and notice["clears"] == 2, "a reload brings another threshold",
           notice)
    edit(config, ("below = 2 bar", "below = 2 K"))
    daemon.process.send_signal(signal.SIGHUP)
    wait_until(lambda: "must be a pressure" in daemon.text(), "the fault")
    tap.ok(asked(daemon)[1]["below"] == 2, "one that is faulty changes nothing")


def slow_by(seconds, speed=1):
    """The environment of a program whose clock is so many seconds behind ours."""
    return with_library(FAKETIME=f"-{int(seconds)} x{speed}")


def followed(tap, follower, told):
    """Who followed the event stream all the while, over both restarts, too."""
    def names():
        return [[n["name"] for n in e["notices"]] for e in follower.notices]
    wait_until(lambda: names()[-1:] == told[-1:], "the last event")
    tap.equal(names(), told, "the event stream told each once")
    follower.close()


def house_archive(path, morning):
    """Two days and a night: the second day has words that are no pressure."""
    with open(path, "w", encoding="ascii") as f:
        for t in range(morning - 54 * 3600, morning - 3600, 60):
            hours = (morning - t) / 3600
            f.write(f"{t} house/pressure {'low' if 12 < hours < 15 else 1.5}\n")
            f.write(f"{t} house/power {20 + t // 60 % 7}\n")
    return path


def found(tap, rig):
    """The clock is set to seven of a morning, then of the next one."""
    zone = zoneinfo.ZoneInfo("Europe/Berlin")
    day = datetime.datetime.now(zone).date() - datetime.timedelta(days=2)
    morning = int(datetime.datetime(day.year, day.month, day.day, 6, tzinfo=zone).timestamp())
    broker = rig.broker()
    config = rig.config("found", FOUND, broker.port)
    rig.done("import", config, house_archive(rig.dir / "found.txt", morning),
             env=slow_by(time.time() - morning))
    spy = Spy(broker.port)
    for days, raised_now in ((0, ["words"]), (1, [])):
        seven = morning + days * 86400 + 3600
        daemon = rig.serve(config, env=slow_by(time.time() - seven, SPEED))
        wait_until(lambda: words(spy, "found/notices")[-1:] == [raised_now], "it is told")
        answer = daemon.get("/v1/notices?last=P2D&rows=yes").json()
        told = [n["name"] for n in answer["notices"] if n["raised"]]
        tap.equal(told, raised_now, f"{days} days later /v1/notices says the same")
        row = answer["rows"][0]
        tap.equal((row["notice"], row["t"]), ("words", morning), "told from six o'clock on")
        tap.equal(row["t_end"], morning + 86400 if days else None, "until six of the next morning")
        tap.equal(daemon.stop(), 0, "it ends in good order")
    said = words(spy, "found/notices")
    tap.equal(said[said.index(["words"]):], [["words"], []], "each is said once")


def main(tap, heatbookd):
    with Rig(heatbookd) as rig:
        broker = rig.broker()
        config = rig.config("watched", CONFIG, broker.port)
        spy, house = Spy(broker.port), Publisher(broker.port)
        daemon = begin(rig, config)
        follower = Follower(daemon)
        since = raised(tap, daemon, spy, house)
        follower.daemon = daemon = dies(tap, rig, config, daemon, spy, since)
        follower.daemon = daemon = ends_in_order(tap, rig, config, daemon, spy, since)
        spy, house = broker_forgets(tap, rig, broker)
        cleared(tap, daemon, spy, house)
        reload(tap, config, daemon, spy)
        both = ["low_pressure", "running"]
        followed(tap, follower, [[], both[:1], [], both[1:], both])
        tap.equal(daemon.stop(), 0, "it ends in good order")
        found(tap, rig)


if __name__ == "__main__":
    with tests() as tap_of_main:
        main(tap_of_main, *sys.argv[1:2])
