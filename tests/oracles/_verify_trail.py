#!/usr/bin/env python3
"""Verifies a history of dashwright with nothing but SHA-256: every entry's hash, the chain from the first entry to the
last, and the Merkle root of RFC 6962 (section 2.1) against the checkpoints that were given out.

It shares no code with dashwright. It verifies no signature: that takes Ed25519, which Python's library lacks.

Usage: _verify_trail.py FILE|DIR [NOTE ...]
    FILE  a trail: a backup or an export; its last line holds a checkpoint
    DIR   a data directory; DIR/checkpoints.jsonl holds the checkpoints that were kept
    NOTE  files, each with a checkpoint that somebody was given earlier
"""

import base64
import json
import re
import sys
from hashlib import sha256
from pathlib import Path


def need(condition, fault):
    if not condition:
        raise SystemExit(fault)


def unframe(line, name, where):
    """The bytes of the inner object of a line, whose hash must be the one stated."""
    stated, inner = line[11:75], line[78 + len(name) + 2 : -2]
    framed = b'{"sha256":"%s","%s":%s}\n' % (stated, name, inner)
    need(framed == line and sha256(inner).hexdigest().encode() == stated, f"{where} is damaged: another form or hash")
    return inner


def lines_of_directory(directory):
    files = sorted(directory.glob("log/*.jsonl"))
    return ((f"{path}:{number}", line) for path in files for number, line in enumerate(path.open("rb"), 1))


def lines_of_trail(path, notes):
    """The lines of the entries. What stands around them is checked last, and its checkpoint is added to `notes`."""
    *lines, torn = path.read_bytes().split(b"\n")
    need(lines and lines[0].startswith(b'{"dashwright_trail":1,'), f"{path}:1 is not the first line of a trail")
    last = lines.pop() if lines[-1][75:88] == b'","manifest":' and not torn else b""
    yield from ((f"{path}:{number}", line + b"\n") for number, line in enumerate(lines[1:], 2))
    need(last, f"{path} is incomplete behind entry {len(lines) - 1}")
    manifest = json.loads(unframe(last + b"\n", b"manifest", f"{path}: the last line"))
    before = b"".join(line + b"\n" for line in lines)
    found = (len(lines) - 1, len(before), sha256(before).hexdigest())
    need((manifest["entries"], manifest["bytes"], manifest["sha256"]) == found, f"{path}: the last line does not fit")
    notes.append(manifest["note"])


def kept_notes(path):
    for number, line in enumerate(path.open("rb") if path.is_file() else (), 1):
        found = re.fullmatch(rb'\{"sha256":"(.{64})","note":(".*")\}\n', line)
        note = json.loads(found[2]) if found else ""
        need(found and sha256(note.encode()).hexdigest().encode() == found[1], f"{path}:{number} is damaged")
        yield note


def verify(lines, notes):
    """Walks over the entries with the roots of the complete subtrees that they make so far, the largest first."""
    tree, count, previous, roots = [], 0, "0" * 64, {0: root_of([])}
    wanted = {int(note.split("\n")[1]) for note in notes}
    for where, line in lines:
        where = f"{where}: entry {count + 1}"
        inner = unframe(line, b"entry", where)
        entry, count = json.loads(inner), count + 1
        need((entry["sequence"], entry["previous"]) == (count, previous), f"{where} does not continue the one before it")
        previous, size, root = sha256(inner).hexdigest(), 1, sha256(b"\0" + inner).digest()
        while tree and tree[-1][0] == size:
            size, root = 2 * size, sha256(b"\1" + tree.pop()[1] + root).digest()
        tree.append((size, root))
        if count in wanted:
            roots[count] = root_of(tree)
    roots[count] = root_of(tree)
    for size, root in sorted((int(note.split("\n")[1]), note.split("\n")[2]) for note in notes):
        need(size <= count, f"there are {count} entries, and a checkpoint says {size}")
        found = base64.b64encode(roots[size]).decode()
        need(root == found, f"the first {size} entries have the root {found}, and a checkpoint says {root}")
    print(f"verified {count} entries, root {base64.b64encode(roots[count]).decode()}, {len(notes)} checkpoints agree")


def root_of(tree):
    root = tree[-1][1] if tree else sha256(b"").digest()
    for _, left in reversed(tree[:-1]):
        root = sha256(b"\1" + left + root).digest()
    return root


if __name__ == "__main__":
    need(len(sys.argv) > 1, __doc__)
    target, notes = Path(sys.argv[1]), [Path(name).read_text(encoding="utf-8") for name in sys.argv[2:]]
    need(target.is_file() or (target / "FORMAT").exists(), f"{target} is neither a trail nor a dataset")
    try:
        notes += kept_notes(target / "checkpoints.jsonl")
        verify(lines_of_trail(target, notes) if target.is_file() else lines_of_directory(target), notes)
    except (ValueError, KeyError, IndexError, TypeError) as fault:
        raise SystemExit(f"{target} holds what was never written: {fault}") from None
