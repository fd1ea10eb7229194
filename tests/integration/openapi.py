"""The contract that the daemon serves, and programs that rely on it.

/openapi.json is held against the OpenAPI Initiative's schema (tests/data/openapi); each resource is
asked with each of its parameters, by the examples that the contract gives for them, and what it
answers is as the contract says. Events add up to what /v1/energy says of their mode. The two clients
of README run as they stand and print what the answers say.

Usage: openapi.py HEATBOOKD DEMO_PLANT
"""
import copy
import datetime
import json
import re
import subprocess
import sys
import urllib.parse

import jsonschema

from rig import DATA, SOURCE, Rig, code_blocks
from tap import tests

NEEDED = {"/v1/series": "channels=outdoor_temperature"}  # what a question is none without
NO_JSON = ("/v1/stream", "/metrics")
WINTER, WINTER_END = "2026-01-10", "2026-01-12"


def document(tap, daemon):
    contract = daemon.get("/openapi.json").json()
    schema = json.loads((DATA / "openapi/schema.json").read_text())
    validator = jsonschema.Draft202012Validator(schema)
    tap.equal([e.message for e in validator.iter_errors(contract)], [],
              "/openapi.json is an OpenAPI 3.1 document")
    for path in ("info/title", "paths//v1/now/get/responses/200/description",
                 "paths//v1/series/get/parameters/0/in"):
        faulty = copy.deepcopy(contract)
        *way, last = re.sub("//v1/", "/~v1~", path).split("/")
        part = faulty
        for name in way:
            name = name.replace("~", "/")
            part = part[int(name)] if isinstance(part, list) else part[name]
        del part[last]
        tap.ok(list(validator.iter_errors(faulty)), f"without {path} it would be none")
    for name, part in contract["components"]["schemas"].items():
        jsonschema.Draft202012Validator.check_schema(part)
        faults = [f for example in part.get("examples", ())
                  for f in daemon.contract.faults(f"#/components/schemas/{name}", example)]
        if faults:
            tap.ok(False, f"the example of {name} is one", faults)
    return contract


def every_parameter(tap, daemon, contract):
    for path, item in contract["paths"].items():
        if path in NO_JSON:
            continue
        answer = daemon.get(f"{path}?{NEEDED.get(path, '')}", headers={"Accept": "application/json"})
        tap.ok(answer.status == 200 and answer.headers["content-type"] == "application/json",
               f"{path} is answered as the contract says", answer.body[:500])
        for parameter in item["get"]["parameters"]:
            schema = contract["components"]["schemas"][parameter["schema"]["$ref"].split("/")[-1]]
            for example in schema["examples"]:
                one_parameter(tap, daemon, path, parameter["name"], example)


def one_parameter(tap, daemon, path, name, example):
    query = dict(urllib.parse.parse_qsl(NEEDED.get(path, "")))
    query[name] = example
    if name == "from":
        query["to"] = 1767229200
    if path == "/v1/series" and name == "values":
        query[name] = "mean,observed"
    answer = daemon.get(f"{path}?{urllib.parse.urlencode(query)}")
    text = f"{path}: {name}={query[name]}"
    days = path in ("/v1/degree-days", "/v1/cost")
    if days and str(example).startswith("PT") and name == "step":
        tap.equal((answer.status, answer.json()["parameter"]), (400, "step"), f"{text} is refused")
        return
    tap.equal(answer.status, 200, f"{text} is answered")
    csv = answer.headers["content-type"].startswith("text/csv")
    tap.equal(csv, example == "csv", f"{text}: its form")


def refusals(tap, daemon, contract):
    for path, item in contract["paths"].items():
        problem = daemon.get(f"{path}?nothing=1").json() if path != "/" else None
        if problem:
            names = [p["name"] for p in item["get"]["parameters"] if p["in"] == "query"]
            tap.equal((problem["status"], problem["given"], problem["allowed"]), (400, "1", names),
                      f"{path} names the parameters that it has")


def events(tap, daemon):
    """Over days at whose ends the plant neither made hot water nor defrosted."""
    span = f"from={WINTER}T00:00:00Z&to={WINTER_END}T00:00:00Z"
    boundary = daemon.get("/v1/runs?" + span).json()["boundary"]
    energy = daemon.get(f"/v1/energy?{span}&step=P1Y&by=mode&rows=yes&boundary="
                        + urllib.parse.quote(boundary)).json()
    for path, mode in (("hot-water", "hot_water"), ("defrosts", "defrost")):
        answer, whole = daemon.get(f"/v1/{path}?{span}").json(), energy["modes"][mode]
        for name in ("heat_kwh", "electricity_kwh"):
            tap.near(answer["total"][name], sum(row[name] for row in whole), 1e-6,
                     f"{path}: {name} of {answer['count']} events are the mode's")
        tap.ok(answer["count"] > 2, f"{path}: {answer['count']} events")
        tap.equal(sum(answer["by_outdoor"]["count"]), answer["count"], f"{path}: each has its bin")
    runs = daemon.get(f"/v1/runs?{span}&rows=yes").json()
    ends = [(row["t"], row["t_end"]) for row in runs["rows"]]
    tap.ok(all(a < b for a, b in ends) and all(x[1] <= y[0] for x, y in zip(ends, ends[1:])),
           f"{len(ends)} runs follow each other")


def code_after(words):
    """The indented lines of README that follow a sentence."""
    text = (SOURCE / "README.md").read_text(encoding="utf-8")
    return code_blocks(text[text.index(words):])[0]


def clients(tap, rig, daemon):
    week = daemon.get("/v1/energy?last=P7D&rows=yes").json()["rows"]
    ratios = [f"{row['cop']:.2f}" for row in week if row["cop"] is not None]
    tap.ok(ratios, f"{len(ratios)} days of the last week have a ratio")
    for words, name, program in (("by a script of the shell:", "client.sh", "sh"),
                                 ("And in Python,", "client.py", "/usr/bin/python3")):
        code = code_after(words)
        tap.has(code, "127.0.0.1:8720", f"{name}: README's address")
        path = rig.dir / name
        path.write_text(code.replace(":8720", f":{daemon.port}"), encoding="utf-8")
        run = subprocess.run([program, path], capture_output=True, timeout=60, text=True)
        tap.equal((run.returncode, run.stderr), (0, ""), f"{name} runs as it stands in README")
        dates = re.findall(r"(?m)^\d{4}-\d\d-\d\d", run.stdout)
        tap.equal(len(dates), len(week), f"{name}: a line a day")
        missing = [ratio for ratio in ratios if ratio not in run.stdout]
        tap.equal(missing, [], f"{name}: with its ratio")
        tap.note(run.stdout)
    lines = [line for line in code_after("by a script of the shell:").split("\n")
             if line and not line.startswith("#!")]
    tap.ok(len(lines) <= 10, f"the script has {len(lines)} lines")
    findings = daemon.get("/v1/findings").json()["findings"]
    shell = subprocess.run(["sh", rig.dir / "client.sh"], capture_output=True, text=True, timeout=60)
    tap.equal(shell.stdout.count("\n! "), len(findings), f"it prints {len(findings)} findings")


with tests() as tap, Rig(*sys.argv[1:3]) as rig:
    today = datetime.datetime.now(datetime.timezone.utc).date()
    config = rig.demo("house")
    for first, last in ((WINTER, WINTER_END), (today - datetime.timedelta(days=3), today)):
        archive = rig.archive(f"{first}T00:00:00Z", f"{last}T00:00:00Z", out=f"{first}.txt")
        rig.done("import", config, archive)
    server = rig.serve(config)
    described = document(tap, server)
    every_parameter(tap, server, described)
    refusals(tap, server, described)
    events(tap, server)
    clients(tap, rig, server)
    tap.equal(server.stop(), 0, "the daemon ends")
