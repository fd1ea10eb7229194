"""Minutes put into a store by hand, and a query that has to read them all."""
import sqlite3

FIRST = 9500000  # long before all that is derived, so that no hour or day is summed from them


class Ballast:
    """Days of minutes in which one channel is known: enough to keep a query busy. The steps are
    about the finest that one answer may have."""

    def __init__(self, days, step):
        self.minutes = days * 1440
        self.query = (f"/v1/series?channels=room_temperature&from={FIRST * 60}"
                      f"&to={(FIRST + self.minutes) * 60}&step={step}")

    def load(self, config):
        store = sqlite3.connect(config.parent / "heatbook.db")
        store.execute(
            "WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i + 1 < ?) "
            "INSERT INTO minutes (minute, c_room_temperature) "
            "SELECT ? + i, 2000 + i % 300 FROM n", (self.minutes, FIRST))
        store.commit()
        store.close()


MONTHS = Ballast(200, "PT15M")
YEARS = Ballast(11000, "PT23H59M")  # not of whole hours, so that it takes all of its 2 s
