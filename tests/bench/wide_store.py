"""A store of forty channels by the minute over years, for what asks it. Rows are put into a store
that the daemon made, since a log of ten such years would be imported for an hour; they are invented
and prove nothing but how long it takes to read them."""
import pathlib
import sqlite3

CHANNELS = 40
EXTREMES = 4  # that keep least and most
LAST_MINUTE = 29453760 + 14400  # 2026-01-11T00:00Z: none lies ahead


def configuration():
    text = "[plant]\nzone = Europe/Berlin\n[store]\nfile = @DIR@/heatbook.db\n"
    text += "[journal]\ntail = @DIR@/tail\n[http]\nport = @HTTP_PORT@\n"
    for i in range(CHANNELS):
        text += f"[channel probe_{i:02}]\ntopic = house/probe/{i}\nunit = °C\n"
        text += "extremes = yes\n" if i < EXTREMES else ""
    return text


def fill(config, years):
    """Minutes up to LAST_MINUTE; the first of them."""
    first = LAST_MINUTE - years * 365 * 1440
    columns, values = ["minute"], ["m"]
    for i in range(CHANNELS):
        # A daily wave, coarse, and noise, in hundredths; where nothing was heard it is unknown.
        value = f"1800 + {40 * i} + abs(m % 1440 - 720) / 2 + abs(random()) % 50"
        columns.append(f"c_probe_{i:02}")
        values.append(f"iif(m % 997 = {i}, NULL, {value})")
        columns.append(f"c_probe_{i:02}_ms")
        values.append(f"iif(m % 499 = {i}, 42000, NULL)")
        if i < EXTREMES:
            columns += [f"c_probe_{i:02}_least", f"c_probe_{i:02}_most"]
            values += [f"1700 + {40 * i}", f"2600 + {40 * i}"]
    file = pathlib.Path(config).parent / "heatbook.db"
    connection = sqlite3.connect(file, isolation_level=None)
    connection.execute("PRAGMA synchronous = OFF")
    connection.execute(
        "WITH RECURSIVE minutes_of(m) AS (SELECT ? UNION ALL SELECT m + 1 FROM minutes_of"
        f" WHERE m < ?) INSERT INTO minutes ({', '.join(columns)})"
        f" SELECT {', '.join(values)} FROM minutes_of", (first, LAST_MINUTE - 1))
    connection.execute("UPDATE facts SET value = ? WHERE name = 'derived_until_ms'",
                       (LAST_MINUTE * 60000,))
    connection.close()
    return first
