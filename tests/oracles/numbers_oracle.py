#!/usr/bin/env python3
"""Holds the numbers of direct feeds and of floating screens against general-purpose libraries.

- pint (units) and the formulas of the standards, written out here: ASTM B258 (a gauge is 0.005 in × 92^((36 - n) / 39) thick), IEC 60028
  (copper of 1/58 Ω·mm²/m at 20 °C, 0.00393 /K). Diameters and areas of AWG 10 to 20 also against the printed table, from memory.
- shapely (planar geometry): a position that a plan recommends covers exactly the areas that shapely finds, for every floating screen in
  every vehicle line of the demo catalogue, the body turned point by point here.

Nothing is imported from the project but its answers. It needs Python 3.10 or later, the packages of tests/requirements.txt, and the binary
in $DASHWRIGHT.
"""

from __future__ import annotations

import itertools
import json
import math
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pint
from shapely.geometry import box
from shapely.ops import unary_union

from _served import Server

SECONDS = 120
UNITS = pint.UnitRegistry()
# Steps of ISO 6722-1 and the ratings of ISO 8820-3, blade fuses, from memory.
STEPS_MM2 = [0.13, 0.22, 0.35, 0.5, 0.75, 1, 1.25, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10, 12, 16, 20, 25, 30, 35, 40, 50, 60, 70, 95, 120]
RATINGS_A = [1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 35, 40, 50, 60, 70, 80, 100]
# Diameter in mm and area in mm² as wire tables print them, from memory: four digits.
PRINTED = {10: (2.588, 5.261), 12: (2.053, 3.309), 14: (1.628, 2.081), 16: (1.291, 1.309), 18: (1.024, 0.8231), 20: (0.8118, 0.5176)}
CHECKED = 0


def check(holds: bool, what: str) -> None:
    global CHECKED
    assert holds, what
    CHECKED += 1


def near(found: float, expected: float, share: float, what: str) -> None:
    check(abs(found - expected) <= share * abs(expected), f"{what}: {found} and not {expected}")


def feed(binary: str, *arguments: object) -> dict:
    command = [binary, "feed", *map(str, arguments), "--json"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=SECONDS)
    assert done.stdout, f"{arguments}: {done.stderr}"
    return json.loads(done.stdout)


def awg_area(number: int) -> pint.Quantity:
    diameter = 0.005 * UNITS.inch * 92 ** ((36 - number) / 39)
    return (math.pi / 4 * diameter**2).to("mm**2")


def area_of(size: str) -> pint.Quantity:
    number, system = size.split()
    return awg_area(int(number)) if system == "AWG" else float(number) * UNITS.mm**2


def lost(size: str, amps: float, metres: float, ways: int, celsius: float) -> tuple[float, float]:
    """Ohms and volts."""
    resistivity = UNITS.Quantity(1 / 58, "ohm * mm**2 / m") * (1 + 0.00393 * (celsius - 20))
    resistance = (resistivity * (ways * metres * UNITS.m) / area_of(size)).to("ohm")
    return resistance.magnitude, (resistance * (amps * UNITS.A)).to("V").magnitude


def feeds(binary: str) -> None:
    seen = set()
    grid = itertools.product([2, 5, 8, 15, 25], [1, 4, 9], ["wire", "chassis"], [12, 24], ["awg", "mm2"], [-10, 20, 45])
    for amps, metres, returns, volts, system, celsius in grid:
        case = f"{amps} A, {metres} m, {returns}, {volts} V, {system}, {celsius} °C"
        answer = feed(binary, "--amps", amps, "--length-m", metres, "--return", returns, "--volts", volts, "--drop-percent", 3,
                      "--system", system, "--ambient-c", celsius)
        size, ways = answer["conductor"], 2 if returns == "wire" else 1
        seen.add(size)
        near(answer["conductor_mm2"], area_of(size).magnitude, 1e-5, f"{case}: area of {size}")
        _, volts_lost = lost(size, amps, metres, ways, celsius)
        # Six decimals are told.
        check(abs(answer["drop_volts"] - volts_lost) <= 1e-6, f"{case}: {answer['drop_volts']} V and not {volts_lost}")
        near(answer["drop_percent"], 100 * volts_lost / volts, 1e-4, f"{case}: share")
        check(volts_lost <= 0.03 * volts * (1 + 1e-9), f"{case}: {size} loses too much")
        check(answer["fuse_amps"] == next(it for it in RATINGS_A if it >= 1.25 * amps), f"{case}: fuse {answer['fuse_amps']}")
        thinner = answer["thinner"]
        if thinner:
            check(area_of(thinner["conductor"]).magnitude < area_of(size).magnitude, f"{case}: thinner")
            _, more = lost(thinner["conductor"], amps, metres, ways, celsius)
            enough = more <= 0.03 * volts
            # Where the drop alone would do, it is the current that it can not carry.
            check(not enough or "carries" in json.dumps(thinner), f"{case}: {thinner} would do")
        if system == "mm2":
            check(float(size.split()[0]) in STEPS_MM2, f"{case}: {size} is no step")
    check(len(seen) > 10, f"only {seen}")
    for number, (diameter, area) in PRINTED.items():
        ours = awg_area(number).magnitude
        near(ours, area, 5e-4, f"area of {number} AWG")
        near(2 * math.sqrt(ours / math.pi), diameter, 5e-4, f"diameter of {number} AWG")
    # Watts over volts are amperes: pint says so, too.
    current = (180 * UNITS.W / (12 * UNITS.V)).to("A").magnitude
    by_watts = feed(binary, "--watts", 180, "--length-m", 4, "--return", "wire", "--volts", 12, "--system", "awg")
    by_amps = feed(binary, "--amps", current, "--length-m", 4, "--return", "wire", "--volts", 12, "--system", "awg")
    check(by_watts == by_amps, "watts")


def outline(screen: dict, best: dict, x: float, zero: float):
    """The screen from the front: every corner of its body turned about the axis, and the box round them."""
    axis = zero + best.get("heightMm", 0.0) - screen["height"] / 2 + screen.get("pivot_over_lower_edge", screen["height"] / 2)
    pivot, angle = screen.get("pivot_over_lower_edge", screen["height"] / 2), math.radians(best.get("tiltDegrees", 0.0))
    corners = itertools.product([-pivot, screen["height"] - pivot], [0, screen["thickness"]])
    heights = [axis + along * math.cos(angle) + out * math.sin(angle) for along, out in corners]
    return box(x - screen["width"] / 2, min(heights), x + screen["width"] / 2, max(heights))


def screens(binary: str) -> None:
    with tempfile.TemporaryDirectory() as home:
        server = Server(binary)
        try:
            records = {}
            export = Path(home) / "all.jsonl"
            server_export = [binary, "export", "--to", str(export), "--server", server.address]
            subprocess.run(server_export, check=True, capture_output=True, timeout=SECONDS)
            for line in export.read_text().splitlines():
                [(kind, record)] = json.loads(line).items()
                records.setdefault(kind, {})[record["id"]] = record
            floating = {key: radio["floating_screen"] for key, radio in records["radio"].items() if "floating_screen" in radio}
            placed = 0
            for vehicle, (radio, screen) in itertools.product(records["vehicle"].values(), floating.items()):
                for option in vehicle["audio_options"]:
                    placed += one_screen(server, records, vehicle, option["code"], radio, screen)
            check(placed > 40, f"only {placed} screens found a place")
        finally:
            server.stop()


def one_screen(server: Server, records: dict, vehicle: dict, option: str, radio: str, screen: dict) -> int:
    line = records["vehicle"][vehicle["id"]]
    asked = ["--year", str(line["years"]["from"]), "--make", records["vocabulary"][line["make"]]["name"], "--model", line["model"]]
    answer = server.json("plan", *asked, "--audio", option, "--radio", radio)
    if len(answer.get("candidates", [])) != 1 or "screen" not in answer.get("settled", {}):
        return 0
    pieces = answer["settled"]
    best = pieces["screen"].get("recommended")
    if best is None:
        return 0
    parts = [records["part"][part["partId"]] for part in pieces.get("parts", [])]
    kit = next((part["kit"] for part in parts if "kit" in part), {})
    frame = kit.get("frame", {"x": 0, "y": 0})
    front = outline(screen, best, frame["x"], frame["y"])
    told = box(best.get("leftMm", 0.0), best.get("bottomMm", 0.0), best.get("rightMm", 0.0), best.get("topMm", 0.0))
    check(front.symmetric_difference(told).area < 1e-3, f"{vehicle['id']} {radio}: {front} and not {told}")
    replaces = any(part["kind"] == "DASH_KIT" for part in parts)
    things = records["dash"][line["dash"]].get("surroundings", [])
    things = [thing for thing in things if not (replaces and thing.get("on_replaced_panel"))]
    covered = {own["name"]: own for own in best.get("covered", [])}
    shapes = []
    for thing in things:
        shape = box(thing["left"], thing["bottom"], thing["right"], thing["top"])
        shapes.append(shape)
        area = front.intersection(shape).area
        found = covered.get(thing["name"], {"squareMillimetres": 0.0, "percent": 0.0})
        case = f"{vehicle['id']} {radio}: {thing['name']}"
        check(abs(found["squareMillimetres"] - area) < 1e-3, f"{case}: {found['squareMillimetres']} mm² and not {area}")
        check(abs(found["percent"] - 100 * area / shape.area) < 1e-3, f"{case}: {found['percent']} %")
        if thing["clearance"] == "NEVER_COVER":
            check(area < 1e-6, f"{case} is covered")
        if isinstance(thing["clearance"], dict):
            check(area <= thing["clearance"]["MAY_SHADE"]["up_to"] * shape.area + 1e-6, f"{case}: shaded too much")
    whole = front.intersection(unary_union(shapes)).area if shapes else 0.0
    check(sum(own["squareMillimetres"] for own in covered.values()) >= whole - 1e-3, f"{vehicle['id']} {radio}: together")
    return 1


def main() -> int:
    binary = os.environ["DASHWRIGHT"]
    feeds(binary)
    screens(binary)
    print(f"{CHECKED} checks hold")
    return 0


if __name__ == "__main__":
    sys.exit(main())
