#!/usr/bin/env python3
"""The service at the size of a whole market: look-ups, choices and misspelt names over an open list of vehicles.

The list is that of the PyPI package `vin` 0.6.2 (data of the United States government): every model year, make and model
from 1980 to 2025, 58,126 rows. It is downloaded when this runs, turned into vehicle lines on the invented dashes of the
demo catalogue, and thrown away; no name of it is kept or printed. What is expected is worked out here from the list alone.

It needs the packages of tests/requirements.txt, and the binary's path in $DASHWRIGHT. Usage: vehicle_list.py [--seed N]
"""

from __future__ import annotations

import argparse
import json
import os
import random
import re
import sqlite3
import subprocess
import sys
import tempfile
import unicodedata
import zipfile
from collections import defaultdict
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests" / "clients"))
import grpc  # noqa: E402
from foreign_client import Service  # noqa: E402

PACKAGE = "vin==0.6.2"
ROWS = 58_126
FIRST_YEAR, LAST_YEAR = 1980, 2025
SAMPLE = 400
# Of misspelt names so many in a hundred have to be found; the others are nearer to another name by then.
FOUND_PERCENT = 95
EVIDENCE = {"grade": "ASSUMED", "source": "generated for a test of scale", "date": "2026-01-01"}


def rows(directory: Path) -> list[tuple[int, str, str]]:
    """Year, make and model of every row of the list."""
    subprocess.run(
        [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "--disable-pip-version-check",
         "-d", directory, PACKAGE],
        check=True,
    )  # fmt: skip
    with zipfile.ZipFile(next(directory.glob("*.whl"))) as wheel:
        wheel.extract("vin/vehicle.db", directory)
    base = sqlite3.connect(directory / "vin" / "vehicle.db")
    makes = dict(base.execute("select id, name from make"))
    models = dict(base.execute("select id, name from model"))
    spans = base.execute(
        "select distinct make_id, model_id, from_year, to_year from pattern"
        " where make_id is not null and model_id is not null"
    )
    found = {
        (year, makes[make].strip(), models[model].strip())
        for make, model, first, last in spans
        for year in range(max(first, FIRST_YEAR), min(last, LAST_YEAR) + 1)
    }
    return sorted(found)


def normal(name: str) -> str:
    """A name without case, accents, punctuation and spaces: names that differ in no more are one name here."""
    plain = unicodedata.normalize("NFKD", name.lower())
    return re.sub(r"[^a-z0-9]", "", plain)


def write_dataset(file: Path, listed: list[tuple[int, str, str]]) -> dict[str, tuple[int, str, str]]:
    """The demo catalogue and a vehicle line for each row; the row of each line's id."""
    demo = [line for path in sorted((ROOT / "crates/demo/data").glob("*.jsonl")) for line in path.read_text().splitlines()]
    stock = [record["vehicle"] for record in map(json.loads, demo) if "vehicle" in record]
    make_ids = {make: f"open-{number}" for number, make in enumerate(sorted({make for _, make, _ in listed}))}
    lines = list(demo)
    for make, term in make_ids.items():
        lines.append(json.dumps({"vocabulary": {"id": term, "of": "MAKE", "name": make, "evidence": EVIDENCE}}))
    of_id = {}
    for number, row in enumerate(listed):
        year, make, model = row
        like = stock[number % len(stock)]
        vehicle = {"id": f"open-line-{number}", "make": make_ids[make], "model": model,
                   "years": {"from": year, "to": year}, "trims": "ALL", "system_voltage": "12V",
                   "dash": like["dash"], "audio_options": like["audio_options"], "evidence": EVIDENCE}  # fmt: skip
        lines.append(json.dumps({"vehicle": vehicle}))
        of_id[vehicle["id"]] = row
    file.write_text("\n".join(lines) + "\n")
    return of_id


def misspelt(name: str, chance: random.Random) -> str:
    """Two neighbouring letters changed places."""
    places = [i for i in range(1, len(name) - 1) if name[i].isalpha() and name[i + 1].isalpha() and name[i] != name[i + 1]]
    if not places:
        return ""
    place = chance.choice(places)
    return name[:place] + name[place + 1] + name[place] + name[place + 2 :]


class Checks:
    """Counts, and tells what failed without telling a name."""

    def __init__(self) -> None:
        self.passed = self.failed = 0

    def check(self, what: str, good: int, of: int, percent: int = 100) -> None:
        enough = good * 100 >= of * percent and of > 0
        self.passed += enough
        self.failed += not enough
        print(f"{'ok' if enough else 'FAILED'}: {what}: {good} of {of}")


def check_all(asked: Service, of_id: dict[str, tuple[int, str, str]], seed: int) -> Checks:
    chance = random.Random(seed)
    checks = Checks()
    ids = chance.sample(sorted(of_id), SAMPLE)
    check_choices(asked, of_id, ids, checks)
    check_look_ups(asked, of_id, ids, checks)
    check_misspelt(asked, of_id, ids, checks, chance)
    return checks


def check_choices(asked: Service, of_id: dict, ids: list[str], checks: Checks) -> None:
    models = defaultdict(set)
    for year, make, model in of_id.values():
        models[year, make].add(model)
    pairs = sorted({of_id[one][:2] for one in ids})
    good = 0
    for year, make in pairs:
        answer = asked.call("FitmentService", "ListChoices", vehicle=asked.message("VehicleQuestion", model_year=year, make=make), page_size=1000)
        alike = {model for (own, other), names in models.items() if own == year and normal(other) == normal(make) for model in names}
        good += {choice.title for choice in answer.choices} == alike or answer.remaining_lines == 1
    checks.check("models of a year and make are those of the list", good, len(pairs))


def check_look_ups(asked: Service, of_id: dict, ids: list[str], checks: Checks) -> None:
    good = alone = 0
    for one in ids:
        year, make, model = of_id[one]
        answer = asked.call("FitmentService", "LookUpFitment", vehicle=asked.message("VehicleQuestion", model_year=year, make=make, model=model))
        lines = {candidate.vehicle_id for candidate in answer.candidates}
        alike = {other for other in lines if other in of_id and normal(of_id[other][2]) == normal(model)}
        good += one in lines and alike == lines and answer.HasField("settled")
        alone += lines == {one}
    checks.check("a look-up by year, make and model names the row's line, and only lines of that name", good, len(ids))
    print(f"   {alone} of them name that line alone")


def check_misspelt(asked: Service, of_id: dict, ids: list[str], checks: Checks, chance: random.Random) -> None:
    tried = found = searched = 0
    for one in ids:
        year, make, model = of_id[one]
        typed = misspelt(model, chance)
        if len(model) < 6 or not typed:
            continue
        tried += 1
        question = asked.message("VehicleQuestion", model_year=year, make=make, model=typed)
        try:
            answer = asked.call("FitmentService", "LookUpFitment", vehicle=question)
            found += one in {candidate.vehicle_id for candidate in answer.candidates}
        except grpc.RpcError:
            pass
        hits = asked.call("CatalogueService", "SearchRecords", query=f"{year} {make} {typed}"[:120], kinds=[6], page_size=100)
        searched += one in {hit.key.id for hit in hits.hits}
    checks.check("a look-up with two letters changed names the line", found, tried, FOUND_PERCENT)
    checks.check("a search with two letters changed finds the line", searched, tried, FOUND_PERCENT)


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--seed", type=int, default=58126)
    seed = parser.parse_args().seed
    with tempfile.TemporaryDirectory() as temporary:
        directory = Path(temporary)
        listed = rows(directory)
        of_id = write_dataset(directory / "list.jsonl", listed)
        command = [os.environ["DASHWRIGHT"], "serve", "--data", directory / "data", "--init", "--load",
                   directory / "list.jsonl", "--listen", "127.0.0.1:0"]  # fmt: skip
        server = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        try:
            address = re.search(r"http://(\S+)", server.stdout.readline())[1]
            checks = check_all(Service(grpc.insecure_channel(address)), of_id, seed)
            checks.check("rows of the list became vehicle lines", len(listed), ROWS)
        finally:
            server.terminate()
            server.wait()
    print(f"seed {seed}")
    print(f"{checks.passed} passed, {checks.failed} failed")
    return 1 if checks.failed else 0


if __name__ == "__main__":
    sys.exit(main())
