"""Minutes put into a store by hand, and a query that has to read them all."""
import sqlite3

MINUTES = 250 * 1440  # at PT15M about as much as one answer may hold
FIRST = 27000000


def fatten(config):
    """Months of minutes in which one channel is known: enough to keep a query busy."""
    store = sqlite3.connect(config.parent / "heatbook.db")
    store.execute(
        "WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i + 1 < ?) "
        "INSERT INTO minutes (minute, c_room_temperature) "
        "SELECT ? + i, 2000 + i % 300 FROM n", (MINUTES, FIRST))
    store.commit()
    store.close()


LONG_QUERY = (f"/v1/series?channels=room_temperature&from={FIRST * 60}"
              f"&to={(FIRST + MINUTES) * 60}&step=PT15M")
