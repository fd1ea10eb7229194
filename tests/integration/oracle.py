"""What the demo plant's records come to, worked out again: naive, slow and apart from the daemon.

Rules as DEVELOPERS.md and README.md state them, for the channels of etc/demo/heatbook-demo.conf:
each reading is in force until the next of its channel, its limit or its source's death; every
minute is cut at all instants that fall into it, and each piece is booked to the mode of the
moment. Water: python3-iapws (IAPWS R7-97(2012) region 1, computed), 2 bar absolute.

Sources: `plant` has a Will; both are dead after 10 min without a message that is not retained.
A retained state counts from its arrival if its source is alive, else from the next sign of life.
"""
import base64
import bisect
import collections
import functools
import json
import math
import re

from iapws.iapws97 import _Region1

MIN_MS = 60_000
SILENT_MS = 10 * MIN_MS
OVERRUN_MS = 10 * MIN_MS
BRIDGED_MS = 3 * MIN_MS
NEVER = float("inf")
GATEWAY = "plant/gateway"
MISSING = {"", "n/a", "none", "null", "nan", "-", "--", "???"}
COMMA = re.compile(r"-?\d+,(\d{1,2}|\d{4,})")  # three digits behind it might be thousands
HOUR = 60

# channel -> topic, keys, limit in minutes, words of a state
CHANNELS = {
    "flow": ("plant/hydraulics", ("water", "out"), 5, None),
    "return": ("plant/hydraulics", ("water", "back"), 5, None),
    "rate": ("plant/hydraulics", ("loop", "rate"), 5, None),
    "hz": ("plant/refrigerant", ("compressor", "hz"), 5, None),
    "outdoor": ("plant/weather", ("air", "t"), 15, None),
    "service": ("plant/state/service", (), 26 * HOUR, {"rooms": "heating", "tap": "hot_water"}),
    "defrost": ("plant/state/defrost", (), 26 * HOUR, {"no": "off", "running": "on"}),
    "l1": ("house/meter/unit/l1", (), 5, None),
    "l2": ("house/meter/unit/l2", (), 5, None),
    "l3": ("house/meter/unit/l3", (), 5, None),
    "immersion": ("house/meter/immersion/power", (), 15, None),
}
TOPICS = collections.defaultdict(list)
for _name, _row in CHANNELS.items():
    TOPICS[_row[0]].append(_name)


def journal_lines(path):
    """(t_ms, topic, payload, retained) of the messages of an `export --journal`."""
    with open(path, encoding="utf-8") as f:
        for line in f:
            r = json.loads(line)
            if r["kind"] != "message":
                continue
            payload = (base64.b64decode(r["payload_base64"]).decode("latin-1")
                       if "payload_base64" in r else r["payload"])
            yield r["t_ms"], r["topic"], payload, r["retained"]


def archive_lines(text):
    """The same of `epoch topic payload` lines; lines of a journal may stand between them."""
    for line in text.splitlines():
        if line.startswith("{"):
            r = json.loads(line)
            yield r["t_ms"], r["topic"], r["payload"], r["retained"]
            continue
        stamp, topic, payload = line.split(" ", 2)
        seconds, _, millis = stamp.partition(".")
        yield int(seconds) * 1000 + int(millis), topic, payload, False


BAD = object()


def value_of(payload, keys, words):
    """The value, None (the source says that it has none) or BAD."""
    if payload == "":
        return None
    if keys:
        try:
            value = json.loads(payload)
        except ValueError:
            return BAD
        for key in keys:
            value = value.get(key, BAD) if isinstance(value, dict) else BAD
    else:
        value = payload
    if isinstance(value, str) and value.lower() in MISSING:
        return None
    if words:
        return words.get(value)  # an unknown word: the state is not known
    if isinstance(value, str) and COMMA.fullmatch(value):
        value = value.replace(",", ".")
    try:
        return value if value is None or value is BAD else float(value)
    except (TypeError, ValueError):
        return BAD


class Lives:
    """When each source was alive."""

    def __init__(self, messages):
        self.signs = {"plant": [], "house": []}
        self.gone = {"plant": [], "house": []}
        for t, topic, payload, retained in messages:
            source = topic.split("/")[0]
            if topic == GATEWAY and payload == "offline":
                self.gone["plant"].append(t)
                continue  # the word comes last
            if source in self.signs and (not retained or topic == GATEWAY):
                self.signs[source].append(t)
        self.silences = {source: self.silences_of(s) for source, s in self.signs.items()}

    @staticmethod
    def silences_of(signs):
        """For each sign the instant at which the silence after it, or after those that
        follow in time, has become too long."""
        silences, end = [], None
        for i in range(len(signs) - 1, -1, -1):
            if i + 1 == len(signs) or signs[i + 1] >= signs[i] + SILENT_MS:
                end = signs[i] + SILENT_MS
            silences.append(end)
        return silences[::-1]

    def death_after(self, source, t):
        """The first death after an instant at which the source was alive."""
        signs, gone = self.signs[source], self.gone[source]
        g = bisect.bisect_right(gone, t)
        i = bisect.bisect_right(signs, t) - 1
        silence = self.silences[source][i] if i >= 0 else t
        return min(gone[g], silence) if g < len(gone) else silence

    def alive_from(self, source, t):
        """The first instant at or after `t` at which the source is alive."""
        signs, gone = self.signs[source], self.gone[source]
        i = bisect.bisect_right(signs, t) - 1
        g = bisect.bisect_right(gone, t) - 1
        if i >= 0 and t < signs[i] + SILENT_MS and (g < 0 or gone[g] < signs[i]):
            return t
        return signs[i + 1] if i + 1 < len(signs) else NEVER


class Held:
    """One channel as known intervals [begin, end) with a value. Where it goes along lines, straight to
    the next one's, if that begins just there and at most `line_ms` later."""

    def __init__(self, readings, limit_ms, source, lives, line_ms=0):
        self.begins, self.ends, self.values = [], [], []
        self.line_ms = line_ms
        for i, (t, value, retained) in enumerate(readings):
            after = readings[i + 1][0] if i + 1 < len(readings) else NEVER
            if value is None:
                continue
            begin = lives.alive_from(source, t) if retained else t
            end = min(after, begin + limit_ms, lives.death_after(source, begin))
            if begin < end:
                self.begins.append(begin)
                self.ends.append(end)
                self.values.append(value)

    def at(self, t):
        i = bisect.bisect_right(self.begins, t) - 1
        return self.values[i] if i >= 0 and t < self.ends[i] else None

    def along(self, t, t_ms):
        """At `t_ms`, in force since before or at `t`."""
        i = bisect.bisect_right(self.begins, t) - 1
        if i < 0 or t >= self.ends[i]:
            return None
        begin, end, value = self.begins[i], self.ends[i], self.values[i]
        if end - begin > self.line_ms or i + 1 == len(self.begins) or self.begins[i + 1] != end:
            return value
        return value + (self.values[i + 1] - value) * (t_ms - begin) / (end - begin)

    def cuts(self, begin, end):
        for times in (self.begins, self.ends):
            yield from times[bisect.bisect_right(times, begin):bisect.bisect_left(times, end)]


def held_channels(messages, lines):
    lives = Lives(messages)
    readings = {name: [] for name in CHANNELS}
    for t, topic, payload, retained in messages:
        for name in TOPICS.get(topic, ()):
            _, keys, _, words = CHANNELS[name]
            value = value_of(payload, keys, words)
            if value is not BAD and not (retained and not words):
                readings[name].append((t, value, retained))
    return {name: Held(r, CHANNELS[name][2] * MIN_MS, CHANNELS[name][0].split("/")[0], lives,
                       lines.get(name, 0)) for name, r in readings.items()}


def stops_of(hz):
    """Instants at which the compressor is seen to stop."""
    stops, on_until = [], -NEVER
    before_end, before_on = -NEVER, None
    for begin, end, value in zip(hz.begins, hz.ends, hz.values):
        if begin > before_end:
            before_on = None  # unknown in between
        if value <= 0 and before_on is not False and begin - on_until <= BRIDGED_MS:
            stops.append(begin)
        if value > 0:
            on_until = end
        before_on, before_end = value > 0, end
    return stops


@functools.lru_cache(None)
def water(celsius):
    return _Region1(celsius + 273.15, 0.2)


def heat_w(flow, back, rate):
    if rate is None:
        return None
    if rate <= 0:
        return 0.0
    if flow is None or back is None:
        return None
    return rate / 60000 / water(back)["v"] * (water(flow)["h"] - water(back)["h"]) * 1000


def water_between(celsius):
    """Volume and enthalpy, straight from tenth to tenth of a kelvin: of these the latter's bend is
    less than a millionth of what 1 K makes."""
    low = math.floor(celsius * 10) / 10
    part = (celsius - low) * 10
    a, z = water(round(low, 1)), water(round(low + 0.1, 1))
    return tuple(a[key] + (z[key] - a[key]) * part for key in ("v", "h"))


def heat_w_along(held, a, b, rate):
    """The mean of a piece [a, b), by Simpson's rule."""
    watts = []
    for t in (a, (a + b) / 2, b):
        flow, back = held["flow"].along(a, t), held["return"].along(a, t)
        if rate is None or rate <= 0 or flow is None or back is None:
            return heat_w(flow, back, rate)
        volume, enthalpy = water_between(back)
        watts.append(rate / 60000 / volume * (water_between(flow)[1] - enthalpy) * 1000)
    return (watts[0] + 4 * watts[1] + watts[2]) / 6


def mode_of(now, t, stops):
    if now["defrost"] is None:
        return "unassigned"
    if now["defrost"] == "on":
        return "defrost"
    if now["hz"] is None:
        return "unassigned"
    if now["hz"] > 0:
        return now["service"] or "unassigned"
    if now["rate"] is None:
        return "unassigned"
    if now["rate"] <= 0:
        return "standby"
    i = bisect.bisect_right(stops, t) - 1
    if i >= 0 and t < stops[i] + OVERRUN_MS:
        return "overrun"
    outdoor, back = now["outdoor"], now["return"]
    if (outdoor is not None and outdoor >= 5) or (back is not None and back >= 15):
        return "standby"
    return "unassigned" if outdoor is None or back is None else "freeze_protection"


class Sum:
    """One mode of one minute."""

    def __init__(self):
        self.ms = 0
        self.j = {"heat": 0.0, "unit": 0.0, "immersion": 0.0}
        self.known_ms = {"heat": 0, "unit": 0, "immersion": 0}


def book(sums, now, mode, ms, heat):
    phases = [now[f"l{n}"] for n in (1, 2, 3)]
    rates = {"heat": heat,
             "unit": None if None in phases else sum(phases), "immersion": now["immersion"]}
    if mode == "unassigned" and all(w is None for w in rates.values()):
        return
    sums[mode].ms += ms
    for name, w in rates.items():
        if w is None:
            continue
        sums[mode].known_ms[name] += ms
        # The immersion heats the cylinder, whatever the heat pump does.
        where = "hot_water" if name == "immersion" and w else mode
        sums[where].j[name] += w * ms / 1000


def account(messages, begin_min, end_min, lines=None):
    """(minute, mode) -> Sum of the minutes in which anything is known. `lines`: of channels that go
    along these, how long one may be, ms."""
    messages = sorted(messages, key=lambda m: (m[0], m[1], m[2], not m[3]))
    held = held_channels(messages, lines or {})
    stops = stops_of(held["hz"])
    overruns = [t + OVERRUN_MS for t in stops]
    rows = {}
    for minute in range(begin_min, end_min):
        begin, end = minute * MIN_MS, (minute + 1) * MIN_MS
        cuts = {begin, end, *(t for t in overruns if begin < t < end)}
        for h in held.values():
            cuts.update(h.cuts(begin, end))
        cuts = sorted(cuts)
        sums = collections.defaultdict(Sum)
        for a, b in zip(cuts, cuts[1:]):
            now = {name: h.at(a) for name, h in held.items()}
            heat = (heat_w_along(held, a, b, now["rate"]) if lines
                    else heat_w(now["flow"], now["return"], now["rate"]))
            book(sums, now, mode_of(now, a, stops), b - a, heat)
        rows.update({(minute, mode): s for mode, s in sums.items()})
    return rows


COLUMNS = {"heat": ("heat_j", "heat_ms"), "unit": ("e_unit_j", "e_unit_ms"),
           "immersion": ("e_immersion_j", "e_immersion_ms")}


def compare(tap, rows, wanted, name, tolerance_j=0.51):
    """The store's rows (rig.energy_rows) against account()'s."""
    odd = sorted(rows.keys() ^ wanted.keys())
    tap.ok(not odd, f"{name}: {len(wanted)} rows, no other", odd[:6])
    both = sorted(rows.keys() & wanted.keys())
    wrong = [(k, rows[k]["ms"], wanted[k].ms) for k in both if rows[k]["ms"] != wanted[k].ms]
    tap.ok(not wrong, f"{name}: milliseconds by mode", wrong[:5])
    for quantity, (j, ms) in COLUMNS.items():
        wrong = [(k, rows[k][ms], wanted[k].known_ms[quantity]) for k in both
                 if rows[k][ms] != wanted[k].known_ms[quantity]]
        tap.ok(not wrong, f"{name}: known time of {quantity}", wrong[:5])
        wrong = [(k, rows[k][j], wanted[k].j[quantity]) for k in both
                 if abs((rows[k][j] or 0) - wanted[k].j[quantity]) > tolerance_j]
        tap.ok(not wrong, f"{name}: joules of {quantity}", wrong[:5])
    return both
