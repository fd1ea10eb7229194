"""How often the interval of a leak's rate holds the truth, of drawn circuits: numpy 1.24.2, scipy 1.10.1.

Days whose errors hang on the one before (first order), a leak of 0.55 bar in 28 days to the end, the
day of its begin looked for by least squares each quarter of a day. Three ways: a line bent at that day
with the standard error of its slope (bent); days behind it by themselves (parted); that with a
correlation freed from its bias and as many independent rows as the others are worth (what circuit.c
does). Prints, for each length and correlation, the share that holds the truth; 0.95 is stated.

Usage: circuit_coverage.py [DRAWS]
"""
import sys

import numpy as np
from scipy.signal import lfilter
from scipy.stats import t as student

MONTH_DAYS, NOISE_BAR, LEAK = 30.4375, 0.004, -0.55 / 28
CASES = [(40, 20), (70, 20), (70, 40), (364, 28)]


def beside(basis, y):
    q, _ = np.linalg.qr(basis)
    return y - q @ (q.T @ y)


def drawn(random, n, days, correlation, draws):
    """Mean water temperatures and pressures of days, in columns; each day is the mean of its hours."""
    water = 7 + 4 * np.sin(0.8 * np.arange(n)) + random.normal(0, 1, n)
    hours = np.arange(n)[:, None] + (np.arange(24) + 0.5) / 24
    lost = LEAK * np.maximum(0, hours - (n - days)).mean(1)
    noise = lfilter([1], [1, -correlation], random.normal(0, NOISE_BAR, (n + 200, draws)), axis=0)[200:]
    return water, (1.4 + lost + 0.006 * water)[:, None] + noise


def begins(water, y):
    """By least squares, of each column."""
    n = len(water)
    basis, middle = np.column_stack([np.ones(n), water]), np.arange(n) + 0.5
    days = np.arange(1, n - 7, 0.25)
    bent = beside(basis, np.maximum(0, middle[:, None] - days))
    gain = (bent.T @ beside(basis, y)) ** 2 / (bent ** 2).sum(0)[:, None]
    return days[gain.argmax(0)]


def rates(x, y, ways):
    """Of each way the rate and half its interval, by the slope in column 1."""
    n, p = x.shape
    of_design = np.linalg.inv(x.T @ x)
    b = of_design @ (x.T @ y)
    e = y - x @ b
    rho = sum(e[1:] * e[:-1]) / (sum(e[1:] ** 2 + e[:-1] ** 2) / 2)
    sd = np.sqrt(of_design[1, 1] * (e @ e) / (n - p))
    for way in ways:
        r = rho + (p + 4 * rho) / n if way == "worth" else rho
        r = min(max(r, 0), 0.95)
        rows = max((n - p) * (1 - r) / (1 + r), 2) if way == "worth" else n - p
        yield b[1], student.ppf(0.975, rows) * sd * np.sqrt((1 + r) / (1 - r))


def main(draws):
    random = np.random.default_rng(5)
    print("days,of_leak,correlation,bent,parted,worth")
    for n, days in CASES:
        for correlation in (0, 0.4, 0.7):
            water, y = drawn(random, n, days, correlation, draws)
            held = np.zeros(3)
            for column, begin in enumerate(begins(water, y)):
                middle = np.arange(n) + 0.5
                bent = np.column_stack([np.ones(n), np.maximum(0, middle - begin) / MONTH_DAYS, water])
                parted = np.column_stack([bent, (middle > begin) * 1.0])
                told = [*rates(bent, y[:, column], ["bent"]),
                        *rates(parted, y[:, column], ["parted", "worth"])]
                held += [abs(rate - LEAK * MONTH_DAYS) <= half for rate, half in told]
            print(f"{n},{days},{correlation}," + ",".join(f"{h:.3f}" for h in held / draws), flush=True)


main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
