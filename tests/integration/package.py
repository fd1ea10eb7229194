"""The Debian package in a root of its own: installed, run, upgraded, removed, purged, installed
again; the store outlives all of it, and the units are handled as systemd is there or not.

The root is this machine's, seen through an overlay in a private mount namespace: nothing of the
machine is changed, and all ends with the process. systemctl is a stand-in that writes down what it
is asked. Needs root; says so and skips otherwise.

Usage: package.py ETC/PACKAGE BUILD_DIRECTORY DEMO_PLANT
"""
import os
import pathlib
import re
import subprocess
import sys
import tempfile

from rig import DEMO_CONFIG, Daemon, Rig, wait_until
from tap import tests

BEGIN, END = "2025-01-18T00:00:00+01:00", "2025-01-18T03:00:00+01:00"
STORE = "/var/lib/heatbook/heatbook.db"
CONFIG = "/etc/heatbook/heatbook.conf"
SYSTEMCTL = """#!/bin/sh
case "$*" in *preset*) exec /usr/bin/systemctl "$@" ;; esac # of files alone
echo "$*" >>/systemctl.log
case "$*" in *is-enabled*) [ -e /etc/systemd/system/multi-user.target.wants/heatbookd.service ] &&
	echo enabled ;; esac
"""


def run(*command, **more):
    return subprocess.run(command, text=True, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                          stderr=subprocess.STDOUT, check=False, **more)


def make_package(script, build, out, version):
    result = subprocess.run([script, "--build", build, "--out", out, "--version", version],
                            text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE, check=False,
                            env=dict(os.environ, DPKG_DEB_COMPRESSOR_TYPE="gzip",
                                     DPKG_DEB_COMPRESSOR_LEVEL="1"))  # for the time it takes
    if result.returncode:
        raise RuntimeError(result.stderr)
    return pathlib.Path(result.stdout.strip())


class Root:
    """This machine through an overlay; to be made in a mount namespace of one's own. Nothing of the
    machine is mounted in it writable: devices are a few nodes of its own. The directory belongs to
    the process outside, which sees no mounts in it and so can remove it without reaching them."""

    def __init__(self, directory):
        memory = directory / "memory"
        self.path = directory / "root"
        for path in (memory, self.path):
            path.mkdir()
        self.mount("-t", "tmpfs", "none", memory)
        for name in ("upper", "work"):
            (memory / name).mkdir()
        self.mount("-t", "overlay", "none", self.path, "-o",
                   f"lowerdir=/,upperdir={memory}/upper,workdir={memory}/work")
        self.mount("-t", "proc", "none", self.path / "proc")
        for name in ("dev", "run"):
            self.mount("-t", "tmpfs", "none", self.path / name)
        for minor, name in ((3, "null"), (5, "zero"), (8, "random"), (9, "urandom")):
            subprocess.run(["mknod", "-m", "666", self.path / "dev" / name, "c", "1", str(minor)],
                           check=True)
        (self.path / "dev/fd").symlink_to("/proc/self/fd")
        (self.path / "tmp").mkdir(exist_ok=True)
        for name in ("usr/sbin/policy-rc.d", "usr/bin/heatbookd",  # of this machine, if any
                     "var/lib/man-db/auto-update"):  # an index of all pages, each time
            (self.path / name).unlink(missing_ok=True)

    @staticmethod
    def mount(*args):
        subprocess.run(["mount", *map(str, args)], check=True)

    def at(self, path):
        return self.path / path.lstrip("/")

    def run(self, *command):
        return run("chroot", str(self.path), *command,
                   env=dict(os.environ, PATH="/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:"
                            "/sbin:/bin", DEBIAN_FRONTEND="noninteractive"))

    def as_heatbook(self, *command):
        return self.run("setpriv", "--reuid", "heatbook", "--regid", "heatbook", "--clear-groups",
                        *command)

    def asked(self):
        """What systemctl was asked to do since the last time, without questions."""
        log = self.at("/systemctl.log")
        text = log.read_text() if log.exists() else ""
        log.unlink(missing_ok=True)
        return [line for line in text.splitlines() if not line.partition("is-")[1]]


def counted(root):
    """Rows of the store, by the daemon's own report: they must not change."""
    return root.as_heatbook("heatbookd", "export", "--journal").stdout.count("\n")


def installed(tap, root, package):
    result = root.run("dpkg", "-i", f"/tmp/{package.name}")
    tap.equal(result.returncode, 0, f"{package.name} is installed")
    tap.note(result.stdout if result.returncode else "")
    return result.stdout


def first_install(tap, root, package):
    said = installed(tap, root, package)
    tap.has(said, f"write {CONFIG}", "the owner is told what comes next")
    tap.equal(root.asked(), [], "without systemd it is asked nothing")
    wants = root.at("/etc/systemd/system/multi-user.target.wants/heatbookd.service")
    tap.ok(wants.is_symlink(), "the daemon is enabled")
    tap.ok(not root.at("/etc/systemd/system/timers.target.wants/heatbook-backup.timer")
           .is_symlink(), "the backup is not")
    tap.equal(root.run("stat", "-c", "%U:%G %a", "/var/lib/heatbook", "/run/heatbook").stdout,
              "heatbook:heatbook 750\n" * 2, "its directories are its account's")
    tap.ok(not root.at(CONFIG).exists(), "there is no configuration but the owner's")
    unit = root.at("/usr/lib/systemd/system/heatbookd.service").read_text()
    tap.has(unit, f"ConditionPathExists={CONFIG}", "without which the unit does not start")
    tap.equal(root.run("heatbookd", "check", "-c", "/usr/share/doc/heatbook/examples/heatbook.conf"
                       ).returncode, 0, "the installed example has no fault")
    tap.has(root.run("man", "-w", "heatbookd").stdout, "heatbookd.8", "man finds the page")
    tap.has(root.run("dpkg", "--verify", "heatbook").stdout + "good", "good", "dpkg verifies")


class InRoot(Daemon):
    """The daemon of the root, as its account."""

    def __init__(self, root):
        self.root = root
        program = root.path.parent / "serve"  # beside the root
        program.write_text(f'#!/bin/sh\nexec chroot {root.path} setpriv --reuid heatbook '
                           '--regid heatbook --clear-groups /usr/bin/heatbookd "$@"\n')
        program.chmod(0o755)
        super().__init__(program, CONFIG)


def lives(tap, rig, root):
    """The owner's evening: configuration, check, archive, daemon with a broker, backup."""
    broker = rig.broker()
    text = DEMO_CONFIG.read_text().replace("@BROKER_PORT@", str(broker.port))
    text = text.replace("@HTTP_PORT@", "0").replace("@DIR@/tail", "/run/heatbook/tail")
    root.at(CONFIG).write_text(text.replace("@DIR@/heatbook.db", STORE))
    tap.equal(root.run("heatbookd", "check").returncode, 0, "check is content")
    archive = rig.archive(BEGIN, END)
    root.at("/tmp/archive.txt").write_bytes(archive.read_bytes())
    tap.equal(root.as_heatbook("heatbookd", "import", "/tmp/archive.txt").returncode, 0,
              "the account imports an archive before the daemon's first start")
    daemon = InRoot(root)
    rig.endings.append(daemon.process)
    plant = rig.plant("live", "--host", "127.0.0.1", "--port", str(broker.port))
    wait_until(lambda: daemon.health()["messages"]["accepted"] >= 3, "three messages are accepted")
    tap.ok(True, "the daemon takes messages of a broker")
    plant.kill()
    plant.wait()
    root.at("/var/lib/heatbook/backup").mkdir()
    os.chown(root.at("/var/lib/heatbook/backup"), *[getattr(root.at("/var/lib/heatbook").stat(), n)
                                                   for n in ("st_uid", "st_gid")])
    made = root.as_heatbook("heatbookd", "backup", "/var/lib/heatbook/backup")
    tap.has(made.stdout, "checked", "the account makes a backup beside it")
    tap.equal(daemon.stop(), 0, "the daemon ends in good order")
    broker.stop()


def main(tap, script, build, demo_plant, directory):
    with Rig(None, demo_plant) as rig:
        first = make_package(script, build, rig.dir, "0.9.0")
        again = rig.dir / "again"
        again.mkdir()
        tap.ok(make_package(script, build, again, "0.9.0").read_bytes() == first.read_bytes(),
               "the same sources give the same package")
        second = make_package(script, build, rig.dir, "0.9.1")
        tap.ok(re.fullmatch(r"heatbook_0\.9\.0_[a-z0-9]+\.deb", first.name), "its name tells what it is")
        root = Root(pathlib.Path(directory))
        for package in (first, second):
            root.at(f"/tmp/{package.name}").write_bytes(package.read_bytes())
        root.run("dpkg", "--purge", "heatbook")  # of this machine, if any
        stand_in = root.at("/usr/local/bin/systemctl")
        stand_in.write_text(SYSTEMCTL)
        stand_in.chmod(0o755)

        first_install(tap, root, first)
        lives(tap, rig, root)
        records = counted(root)
        tap.ok(records > 1000, "there are records to keep", records)

        def kept(after):
            tap.equal(counted(root), records, f"every record is there after {after}")

        root.at("/run/systemd/system").mkdir(parents=True)
        installed(tap, root, second)
        asked = " ".join(root.asked())
        tap.has(asked, "try-restart heatbookd.service", "an upgrade restarts what runs")
        tap.ok(" start " not in f" {asked} ", "and starts nothing else", asked)
        kept("an upgrade")
        installed(tap, root, first)
        kept("going back a version")
        root.asked()
        tap.equal(root.run("dpkg", "-r", "heatbook").returncode, 0, "it is removed")
        tap.ok(any(re.match(r"stop .*heatbookd\.service", line) for line in root.asked()),
               "a removal stops the daemon")
        tap.ok(root.at(CONFIG).exists() and root.at(STORE).exists(),
               "a removal keeps configuration and store")
        configuration = root.at(CONFIG).read_text()
        installed(tap, root, second)
        asked = root.asked()
        tap.ok("--quiet --system start heatbookd.service" in asked, "installed again it starts",
               asked)
        kept("removal and installation")
        (root.at("/etc/credstore")).mkdir(exist_ok=True)
        root.at("/etc/credstore/heatbook.broker_password").write_text("secret\n")
        purge = root.run("dpkg", "-P", "heatbook")
        tap.equal(purge.returncode, 0, "it is purged")
        tap.has(purge.stdout, "measurements in /var/lib/heatbook are kept", "which says what stays")
        tap.ok(not root.at("/etc/heatbook").exists() and
               not root.at("/etc/credstore/heatbook.broker_password").exists(),
               "a purge takes configuration and password")
        left = root.run("find", "/etc", "/usr", "/lib", "-xdev", "-name", "*heatbook*",
                        "-not", "-path", "*/src/*").stdout
        tap.equal(left, "", "a purge leaves nothing else")
        installed(tap, root, first)
        root.at(CONFIG).write_text(configuration)
        kept("a purge")
        tap.equal(root.as_heatbook("heatbookd", "verify").returncode, 0, "verify is content")


if os.geteuid() != 0:
    print("1..0 # SKIP dpkg and overlay mounts need root")
elif len(sys.argv) == 4:
    with tempfile.TemporaryDirectory(prefix="heatbook-test-") as outside:
        code = subprocess.run(["unshare", "-m", "--propagation", "private", sys.executable,
                               *sys.argv, outside], check=False).returncode
    sys.exit(code)
else:
    here, outside = (os.readlink(f"/proc/{pid}/ns/mnt") for pid in ("self", os.getppid()))
    assert here != outside, "mounts are made in a namespace of their own only"
    with tests() as tap_of_main:
        main(tap_of_main, *map(os.path.abspath, sys.argv[1:5]))
