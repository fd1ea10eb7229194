"""What electricity costs: the demo plant's own minutes by an independent computation in Python,
with windows over midnight, on weekdays and on the days of 23 and 25 hours, a tariff that changes, a
price topic with a gap, days without a tariff, own generation, and another source of heat. Then a
price is changed: its own days are worked out anew and nothing else.

References: sums by minute of the plant's truth (`archive --truth`), local times by Python's
zoneinfo; cost and carbon as published of tests/data/sim_hydronic. The demo's prices are invented.

Usage: prices.py HEATBOOKD DEMO_PLANT
"""
import collections
import csv
import datetime
import signal
import sqlite3
import sys

from rig import DATA, Rig, store, wait_until
from tap import tests
from truth import J_PER_KWH, ZONE, days_of, local_midnight, read_truth

SPRING, AUTUMN = ("2026-03-27", "2026-04-01"), ("2026-10-24", "2026-10-27")
EVENINGS = ("2026-03-26T23:00:00+01:00", "2026-10-23T23:00:00+02:00")  # before both
SPAN = (SPRING[0], AUTUMN[1])
GAP = ("2026-03-30T07:10:00+02:00", "2026-03-30T10:30:00+02:00")
STALE_MIN = 20
MONEY = 0.6e-4  # four decimals are shown; joules are whole in rows

PRICES = """
[site]
currency = EUR

[tariff first]
to = 2026-03-29
price = 0.31
window.night = Mo-Fr 22:00-06:00 0.22
window.noon = 11:30-13:15 0.18

[tariff second]
from = 2026-03-29
to = 2026-03-30
price = 0.33
window.early = 02:00-03:00 7
window.evening = 17:00-20:30 0.4

[channel spot]
topic = house/spot
unit = ct/kWh
stale_after = {stale} min

[tariff spot]
from = 2026-03-30
to = 2026-03-31
price_channel = spot

[tariff autumn]
from = 2026-10-24
price = {autumn}
window.early = 02:00-03:00 7

[carbon grid]
to = 2026-04-01
intensity = 300 g/kWh

[other_heat boiler]
price = 0.11
efficiency = 88 %
intensity = 250 g/kWh

[channel grid]
topic = house/grid
unit = W
stale_after = {stale} min

[channel roof]
topic = house/roof
unit = W
stale_after = {stale} min
"""

SITE = ("currency = EUR\n", "currency = EUR\nimport = grid\ngeneration = roof\n")
FEED_IN = ("price_channel = spot\n", "price_channel = spot\nfeed_in = 0.07\n")


def local(minute):
    return datetime.datetime.fromtimestamp(60 * minute, ZONE)


def epoch(text):
    return int(datetime.datetime.fromisoformat(text).timestamp())


def quarter(second):
    """Of the message that holds: in the gap the last one before it does for a while."""
    last = epoch(GAP[0]) // 900
    return last if last <= second // 900 and second < epoch(GAP[1]) else second // 900


def spot_ct(second):
    return 10 + (quarter(second) * 7919 % 37)


def grid_w(second):
    return (quarter(second) * 104729 % 4001) - 1500


def roof_w(second):
    return 3000 + quarter(second) * 31337 % 2000


def told():
    """Messages of the day with the price topic; the gap has none."""
    begin, end = local_midnight("2026-03-30"), local_midnight("2026-03-31")
    for t in range(begin, end, 900):
        if epoch(GAP[0]) <= t < epoch(GAP[1]):
            continue
        yield f"{t}.000 house/spot {spot_ct(t)}\n"
        yield f"{t}.000 house/grid {grid_w(t)}\n"
        yield f"{t}.000 house/roof {roof_w(t)}\n"


def in_gap(second):
    return epoch(GAP[0]) // 900 * 900 + STALE_MIN * 60 <= second < epoch(GAP[1])


def price(minute, autumn):
    at = local(minute)
    day, clock = str(at.date()), at.hour * 60 + at.minute
    if day < "2026-03-29":
        late, early = clock >= 22 * 60, clock < 6 * 60
        if (late and at.weekday() < 5) or (early and (at.weekday() - 1) % 7 < 5):
            return 0.22
        return 0.18 if 690 <= clock < 795 else 0.31
    if day == "2026-03-29":
        return 7 if at.hour == 2 else 0.4 if 1020 <= clock < 1230 else 0.33
    if day == "2026-03-30":
        return None if in_gap(60 * minute) else spot_ct(60 * minute) / 100
    if day == "2026-03-31":
        return None
    return 7 if at.hour == 2 else autumn


def own_share(minute):
    """The roof's part of what the house uses; the gap is the price's, too."""
    if str(local(minute).date()) != "2026-03-30" or in_gap(60 * minute):
        return None
    bought, made = grid_w(60 * minute), roof_w(60 * minute)
    used = made - max(0, -bought)
    bought = max(0, bought)
    return max(0, used) / (bought + max(0, used))


Sums = collections.namedtuple("Sums", "kwh priced cost own heat carbon")


def compute(truth, begin_s, end_s, autumn, mode=None, site=False):
    kwh = priced = cost = own = heat = carbon = 0.0
    for minute in range(begin_s // 60, end_s // 60):
        each, share = price(minute, autumn), own_share(minute) if site else 0.0
        for name, row in truth[minute].items():
            if mode not in (None, name):
                continue
            energy = (float(row["unit_j"] or 0) + float(row["immersion_j"] or 0)) / J_PER_KWH
            kwh += energy
            carbon += 0.3 * energy if str(local(minute).date()) < "2026-04-01" else 0
            if each is None or share is None:
                continue
            priced += energy
            own += energy * share
            cost += energy * (each * (1 - share) + 0.07 * share)
            heat += (float(row["heat_j"] or 0) + float(row["immersion_j"] or 0)) / J_PER_KWH
    return Sums(kwh, priced, cost, own, heat, carbon)


def ask(daemon, step="P1D"):
    begin, end = local_midnight(SPAN[0]), local_midnight(SPAN[1])
    return daemon.get(f"/v1/cost?from={begin}&to={end}&step={step}&by=mode").json()


def close(got, wanted, most):
    return got is not None and abs(got - wanted) <= most


def compare_days(tap, answer, truth, autumn):
    begins = answer["columns"]["t"]
    days = [d for span in (SPRING, AUTUMN) for d in days_of(*span)]
    for day, begin, end in days:
        at, want = begins.index(begin), compute(truth, begin, end, autumn)
        got = {name: column[at] for name, column in answer["columns"].items()}
        tap.near(got["electricity_kwh"], want.kwh, 1e-3, f"{day}: electricity")
        tap.near(got["unpriced_electricity_kwh"], want.kwh - want.priced, 1e-3,
                 f"{day}: what has no price")
        if want.priced:
            tap.near(got["cost"], want.cost, MONEY, f"{day}: {want.cost:.4f} in {end - begin} s")
            tap.near(got["price_paid"], want.cost / want.priced, 1e-5, f"{day}: price paid")
            tap.near(got["heat_cost"], want.cost / want.heat, 1e-5, f"{day}: what heat cost")
            tap.ok(got["cost_low"] < got["cost"] < got["cost_high"], f"{day}: an interval")
        else:
            tap.equal((got["cost"], got["heat_cost"]), (None, None), f"{day}: no cost")
        for mode, columns in answer["modes"].items():
            part = compute(truth, begin, end, autumn, mode)
            tap.ok(close(columns["cost"][at], part.cost, MONEY) or not part.priced,
                   f"{day}: {mode}", (columns["cost"][at], part))


def compare_total(tap, answer, truth, autumn):
    spans = [[local_midnight(d) for d in span] for span in (SPRING, AUTUMN)]
    sums = [compute(truth, *span, autumn) for span in spans]
    whole = Sums(*(a + b for a, b in zip(*sums)))
    total = answer["total"]
    tap.near(total["cost"], whole.cost, 10 * MONEY, f"in all {whole.cost:.4f}")
    tap.near(total["carbon_kg"], sums[0].carbon, 1e-3, "carbon, of days that have an intensity")
    tap.near(total["carbon_electricity_kwh"], sums[0].kwh, 1e-3, "of the electricity of these")
    boiler = total["other_heat"]["boiler"]
    tap.near(boiler["paired_heat_kwh"], whole.heat, 1e-3, "heat of priced minutes")
    tap.near(boiler["other_cost"], whole.heat / 0.88 * 0.11, 1e-3, "the same from a boiler")
    tap.near(boiler["saved"], whole.heat / 0.88 * 0.11 - whole.cost, 1e-3, "what that saved")
    tap.ok(boiler["saved_low"] < boiler["saved"] < boiler["saved_high"], "with an interval")
    tap.equal(answer["evidence"]["days"], 214, "days from the first row to the last")
    tap.equal(answer["evidence"]["days_without_tariff"], 207, "in which tariffs there are none")
    tap.ok(any("lie in no [tariff]" in s for s in answer["missing"]), "days without a tariff",
           answer["missing"])
    month = sum(c or 0 for c in answer["columns"]["cost"])
    tap.near(total["cost"], month, 10 * MONEY, "days add up")


def rows(config, facts):
    with store(config) as s:
        order = "ORDER BY start_minute, kind, subject, at_minute"
        return {tuple(r)[:4]: tuple(r) for r in s.execute(
            f"SELECT * FROM evidence WHERE (kind = 32) = {int(facts)} {order}")}


def priced_days(config):
    return {key[0] for key in rows(config, True) if key[2] == ""}


def reload(daemon, config, text):
    config.write_text(text)
    before = daemon.text().count("is in force")
    daemon.process.send_signal(signal.SIGHUP)
    wait_until(lambda: daemon.text().count("is in force") > before, "the file is read again")


def change(tap, daemon, config, truth, first):
    """A price of autumn is another: spring's facts stay, and so does all else that was seen."""
    days = {local_midnight(f"2026-03-{d}") // 60 for d in range(26, 32)} | {
        local_midnight(f"2026-10-{d}") // 60 for d in (24, 25, 26, 27)}
    wait_until(lambda: priced_days(config) == days, "days are worked out")
    tap.equal(priced_days(config), days, "days with a price or an intensity have facts")
    tap.equal({k: v for k, v in ask(daemon).items() if k != "version"},
              {k: v for k, v in first.items() if k != "version"},
              "facts answer what minutes did")
    facts, others = rows(config, True), rows(config, False)
    reload(daemon, config, config.read_text().replace("price = 0.29", "price = 0.35"))
    compare_total(tap, ask(daemon), truth, 0.35)
    begin = local_midnight(AUTUMN[0]) // 60
    wait_until(lambda: all(rows(config, True).get(k) != v for k, v in facts.items()
                           if k[0] >= begin and k[2] == ""), "autumn is worked out anew")
    now = rows(config, True)
    tap.ok(all(now.get(k) == v for k, v in facts.items() if k[0] < begin),
           "facts of spring are what they were")
    tap.equal(rows(config, False), others, "and so is all other evidence")
    compare_days(tap, ask(daemon), truth, 0.35)


def own_generation(tap, daemon, config, truth):
    reload(daemon, config, config.read_text().replace(*SITE).replace(*FEED_IN))
    answer = ask(daemon)
    begin, end = local_midnight("2026-03-30"), local_midnight("2026-03-31")
    at = answer["columns"]["t"].index(begin)
    got = {name: column[at] for name, column in answer["columns"].items()}
    want = compute(truth, begin, end, 0.35, site=True)
    tap.equal(answer["own_generation_by"], "proportion", "how own generation is shared")
    tap.near(got["own_electricity_kwh"], want.own, 1e-3, f"{want.own:.3f} kWh of the roof")
    tap.near(got["cost"], want.cost, MONEY, "what was bought, and what it would have earned")
    tap.near(got["priced_electricity_kwh"], want.priced, 1e-3, "where the share is known")
    tap.equal(answer["columns"]["cost"][at - 1], None, "on other days it is not")


# ---- what a register bridged ----

NOTEBOOK = """[plant]
zone = Europe/Berlin
[channel count]
topic = notebook/count
unit = kWh
[meter unit]
feeds = compressor
register = count
limit = 0 %
[tariff cheap]
to = 2026-01-06
price = 0.3
window.night = 22:00-06:00 0.2
[tariff dear]
from = 2026-01-06
price = 0.5
[store]
file = @DIR@/heatbook.db
[journal]
tail = @DIR@/tail
"""


def bridged(tap, rig):
    """Ten kWh between two readings of a notebook, days apart: nobody knows when."""
    config = rig.config("notebook", NOTEBOOK)
    lines = [("2026-01-05T10:00:00+01:00", 100.0), ("2026-01-05T10:05:00+01:00", 100.0),
             ("2026-01-07T12:00:00+01:00", 110.0), ("2026-01-07T12:05:00+01:00", 110.0)]
    (rig.dir / "notebook.txt").write_text("".join(f"{t} notebook/count {v}\n" for t, v in lines))
    rig.done("import", config, rig.dir / "notebook.txt")
    daemon = rig.serve(config)
    begin, end = local_midnight("2026-01-05"), local_midnight("2026-01-08")
    answer = daemon.get(f"/v1/cost?from={begin}&to={end}").json()
    total, days = answer["total"], answer["columns"]
    tap.near(total["electricity_kwh"], 10, 1e-3, "what the register counted")
    tap.near(total["bridged_electricity_kwh"], 10, 0.1, "all of it bridged")
    tap.near(total["cost_low"], 10 * 0.2, 0.05, "at the cheapest price of its span")
    tap.near(total["cost_high"], 10 * 0.5, 0.05, "and at the dearest")
    tap.ok(total["cost_low"] < total["cost"] < total["cost_high"], "which hold what rows say")
    for at, kwh in enumerate(days["bridged_electricity_kwh"]):
        tap.ok(days["cost_low"][at] <= 0.2 * kwh and days["cost_high"][at] >= 0.5 * kwh,
               f"day {at}: by prices of the span, and by what of it may be another day's",
               {name: column[at] for name, column in days.items()})
    alone = [daemon.get(f"/v1/cost?from={t}&to={t + 86400}").json()["total"] for t in days["t"]]
    for name in ("bridged_electricity_kwh", "cost_low", "cost_high"):
        tap.equal([t[name] for t in alone], days[name], f"{name}: as of the whole span, asked day by day")
    wait_until(lambda: len(priced_days(config)) == 3, "days are worked out")
    tap.equal(daemon.stop(), 0, "the daemon ends well")
    verified(tap, rig, config)


def verified(tap, rig, config):
    """Facts that are not what their minutes make are found, those of other prices are not asked."""
    found = rig.verb("verify", config, "--all")
    tap.equal(found.returncode, 0, "facts are made alike again")
    with sqlite3.connect(config.parent / "heatbook.db") as s:
        s.execute("UPDATE evidence SET v1 = v1 + 1 WHERE kind = 32 AND subject = 'unit'"
                  " AND at_minute >= 0 AND start_minute = ?", (local_midnight("2026-01-06") // 60,))
    found = rig.verb("verify", config, "--all")
    tap.equal(found.returncode, 3, "one that was changed is found")
    tap.has(found.stdout.decode(), "evidence", "and where it stands")
    config.write_text(config.read_text().replace("price = 0.5", "price = 0.6"))
    tap.equal(rig.verb("verify", config, "--all").returncode, 0,
              "of a price that is another now nothing is said")


# ---- what others worked out ----

SIMULATED = """[plant]
zone = UTC
heat_source = power
[channel unit_power]
unit = W
stale_after = 60 min
[channel fan_power]
unit = W
stale_after = 60 min
[channel pump_power]
unit = W
stale_after = 60 min
[channel heat_power]
unit = W
stale_after = 60 min
[meter unit]
feeds = compressor, circulation
power = unit_power + fan_power + pump_power
[table run]
files = *.csv
time = time
time_form = s
origin = 2023-01-01T00:00:00Z
silent_after = none
column.unit_power = reaPHeaPum_y
column.fan_power = reaPFan_y
column.pump_power = reaPPumEmi_y
column.heat_power = reaQHeaPumCon_y
[carbon grid]
intensity = 0.167 kg/kWh
[tariff one]
{tariff}
[store]
file = @DIR@/heatbook.db
[journal]
tail = @DIR@/tail
"""
TARIFFS = {"cost_tot": "price = 0.2535",
           "cost_tot_day_night_tariff": "price = 0.2383\nwindow.day = 07:00-22:00 0.2666"}
FLOOR_M2 = 192
# Whole days of 2023, and how far integrating from row to row may be from the authors' own; a price
# that steps adds to that.
STEPS = 0.002
WINDOWS = {"shoulder": (118, 120, 0.003), "peak_heat_day": (16, 18, 0.01)}


def published():
    with open(DATA / "sim_hydronic/published.csv", newline="") as f:
        return {(r["run"], r["key"]): float(r["value"]) for r in csv.DictReader(f)}


def simulated(tap, rig):
    """Published energy, cost and carbon of a simulated plant (tests/data/sim_hydronic)."""
    told = published()
    begin = int(datetime.datetime(2023, 1, 1, tzinfo=datetime.timezone.utc).timestamp())
    for run, (first, last, part) in WINDOWS.items():
        for key, tariff in TARIFFS.items():
            config = rig.config(f"{run}_{key}", SIMULATED.format(tariff=tariff))
            rig.done("import", config, DATA / f"sim_hydronic/{run}.csv")
            daemon = rig.serve(config)
            total = daemon.get(f"/v1/cost?from={begin + 86400 * first}"
                               f"&to={begin + 86400 * last}").json()["total"]
            tap.equal(daemon.stop(), 0, f"{run}: the daemon ends well")
            cost, energy = told[run, key] * FLOOR_M2, told[run, "ener_tot"] * FLOOR_M2
            tap.near(total["cost"], cost, (part + STEPS) * cost, f"{run}: {key} as published")
            tap.near(total["price_paid"], cost / energy, STEPS * cost / energy,
                     f"{run}: the mean of {tariff!r}")
            carbon = told[run, "emis_tot"] * FLOOR_M2
            tap.near(total["carbon_kg"], carbon, part * carbon, f"{run}: emission as published")
            tap.note(f"{run}, {key}: {total['cost']}, the authors' {cost:.4f}; price paid "
                     f"{total['price_paid']}, theirs {cost / energy:.6f}")


def main(tap, heatbookd, demo_plant):
    with Rig(heatbookd, demo_plant) as rig:
        config = rig.demo("prices", change=lambda text: text + PRICES.format(
            stale=STALE_MIN, autumn="0.29"))
        truth = {}
        for evening, span in zip(EVENINGS, (SPRING, AUTUMN)):
            path = rig.dir / f"{span[1]}.csv"
            rig.done("import", config, rig.archive(evening, span[1], "--truth", str(path),
                                                   out=f"{span[1]}.txt"))
            truth |= read_truth(path)
        (rig.dir / "told.txt").write_text("".join(told()))
        rig.done("import", config, rig.dir / "told.txt")
        truth = collections.defaultdict(dict, truth)
        daemon = rig.serve(config)
        first = ask(daemon)
        compare_days(tap, first, truth, 0.29)
        compare_total(tap, first, truth, 0.29)
        change(tap, daemon, config, truth, first)
        own_generation(tap, daemon, config, truth)
        tap.equal(daemon.stop(), 0, "the daemon ends well")
        bridged(tap, rig)
        simulated(tap, rig)


if __name__ == "__main__":
    with tests() as t:
        main(t, *sys.argv[1:])
