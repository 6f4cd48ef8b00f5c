#!/usr/bin/env python3
"""Holds files of records against Python's own readers and writers of CSV (RFC 4180) and JSON (RFC 8259).

What the service exports as tables must be, cell by cell, what it exports as JSON Lines; tables that Python writes, in
several dialects that RFC 4180 allows, must be taken and come out as the same JSON Lines; no exported cell may be one that
a spreadsheet takes for a formula. Which columns hold text is taken from the README, and nothing else from the project.

It needs Python 3.10 or later, and the binary in $DASHWRIGHT.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import queue
import re
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SECONDS = 120
# The list of the OWASP page "CSV Injection", from memory, and the apostrophe that keeps a cell from being one.
FORMULA = tuple("=+-@\t\r")
CHECKED = 0


def check(holds: bool, what: str) -> None:
    global CHECKED
    assert holds, what
    CHECKED += 1


class Server:
    """A dataset that is served."""

    def __init__(self, binary: str, directory: Path, *more: str) -> None:
        command = [binary, "serve", "--init", "--data", str(directory), "--listen", "127.0.0.1:0", *more]
        self.binary = binary
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        lines: queue.Queue[str] = queue.Queue()
        threading.Thread(target=lambda: [lines.put(line) for line in self.process.stdout], daemon=True).start()
        self.address = lines.get(timeout=SECONDS).split(" at ")[1].strip()

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        command = [self.binary, *arguments, "--server", self.address]
        return subprocess.run(command, capture_output=True, text=True, timeout=SECONDS)

    def json(self, *arguments: str) -> dict:
        done = self.run(*arguments, "--json")
        assert done.stdout, f"{arguments}: {done.stderr}"
        return json.loads(done.stdout)

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(timeout=SECONDS)


def columns_of_text() -> dict[str, set[str]]:
    """From the table of columns in the README: for each table those that hold text, and those that hold a word or JSON."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    found = {}
    for kind in ("vehicle", "part"):
        row = re.search(rf"^\| `{kind}` \| (.+?) \| (.+?) \|$", readme, re.MULTILINE)
        assert row, kind
        found[kind] = set(re.findall(r"`([^`]+)`", row[1]))
        found[f"{kind} either"] = set(re.findall(r"`([^`]+)` \(a word, or JSON\)", row[1]))
    return found


def value_of(cell: str, column: str, text: set[str], either: set[str]) -> object:
    if cell.startswith("'") and cell[1:2] in (*FORMULA, "'"):
        cell = cell[1:]
    if column in either:
        return json.loads(cell) if cell[0] in "{[" else cell
    return cell if column in text else json.loads(cell)


def record_of(row: dict[str, str], text: set[str], either: set[str]) -> dict:
    """The record whose cells these are."""
    record: dict = {}
    for column, cell in row.items():
        if cell == "":
            continue
        *path, last = column.split(".")
        place = record
        for name in path:
            place = place.setdefault(name, {})
        place[last] = value_of(cell, column, text, either)
    return record


def cells_of(record: dict, columns: list[str], text: set[str], either: set[str]) -> list[str]:
    """The cells of a record, as a person's script might write them: JSON with spaces, and only what looks guarded is guarded."""
    cells = []
    for column in columns:
        place: object = record
        for name in column.split("."):
            place = place.get(name) if isinstance(place, dict) else None
        if place is None:
            cells.append("")
        elif isinstance(place, str) and (column in text or column in either):
            cells.append("'" + place if place.startswith("'") and place[1:2] in (*FORMULA, "'") else place)
        else:
            cells.append(json.dumps(place, ensure_ascii=False))
    return cells


def exported_tables(server: Server, directory: Path, records: dict[str, list[dict]]) -> dict[str, list[str]]:
    named, header = columns_of_text(), {}
    for kind in ("vehicle", "part"):
        file = directory / f"{kind}.csv"
        told = server.json("export", "--to", str(file), "--table", kind)
        content = file.read_bytes()
        check(told["sha256"] == hashlib.sha256(content).hexdigest(), "the hash of a table")
        rows = list(csv.DictReader(io.StringIO(content.decode("utf-8"), newline=""), strict=True))
        check(len(rows) == len(records[kind]), f"{len(rows)} rows of {kind}")
        header[kind] = list(rows[0])
        for row, record in zip(rows, records[kind]):
            found = record_of(row, named[kind], named[f"{kind} either"])
            check(found == record, f"{kind} {row['id']}: {found} is not {record}")
            formulas = [cell for cell in row.values() if cell.startswith(FORMULA)]
            check(not formulas, f"{kind} {row['id']}: {formulas}")
    return header


def dialects(columns: list[str], records: list[dict], text: set[str], either: set[str]) -> list[bytes]:
    """Tables as RFC 4180 allows them, with the columns in their order and in another."""
    tables = []
    for quoting, line, order in [
        (csv.QUOTE_MINIMAL, "\r\n", columns),
        (csv.QUOTE_ALL, "\n", columns[::-1]),
        (csv.QUOTE_NONNUMERIC, "\r\n", sorted(columns)),
    ]:
        out = io.StringIO()
        writer = csv.writer(out, quoting=quoting, lineterminator=line)
        writer.writerow(order)
        writer.writerows(cells_of(record, order, text, either) for record in records)
        tables.append(out.getvalue().encode("utf-8"))
    # As some programs write it: with a byte order mark, and without the last line break.
    tables.append(b"\xef\xbb\xbf" + tables[0].removesuffix(b"\r\n"))
    return tables


def taken_tables(binary: str, directory: Path, whole: bytes, header: dict, records: dict[str, list[dict]]) -> None:
    named = columns_of_text()
    tables = {
        kind: dialects(header[kind], records[kind], named[kind], named[f"{kind} either"]) for kind in ("vehicle", "part")
    }
    rest = [line for line in whole.splitlines(keepends=True) if not line.startswith((b'{"vehicle"', b'{"part"'))]
    (directory / "rest.jsonl").write_bytes(b"".join(rest))
    for number in range(len(tables["part"])):
        server = Server(binary, directory / f"data-{number}")
        try:
            draft = server.json("draft", "new", "--reason", "an oracle")["draft"]["draftId"]
            files = [("rest.jsonl", [])]
            for kind in ("vehicle", "part"):
                (directory / f"{kind}-{number}.csv").write_bytes(tables[kind][number])
                files.append((f"{kind}-{number}.csv", ["--table", kind]))
            for name, more in files:
                done = server.run("draft", "import", draft, str(directory / name), "--reason", "an oracle", *more)
                check(done.returncode == 0, f"{name}: {done.stdout}{done.stderr}")
            published = server.json("draft", "publish", draft, "--reason", "an oracle")
            check(published["revision"]["contentHash"] == hashlib.sha256(whole).hexdigest(), f"dialect {number}")
        finally:
            server.stop()


def main() -> int:
    binary = os.environ["DASHWRIGHT"]
    with tempfile.TemporaryDirectory() as name:
        directory = Path(name)
        sources = sorted((ROOT / "crates/demo/data").glob("*.jsonl"))
        catalogue = directory / "catalogue.jsonl"
        # One title that a spreadsheet takes for a formula, one that looks guarded already, and one with everything that is quoted.
        lines = "".join(source.read_text(encoding="utf-8") for source in sources).splitlines()
        parts = [number for number, line in enumerate(lines) if line.startswith('{"part"')]
        for number, title in zip(parts, ["=1+2", "'=1+2", 'a "b", c\td']):
            record = json.loads(lines[number])
            record["part"]["title"] = title.replace("\t", " ")
            lines[number] = json.dumps(record, ensure_ascii=False)
        catalogue.write_text("\n".join(lines) + "\n", encoding="utf-8")
        server = Server(binary, directory / "data", "--load", str(catalogue))
        try:
            file = directory / "whole.jsonl"
            told = server.json("export", "--to", str(file))
            whole = file.read_bytes()
            check(told["sha256"] == hashlib.sha256(whole).hexdigest() == told["revision"]["contentHash"], "the content hash")
            records: dict[str, list[dict]] = {"vehicle": [], "part": []}
            for line in whole.decode("utf-8").splitlines():
                for kind, record in json.loads(line).items():
                    records.setdefault(kind, []).append(record)
            header = exported_tables(server, directory, records)
        finally:
            server.stop()
        taken_tables(binary, directory, whole, header, records)
    print(f"{CHECKED} checks of {sum(map(len, records.values()))} records hold")
    return 0


if __name__ == "__main__":
    sys.exit(main())
