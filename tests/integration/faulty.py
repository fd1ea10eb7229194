"""Two autumn days of the demo plant under faults, imported: rows, registers' spans and events of the
store, and what the plant's observer and the registers' messages say.
"""
import collections
import functools

import oracle
from rig import energy_rows, store
from truth import J_PER_KWH, read_truth

BEGIN, END = "2024-10-12", "2024-10-14"  # Saturday, and a Sunday's immersion
BEGIN_MS, END_MS = 1728684000_000, 1728856800_000
H_MS, MIN_MS = 3600_000, 60_000
MODULUS_KWH = 65536
STEP_J = 36_000  # 0.01 kWh
TOPICS = {"unit": "house/meter/unit/energy", "immersion": "house/meter/immersion/energy"}
BRIDGED = 2  # settlement.h
RESET = 3
COUNTED = (0, 1, 2)


def modulus(text):
    return text.replace("register = unit_register",
                        f"register = unit_register\nmodulus = {MODULUS_KWH} kWh")


class House:
    """The two days under one fault, imported; with registers, or by power alone."""

    def __init__(self, rig, name, *placed, registers=True, end=END):
        self.rig, self.name = rig, name
        args = [word for fault in placed for word in ("--fault", fault)]
        self.truth_path = rig.dir / f"{name}.csv"
        self.path = rig.archive(BEGIN, end, *args, "--truth", self.truth_path, out=f"{name}.txt")
        self.config = rig.demo(name, change=modulus, registers=registers)
        rig.done("import", self.config, self.path)

    def mend(self, text):
        """A correction, and everything made anew."""
        self.config.write_text(self.config.read_text() + text)
        self.rig.done("rebuild", self.config)
        self.__dict__.pop("rows", None)

    @functools.cached_property
    def rows(self):
        return energy_rows(self.config)

    @functools.cached_property
    def truth(self):
        return read_truth(self.truth_path)

    def sum(self, column, begin_ms=BEGIN_MS, end_ms=END_MS):
        return sum(r.get(column) or 0 for (m, _), r in self.rows.items()
                   if begin_ms <= m * MIN_MS < end_ms)

    def true_j(self, column, begin_ms=BEGIN_MS, end_ms=END_MS):
        return sum(float(r[column]) for m in self.truth for r in self.truth[m].values()
                   if begin_ms <= m * MIN_MS < end_ms)

    @functools.cached_property
    def settlements(self):
        with store(self.config) as s:
            found = collections.defaultdict(list)
            for r in s.execute("SELECT name, begin_ms, end_ms, kind, j, from_j, to_j "
                               "FROM settlements JOIN meters ON bit = meter ORDER BY begin_ms"):
                found[r["name"]].append(r)
        return found

    @functools.cached_property
    def events(self):
        with store(self.config) as s:
            return [tuple(r) for r in s.execute("SELECT kind, subject, t_ms, before, after "
                                                "FROM events ORDER BY t_ms")]

    def counted(self, meter):
        return [tuple(r)[1:5] for r in self.settlements[meter] if r["kind"] in COUNTED]

    @functools.cached_property
    def readings(self):
        """meter -> instant -> joules, of the messages."""
        found = {meter: {} for meter in TOPICS}
        for t, topic, payload, retained in oracle.archive_lines(self.path.read_text()):
            for meter, name in TOPICS.items():
                value = oracle.value_of(payload, (), None) if topic == name else None
                if not retained and value is not None and value is not oracle.BAD:
                    found[meter][t] = round(value * J_PER_KWH)
        return found


def check_spans(tap, house):
    """Every span of a register has what its readings say, and rows have what spans have."""
    for meter, readings in house.readings.items():
        spans = [r for r in house.settlements[meter] if r["kind"] in COUNTED]
        if not tap.ok(spans, f"{house.name}: {meter} has spans"):
            continue
        whole = round(MODULUS_KWH * J_PER_KWH)
        wrong = [tuple(r) for r in spans
                 if r["j"] != (readings[r["end_ms"]] - readings[r["begin_ms"]]) % whole]
        tap.equal(wrong[:3], [], f"{house.name}: spans of {meter} are their readings' difference")
        apart = [(a["end_ms"], b["begin_ms"]) for a, b in zip(spans, spans[1:])
                 if a["end_ms"] != b["begin_ms"]]
        resets = [(r["begin_ms"], r["end_ms"]) for r in house.settlements[meter]
                  if r["kind"] == RESET]
        tap.equal(apart, resets, f"{house.name}: one span of {meter} follows the other")
        # In whole minutes within spans that follow each other nothing else is booked.
        first, last = spans[0]["begin_ms"], spans[-1]["end_ms"]
        inner = house.sum(f"e_{meter}_j", first + MIN_MS, last - MIN_MS)
        total = sum(r["j"] for r in spans)
        edges = house.sum(f"e_{meter}_j", first // MIN_MS * MIN_MS, last + MIN_MS)
        tap.ok(inner <= total <= edges, f"{house.name}: rows of {meter} add up to its spans",
               (inner, total, edges))
