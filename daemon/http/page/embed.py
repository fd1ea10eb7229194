#!/usr/bin/env python3
"""Turn the page's files into one C source: as they are, and packed by gzip.

A file is served under its path below the page's directory; index.html under "/". Packed bytes
bear no time, so that the same files make the same source. Usage: embed.py SOURCE ROOT FILE...
"""
import gzip
import hashlib
import pathlib
import sys

TYPES = {".html": "text/html; charset=utf-8", ".css": "text/css; charset=utf-8",
         ".js": "text/javascript; charset=utf-8"}

source, root, files = sys.argv[1], pathlib.Path(sys.argv[2]).resolve(), sys.argv[3:]


def array(name, data):
    text = ",".join(str(b) for b in data)
    return f"static const unsigned char {name}[] = {{{text}}};\n"


with open(source, "w", encoding="utf-8") as out:
    out.write('/* Generated from daemon/http/page/. */\n#include "page_files.h"\n\n')
    rows = []
    for i, name in enumerate(sorted(files)):
        path = pathlib.Path(name).resolve()
        data = path.read_bytes()
        served = "/" + path.relative_to(root).as_posix()
        tag = hashlib.sha256(data).hexdigest()[:16]
        out.write(array(f"plain_{i}", data))
        out.write(array(f"packed_{i}", gzip.compress(data, 9, mtime=0)))
        rows.append(f'\t{{"{"/" if served == "/index.html" else served}", "{TYPES[path.suffix]}", '
                    f'"{tag}",\n\t\tplain_{i}, sizeof(plain_{i}), packed_{i}, sizeof(packed_{i})}},\n')
    out.write(f"\nconst struct page_file page_files[] = {{\n{''.join(rows)}}};\n"
              f"const size_t page_file_count = {len(rows)};\n")
