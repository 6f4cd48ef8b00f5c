#!/usr/bin/env python3
"""Verifies a history of dashwright with nothing but SHA-256: every entry's hash, the chain from the first entry to the
last, and the Merkle root of RFC 6962 (section 2.1) against the checkpoints that were given out.

It shares no code with dashwright. It verifies no signature: that takes Ed25519, which Python's library lacks.

Usage: _verify_trail.py FILE|DIR [NOTE ...]
    FILE  a trail: a backup or an export; its last line holds a checkpoint
    DIR   a data directory; DIR/checkpoints.jsonl holds the checkpoints that were kept
    NOTE  files, each with a checkpoint that somebody was given earlier
"""

import json
import sys
from base64 import b64encode
from functools import cache
from hashlib import sha256
from pathlib import Path

LEAVES = []  # the leaf hash of each entry


def need(condition, fault):
    if not condition:
        raise SystemExit(fault)


def unframe(line, name, where):
    """The bytes of the inner object of a line, whose hash must be the one stated."""
    stated, inner = line[11:75], line[78 + len(name) + 2 : -2]
    framed = b'{"sha256":"%s","%s":%s}\n' % (stated, name, inner)
    need(framed == line and sha256(inner).hexdigest().encode() == stated, f"{where} is damaged: another form or hash")
    return inner


def lines_of_directory(home):
    return ((f"{it}:{n}", line) for it in sorted(home.glob("log/*.jsonl")) for n, line in enumerate(it.open("rb"), 1))


def lines_of_trail(path, notes):
    """The lines of the entries. What stands around them is checked last, and its checkpoint is added to `notes`."""
    *lines, torn = path.read_bytes().split(b"\n")
    need(lines and lines[0].startswith(b'{"dashwright_trail":1,'), f"{path}:1 is not the first line of a trail")
    last = lines.pop() if lines[-1][75:88] == b'","manifest":' and not torn else b""
    yield from ((f"{path}:{number}", line + b"\n") for number, line in enumerate(lines[1:], 2))
    need(last, f"{path} is incomplete behind entry {len(lines) - 1}")
    manifest = json.loads(unframe(last + b"\n", b"manifest", f"{path}: the last line"))
    found = sha256(b"\n".join(lines) + b"\n").hexdigest()
    need(manifest["sha256"] == found, f"{path}: the last line does not fit what is before it")
    notes.append(manifest["note"])


def kept_notes(path):
    for number, line in enumerate(path.open("rb") if path.is_file() else (), 1):
        kept = json.loads(line)
        need(sha256(kept["note"].encode()).hexdigest() == kept["sha256"], f"{path}:{number} is damaged")
        yield kept["note"]


@cache
def root_of(start, end):
    """The Merkle tree hash of the entries from `start` up to `end`, as RFC 6962 (section 2.1) defines it."""
    if end - start < 2:
        return LEAVES[start] if end > start else sha256(b"").digest()
    split = start + (1 << (end - start - 1).bit_length() - 1)
    return sha256(b"\1" + root_of(start, split) + root_of(split, end)).digest()


def verify(lines, notes):
    previous = "0" * 64
    for where, line in lines:
        where = f"{where}: entry {len(LEAVES) + 1}"
        inner = unframe(line, b"entry", where)
        entry, expected = json.loads(inner), (len(LEAVES) + 1, previous)
        need((entry["sequence"], entry["previous"]) == expected, f"{where} does not continue the one before it")
        previous = sha256(inner).hexdigest()
        LEAVES.append(sha256(b"\0" + inner).digest())
    for size, root in sorted((int(note.split("\n")[1]), note.split("\n")[2]) for note in notes):
        need(size <= len(LEAVES), f"there are {len(LEAVES)} entries, and a checkpoint says {size}")
        found = b64encode(root_of(0, size)).decode()
        need(root == found, f"the first {size} entries have the root {found}, and a checkpoint says {root}")
    print(f"verified {len(LEAVES)} entries, root {b64encode(root_of(0, len(LEAVES))).decode()}; {len(notes)} notes agree")


if __name__ == "__main__":
    target, notes = Path("".join(sys.argv[1:2])), [Path(name).read_text(encoding="utf-8") for name in sys.argv[2:]]
    need(target.is_file() or (target / "FORMAT").exists(), f"{target} is neither a trail nor a dataset\n\n{__doc__}")
    try:
        notes += kept_notes(target / "checkpoints.jsonl")
        verify(lines_of_trail(target, notes) if target.is_file() else lines_of_directory(target), notes)
    except (ValueError, KeyError, IndexError, TypeError) as fault:
        raise SystemExit(f"{target} holds what was never written: {fault}") from None
