#!/usr/bin/env python3
"""Turn contract.json (OpenAPI 3.1, Components Object) into one C source, without its blanks.

Usage: contract.py SOURCE CONTRACT
"""
import json
import sys

source, contract = sys.argv[1:]
with open(contract, encoding="utf-8") as f:
    text = json.dumps(json.load(f), ensure_ascii=False, separators=(",", ":"))
numbers = ",".join(str(b - 256 if b > 127 else b) for b in text.encode()) + ",0"
with open(source, "w", encoding="utf-8") as out:
    out.write('/* Generated from daemon/http/contract.json. */\n#include "contract.h"\n\n'
              f"const char contract_components[] = {{{numbers}}};\n")
