#!/usr/bin/env python3
"""Compares the exact choice of parts with HiGHS, a general-purpose solver of mixed-integer programmes (PyPI highspy).

Each generated problem is written down anew as a linear programme: a binary column for each item and for each wish that is
missed, a row for each demand, requirement, conflict and resource. The levels of the objective are solved one after the
other, each fixed before the next (lexicographic method), and each must be the sum that our choice comes to. What our
choice comes to is reckoned here from the problem's plain numbers, not taken from the code under test.

It needs Python 3.10 or later with venv, PyPI, and cargo. It makes a virtual environment of its own under target/.

Usage: choice_oracle.py [--chooser PATH]
    --chooser  a built crates/planner/examples/choose_oracle to ask instead of `cargo run`
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ENVIRONMENT = ROOT / "target" / "oracles" / "choice"
PINNED = ["highspy==1.11.0", "numpy==2.2.6"]

# First seed, problems, demands, items: many small ones for their corners, some of a usual size, a few of the largest.
BATCHES = [
    (1, 2200, 5, 12),
    (100_001, 1800, 9, 24),
    (200_001, 900, 14, 60),
    (300_001, 150, 24, 200),
    (400_001, 20, 40, 400),
]
LEAST_COMPARED = 5_000
LEVELS = {
    "LowestPrice": ("unpriced", "price", "count", "untimed", "minutes"),
    "FewestParts": ("count", "unpriced", "price", "untimed", "minutes"),
    "LeastBenchTime": ("untimed", "minutes", "unpriced", "price", "count"),
}


def inside_environment() -> None:
    """Runs this file again with the pinned packages."""
    python = ENVIRONMENT / "bin" / "python"
    if Path(sys.prefix) == ENVIRONMENT:
        return
    if not python.exists():
        venv.create(ENVIRONMENT, with_pip=True)
    subprocess.run([python, "-m", "pip", "install", "-q", "--disable-pip-version-check", *PINNED], check=True)
    os.execv(python, [str(python), *sys.argv])


def add(item: dict, level: str) -> int:
    """What an item adds to a level."""
    return {
        "unpriced": int(item["price"] is None),
        "price": item["price"] or 0,
        "count": 1,
        "untimed": int(item["minutes"] is None),
        "minutes": item["minutes"] or 0,
    }[level]


def reckoned(problem: dict) -> tuple[int, ...] | None:
    """The levels of our choice; None where it is none."""
    chosen = problem["chosen"]
    if chosen is None:
        return None
    items = [problem["items"][number] for number in chosen]
    for item in items:
        assert all(set(group) & set(chosen) for group in item["requires"]), "a requirement is not met"
        assert not set(item["conflicts"]) & set(chosen), "two in conflict are chosen"
    for resource, capacity in enumerate(problem["capacities"]):
        assert sum(item["takes"].count(resource) for item in items) <= capacity, "a resource is taken too often"
    missed = 0
    for number, demand in enumerate(problem["demands"]):
        arises = demand["always"] or any(number in item["activates"] for item in items)
        if arises and not any(number in item["covers"] for item in items):
            assert demand["weight"] is not None, "what must be met is not"
            missed += demand["weight"]
    return (missed, *(sum(add(item, level) for item in items) for level in LEVELS[problem["aim"]]))


def solved(problem: dict) -> tuple[int, ...] | None:
    """The levels of the best choice, by HiGHS; None where there is none."""
    import highspy

    items, demands = problem["items"], problem["demands"]
    model = highspy.Highs()
    model.setOptionValue("output_flag", False)
    model.setOptionValue("mip_rel_gap", 0.0)
    model.setOptionValue("mip_abs_gap", 0.0)
    columns = len(items) + len(demands)
    for _ in range(columns):
        model.addVar(0.0, 1.0)
    for column in range(columns):
        model.changeColIntegrality(column, highspy.HighsVarType.kInteger)
    infinity = highspy.kHighsInf

    def row(terms: dict[int, float], least: float = -infinity, most: float = infinity) -> None:
        model.addRow(least, most, len(terms), list(terms), list(terms.values()))

    for number, demand in enumerate(demands):
        covering = {place: 1.0 for place, item in enumerate(items) if number in item["covers"]}
        if demand["weight"] is not None:
            covering[len(items) + number] = 1.0
        if demand["always"]:
            if not covering:
                return None
            row(covering, least=1.0)
            continue
        for place, item in enumerate(items):
            if number in item["activates"] and place not in covering:
                row(covering | {place: -1.0}, least=0.0)
    for place, item in enumerate(items):
        for group in item["requires"]:
            members = {member: 1.0 for member in group}
            row(members | {place: -1.0} if place not in members else members, least=0.0)
        for other in item["conflicts"]:
            row({place: 1.0, other: 1.0}, most=1.0)
    for resource, capacity in enumerate(problem["capacities"]):
        takers = {place: float(item["takes"].count(resource)) for place, item in enumerate(items) if resource in item["takes"]}
        if takers:
            row(takers, most=float(capacity))

    levels = []
    weights = [0] * len(items) + [demand["weight"] or 0 for demand in demands]
    sums = [[add(item, level) for item in items] + [0] * len(demands) for level in LEVELS[problem["aim"]]]
    for costs in [weights, *sums]:
        for column, cost in enumerate(costs):
            model.changeColCost(column, float(cost))
        model.run()
        if model.getModelStatus() == highspy.HighsModelStatus.kInfeasible:
            assert not levels, "a level that was reached can not be reached again"
            return None
        assert model.getModelStatus() == highspy.HighsModelStatus.kOptimal, model.getModelStatus()
        chosen = [round(value) for value in model.getSolution().col_value]
        best = sum(cost * value for cost, value in zip(costs, chosen))
        levels.append(best)
        fixed = {column: float(cost) for column, cost in enumerate(costs) if cost}
        if fixed:
            row(fixed, most=best + 0.5)
    return tuple(levels)


def problems(chooser: str | None, batch: tuple[int, int, int, int]):
    command = [chooser] if chooser else [
        "cargo", "run", "--quiet", "--release", "-p", "dashwright-planner", "--example", "choose_oracle", "--",
    ]
    process = subprocess.Popen([*command, *map(str, batch)], cwd=ROOT, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    for line in process.stdout:
        yield json.loads(line)
    assert process.wait() == 0, "the chooser failed"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--chooser")
    chooser = parser.parse_args().chooser
    compared = infeasible = 0
    wrong, nodes = [], []
    for batch in BATCHES:
        for problem in problems(chooser, batch):
            assert problem["status"] != "not proven", f"seed {problem['seed']}: not proven"
            ours, theirs = reckoned(problem), solved(problem)
            compared += 1
            infeasible += theirs is None
            nodes.append(problem["nodes"] or 0)
            if ours != theirs:
                wrong.append(f"seed {problem['seed']} {batch[2:]}: ours {ours}, HiGHS {theirs}")
    for line in wrong[:20]:
        print(line)
    print(
        f"{compared} problems compared with HiGHS, {infeasible} of them infeasible, {len(wrong)} differ; "
        f"most nodes {max(nodes)}"
    )
    return 1 if wrong or compared < LEAST_COMPARED else 0


if __name__ == "__main__":
    inside_environment()
    sys.exit(main())
