"""Progress of an import: on a terminal (a pty) one line that is written again and again and is gone
at the end, with rate and remaining time, also where the terminal is narrow; into a file plain
lines, some seconds apart, without a single control character.

The remaining time is told after two seconds of work, plain lines come each ten: the import is
stopped (SIGSTOP) amid its work until so much has passed, whatever the machine's speed.

Usage: progress.py HEATBOOKD DEMO_PLANT
"""
import concurrent.futures
import fcntl
import os
import pathlib
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import time

from rig import WAIT_MOST_S, Rig, wait_until
from tap import tests

BEGIN, END = "2025-01-05", "2025-01-19"
SETTLED_S, PLAIN_S = 2.3, 10.3  # daemon/progress.c: SETTLE_MS, PLAIN_MS
ERASE = "\r\x1b[K"
FILING = re.compile(r"(\d+) %, (\d+) lines, (\d+) lines/s(?:, (.+) left)?")


class Terminal:
    """A pty of so many columns; what is written on it."""

    def __init__(self, columns):
        self.mine, self.theirs = pty.openpty()
        fcntl.ioctl(self.theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 25, columns, 0, 0))
        self.bytes = b""

    def read(self, most_s):
        if select.select([self.mine], [], [], most_s)[0]:
            try:
                self.bytes += os.read(self.mine, 65536)
            except OSError:  # the other end is closed
                return False
            return True
        return True

    def text(self):
        return self.bytes.decode()

    def close(self):
        os.close(self.mine)


def sleep(process, seconds):
    process.send_signal(signal.SIGSTOP)
    end = time.monotonic() + seconds
    wait_until(lambda: time.monotonic() > end, "it slept")
    process.send_signal(signal.SIGCONT)


def on_terminal(rig, name, archive, columns):
    """What an import writes on one, and how it ends."""
    terminal = Terminal(columns)
    config = rig.demo(name)
    process = subprocess.Popen([rig.heatbookd, "import", "-c", config, archive],
                               stdin=subprocess.DEVNULL, stdout=terminal.theirs,
                               stderr=terminal.theirs)
    rig.endings.append(process)
    while not terminal.bytes and process.poll() is None:
        terminal.read(WAIT_MOST_S)
    sleep(process, SETTLED_S)
    os.close(terminal.theirs)
    while terminal.read(WAIT_MOST_S):
        pass
    terminal.close()
    return process.wait(WAIT_MOST_S), terminal.text()


def as_shown(text):
    """What a terminal makes of it: lines at last, each as all that it ever was."""
    return [line.split(ERASE) for line in text.replace("\r\n", "\n").split("\n")]


def wide(tap, rig, archive):
    status, text = on_terminal(rig, "wide", archive, 200)
    tap.equal(status, 0, "an import on a terminal is done")
    lines = as_shown(text)
    first = [shown for shown in lines[0] if shown]
    tap.ok(len(first) > 3, "its first line was written again and again", lines[0])
    filing = [FILING.search(shown) for shown in first if "lines/s" in shown]
    tap.ok(filing and all(filing), "with share, lines and rate", first)
    lefts = [f.group(4) for f in filing if f and f.group(4)]
    tap.ok(lefts and all(re.fullmatch(r"\d+ s|\d+ min|\d+\.\d h", left) for left in lefts),
           "and the time that remains, once that is known", first)
    tap.ok(any(re.match(r"derived \d+ days of \d+", shown) for shown in first),
           "then with the days that are derived", first)
    tap.ok(re.match(r"\d+ records from ", first[-1]), "the outcome takes its place", first)
    tap.ok(all(len(line) == 1 for line in lines[1:]), "and nothing is written again after it",
           lines[1:])
    tap.equal(lines[-1], [""], "the last line is ended")
    tap.equal(re.sub(re.escape(ERASE), "", text.replace("\r\n", "\n")).count("\x1b"), 0,
              "there is no other control sequence")


def narrow(tap, rig, archive):
    _, text = on_terminal(rig, "narrow", archive, 40)
    shown = [part for part in as_shown(text)[0][:-1] if part]
    tap.ok(shown and max(map(len, shown)) < 40, "on a narrow terminal the line does not wrap",
           shown)
    tap.ok(any("lines/s" in part for part in shown), "and what is at its end is shown", shown)


def has_read(process):
    """Bytes so far, of whatever."""
    text = pathlib.Path(f"/proc/{process.pid}/io").read_text(encoding="ascii")
    return int(re.search(r"rchar: (\d+)", text).group(1))


def plain(tap, rig, archive):
    config = rig.demo("plain")
    path = rig.dir / "plain.err"
    with open(path, "wb") as f:
        process = subprocess.Popen([rig.heatbookd, "import", "-c", config, archive],
                                   stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=f)
    rig.endings.append(process)
    # An archive is read twice: for its digest, then line by line.
    wait_until(lambda: process.poll() is not None or
               has_read(process) > 1.3 * archive.stat().st_size, "it is amid its work")
    sleep(process, PLAIN_S)
    status = process.wait(WAIT_MOST_S)
    text = path.read_text(encoding="utf-8")
    tap.equal(status, 0, "an import into a file is done")
    tap.ok(1 <= text.count("\n") <= 3 and text.endswith("\n"), "a line now and then, each ended",
           text)
    tap.ok(re.search(r"lines/s|derived \d+ days", text), "it tells how far it is", text)
    tap.equal([c for c in text if ord(c) < 32 and c != "\n"], [], "no control character in it")


def main(tap, heatbookd, demo_plant):
    with Rig(heatbookd, demo_plant) as rig:
        archive = rig.archive(BEGIN, END)
        with concurrent.futures.ThreadPoolExecutor() as pool:
            cases = [pool.submit(case, tap, rig, archive) for case in (plain, wide, narrow)]
        for case in cases:
            case.result()


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
