#!/usr/bin/env python3
"""Turn the named blocks of .sql files into one C source and header.

A block begins at a line `-- name: NAME` or `-- name: NAME (script)`; a preceding line
`-- slow: REASON` marks a statement whose plan may read a whole table. Comments stay in
the .sql file only. Usage: embed.py HEADER SOURCE FILE...
"""
import re
import sys

header, source, files = sys.argv[1], sys.argv[2], sys.argv[3:]
blocks, slow = [], None
for path in files:
    current = None
    for line in open(path, encoding="utf-8"):
        if found := re.match(r"-- slow: (.*)", line):
            slow = found[1]
            continue
        if found := re.match(r"-- name: (\w+)( \(script\))?$", line):
            script = bool(found[2]) or "/schema/" in path
            current = {"name": found[1], "script": script, "slow": slow, "text": []}
            blocks.append(current)
            slow = None
            continue
        if current is None:
            continue
        if line.startswith("--"):
            continue
        current["text"].append(re.sub(r"\s+-- .*$", "", line.rstrip()))

names = [b["name"] for b in blocks]
assert len(set(names)) == len(names), "a block's name stands twice"
with open(header, "w", encoding="utf-8") as out:
    out.write("/* Generated from sql/; one entry a named block. */\n#ifndef SQL_BLOCKS_H\n"
              "#define SQL_BLOCKS_H\n#include <stdbool.h>\n\nenum sql_id {\n")
    for name in names:
        out.write(f"\tSQL_{name.upper()},\n")
    out.write("\tSQL_COUNT\n};\n\nstruct sql_block {\n\tconst char *name;\n\tconst char *text;\n"
              "\tbool script;\n\tconst char *slow; /* why its plan may scan, or NULL */\n};\n\n"
              "extern const struct sql_block sql_blocks[SQL_COUNT];\n#endif\n")


def quoted(text):
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


with open(source, "w", encoding="utf-8") as out:
    out.write('#include "sql_blocks.h"\n\n#include <stddef.h>\n\n'
              "const struct sql_block sql_blocks[SQL_COUNT] = {\n")
    for b in blocks:
        lines = [t for t in b["text"] if t.strip()]
        out.write(f"\t[SQL_{b['name'].upper()}] = {{{quoted(b['name'])},\n")
        for text in lines:
            out.write(f"\t\t{quoted(text)[:-1]}\\n\"\n")
        slow_text = quoted(b["slow"]) if b["slow"] else "NULL"
        out.write(f"\t\t, {'true' if b['script'] else 'false'}, {slow_text}}},\n")
    out.write("};\n")
