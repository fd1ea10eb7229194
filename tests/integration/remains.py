"""What an end of the daemon leaves behind: the tail's frames and the store's books, read without
any code of the daemon and without a change to what the next start is to find.
"""
import shutil
import sqlite3
import struct
import zlib


def frames(path):
    """Whole frames of a tail's segment (tail.h, record.h): number, record's bytes."""
    data = path.read_bytes() if path.exists() else b""
    found, at = [], 0
    while at + 16 <= len(data):
        length, crc = struct.unpack_from("<II", data, at)
        inner = data[at + 8:at + 8 + length]
        if len(inner) < length or zlib.crc32(inner) != crc:
            break
        found.append((struct.unpack_from("<Q", inner)[0], inner[8:]))
        at += 8 + length
    return found


def message(record):
    """What tells a message's record, as `exported` has it; None for link facts."""
    kind, t_ms, boot_ms = struct.unpack_from("<Bqq", record, 4)
    if kind & 0x3f != 7:
        return None
    length, = struct.unpack_from("<H", record, 21)
    return boot_ms, record[23:23 + length].decode(), record[23 + length:].decode()


def left_behind(home, scratch):
    """(committed sequence number, live records in the store, frames above it). The store is
    looked at in a copy: opening it would tidy up what the next start is to find."""
    shutil.rmtree(scratch, ignore_errors=True)
    scratch.mkdir()
    for file in home.glob("heatbook.db*"):
        shutil.copy(file, scratch / file.name)
    committed = records = 0
    store = sqlite3.connect(scratch / "heatbook.db")
    if store.execute("SELECT count(*) FROM sqlite_schema WHERE name = 'facts'").fetchone()[0]:
        committed, = store.execute(
            "SELECT value FROM facts WHERE name = 'committed_sequence'").fetchone()
        records, = store.execute(
            "SELECT coalesce(sum(records), 0) FROM chunks WHERE import IS NULL").fetchone()
    store.close()
    both = frames(home / "tail/segment-a") + frames(home / "tail/segment-b")
    return committed, records, sorted(f for f in both if f[0] > committed)
