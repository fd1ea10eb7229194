"""Degree days of the weather beside this file, worked out with pandas: made degree_days.csv by

    /usr/bin/python3 tests/data/weather/weather_sums.py > tests/data/weather/degree_days.csv
"""
import pathlib

import pandas

HERE = pathlib.Path(__file__).parent
BASE_C = 15.5
SITES = {"il_hourly_tempF_2016": ("America/Chicago", lambda f: (f - 32) * 5 / 9),
         "uk_hourly_tempC_2021": ("Europe/London", lambda c: c)}


def four_cases(day):
    middle = (day["max"] + day["min"]) / 2
    if day["min"] >= BASE_C:
        return 0
    if day["max"] <= BASE_C:
        return BASE_C - middle
    if middle < BASE_C:
        return (BASE_C - day["min"]) / 2 - (day["max"] - BASE_C) / 4
    return (BASE_C - day["min"]) / 4


def sums_of(name, hours):
    """By local month, of hours by their local beginnings."""
    days = hours.resample("D").agg(["mean", "min", "max", "size"])
    days = days[days["size"] > 0].copy()
    days["integral_kd"] = (BASE_C - hours).clip(lower=0).resample("D").sum() / 24
    days["daily_mean_kd"] = (BASE_C - days["mean"]).clip(lower=0)
    days["min_max_kd"] = days.apply(four_cases, axis=1)
    days["eurostat_kd"] = (18 - days["mean"]).where(days["mean"] <= 15, 0)
    for month, sums in days.groupby(days.index.month).sum().iterrows():
        print(f"{name},{month},{int(sums['size'])},{sums.integral_kd:.4f},{sums.daily_mean_kd:.4f},"
              f"{sums.min_max_kd:.4f},{sums.eurostat_kd:.4f}")


print("# Monthly sums over local days, K d, base 15.5 C: computed with pandas 1.5.3 from the hourly "
      "rows beside this file, by weather_sums.py. integral: degree hours / 24.")
print("site,month,hours,integral_kd,daily_mean_kd,min_max_kd,eurostat_kd")
for name, (zone, celsius) in SITES.items():
    rows = pandas.read_csv(HERE / f"{name}.csv.gz")
    local = pandas.to_datetime(rows.iloc[:, 0], utc=True).dt.tz_convert(zone)
    sums_of(name, pandas.Series(celsius(rows.iloc[:, 1]).values, index=local))
name = "tmy3_fairbanks_hourly"  # stamps are ends, 24:00 the last
rows = pandas.read_csv(HERE / f"{name}.csv.gz")
begins = pandas.to_datetime(rows.date, format="%m/%d/%Y") + pandas.to_timedelta(
    rows.time.str[:2].astype(int) - 1, unit="h")
sums_of(name, pandas.Series(rows.drybulb_C.values, index=begins).sort_index())
