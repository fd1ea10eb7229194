"""The units as systemd itself reads them, without running any: nothing to complain of, and exposed
to no more than 1.5 of 10 by its own measure.

Usage: service_units.py HEATBOOKD DIRECTORY (of the units)
"""
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

from tap import tests

EXPOSURE_MOST = 1.5
NAMES = ("heatbookd.service", "heatbook-backup.service", "heatbook-backup.timer")


def analyze(*args):
    result = subprocess.run(["systemd-analyze", *args], text=True, stdin=subprocess.DEVNULL,
                            capture_output=True, check=False)
    return result.returncode, result.stdout + result.stderr


def settings(path):
    """The last value of each setting."""
    return dict(re.findall(r"(?m)^(\w+)=(.*)$", path.read_text()))


def exposure(tap, path):
    code, text = analyze("security", "--offline=true", f"--threshold={int(EXPOSURE_MOST * 10)}",
                         str(path))
    found = re.search(r"Overall exposure level for \S+: ([\d.]+)", text)
    tap.ok(code == 0 and found and float(found[1]) <= EXPOSURE_MOST,
           f"{path.name}: exposure {found[1] if found else '?'} is at most {EXPOSURE_MOST}", text)


def looks(tap, units):
    """Every directory that the defaults of the configuration name is given to the unit, and the
    backup may write beside the store that the daemon writes."""
    for unit, backup, name in (("heatbookd", "heatbook-backup", "heatbook"),
                               ("heatbookd@cellar", "heatbook-backup@cellar", "heatbook-%i")):
        daemon = settings(units / f"{unit}.service")
        tap.equal(daemon["StateDirectory"], name, f"{unit}: its state directory")
        tap.equal(daemon["RuntimeDirectory"], name, f"{unit}: its runtime directory")
        tap.equal(daemon["RuntimeDirectoryPreserve"], "yes", f"{unit}: the tail outlives it")
        tap.equal(daemon["RestartPreventExitStatus"], "2",
                  f"{unit}: a faulty configuration is not tried again")
        directories = settings(units / f"{backup}.service")["StateDirectory"].split()
        tap.equal(directories[0], name, f"{backup}: has the store's directory")
        tap.ok(settings(units / f"{backup}.service")["ExecStart"].endswith("/" + directories[1]),
               f"{backup}: has the directory that it copies to")


def main(tap, heatbookd, directory):
    with tempfile.TemporaryDirectory(prefix="heatbook-test-") as units:
        units = pathlib.Path(units)
        for name in NAMES:
            stem, _, kind = name.partition(".")
            for source, target in ((name, name), (f"{stem}@.{kind}", f"{stem}@cellar.{kind}")):
                shutil.copy(pathlib.Path(directory) / source, units / target)
        for path in sorted(units.iterdir()):  # the program is not installed
            path.write_text(re.sub(r"(?m)^ExecStart=\S+/heatbookd", f"ExecStart={pathlib.Path(heatbookd).resolve()}",
                                   path.read_text()))
        paths = sorted(units.iterdir())
        tap.equal(len(paths), 6, "three units and three of a further plant")
        code, text = analyze("verify", "--man=no", *map(str, paths))
        tap.equal((code, text), (0, ""), "systemd finds nothing to complain of")
        for path in paths:
            if path.suffix == ".service":
                exposure(tap, path)
        looks(tap, units)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
