#!/usr/bin/env python3
"""Counts what runs of `meson test` said: PASSED FAILED BUILD…, the first two from earlier steps.

A test that speaks TAP counts with each of its points, any other as one; points that are
skipped count as neither. A test that ended badly counts as failed even when each of its points
is good, and so does a build in which no test ran. Prints `N passed, N failed`.
"""
import json
import pathlib
import re
import sys

POINT = re.compile(r"^(not ok|ok)\b([^\n#]*)(#\s*(?:skip|todo))?", re.MULTILINE | re.IGNORECASE)


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
        points = [word.lower() for word, _, directive in POINT.findall(test.get("stdout") or "")
                  if not directive]
        good, bad = points.count("ok"), points.count("not ok")
        if test["result"] not in ("OK", "SKIP", "EXPECTEDFAIL") and not bad:
            bad = 1
            print(f"{test['name']}: {test['result']}")
        passed += good if points else int(test["result"] == "OK")
        failed += bad
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
