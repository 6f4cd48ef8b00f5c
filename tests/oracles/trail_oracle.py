#!/usr/bin/env python3
"""Holds a history that the service wrote against a verifier that shares no code with it (`_verify_trail.py`).

A dataset is begun and loaded by the binary, and a backup is taken of it. The verifier must accept both as they are, and
must refuse every copy in which a byte is flipped, a line is missing, doubled or out of place, or which no longer reaches
a checkpoint given out earlier.

It needs Python 3.10 or later, and the binary in $DASHWRIGHT.
"""

from __future__ import annotations

import base64
import hashlib
import json
import os
import queue
import random
import re
import shutil
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
VERIFIER = Path(__file__).with_name("_verify_trail.py")
START_SECONDS = 60
FLIPS = 120
SEED = 20261125
CHECKED: list[str] = []


def verify(target: Path, *notes: Path) -> tuple[int, str]:
    command = [sys.executable, str(VERIFIER), str(target), *map(str, notes)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=START_SECONDS)
    return done.returncode, (done.stdout + done.stderr).strip()


def expect(name: str, found: tuple[int, str], status: int, pattern: str) -> None:
    assert found[0] == status and re.search(pattern, found[1]), f"{name}: status {found[0]}, {found[1]!r}"
    assert "Traceback" not in found[1], f"{name}: {found[1]}"
    CHECKED.append(name)


def make_dataset(binary: str, directory: Path) -> tuple[Path, Path]:
    """A dataset of one published revision, and the backup that is the last that its trail tells of."""
    data, records, backup = directory / "data", directory / "records.jsonl", directory / "backup"
    sources = sorted((ROOT / "crates/demo/data").glob("*.jsonl"))
    records.write_text("".join(source.read_text(encoding="utf-8") for source in sources), encoding="utf-8")
    command = [binary, "serve", "--init", "--data", str(data), "--load", str(records), "--listen", "127.0.0.1:0"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    lines: queue.Queue[str] = queue.Queue()
    threading.Thread(target=lambda: [lines.put(line) for line in process.stdout], daemon=True).start()
    try:
        first = lines.get(timeout=START_SECONDS)
        assert first.startswith("serving revision 1 at "), first
        command = [binary, "backup", "--server", first.split(" at ")[1].strip(), "--to", str(backup), "--reason", "drill"]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, timeout=START_SECONDS)
    finally:
        process.terminate()
        process.wait(timeout=START_SECONDS)
    return data, backup


def copy_with(data: Path, directory: Path, lines: list[bytes]) -> Path:
    """A copy of the dataset whose log is these lines."""
    copy = directory / "copy"
    shutil.rmtree(copy, ignore_errors=True)
    shutil.copytree(data, copy, ignore=shutil.ignore_patterns("store", "checkpoints.jsonl"))
    for segment in (copy / "log").iterdir():
        segment.unlink()
    (copy / "log" / f"{1:020}.jsonl").write_bytes(b"".join(lines))
    return copy


def root(lines: list[bytes]) -> bytes:
    """MTH of RFC 6962, section 2.1, by its recursion: the verifier goes another way."""
    if len(lines) <= 1:
        return hashlib.sha256(b"\0" + lines[0][85:-2] if lines else b"").digest()
    left = 1 << (len(lines) - 1).bit_length() - 1
    return hashlib.sha256(b"\1" + root(lines[:left]) + root(lines[left:])).digest()


def note(directory: Path, size: int, over: bytes) -> Path:
    path = directory / f"note-{size}"
    content = "0" * 64
    path.write_text(f"dashwright/somewhere\n{size}\n{base64.b64encode(over).decode()}\nrevision 1 {content}\n\n")
    return path


def check_untouched(data: Path, directory: Path, lines: list[bytes]) -> None:
    said = f"verified {len(lines)} entries, root {re.escape(base64.b64encode(root(lines)).decode())}"
    expect("the dataset as it is", verify(data), 0, said)
    for size in range(len(lines) + 1):
        given = note(directory, size, root(lines[:size]))
        expect(f"a checkpoint of {size} entries", verify(data, given), 0, "notes agree")


def check_flips(data: Path, directory: Path, lines: list[bytes]) -> None:
    chance = random.Random(SEED)
    text = b"".join(lines)
    # The ends of the file, where reading could stop too early, and places by chance.
    for at in [0, len(text) - 1, *(chance.randrange(len(text)) for _ in range(FLIPS))]:
        flipped = bytearray(text)
        flipped[at] ^= 1 << chance.randrange(8)
        entry = text[:at].count(b"\n") + 1
        copy = copy_with(data, directory, [bytes(flipped)])
        expect(f"byte {at} is flipped", verify(copy), 1, f"entry {entry} is damaged")


def check_lines(data: Path, directory: Path, lines: list[bytes]) -> None:
    assert len(lines) >= 3, f"{len(lines)} entries are too few to mix up"
    for name, tampered, said in [
        ("the first line is missing", lines[1:], "entry 1 does not continue"),
        ("the second line is missing", lines[:1] + lines[2:], "entry 2 does not continue"),
        ("two lines change places", [lines[1], lines[0], *lines[2:]], "entry 1 does not continue"),
        ("a line is doubled", lines[:2] + lines[1:], "entry 3 does not continue"),
    ]:
        expect(name, verify(copy_with(data, directory, tampered)), 1, said)
    cut = copy_with(data, directory, lines[:-1])
    expect("the last line is missing", verify(cut), 0, f"verified {len(lines) - 1} entries")
    given = note(directory, len(lines), root(lines))
    expect("it is missing and a checkpoint knows", verify(cut, given), 1, f"a checkpoint says {len(lines)}")
    wrong = note(directory, 2, root(lines[:1]))
    expect("a checkpoint of another history", verify(data, wrong), 1, "the first 2 entries have the root")


def check_kept(data: Path, directory: Path, lines: list[bytes]) -> None:
    copy = copy_with(data, directory, lines)
    notes = [note(directory, size, root(lines[:size])).read_text() for size in (2, len(lines))]
    kept = [{"sha256": hashlib.sha256(text.encode()).hexdigest(), "note": text} for text in notes]
    good = "".join(json.dumps(record, separators=(",", ":")) + "\n" for record in kept)
    for name, text, status, said in [
        ("as they are", good, 0, "2 notes agree"),
        ("one edited", good.replace("revision 1", "revision 2", 1), 1, "checkpoints.jsonl:1 is damaged"),
        ("one with an escape that JSON lacks", good.replace("\\n", "\\q", 1), 1, "never written"),
        ("one torn", good[:-9], 1, "never written"),
    ]:
        (copy / "checkpoints.jsonl").write_text(text, encoding="utf-8")
        expect(f"kept checkpoints, {name}", verify(copy), status, said)
    (copy / "checkpoints.jsonl").write_text(good, encoding="utf-8")
    segment = copy / "log" / f"{1:020}.jsonl"
    segment.write_bytes(b"".join(lines[:-1]))
    expect("kept checkpoints of a log that was cut", verify(copy), 1, f"a checkpoint says {len(lines)}")


def check_trail(backup: Path, directory: Path, lines: list[bytes]) -> None:
    trail, whole = directory / "trail.jsonl", backup.read_bytes()
    said = f"verified {len(lines)} entries, root {re.escape(base64.b64encode(root(lines)).decode())}"

    def tampered(name: str, text: bytes, status: int, pattern: str) -> None:
        trail.write_bytes(text)
        expect(f"a trail, {name}", verify(trail), status, pattern)

    tampered("as it is", whole, 0, f"{said}; 1 notes agree")
    assert whole.splitlines(keepends=True)[1:-1] == lines, "the trail is not the log byte for byte"
    begun = whole.index(b"\n") + 1
    for length in (0, begun - 1, begun, begun + 9, len(whole) // 2, len(whole) - 9, len(whole) - 1):
        tampered(f"cut to {length} bytes", whole[:length], 1, "is incomplete|not the first line of a trail")
    chance = random.Random(SEED)
    for at in [0, begun - 1, len(whole) - 1, *(chance.randrange(len(whole)) for _ in range(FLIPS))]:
        flipped = bytearray(whole)
        flipped[at] ^= 1 << chance.randrange(8)
        entry = whole[:at].count(b"\n")
        named = f"entry {entry} is damaged" if 1 <= entry <= len(lines) else ""
        tampered(f"byte {at} flipped", bytes(flipped), 1, named)
    parts = whole.splitlines(keepends=True)
    tampered("a line behind its end", whole + b"\n", 1, "is damaged")
    tampered("a line cut off before its end", b"".join([*parts[:-2], parts[-1]]), 1, "does not fit")
    tampered("a line missing", b"".join([*parts[:2], *parts[3:]]), 1, "entry 2 does not continue")


def main() -> int:
    binary = os.environ.get("DASHWRIGHT", "")
    if not binary:
        raise SystemExit("name the binary in $DASHWRIGHT")
    with tempfile.TemporaryDirectory() as name:
        directory = Path(name)
        data, backup = make_dataset(binary, directory)
        segments = sorted((data / "log").glob("*.jsonl"))
        lines = b"".join(segment.read_bytes() for segment in segments).splitlines(keepends=True)
        check_untouched(data, directory, lines)
        check_flips(data, directory, lines)
        check_lines(data, directory, lines)
        check_kept(data, directory, lines)
        check_trail(backup, directory, lines)
    print(f"{len(CHECKED)} checks passed, over {len(lines)} entries")
    return 0


if __name__ == "__main__":
    sys.exit(main())
