"""The demo year with all faults: what is told of them is corrected where a correction can, the days
that it names otherwise are left out, and then the season's totals must be the plant's own, within
the stated uncertainty and far within it. In the short form, two weeks of an autumn with most faults
in shorter spans and a day of 25 hours among them.

Usage: demo_year.py HEATBOOKD DEMO_PLANT year|weeks
"""
import csv
import datetime
import subprocess
import sys

from rig import Rig, store
from tap import tests
from truth import ZONE, days_of, plant_days

YEAR = ("2024-07-01", "2025-07-01", ("--faults", "all"))
WEEKS = ("2024-10-19", "2024-11-03", tuple(word for placed in (
    "retained_replayed=2024-10-20/2024-10-21",
    "bad_payloads=2024-10-21/2024-10-22",
    "register_wrap=2024-10-21T07:10:00+02:00",
    "return_low=2024-10-22/2024-10-25",
    "clamp_reversed=2024-10-22/2024-10-24",
    "broker_away=2024-10-25T09:00:00+02:00/2024-10-25T14:00:00+02:00",
    "integer_temperatures=2024-10-28/2024-10-29",
    "power_late=2024-10-29/2024-10-30",
    "power_cut=2024-10-30T05:00:00+01:00/2024-10-30T07:00:00+01:00",
    "immersion_daily=2024-10-31/2024-11-02",
    "efficiency_low=2024-11-01/2024-11-03",
    "register_reset=2024-11-01T06:30:00+01:00",
    "flow_falling=2024-10-26/2024-11-02") for word in ("--fault", placed)))

# What an owner does with what is told. Nothing: it is the plant's own, or harmless.
CORRECTED = {"pair_offset": ("return_temperature", "offset = 0.3 K"),
             "power_reversed": ("unit_power_2", "factor = -1")}
LEFT_OUT = {"missing_minutes", "power_cut", "channel_frozen", "resolution_coarse", "source_slow",
            "payload_bad"}
STEPS = {"year": "P1Y", "weeks": "P1M"}


def told(demo_plant, args):
    """The faults: [(finding, first second, last)]."""
    text = subprocess.run([demo_plant, "faults", *args], check=True, stdout=subprocess.PIPE,
                          text=True).stdout
    return [(r["finding"], int(r["from_epoch_s"]), int(r["to_epoch_s"]))
            for r in csv.DictReader(text.splitlines())]


def local(t_s):
    return datetime.datetime.fromtimestamp(t_s, ZONE).isoformat()


def correct(rig, config, findings):
    sections = [f"\n[correction {kind}_{i}]\nchannel = {CORRECTED[kind][0]}\n{CORRECTED[kind][1]}\n"
                f"from = {local(begin)}\nto = {local(end)}\n"
                for i, (kind, begin, end) in enumerate(findings) if kind in CORRECTED]
    config.write_text(config.read_text() + "".join(sections))
    spans = [f[1:] for f in findings if f[0] in CORRECTED]
    rig.done("rebuild", config, "--from", local(min(b for b, _ in spans))[:10],
             "--to", local(max(e for _, e in spans))[:10])


def kept_days(begin, end, findings):
    spans = [f[1:] for f in findings if f[0] in LEFT_OUT]
    return [date for date, day, after in days_of(begin, end)
            if not any(b < after and e >= day for b, e in spans)]


def stored_days(config):
    """date -> heat, unit and immersion in kWh, and for how long heat was known."""
    with store(config) as s:
        return {r["date"]: {k: (r[k] or 0) / 3.6e6 for k in r.keys() if k != "date"}
                for r in s.execute(
                    "SELECT date, sum(heat_j) AS heat, sum(e_unit_j) AS unit, "
                    "sum(e_immersion_j) AS immersion, sum(heat_ms) AS hours "
                    "FROM days JOIN energy_days USING (start_minute) GROUP BY date")}


def modes_of(config, dates):
    """mode's number -> kWh of heat."""
    with store(config) as s:
        marks = ",".join("?" * len(dates))
        return dict(s.execute(f"SELECT mode, sum(heat_j) / 3.6e6 FROM days JOIN energy_days "
                              f"USING (start_minute) WHERE date IN ({marks}) GROUP BY mode", dates))


def total(days, dates, name):
    return sum(days[date][name] for date in dates)


def compare(tap, config, truth, dates, name, tight):
    """tight: quantity -> share that it may be off."""
    days = stored_days(config)
    for quantity, share in tight.items():
        got, wanted = total(days, dates, quantity), total(truth, dates, quantity)
        tap.note(f"{name}: {quantity} {got:.2f} kWh, true {wanted:.2f}: "
                 f"{100 * (got / wanted - 1):+.3f} %")
        tap.near(got, wanted, share * wanted + 0.05, f"{name}: {quantity}")
    return total(days, dates, "heat"), total(days, dates, "unit")


def stated_share(daemon, begin, end, step):
    """The uncertainty that is stated of the whole span's factor, as a share of it."""
    span = [t for _, b, e in days_of(begin, end) for t in (b, e)]
    answer = daemon.get(f"/v1/energy?from={span[0]}&to={span[-1]}&step={step}&"
                        "boundary=H2%2Bcirculation").json()
    cops, bounds = answer["columns"]["cop"], answer["columns"]["cop_uncertainty"]
    return max(u / c for c, u in zip(cops, bounds))


def without_correction(tap, config, truth, dates, findings):
    """The faults were there: a day of each corrected kind is wrong before."""
    days = stored_days(config)
    off = [date for date in dates for kind, b, e in findings if kind == "pair_offset"
           and local(b)[:10] <= date < local(e)[:10]]
    heat = total(days, off, "heat") / total(truth, off, "heat") - 1
    tap.ok(heat > 0.02, "before: the pair's offset shows", heat)


def compare_modes(tap, config, truth, dates):
    """Water is measured each 20 s, so that up to that long the heat before a defrost counts into
    it: 3 % of what a defrost takes."""
    got = modes_of(config, dates)
    for number, mode, share in ((1, "heating", 0.01), (2, "hot_water", 0.01), (3, "defrost", 0.05)):
        wanted = total(truth, dates, mode)
        tap.near(got.get(number, 0), wanted, share * abs(wanted) + 0.05, f"kept days: {mode}")


def main(tap, heatbookd, demo_plant, form):
    begin, end, faults = YEAR if form == "year" else WEEKS
    with Rig(heatbookd, demo_plant) as rig:
        findings = told(demo_plant, faults)
        truth = plant_days(demo_plant, begin, end, *faults)
        config = rig.demo("plant", registers=True, change=lambda text: text.replace(
            "register = unit_register", "register = unit_register\nmodulus = 65536 kWh"))
        rig.done("import", config, rig.archive(begin, end, *faults))
        (rig.dir / "archive.txt").unlink()
        dates = kept_days(begin, end, findings)
        clocks = [d for d, b, e in days_of(begin, end) if e - b != 86400]
        tap.ok(clocks and set(clocks) <= set(dates), "days on which clocks change are kept", clocks)
        tap.ok(len(dates) > 0.55 * len(truth), "most days are kept", (len(dates), len(truth)))
        without_correction(tap, config, truth, dates, findings)
        correct(rig, config, findings)
        heat, unit = compare(tap, config, truth, dates, "kept days",
                             {"heat": 0.005, "unit": 0.002, "immersion": 0.002})
        # Mending must not need to know: every day counts for the registers.
        compare(tap, config, truth, list(truth), "all days", {"unit": 0.001, "immersion": 0.001})
        for date in clocks:
            compare(tap, config, truth, [date], date, {"heat": 0.01, "unit": 0.02})
        compare_modes(tap, config, truth, dates)
        daemon = rig.serve(config)
        share = stated_share(daemon, begin, end, STEPS[form])
        wanted = total(truth, dates, "heat") / total(truth, dates, "unit")
        tap.note(f"factor {heat / unit:.4f}, true {wanted:.4f}, stated within {100 * share:.1f} %")
        tap.ok(0 < share < 0.25, "an uncertainty is stated", share)
        tap.near(heat / unit, wanted, share * wanted, "the factor is true within what is stated")
        tap.equal(daemon.stop(), 0, "the daemon ends in good order")
        tap.equal(rig.verb("verify", config).returncode, 0, "verify exits 0")


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:4])
