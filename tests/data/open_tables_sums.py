"""Sums of the open tables, worked out with pandas: made tests/data/open_tables.json by

    /usr/bin/python3 tests/data/open_tables_sums.py > tests/data/open_tables.json    # pandas 1.5.3

Energies in kWh. Held: each row's value until the next row. A minute's mean: of its rows alike.
"""
import json
import pathlib

import pandas

HERE = pathlib.Path(__file__).parent
FLOW, HEAT_CAPACITY = 0.404317, 4180  # kg/s, J/(kg K): the authors' model of the rig


def rig():
    d = pandas.read_csv(HERE / "lab_brine_1s/heat_pump_1s.csv.gz")
    heat = FLOW * HEAT_CAPACITY * (d.water_supply_C - d.water_return_C) * d.pump_heating_run
    minute = d.power_W.groupby(d.time_s // 60)
    whole = minute.size() == 60
    return {"rows": len(d), "heat": heat.sum() / 3.6e6, "power": d.power_W.sum() / 3.6e6,
            "power_above_zero": d.power_W.clip(lower=0).sum() / 3.6e6,
            "minute_joules": [round(j, 2) for j in minute.sum()[whole]]}


def fans():
    d = pandas.read_csv(HERE / "lab_fan_10s/fan_power.csv")
    mean = d.groupby("date_time")[["ahu1_fan_power", "ahu2_fan_power"]].mean()
    return {"rows": len(d), "stamps": len(mean), "fan_1": mean.ahu1_fan_power.sum() / 60000,
            "fan_2": mean.ahu2_fan_power.sum() / 60000,
            "plain_mean_fan_1": d.ahu1_fan_power.mean() * len(mean) / 60000}


def simulated(name, window_s=None):
    """Of the last window_s seconds, where given; the row in force at their begin counts from
    then on."""
    d = pandas.read_csv(HERE / f"sim_hydronic/{name}.csv")
    begin = d.time.iloc[-1] - window_s if window_s else d.time.iloc[0]
    held_s = (d.time.shift(-1) - d.time.clip(lower=begin)).clip(lower=0)
    computed = 0.5 * HEAT_CAPACITY * (d.reaTSup_y - d.reaTRet_y) * (d.reaPPumEmi_y > 0)
    electricity = d.reaPHeaPum_y + d.reaPFan_y + d.reaPPumEmi_y
    return {"begin_s": begin, "end_s": d.time.iloc[-1],
            "heat": (d.reaQHeaPumCon_y * held_s).sum() / 3.6e6,
            "computed": (computed * held_s).sum() / 3.6e6,
            "electricity": (electricity * held_s).sum() / 3.6e6}


print(json.dumps({"rig": rig(), "fans": fans(), "simulated": {
    "initialize_advance": simulated("initialize_advance"), "shoulder": simulated("shoulder"),
    "peak_heat_day": simulated("peak_heat_day", 172800)}}, indent=1))
