"""The page in Debian's chromium. Imports weeks of the demo plant with a gap, serves them with a
clock that stands in the demo's spring, lets page.cjs look, and publishes and imports when that
says so.

Usage: page.py HEATBOOKD DEMO_PLANT BUILD [year|time]; with year the whole demo year, by year.cjs;
with time only how soon that is there.
BUILD/browser holds what `tests/browser/install BUILD` put there; screenshots go to
BUILD/browser/shots.
"""
import datetime
import json
import pathlib
import subprocess
import sys
import time

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "integration"))
from clocks import Clock  # noqa: E402
from rig import Publisher, Rig  # noqa: E402

AUTUMN = ("2025-10-24", "2025-10-29")  # the clock goes back on the 26th
SPRING = ("2026-03-19", "2026-03-27T05:00:00+01:00")
GAP = ("2026-03-27T05:00:00+01:00", "2026-03-27T10:00:00+01:00")
AFTER = ("2026-03-27T10:00:00+01:00", "2026-04-02T10:00:00+02:00")  # it goes forward on the 29th
NOW = "2026-04-02T10:00:48+02:00"  # of the daemon's clock when it starts
NEXT = ("2026-04-02T10:00:00+02:00", "2026-04-02T10:02:00+02:00")


def served(rig):
    """The weeks, their daemon, and what the test may ask for."""
    broker = rig.broker()
    config = rig.demo("weeks", broker.port)
    clock = Clock(rig.dir / "clock")

    def stand():
        clock.set(round(datetime.datetime.fromisoformat(NOW).timestamp() - time.time()))

    stand()
    for n, span in enumerate((AUTUMN, SPRING, AFTER)):
        rig.done("import", config, str(rig.archive(*span, out=f"part{n}.txt")), env=clock.env)
    gap = rig.archive(*GAP, out="gap.txt")
    lines = rig.archive(*NEXT, out="next.txt").read_text().splitlines()
    stand()
    daemon = rig.serve(config, env=clock.env)
    daemon.wait_subscribed()

    def publish():
        publisher, flow = Publisher(broker.port), None
        for line in lines:
            _, topic, payload = line.split(" ", 2)
            publisher.publish(topic, payload)
            if topic == "plant/hydraulics":
                flow = json.loads(payload)["water"]["out"]
        publisher.close()
        return {"flow": flow}

    def close_the_gap():
        rig.done("import", config, str(gap), env=clock.env)
        return {}

    def guarded():
        word = "one-of-its-tokens"
        tokens = rig.dir / "tokens"
        tokens.write_text(word + "\n")
        tokens.chmod(0o600)
        other = rig.serve(rig.demo("guarded", broker.port, change=lambda text: text.replace(
            "port = @HTTP_PORT@", f"port = 0\ntoken_file = {tokens}").replace(
                "heatbook-demo\n", "heatbook-guarded\n")))
        return {"place": f"http://127.0.0.1:{other.port}", "word": word}

    return daemon, {"publish": publish, "close the gap": close_the_gap, "guarded": guarded}


PRICES = """
[tariff first]
to = 2026-01-01
price = 0.33
[tariff two_prices]
from = 2026-01-01
price = 0.34
window.night = 22:00-06:00 0.26
[carbon grid]
intensity = 380 g/kWh
"""  # invented


def served_year(rig):
    config = rig.demo("year", None, change=lambda text: text + PRICES)
    rig.done("import", config, str(rig.archive("2025-07-01", "2026-07-01")))
    return rig.serve(config), {}


def main(heatbookd, demo_plant, build, form="weeks"):
    place = pathlib.Path(build).resolve() / "browser"
    if not (place / "node_modules").exists():
        print(f"Bail out! {place} is empty: run tests/browser/install {build}")
        return 1
    with Rig(heatbookd, demo_plant) as rig:
        daemon, words = served(rig) if form == "weeks" else served_year(rig)
        script = HERE / ("page.cjs" if form == "weeks" else "year.cjs")
        browser = subprocess.Popen(["node", script, f"http://127.0.0.1:{daemon.port}", place, place / "shots",
                                    form], stdin=subprocess.PIPE,
                                   stdout=subprocess.PIPE, text=True)
        rig.endings.append(browser)
        for line in browser.stdout:
            if line.startswith("> "):
                browser.stdin.write(json.dumps(words[line[2:].strip()]()) + "\n")
                browser.stdin.flush()
            else:
                print(line, end="", flush=True)
        return browser.wait()


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
