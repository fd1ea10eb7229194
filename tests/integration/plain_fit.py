"""The signature of days by a plain search, down to a hundred-thousandth of a kelvin, and the demo
plant's own days for it.
"""
import csv
import subprocess

SPACE = ("heating", "overrun", "freeze_protection", "defrost")


def squares(points, end):
    """Least squares of base + slope·max(0, end − x), and slope and base; without an end a line."""
    h = [(max(0, end - x) if end is not None else -x, y) for x, y in points]
    n, mh, my = len(h), sum(a for a, _ in h) / len(h), sum(b for _, b in h) / len(h)
    hh = sum((a - mh) ** 2 for a, _ in h)
    hy = sum((a - mh) * (b - my) for a, b in h)
    if not hh or hy <= 0:
        return float("inf"), 0, 0
    return sum((b - my) ** 2 for _, b in h) - hy * hy / hh, hy / hh, my - hy / hh * mh


def plain_fit(points, ends):
    """(W/K, base temperature, kWh a day beyond it) of (°C, kWh a day)."""
    if not ends:
        _, slope, at_zero = squares(points, None)
        return slope / 0.024, at_zero / slope, None
    best, step = None, 0.25
    low, high = min(x for x, _ in points), max(x for x, _ in points)
    while step > 1e-5:
        ends_tried = [low + i * step for i in range(int((high - low) / step) + 2)]
        best = min(ends_tried, key=lambda end: squares(points, end)[0])
        low, high, step = best - 2 * step, best + 2 * step, step / 10
    _, slope, base = squares(points, best)
    return slope / 0.024, best, base


def truth_of(demo_plant, begin, end, *args):
    """Its own days: first second -> (°C, kWh by 24 hours)."""
    text = subprocess.run([demo_plant, "truth", "--from", begin, "--to", end, *args], check=True,
                          stdout=subprocess.PIPE, text=True).stdout
    days = {}
    for r in csv.DictReader(text.splitlines()):
        first, last = int(r["start_epoch_s"]), int(r["end_epoch_s"])
        days[first] = (float(r["outdoor_c"]), sum(float(r[f"{m}_kwh"]) for m in SPACE) * 86400 / (last - first))
    return days
