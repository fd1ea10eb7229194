"""Commands that are timed, how much memory they took, and what processes use of a processor."""
import os
import pathlib
import subprocess
import time


def cpu_s(pid):
    """Time on a processor, by the clock's tick."""
    fields = pathlib.Path(f"/proc/{pid}/stat").read_text().rsplit(") ", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def schedule_s(pid):
    """The same, finer than the tick, of the threads that live."""
    return sum(int((task / "schedstat").read_text().split()[0])
               for task in pathlib.Path(f"/proc/{pid}/task").iterdir()) / 1e9


class Run:
    """The best time and the greatest resident memory of a command that is run several times."""

    def __init__(self):
        self.seconds, self.peak_kb = [], 0

    def go(self, *command):
        begin = time.perf_counter()
        process = subprocess.Popen(list(map(str, command)), stdout=subprocess.PIPE,
                                   stderr=subprocess.PIPE, text=True)
        status = pathlib.Path(f"/proc/{process.pid}/status")
        while process.poll() is None:
            time.sleep(0.02)
            try:
                lines = status.read_text(encoding="ascii").splitlines()
            except OSError:
                continue
            self.peak_kb = max([self.peak_kb] + [int(line.split()[1]) for line in lines
                                                 if line.startswith("VmHWM")])
        out, err = process.communicate()
        self.seconds.append(time.perf_counter() - begin)
        assert process.returncode == 0, err
        return out

    @property
    def best(self):
        return min(self.seconds)
