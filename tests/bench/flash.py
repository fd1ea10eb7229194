"""Law 11: what a day of the demo plant's messages writes to the device, and how the store's file
grows. live_days (live_days.c) passes them the daemon's way at the default settings; the store
lies on a loop device with ext4 of its own, whose written sectors /sys counts, the file system's
journal included; the tail lies on tmpfs, as under the service.

Once as power says, and once where registers rule electricity, as they do for an owner.

Usage: flash.py LIVE_DAYS; DAYS in the environment (default 30). Needs the right to mount (root):
without it the benchmark is skipped (exit status 77) and says so.
"""
import os
import pathlib
import subprocess
import sys
import tempfile

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "integration"))
from rig import Rig
from tap import tests

DAYS = int(os.environ.get("DAYS", "30"))
FROM = "2026-01-05"
DAY_MOST, YEAR_MOST = 15e6, 200e6  # bytes: the law's
SECTOR = 512  # of /sys/block/*/stat, whatever the device's own
RUN_IN_DAYS = min(5, DAYS // 2)  # before the file's free pages have come to their measure
IMAGE_BYTES = 1 << 30
SKIPPED = 77


def tool(*command):
    return subprocess.run(command, check=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                          text=True).stdout.strip()


class Device:
    """An ext4 of our own on a loop device. Use with `with`."""

    def __init__(self, directory):
        self.image, self.mount = directory / "image", directory / "flash"
        self.loop = None

    def __enter__(self):
        with open(self.image, "wb") as f:
            f.truncate(IMAGE_BYTES)
        self.mount.mkdir()
        tool("mkfs.ext4", "-q", self.image)
        self.loop = tool("losetup", "--find", "--show", self.image)
        try:
            tool("mount", self.loop, self.mount)
        except BaseException:
            tool("losetup", "-d", self.loop)
            raise
        return self

    def __exit__(self, *_):
        tool("umount", self.mount)
        tool("losetup", "-d", self.loop)

    def written(self):
        """Bytes so far, with all that waits."""
        tool("sync", "-f", self.mount)
        stat = pathlib.Path("/sys/block", pathlib.Path(self.loop).name, "stat").read_text()
        return int(stat.split()[6]) * SECTOR


def may_mount(directory):
    try:
        with Device(directory):
            return True
    except (OSError, subprocess.CalledProcessError) as error:
        print(f"SKIPPED: flash: cannot mount an image of its own: {error}\n"
              f"{getattr(error, 'stderr', '') or ''}", flush=True)
        return False


def run(live_days, config):
    """The hours' lines as dictionaries."""
    out = subprocess.run([live_days, config, FROM, str(DAYS)], check=True,
                         stdout=subprocess.PIPE, text=True).stdout.splitlines()
    names = out[0].split()
    return [dict(zip(names, map(int, line.split()))) for line in out[1:]]


def measure(tap, rig, tail, live_days, registers):
    home = rig.dir / ("registers" if registers else "power")
    home.mkdir()
    with Device(home) as device:
        config = rig.demo(f"by-{home.name}", registers=registers, change=lambda text: text.replace(
            "@DIR@/tail", str(tail)).replace("@DIR@/heatbook.db", f"{device.mount}/heatbook.db"))
        before = device.written()
        hours = run(live_days, config)
        written = (device.written() - before) / DAYS
        size = (device.mount / "heatbook.db").stat().st_size
    late = [h for h in hours if h["hour"] >= RUN_IN_DAYS * 24]
    growth = (size - late[0]["file_bytes"]) / (DAYS - RUN_IN_DAYS)
    messages = hours[-1]["messages"] / DAYS
    tap.note(f"by {home.name}: {DAYS} days, {messages:.0f} messages a day, a commit each 5 min")
    tap.note(f"device    {written / 1e6:7.2f} MB a day reach it (most {DAY_MOST / 1e6:.0f})")
    tap.note(f"file      {size / 1e6:7.2f} MB after {DAYS} days; "
             f"{growth / 1e3:.0f} kB a day after the first {RUN_IN_DAYS}")
    tap.note(f"a year    {growth * 365 / 1e6:7.1f} MB by the later days, "
             f"{size / DAYS * 365 / 1e6:.1f} MB by all of them (most {YEAR_MOST / 1e6:.0f})")
    tap.note(f"log       {max(h['wal_bytes'] for h in hours) / 1e6:7.2f} MB at most")
    tap.ok(hours[-1]["hour"] == DAYS * 24, "all days passed")
    tap.ok(0 < written <= DAY_MOST, "what reaches the device in a day is in the budget", written)
    tap.ok(0 < growth * 365 < YEAR_MOST, "a year's growth is in the budget", growth * 365)


def main(tap, live_days):
    shared = "/dev/shm" if os.path.isdir("/dev/shm") else None
    with Rig(None) as rig:
        for registers in (False, True):
            with tempfile.TemporaryDirectory(prefix="heatbook-test-", dir=shared) as tail:
                measure(tap, rig, tail, live_days, registers)


with tempfile.TemporaryDirectory(prefix="heatbook-test-") as trial:
    if not may_mount(pathlib.Path(trial)):
        sys.exit(SKIPPED)
with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:2])
