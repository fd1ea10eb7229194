"""The page's colours, as its style sheet has them, in light and in dark: contrast of words and
marks, and what sets marks apart for eyes that see fewer colours.

Outside: contrast and relative luminance by WCAG 2.2 (1.4.3: text 4.5, 1.4.11: what is not text 3;
its definitions); linear sRGB by IEC 61966-2-1; dichromats by the matrices of Machado, Oliveira and
Fernandes (2009, table 1, severity 1.0); CIE L*a*b* 1976 under D65 by ISO/CIE 11664-4. All from
memory; that the rows of each matrix keep white is checked. A difference of 20 in CIELAB for what
lies apart by colour and by nothing else is our choice: ten times a just noticeable one.

Usage: colours.py
"""
import itertools
import pathlib
import re
import sys

SOURCE = pathlib.Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(SOURCE / "tests/integration"))
from tap import tests  # noqa: E402

TEXT, MARKS, APART = 4.5, 3.0, 20.0
SEEN = {  # linear sRGB in, linear sRGB out
    "all colours": ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    "no red": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216),
               (-0.003882, -0.048116, 1.051998)),
    "no green": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413),
                 (-0.011820, 0.042940, 0.968881)),
    "no blue": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602),
                (0.004733, 0.691367, 0.303900)),
}


def schemes():
    """light, dark -> name of a property -> linear sRGB."""
    css = (SOURCE / "daemon/http/page/page.css").read_text(encoding="utf-8")
    blocks = {"light": r"^:root \{(.*?)\}", "dark": r'^:root\[data-shade="dark"\] \{(.*?)\}'}
    return {scheme: {name: linear(value) for name, value in
                     re.findall(r"--([a-z-]+): (#[0-9a-f]{6});",
                                re.search(block, css, re.DOTALL | re.MULTILINE).group(1))}
            for scheme, block in blocks.items()}


def linear(value):
    parts = [int(value[i:i + 2], 16) / 255 for i in (1, 3, 5)]
    return tuple(c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)


def luminance(rgb):
    return 0.2126 * rgb[0] + 0.7152 * rgb[1] + 0.0722 * rgb[2]


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def times(matrix, rgb):
    return tuple(min(1, max(0, sum(m * c for m, c in zip(row, rgb)))) for row in matrix)


def lab(rgb):
    x = (0.4124 * rgb[0] + 0.3576 * rgb[1] + 0.1805 * rgb[2]) / 0.95047
    y = luminance(rgb)
    z = (0.0193 * rgb[0] + 0.1192 * rgb[1] + 0.9505 * rgb[2]) / 1.08883
    f = [v ** (1 / 3) if v > 216 / 24389 else (24389 / 27 * v + 16) / 116 for v in (x, y, z)]
    return 116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])


def distance(one, other):
    return sum((a - b) ** 2 for a, b in zip(lab(one), lab(other))) ** 0.5


def known_values(tap):
    black, white, grey = (linear(v) for v in ("#000000", "#ffffff", "#767676"))
    tap.near(contrast(black, white), 21, 1e-9, "black on white is 21 (WCAG 2.2)")
    tap.near(contrast(grey, white), 4.54, 0.005, "#767676 is the lightest grey for text on white")
    tap.near(lab(white)[0], 100, 0.01, "white is L* 100")
    tap.near(lab(linear("#ff0000"))[0], 53.24, 0.02, "sRGB's red is L* 53.24")
    for name, matrix in SEEN.items():
        tap.ok(all(abs(sum(row) - 1) < 1e-5 for row in matrix), f"{name}: greys stay grey")


def scheme_holds(tap, scheme, colours):
    paper = colours["paper"]
    for name in ("ink", "faint", "heat", "electricity"):
        tap.ok(contrast(colours[name], paper) >= TEXT, f"{scheme}: words in {name} can be read",
               contrast(colours[name], paper))
    for name in ("water", "grey", "edge", "focus", "heat", "electricity"):
        tap.ok(contrast(colours[name], paper) >= MARKS, f"{scheme}: marks in {name} can be seen",
               contrast(colours[name], paper))
    for name, matrix in SEEN.items():
        for a, b in itertools.combinations(("heat", "electricity", "water"), 2):
            d = distance(times(matrix, colours[a]), times(matrix, colours[b]))
            tap.ok(d >= APART, f"{scheme}, {name}: {a} is not {b}", d)
    found = contrast(colours["ink"], colours["known"])
    tap.ok(found >= MARKS, f"{scheme}: a finding's corner stands out of a day that is known", found)


with tests() as t:
    known_values(t)
    for one_scheme, its_colours in schemes().items():
        scheme_holds(t, one_scheme, its_colours)
