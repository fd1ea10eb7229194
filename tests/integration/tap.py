"""Test Anything Protocol: a line an assertion, the plan at the end, exit status by the result.

A failed assertion does not end the test, since the next ones often say why. What ends it early
(an exception) is an assertion of its own that failed.
"""
import contextlib
import sys
import traceback


class Tap:
    def __init__(self):
        self.count = 0
        self.failed = 0

    def note(self, text):
        for line in str(text).splitlines():
            print(f"# {line}", flush=True)

    def ok(self, condition, name, detail=""):
        """One assertion; `detail` is printed when it fails. Returns whether it holds."""
        self.count += 1
        self.failed += not condition
        word = "ok" if condition else "not ok"
        print(f"{word} {self.count} - {name.replace('#', ' ')}", flush=True)
        if not condition and detail != "":
            self.note(detail)
        return bool(condition)

    def equal(self, got, wanted, name):
        return self.ok(got == wanted, name, f"got {got!r}\nwanted {wanted!r}")

    def near(self, got, wanted, tolerance, name):
        return self.ok(got is not None and abs(got - wanted) <= tolerance, name,
                       f"got {got!r}\nwanted {wanted!r} within {tolerance!r}")

    def has(self, text, part, name):
        return self.ok(part in text, name, f"no {part!r} in\n{text}")


@contextlib.contextmanager
def tests():
    """The frame of a test program: yields the Tap, ends the process."""
    tap = Tap()
    try:
        yield tap
    except Exception:  # the report is the point, whatever it was
        tap.ok(False, "the test ran to its end", traceback.format_exc())
    print(f"1..{tap.count}", flush=True)
    sys.exit(1 if tap.failed else 0)
