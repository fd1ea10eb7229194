"""Seasons by the bin method, worked out plainly, for tests/data/certified_units/scop.csv.

EN 14825 as public code bases quote it: quotients at part load and capacities straight from point to
point, the last pieces going on; what the unit lacks of the load is a heater's. Certified quotients
hold the loss by cycling already; those of the standard's example do not (Cd 0.9). From the bivalent
temperature on capacities cover the load: declared ones are rounded.

Usage: python3 scop.py > scop.csv
"""
import csv
import pathlib

HERE = pathlib.Path(__file__).parent
HOURS = {"off": 3672, "thermostat": 179, "crankcase": 3851, "active": 2066}


def rows(path):
    with open(path, encoding="utf-8") as f:
        return list(csv.DictReader(line for line in f if not line.startswith("#")))


BINS = [(int(r["Tj_C"]), int(r["hours"])) for r in rows(HERE.parent / "en14825_bins.csv")
        if r["climate"] == "average"]


def straight(x, points):
    """points: [(x, y)] by x; the outer pieces go on."""
    pairs = list(zip(points, points[1:]))
    (x0, y0), (x1, y1) = next((p for p in reversed(pairs) if p[0][0] <= x), pairs[0])
    return y0 + (x - x0) / (x1 - x0) * (y1 - y0)


def season(design, points, limit, bivalent, cycling):
    """points: {outdoor: (capacity, COP)}. kWh: heat, supplementary, electricity."""
    def load(t):
        return design * (t - 16) / (-10 - 16)

    def part(t):
        capacity, cop = points[t]
        ratio = min(1, load(t) / capacity)
        return cop * ratio / (cycling * ratio + 1 - cycling)
    at = sorted(points)
    capacities, quotients = [(t, points[t][0]) for t in at], [(t, part(t)) for t in at]
    heat = extra = electricity = 0.0
    for t, hours in BINS:
        capacity = 0 if t < limit else straight(t, capacities)
        if limit <= t and t >= bivalent:
            capacity = max(capacity, load(t))
        lacks = max(0, load(t) - capacity)
        heat += hours * load(t)
        extra += hours * lacks
        electricity += hours * ((load(t) - lacks) / straight(t, quotients) + lacks)
    return heat, extra, electricity


def example():
    points = {float(r["Tj_C"]): (float(r["Pd_kW"]), float(r["COPd"]))
              for r in rows(HERE.parent / "en14825_scop_example_anchor_points.csv")}
    return "example", *season(11.46, points, -10, -6, 0.9), 0.0


def certified(r):
    points = {t: (float(r[f"p_th_{k}_l"]), float(r[f"cop_{k}_l"])) for k, t in
              (("minus7", -7.0), ("2", 2.0), ("7", 7.0), ("12", 12.0))}
    for key, word in (("t_biv", "tbiv"), ("tol", "tol")):
        points.setdefault(float(r[key]), (float(r[f"p_th_{word}_l"]), float(r[f"cop_{word}_l"])))
    idle = sum(float(r[k] or 0) / 1000 * HOURS[h] for k, h in
               (("poffs", "off"), ("ptos", "thermostat"), ("pcks", "crankcase")))
    return r["unit"], *season(float(r["p_rated_l"]), points, float(r["tol"]), float(r["t_biv"]),
                              1), idle


print("# Worked out by scop.py from part_load_points.csv and the example's anchor points.")
print("unit,heat_kwh,supplementary_kwh,electricity_kwh,scop_on,scop")
for unit, heat, extra, electricity, idle in [example(), *map(certified, rows(
        HERE / "part_load_points.csv"))]:
    scop_on = heat / electricity
    demand = (11.46 if unit == "example" else heat / sum(
        h * (t - 16) / -26 for t, h in BINS)) * HOURS["active"]
    print(f"{unit},{heat:.9f},{extra:.9f},{electricity:.9f},{scop_on:.12f},"
          f"{demand / (demand / scop_on + idle):.12f}")
