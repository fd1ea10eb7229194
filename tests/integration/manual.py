"""The manual pages and the shell's completion: every verb, option and key stands in them, and the
programs that read them have nothing to complain of (mandoc's lint, groff's warnings).

Usage: manual.py HEATBOOKD DIRECTORY (of the pages)
"""
import os
import pathlib
import re
import subprocess
import sys

from rig import SOURCE
from tap import tests

PAGES = ("heatbookd.8", "heatbook.conf.5")


def output(*command, **more):
    result = subprocess.run(command, text=True, stdin=subprocess.DEVNULL, capture_output=True,
                            env=dict(os.environ, LC_ALL="C.UTF-8", MANWIDTH="200", **more),
                            check=False)
    return result.stdout, result.stderr


def rendered(page):
    return re.sub(".\b", "", output("mandoc", "-T", "utf8", "-O", "width=200", page)[0])


def items(text, indent):
    """Headings of items, which stand alone at an indent."""
    return [line.strip() for line in text.splitlines() if re.match(rf" {{{indent}}}\S", line)]


def lint(tap, page):
    found, errors = output("mandoc", "-T", "lint", "-W", "style", page)
    tap.equal(found + errors, "", f"mandoc finds nothing in {page.name}")
    _, errors = output("man", "--warnings", "-E", "UTF-8", "-l", "-Tutf8", "-Z", page,
                       MANROFFSEQ="")
    tap.equal(errors, "", f"groff warns of nothing in {page.name}")


def verbs(tap, heatbookd, page):
    usage, _ = output(heatbookd, "help")
    text = rendered(page)
    synopses = items(text.partition("VERBS")[2].partition("OPTIONS")[0], 7)
    used = re.findall(r"(?m)^  ([a-z]+) +(.*)$", usage)
    tap.ok(len(used) >= 8, "usage lists the verbs", usage)
    tap.equal([s.split()[0] for s in synopses], [verb for verb, _ in used],
              "the page has usage's verbs")
    for (verb, rest), synopsis in zip(used, synopses):
        for word in re.findall(r"--[a-z]+", rest):
            tap.has(synopsis, word, f"{verb} is shown with {word}")
    options = items(text.partition("\nOPTIONS")[2].partition("EXIT STATUS")[0], 7)
    named = sorted(re.findall(r"--[a-z]+", " ".join(options)))
    tap.equal(named, sorted(set(re.findall(r"--[a-z]+", usage)) | {"--config"}),
              "every option is explained, and no other")
    codes = re.findall(r"(\d) ([a-z ]+)", usage.partition("exit codes:")[2])
    tap.equal(len(codes), 4, "usage tells the exit codes")
    for code, what in codes:
        tap.ok(re.search(rf"(?m)^ +{code} +{what}$", text), f"exit code {code}: {what}")


def keys(tap, page):
    """Against the reference in the sample file, which the unit tests hold against the table."""
    reference = (SOURCE / "etc/heatbook.conf").read_text().partition("# Every section")[2]
    wanted, section = [], None
    for line in reference.splitlines():
        if found := re.match(r"#\[(\w+)", line):
            section = found[1]
        elif found := re.match(r"#([\w.]+) = (.*)$", line):
            wanted.append((section, found[1], found[2]))
    got, section = [], None
    text = rendered(page)
    for line in text.partition("\nSECTIONS")[2].partition("\nFILES")[0].splitlines():
        if found := re.match(r" +\[(\w+)", line):
            section = found[1]
        elif found := re.match(r" {7}([a-z_.]+(?:CHANNEL|NAME)?)(?: = (.*)| +[A-Z].*)?$", line):
            got.append((section, found[1], found[2]))
    tap.ok(len(wanted) > 70, "the sample file's reference is there", len(wanted))
    tap.equal([(s, k) for s, k, _ in got], [(s, k) for s, k, _ in wanted],
              "every section and key stands in the page, in order")
    wrong = [(g, w) for g, w in zip(got, wanted) if g[2] and g[2] != w[2]]
    tap.equal(wrong, [], "defaults are those of the sample file")
    tap.has(text, "5 °C", "a degree is a degree")


def complete(page, *words):
    script = (f'. "{page}"; COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); _heatbookd; '
              'printf "%s\\n" "${COMPREPLY[@]}"')
    return output("bash", "-c", script, "bash", "heatbookd", *words)[0].split()


def main(tap, heatbookd, directory):
    directory = pathlib.Path(directory)
    for page in PAGES:
        lint(tap, directory / page)
    verbs(tap, heatbookd, directory / "heatbookd.8")
    keys(tap, directory / "heatbook.conf.5")
    page = directory / "heatbookd.bash"
    tap.equal(complete(page, "re"), ["rebuild", "report"], "bash completes verbs")
    tap.equal(complete(page, "backup", "--"), ["--config", "--keep"], "and a verb's options")
    tap.equal(complete(page, "check", "-c", str(SOURCE / "etc/heatbook.c")),
              [str(SOURCE / "etc/heatbook.conf")], "and files")


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
