#!/usr/bin/env python3
"""Counts what a run of `meson test` said: BUILD PASSED FAILED, the latter two from earlier steps.

A test that speaks TAP counts with each of its points, any other as one. A test that ended
badly counts as failed even when each of its points is good. Prints `N passed, N failed`.
"""
import json
import pathlib
import re
import sys

build, passed, failed = pathlib.Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
log = build / "meson-logs" / "testlog.json"
lines = log.read_text(encoding="utf-8").splitlines() if log.exists() else []
for line in lines:
    test = json.loads(line)
    points = re.findall(r"^(not ok|ok)\b", test.get("stdout") or "", re.MULTILINE)
    bad = points.count("not ok")
    passed += points.count("ok") if points else int(test["result"] == "OK")
    failed += bad
    if test["result"] not in ("OK", "SKIP", "EXPECTEDFAIL") and not bad:
        failed += 1
        print(f"{test['name']}: {test['result']}")
if not lines:
    failed += 1
    print("no test was run")
print(f"{passed} passed, {failed} failed")
sys.exit(1 if failed else 0)
