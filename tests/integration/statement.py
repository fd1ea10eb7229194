"""The statement of the demo plant: as text line by line, as JSON of the verb and over HTTP, against
/v1/energy, /v1/degree-days and what the minutes say of flow temperatures; and its anonymous form, in
which no text of the configuration is found.

Usage: statement.py HEATBOOKD DEMO_PLANT [write]. With `write` the expected texts in tests/data are
written anew: read their difference before you believe it.
"""
import configparser
import json
import os
import re
import sys

import rig
import tap
from truth import J_PER_KWH, sums_of_truth

BEGIN, END = "2026-01-17", "2026-01-20"
SPAN_S = (1768604400, 1768863600)  # their midnights in Berlin
SUNDAY_S = (1768690800, 1768777200)  # the immersion heater runs on it
SPAN = ("--from", "2026-01-17", "--to", "2026-01-19")

# Texts that a person chose; whatever else an option takes are heatbook's own words and numbers.
CHOSEN = {"plant": ("name", "zone"), "broker": ("host",), "journal": ("tail",),
          "store": ("file",), "http": ("address", "hosts")}


def secret_config(text):
    """The demo plant's, with names that no word of heatbook's own can hold."""
    text = text.replace("name = Demo house", "name = Haus Wabenheim")
    for channel in re.findall(r"(?m)^\[channel (\S+)\]", text):
        body = text.split(f"[channel {channel}]")[1].split("\n[")[0]
        role = "" if re.search(r"(?m)^role", body) or channel not in ROLES else f"\nrole = {channel}"
        text = text.replace(f"[channel {channel}]", f"[channel geheim_{channel}]{role}")
        text = re.sub(rf"(?m)^(power|register|less|assumed_while) = (.*)\b{channel}\b",
                      rf"\1 = \2geheim_{channel}", text)
    text = re.sub(r"(?m)^\[source (\S+)\]", r"[source quelle_\1]", text)
    for meter in re.findall(r"(?m)^\[meter (\S+)\]", text):
        text = text.replace(f"[meter {meter}]", f"[meter zaehler_{meter}]")
    text = re.sub(r"(?m)^(\[meter zaehler_unit\])", r"\1\nclass = B", text)
    text = re.sub(r"(?m)^(\[channel geheim_flow_rate\])", r"\1\nclass = flow_2", text)
    return text.replace("[plant]\n", "[plant]\npair_class = matched_3\n") + """
[correction geheime_korrektur]
channel = geheim_return_temperature
offset = 0.1 K
from = 2026-01-18
to = 2026-01-19
"""


ROLES = ("flow_temperature", "return_temperature", "flow_rate", "water_pressure",
         "outdoor_temperature", "outdoor_humidity", "room_temperature", "cylinder_temperature",
         "target_flow_temperature", "compressor_frequency", "operating_mode", "valve", "defrost")


def chosen_texts(path):
    """Every text of a configuration that its owner chose: names of sections, topics, pointers,
    words of maps, places, paths."""
    ini = configparser.ConfigParser(strict=False, inline_comment_prefixes=(";",),
                                    interpolation=None, delimiters=("=",))
    ini.read_string(path.read_text())
    texts = {str(path), str(path.parent)}
    for section in ini.sections():
        kind, _, name = section.partition(" ")
        texts.add(name)
        for key, value in ini[section].items():
            if key in CHOSEN.get(kind, ()) or key in (
                    "topic", "topics", "will_topic", "pointer", "time_pointer", "each", "senml"):
                texts.add(value)
                texts.update(part for part in re.split(r"[,\s]+", value))
    return {text for text in texts if len(text) > 2}


def compare_golden(t, name, got, write):
    path = rig.DATA / name
    got = re.sub(r"(mapping )[0-9a-f]{16}", r"\g<1>0123456789abcdef", got)
    got = re.sub(r"heatbook \d+\.\d+\.\d+(, schema \d+)?", "heatbook VERSION", got)
    if write:
        path.write_text(got, encoding="utf-8")
    t.equal(got.splitlines(), path.read_text(encoding="utf-8").splitlines(),
            f"the statement is that of {name}")
    t.ok(max(len(line) for line in got.splitlines()) <= 80, f"{name}: no line is wider than a sheet")
    t.ok(len(got.splitlines()) <= 66, f"{name}: it is one sheet", len(got.splitlines()))


def same_figures(t, answer, energy, weather):
    """What other resources answer of the same span."""
    total, values = energy["total"], answer["answer"]
    u = energy["uncertainty"]
    for name, value, half in (("heat_kwh", total["heat_kwh"], u["heat_kwh"]),
                              ("electricity_kwh", total["electricity_kwh"], u["electricity_kwh"]),
                              ("efficiency", total["cop"], total["cop_uncertainty"])):
        got = values[name]
        t.near(got["value"], value, 1e-6, f"{name} is that of /v1/energy")
        t.near((got["high"] - got["low"]) / 2, half, 2e-6, f"{name}: so is its interval")
    hot_water = energy["modes"]["hot_water"]["heat_kwh"]
    t.near(values["hot_water_share"]["value"], sum(hot_water) / total["heat_kwh"], 1e-4,
           "hot water's share is that of its heat")
    t.near(values["degree_days_kd"]["value"], weather["total"]["integral_kd"], 1e-4,
           "degree days are those of /v1/degree-days")
    t.near(values["outdoor_c"]["value"], weather["total"]["outdoor_c"], 0.01,
           "so is the mean outdoors")
    span_s = SPAN_S[1] - SPAN_S[0]
    coverage = answer["evidence"]["coverage"]
    t.near(coverage["heat"], total["heat_observed_s"] / span_s, 1e-4, "coverage is that of heat")
    t.near(coverage["efficiency"], total["paired_s"] / span_s, 1e-4, "and of both")
    t.equal(answer["evidence"]["largest_term"], u["largest_term"], "the largest term is named")
    parts = answer["evidence"]["parts"]
    t.equal({name: total[name] for name in parts}, parts, "so are bridged and other parts")


def weighted_flow(daemon, mode):
    """The mean of minutes' flow temperatures, by the heat of those that were all of one mode."""
    pairs = []
    for begin in range(*SPAN_S, 6 * 3600):
        span = f"from={begin}&to={begin + 6 * 3600}&step=PT1M"
        series = daemon.get(f"/v1/series?channels=flow_temperature,outdoor_temperature&{span}"
                            "&values=mean").json()["columns"]
        modes = daemon.get(f"/v1/energy?{span}&by=mode&boundary=H2%2Bcirculation"
                           "&values=heat_kwh,observed_s").json()["modes"]
        heat = modes.get(mode, {"heat_kwh": [], "observed_s": []})
        pairs += [(h, f) for h, s, f, o in zip(heat["heat_kwh"], heat["observed_s"],
                                               series["flow_temperature"],
                                               series["outdoor_temperature"])
                  if s == 60 and h is not None and h > 0 and f is not None and o is not None]
    return sum(h * f for h, f in pairs) / sum(h for h, _ in pairs)


with tap.tests() as t, rig.Rig(*sys.argv[1:3]) as r:
    write = sys.argv[3:] == ["write"]
    config = r.demo("statement")
    truth_path = r.dir / "truth.csv"
    archive = r.archive(BEGIN, END, "--truth", str(truth_path))
    r.done("import", config, archive)

    def state(config, *args):
        return r.done("report", config, "--statement", *args).stdout.decode()

    compare_golden(t, "statement_demo.txt", state(config, *SPAN), write)
    compare_golden(t, "statement_demo_anonymous.txt", state(config, *SPAN, "--anonymous"), write)

    plain = r.done("report", config, "--statement", *SPAN,
                   env=dict(os.environ, LC_ALL="C")).stdout.decode()
    t.ok(plain.isascii(), "in a plain locale it is ASCII", [c for c in plain if ord(c) > 127])
    t.ok(max(len(line) for line in plain.splitlines()) <= 80, "and no wider", plain)
    for args, word in ((("--of", "2026-01"), "at least"),
                       (("--from", "2026-01-16", "--to", "2026-01-20"), "partial")):
        text = state(config, *args)
        for name in ("heat", "electricity", "starts"):
            t.ok(re.search(rf"(?m)^{name} +{word} [0-9]", text),
                 f"{args}: of {name} that is told to be {word}", text)
    daemon = r.serve(config)
    of = f"from={SPAN_S[0]}&to={SPAN_S[1]}"
    answer = daemon.get(f"/v1/statement?{of}").json()
    printed = json.loads(state(config, *SPAN, "--json"))
    t.equal(printed, answer, "the verb's JSON is what HTTP answers")
    same_figures(t, answer, daemon.get(f"/v1/energy?{of}&by=mode").json(),
                 daemon.get(f"/v1/degree-days?{of}").json())
    # The first minute of the archive is one that the plant did not tell whole.
    truth = sums_of_truth(truth_path, *SUNDAY_S)
    heat, electricity = (sum(mode[i] for mode in truth.values()) for i in (1, 2))
    values = daemon.get("/v1/statement?from={}&to={}".format(*SUNDAY_S)).json()["answer"]
    for name, true in (("heat_kwh", heat), ("electricity_kwh", electricity),
                       ("hot_water_share", truth["hot_water"][1] / heat)):
        t.near(values[name]["value"], true, 2880 * 0.5 / J_PER_KWH, f"{name} is the plant's own")
    for mode in ("heating", "hot_water"):
        t.near(answer["answer"][f"flow_temperature_{mode}_c"]["value"],
               weighted_flow(daemon, mode), 0.05, f"{mode}: the flow's mean is that of minutes")
    unseen = ("begin", "both")
    for name, path, without in (("starts", "runs", unseen), ("defrosts", "defrosts", ()),
                                ("hot_water_runs", "hot-water", ())):
        rows = daemon.get(f"/v1/{path}?{of}&rows=yes").json()["rows"]
        t.equal(answer["answer"][name]["value"],
                len([row for row in rows if row["truncated"] not in without]),
                f"{name} are those of /v1/{path}")
    quotients = {m["mode"]: m["efficiency"] for m in answer["evidence"]["modes"]}
    t.equal({name for name, value in quotients.items() if value}, {"heating", "hot_water"},
            "modes that make no heat have no quotient")
    t.equal([b["name"] for b in answer["evidence"]["boundaries"]],
            ["H2+circulation", "H3+circulation", "H4"], "all boundaries are there")
    t.ok(any(m.startswith("renewable_heat_kwh: ") and "it takes a whole year" in m
             for m in answer["missing"]), "three days tell nothing of a season", answer["missing"])
    t.equal(answer["evidence"]["software"]["version"], daemon.get("/v1/health").json()["version"],
            "the software is named")
    anonymous = daemon.get(f"/v1/statement?{of}&anonymous=yes").json()
    t.equal(json.loads(state(config, *SPAN, "--json", "--anonymous")), anonymous,
            "the verb's anonymous JSON is what HTTP answers")
    t.equal((anonymous["from"], anonymous["to"], anonymous["zone"]),
            ("2026-01", "2026-01", "UTC+01:00"), "days and place are reduced")
    for name, value in anonymous["answer"].items():
        exact = answer["answer"][name]["value"]
        digits = re.sub(r"\D", "", f"{value['value']:.10g}").strip("0")
        t.ok(len(digits) <= 3, f"{name} has three digits at most", value)
        t.near(value["value"], exact, 0.006 * abs(exact) + 0.25 * name.endswith("_c"),
               f"{name} is as useful")
    cut = daemon.get(f"/v1/statement?from={SPAN_S[0] + 3600}&to={SPAN_S[1] - 3600}").json()
    t.equal((cut["from"], cut["to"]), SPAN_S, "spans are widened to whole days")
    t.has(cut.get("note", ""), "widened", "and that is said")
    for query, status in (("boundary=H1", 400), ("anonymous=maybe", 400), ("step=P1D", 400)):
        t.equal(daemon.get(f"/v1/statement?{of}&{query}").status, status, f"{query} is refused")
    h2 = daemon.get(f"/v1/statement?{of}&boundary=H2%2Bcirculation").json()
    t.equal(h2["boundary"], "H2+circulation", "another boundary may be asked for")
    t.equal(daemon.stop(), 0, "the daemon ends well")

    # No text that the owner chose is in what may be shared.
    secret = r.demo("secret", change=secret_config)
    r.done("import", secret, archive)
    texts = chosen_texts(secret)
    t.ok({"Haus Wabenheim", "Europe/Berlin", "geheim_flow_temperature", "zaehler_unit",
          "geheime_korrektur"} <= texts, "the owner's texts are known", sorted(texts))
    open_text = state(secret, *SPAN) + state(secret, *SPAN, "--json")
    t.ok(sum(text in open_text for text in texts) >= 8, "the open form holds such texts",
         [text for text in texts if text in open_text])
    shared = state(secret, *SPAN, "--anonymous") + state(secret, *SPAN, "--anonymous", "--json")
    t.equal([text for text in sorted(texts) if text.lower() in shared.lower()], [],
            "the anonymous form holds none")
    t.equal(re.findall(r"\d{4}-\d\d-\d\d|\b17\d{8}\b", shared), [], "nor any day")
    t.has(" ".join(shared.split()), "correction 1: return_temperature times 1, +0.1; from 2026-01 to 2026-01",
          "a correction is there without its name and days")

    told = json.loads(state(secret, *SPAN, "--json", "--anonymous"))["evidence"]
    classes = {thing["name"]: thing["class"] for thing in told["meters"] + told["sensors"]}
    t.equal(classes, {"compressor+circulation": "EN 50470-3 class B", "immersion": None,
                      "flow_temperature": None, "return_temperature": None,
                      "flow_rate": "EN 1434 class 2", "outdoor_temperature": None},
            "it names what instruments are, by their standards")
    t.equal(told["limits"]["pair_class"], "EN 1434 matched pair from 3 K", "and the pair")
    for line in ("compressor+circulation: by power, EN 50470-3 class B, ± 2 %;",
                 "pair EN 1434 matched pair from 3 K, ± 0.09 K and more where it is large, flow",
                 "flow_rate ± 2.2 %, EN 1434 class 2"):
        t.has(" ".join(shared.split()), line, "so does its text")

    for args, part in ((("--anonymous",), "of a --statement"),
                       (("--statement", "--step", "P1D"), "leave out"),
                       (("--statement", "--preview-pair-offset", "0.1"), "leave out")):
        result = r.verb("report", config, *args)
        t.equal((result.returncode, result.stdout), (2, b""), f"{args} is misuse")
        t.has(result.stderr.decode(), part, f"{args}: it says why")
    empty = r.verb("report", config, "--statement", "--of", "2025-08")
    t.equal((empty.returncode, empty.stdout), (1, b""), "a month of which nothing is known fails")
    t.has(empty.stderr.decode(), "the journal has 2026-01-17 to", "it says what there is")
