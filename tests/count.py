#!/usr/bin/env python3
"""Counts what runs of `meson test` said: PASSED FAILED BUILD…, the first two from earlier steps.

A test that speaks TAP counts with each of its points, any other as one; points that are
skipped count as neither. A test that ended badly counts as failed even when each of its points
is good, and so does a build in which no test ran. Says last what failed, since the log before
is long and may be cut: each point with its notes, or how the test ended; then `N passed, N failed`.
"""
import itertools
import json
import pathlib
import re
import sys

POINT = re.compile(r"^(not ok|ok)\b([^\n#]*)(#\s*(?:skip|todo))?", re.MULTILINE | re.IGNORECASE)
TOLD = 25  # lines of one failure, the last: of a stack these say what it was


def notes_of(said, start):
    """A failed point that starts at START of what a test said, and the notes behind it."""
    point, *behind = said[start:].splitlines()
    return [point, *list(itertools.takewhile(lambda line: line.startswith("#"), behind))[-TOLD:]]


def tell(test, build, said, bad):
    print(f"FAIL {build.name}: {test['name']}: {test['result']}, {test['duration']:.0f} s")
    lines = [line for start in bad for line in notes_of(said, start)]
    for line in lines or (said + (test.get("stderr") or "")).splitlines()[-TOLD:]:
        print(f"  {line}")


def count(build):
    """(passed, failed) of a build's last run."""
    log = build / "meson-logs" / "testlog.json"
    lines = log.read_text(encoding="utf-8").splitlines() if log.exists() else []
    if not lines:
        print(f"{build}: no test was run")
        return 0, 1
    passed = failed = 0
    for line in lines:
        test = json.loads(line)
        said = test.get("stdout") or ""
        points = [match for match in POINT.finditer(said) if not match[3]]
        bad = [match.start() for match in points if match[1].lower() == "not ok"]
        ended_badly = test["result"] not in ("OK", "SKIP", "EXPECTEDFAIL")
        if bad or ended_badly:
            tell(test, build, said, bad)
        passed += len(points) - len(bad) if points else int(test["result"] == "OK")
        failed += len(bad) or int(ended_badly)
    return passed, failed


def main():
    passed, failed = int(sys.argv[1]), int(sys.argv[2])
    for build in sys.argv[3:]:
        good, bad = count(pathlib.Path(build))
        passed += good
        failed += bad
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


sys.exit(main())
