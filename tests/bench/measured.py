"""Commands that are timed, and how much memory they took."""
import pathlib
import subprocess
import time


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
