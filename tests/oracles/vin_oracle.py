#!/usr/bin/env python3
"""Compares what we read from vehicle identification numbers with two independent decoders from PyPI.

ultravin carries the United States government's list of makers and follows the government's own decoding procedure;
vininfo is written from the standards by somebody else. Neither is right by definition. Where they and we differ, the
difference must fall under one of the rules in RULES, each of which is tested on the number at hand, not assumed;
anything else fails. Every number is made up here from a seed. No maker's name is read from a decoder or printed.

It needs Python 3.10 or later with venv, PyPI, and cargo. It makes a virtual environment of its own under target/.

Usage: vin_oracle.py [--seed N] [--decoder PATH]
    --decoder  a built crates/model/examples/vin_decode to ask instead of `cargo run`
"""

from __future__ import annotations

import argparse
import json
import os
import random
import subprocess
import sys
import venv
from collections import Counter
from datetime import datetime, timezone
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ENVIRONMENT = ROOT / "target" / "oracles" / "vin"
PINNED = ["ultravin==3.0.2", "vininfo==1.11.0"]

# 49 CFR 565.13(g): digits and capital letters without I, O and Q.
ALPHABET = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ"
DIGITS, LETTERS = ALPHABET[:10], ALPHABET[10:]
# 49 CFR 565.15(c), tables III and IV: used to make numbers with a right check digit, not to judge one.
VALUES = dict(zip("0123456789ABCDEFGHJKLMNPRSTUVWXYZ", (*range(10), *range(1, 9), 1, 2, 3, 4, 5, 7, 9, *range(2, 10))))
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)

# ultravin takes no year more than two ahead of its clock. We have no clock, so it is asked at two instants: when the
# last year of the first cycle (2009) was due and none of the second, and when the last of the second (2039) is.
BEFORE_SECOND_CYCLE = datetime(2007, 6, 1, tzinfo=timezone.utc)
AFTER_SECOND_CYCLE = datetime(2037, 6, 1, tzinfo=timezone.utc)

# The government's words for vehicles to which position 7 applies whatever their weight, and for those of which it
# depends on the weight, which the number does not tell.
LIGHT = {"PASSENGER CAR", "MULTIPURPOSE PASSENGER VEHICLE (MPV)"}
LIGHT_OR_HEAVY = {"TRUCK", "INCOMPLETE VEHICLE"}

# One code in fifty is a listed maker of light vehicles, so one round gives too few of them.
ROUNDS = 4

# Error numbers of the government's procedure.
WRONG_CHECK_DIGIT, TOO_SHORT, MAKER_NOT_LISTED, OFF_ROAD, INVALID_CHARACTER = 1, 6, 7, 10, 400

RULES = {
    "out of place": "ultravin calls no check digit right where another character cannot stand in its place (no year "
    "code in position 10, a letter in the serial number); we judge the check digit by itself and those by themselves",
    "import": "ultravin reads position 7 of light vehicles under maker codes outside North America too (it knows that "
    "they were made for the United States; the number alone does not say so): its year is one of our two",
    "one cycle": "ultravin's list has this maker of light vehicles in one cycle only, and it answers that cycle "
    "whether position 7 is a digit or a letter, against the regulation: its year is one of the code's two",
    "narrower": "where position 7 may not be read, we leave both cycles open and ultravin takes the one in which its "
    "list knows more of this maker's characters: its year is one of our two",
    "position 13": "ultravin wants a digit in position 13 of light vehicles as well; the number does not say which "
    "vehicles these are",
    "off-road": "ultravin does not object to the place of a letter in the numbers of makers that it lists for off-road "
    "vehicles, but calls the check digit wrong all the same",
    "cut": "ultravin cuts what stands beyond position 17 and answers; we refuse",
    "no-check-digit": "vininfo says false for makers that it believes not to use the check digit, whatever stands in "
    "position 9",
    "part of 7": "vininfo takes all codes with 7 in front for North America's, we those from 7F on; ultravin's list has "
    "hardly any before",
    "separators": "vininfo refuses hyphens and inner spaces, which people type; we leave them out",
}

# The comparison proves little if it seldom meets the case at hand: fewer than this many agreements of a kind fail.
AT_LEAST = {
    "check digit, ultravin": 10_000,
    "check digit, vininfo": 10_000,
    "maker code, ultravin": 10_000,
    "position 7, ultravin": 500,
    "both cycles, ultravin": 10_000,
    "no year code, ultravin": 500,
    "year codes, vininfo": 10_000,
    "continent, vininfo": 10_000,
    "places, ultravin": 10_000,
    "part of 7, ultravin": 2,
    "form, ultravin": 200,
    "form, vininfo": 200,
}


class Tally:
    """Counts agreements, accepted differences and failures."""

    def __init__(self) -> None:
        self.agreed: Counter[str] = Counter()
        self.accepted: Counter[str] = Counter()
        self.failures: list[str] = []

    def compare(self, kind: str, vin: str, ours, theirs, *rules: tuple[str, bool]) -> None:
        """Agreement, or the first rule whose condition holds, or a failure."""
        if ours == theirs:
            self.agreed[kind] += 1
            return
        for rule, holds in rules:
            if holds:
                self.accepted[rule] += 1
                return
        self.failures.append(f"{kind}: {vin!r}: ours {ours}, theirs {theirs}")

    def report(self) -> int:
        for kind, least in AT_LEAST.items():
            if self.agreed[kind] < least:
                self.failures.append(f"{kind}: only {self.agreed[kind]} agreements, at least {least} expected")
        for kind, number in sorted(self.agreed.items()):
            print(f"agree     {number:7}  {kind}")
        for rule, text in RULES.items():
            print(f"accepted  {self.accepted[rule]:7}  {rule}: {text}")
        for kind, number in sorted(Counter(failure.split(": ")[0] for failure in self.failures).items()):
            print(f"FAILED    {number:7}  {kind}")
        for failure in self.failures[:20]:
            print(f"          {failure}")
        passed = sum(self.agreed.values()) + sum(self.accepted.values())
        print(f"{passed} passed, {len(self.failures)} failed")
        return 1 if self.failures else 0


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--seed", type=int, default=565)
    arguments.add_argument("--decoder", type=Path)
    options = arguments.parse_args()
    enter_environment()

    chance = random.Random(options.seed)
    pairs = list(make_pairs(chance))
    forms = list(make_forms(chance))
    vins = [vin for pair in pairs for vin in pair]
    ours = ask_ours(options.decoder, vins + forms)
    print(f"seed {options.seed}, {len(vins)} numbers of the right form, {len(forms)} of doubtful form, {' '.join(PINNED)}")

    tally = Tally()
    readings = dict(zip(vins, ours))
    compare_with_ultravin(tally, pairs, readings)
    compare_with_vininfo(tally, vins, readings)
    compare_part_of_seven(tally, readings)
    compare_forms(tally, forms, ours[len(vins) :])
    return tally.report()


# Making the numbers


def make_pairs(chance: random.Random):
    """Pairs that differ in position 7 (a digit, a letter) and in position 9 only.

    Every maker code of three characters that begins like North America's in several rounds, and as many codes from
    elsewhere as one round has. All 33 characters take turns in position 10. Three in four have the right check digit,
    the others any character. One in sixteen may have letters among the last four characters, which the regulation has
    as digits.
    """
    american = [a + b + c for a in "123457" for b in ALPHABET for c in ALPHABET]
    elsewhere = [a + b + c for a in ALPHABET if a not in "123457" for b in ALPHABET for c in ALPHABET]
    heads = american * ROUNDS + chance.sample(elsewhere, len(american))
    years = list(ALPHABET)
    for turn, head in enumerate(heads):
        if turn % len(years) == 0:
            chance.shuffle(years)
        first, eighth = some(chance, ALPHABET, 3), some(chance, ALPHABET, 1)
        serial = some(chance, ALPHABET, 2) + some(chance, DIGITS, 4)
        if turn % 16 == 1:
            serial = serial[:2] + some(chance, ALPHABET, 4)
        rest = years[turn % len(years)] + some(chance, ALPHABET, 1) + serial
        spoiled = turn % 4 == 0
        yield tuple(
            complete(chance, head + first + chance.choice(kind) + eighth + "0" + rest, spoiled)
            for kind in (DIGITS, LETTERS)
        )


def complete(chance: random.Random, text: str, spoiled: bool) -> str:
    digit = "0123456789X"[sum(VALUES[c] * weight for c, weight in zip(text, WEIGHTS)) % 11]
    return text[:8] + (chance.choice(ALPHABET) if spoiled else digit) + text[9:]


def make_forms(chance: random.Random):
    """Numbers too short, too long, with characters that none has, and as people type them."""
    for turn in range(60):
        serial = chance.choice("ABCDEFGHJKLMNPRSTVWXY123456789") + some(chance, ALPHABET, 1) + some(chance, DIGITS, 6)
        vin = complete(chance, some(chance, ALPHABET, 8) + "0" + serial, False)
        place = turn % 17
        yield vin[: chance.randrange(1, 17)]
        yield vin + some(chance, chance.choice((DIGITS, ALPHABET)), chance.randrange(1, 9))
        yield vin[:place] + chance.choice("IOQ") + vin[place + 1 :]
        yield vin[:place] + chance.choice("!#&.é") + vin[place + 1 :]
        yield vin.lower()
        yield f" {vin}\t"
        yield f"{vin[:3]}-{vin[3:9]} {vin[9:]}"


def some(chance: random.Random, characters: str, number: int) -> str:
    return "".join(chance.choice(characters) for _ in range(number))


# Comparing


def compare_with_ultravin(tally: Tally, pairs: list[tuple[str, str]], readings: dict[str, dict]) -> None:
    import ultravin

    vins = [vin for pair in pairs for vin in pair]
    early = dict(zip(vins, ultravin.decode_batch(vins, now=BEFORE_SECOND_CYCLE)))
    late = dict(zip(vins, ultravin.decode_batch(vins, now=AFTER_SECOND_CYCLE)))
    for pair in pairs:
        told_apart = late[pair[0]]["model_year"] != late[pair[1]]["model_year"]
        for vin in pair:
            ours, theirs = readings[vin], late[vin]
            compare_places(tally, vin, ours, theirs)
            refused = INVALID_CHARACTER in theirs["error_codes"] and out_of_place(vin, theirs)
            tally.compare("check digit, ultravin", vin, ours["check_digit_right"], theirs["check_digit_valid"], (
                "out of place", refused and not theirs["check_digit_valid"]))
            tally.compare("maker code, ultravin", vin, ours["maker_code"], theirs["wmi"])
            compare_year(tally, vin, ours, early[vin], theirs, told_apart)


def compare_places(tally: Tally, vin: str, ours: dict, theirs: dict) -> None:
    """A character that cannot stand in its place: in position 9, in position 10, or at the end of the serial number."""
    concerns = {concern["concern"]: concern["found"] for concern in ours["concerns"]}
    no_check_digit = concerns.get("check_digit", "X") not in DIGITS + "X"
    misplaced = no_check_digit or not ours["any"]["possible"] or "serial_letter" in concerns
    objects = INVALID_CHARACTER in theirs["error_codes"]
    position_13 = objects and theirs["attributes"].get("Vehicle Type") in LIGHT | LIGHT_OR_HEAVY and vin[12] in LETTERS
    off_road = not objects and {OFF_ROAD, WRONG_CHECK_DIGIT} <= set(theirs["error_codes"])
    tally.compare("places, ultravin", vin, misplaced, objects, ("position 13", position_13), ("off-road", off_road))


def out_of_place(vin: str, theirs: dict) -> bool:
    """Whether a character cannot stand where it does by 49 CFR 565.15(d), whatever the check digit.

    No year code in position 10; a letter in positions 14 to 17, of light vehicles also in position 13.
    """
    light = theirs["attributes"].get("Vehicle Type") in LIGHT | LIGHT_OR_HEAVY
    return vin[9] in "0UZ" or not vin[13:].isdigit() or (light and not vin[12].isdigit())


def compare_year(tally: Tally, vin: str, ours: dict, early: dict, late: dict, told_apart: bool) -> None:
    """`told_apart` says that ultravin's year depends on position 7: the pair is otherwise the same number.

    Which vehicles position 7 applies to is ultravin's to say, from the government's list; we only know the text.
    """
    listed = MAKER_NOT_LISTED not in late["error_codes"]
    vehicle = late["attributes"].get("Vehicle Type") if listed else None
    american, both, light = ours["north_american"], ours["any"]["possible"], ours["light"]["possible"]
    years = sorted({early["model_year"], late["model_year"]} - {None})
    decided = late["model_year"]
    if not both:
        tally.compare("no year code, ultravin", vin, [], years)
    elif american and vehicle in LIGHT:
        kind = "position 7, ultravin" if told_apart else "position 7, maker in one cycle, ultravin"
        tally.compare(kind, vin, light, [decided], ("one cycle", not told_apart and decided in both))
    elif american and vehicle in LIGHT_OR_HEAVY and told_apart:
        tally.compare("position 7 of trucks, ultravin", vin, light, [decided], ("narrower", decided in both))
    elif vehicle in LIGHT | LIGHT_OR_HEAVY and told_apart:
        by_position_7 = decided == both[vin[6] in LETTERS]
        narrower = decided in both
        tally.compare("both cycles, ultravin", vin, both, years, ("import", by_position_7), ("narrower", narrower))
    else:
        narrower = listed and len(years) == 1 and decided in both
        tally.compare("both cycles, ultravin", vin, both, years, ("narrower", narrower))


def compare_with_vininfo(tally: Tally, vins: list[str], readings: dict[str, dict]) -> None:
    from vininfo import Vin

    # vininfo has a clock of its own: it leaves out what lies beyond next year.
    next_year = datetime.now(tz=timezone.utc).year + 1
    for vin in vins:
        ours, theirs = readings[vin], Vin(vin)
        disbelieved = getattr(theirs.assembler, "uses_sae_checkdigit", True) is False
        verdict = theirs.verify_checksum(check_year=False)
        tally.compare("check digit, vininfo", vin, ours["check_digit_right"], verdict, (
            "no-check-digit", disbelieved and verdict is False))
        tally.compare("continent, vininfo", vin, ours["north_american"], theirs.region == "North America", (
            "part of 7", vin[:2] in ("7A", "7B", "7C", "7D", "7E")))
        reached = [year for year in ours["any"]["possible"] if year <= next_year]
        if getattr(theirs.assembler, "year_position", 0) == 0:
            tally.compare("year codes, vininfo", vin, reached, sorted(theirs.years))


def compare_part_of_seven(tally: Tally, readings: dict[str, dict]) -> None:
    """Codes with 7 in front are North American from 7F on: the government lists makers there by the hundred, and hardly
    any in the rest, which is Oceania's."""
    import ultravin

    sevens = {vin[:3]: vin for vin in readings if vin[0] == "7" and vin[2] != "9"}
    answers = zip(sevens.values(), ultravin.decode_batch(list(sevens.values()), now=AFTER_SECOND_CYCLE))
    known = [vin for vin, theirs in answers if MAKER_NOT_LISTED not in theirs["error_codes"]]
    listed = Counter(readings[vin]["north_american"] for vin in known)
    tally.compare("part of 7, ultravin", "7F to 70", True, listed[True] > 300)
    tally.compare("part of 7, ultravin", "7A to 7E", True, listed[False] < 10)


def compare_forms(tally: Tally, forms: list[str], ours: list[dict]) -> None:
    import ultravin
    from vininfo import Vin
    from vininfo.exceptions import ValidationError

    for text, reading in zip(forms, ours):
        refused = "refused" in reading
        theirs = ultravin.decode(text, now=AFTER_SECOND_CYCLE)
        objects = bool({TOO_SHORT, INVALID_CHARACTER} & set(theirs["error_codes"]))
        cut = ultravin.decode(text[:17], now=AFTER_SECOND_CYCLE)
        answers_as_if_cut = (theirs["wmi"], theirs["model_year"]) == (cut["wmi"], cut["model_year"])
        if "-" not in text:
            tally.compare("form, ultravin", text, refused, objects, ("cut", len(text) > 17 and answers_as_if_cut))
        try:
            Vin(text)
            disallowed = False
        except ValidationError:
            disallowed = True
        tally.compare("form, vininfo", text, refused, disallowed, ("separators", disallowed and "-" in text))


# Asking ourselves


def ask_ours(decoder: Path | None, lines: list[str]) -> list[dict]:
    command = [str(decoder)] if decoder else ["cargo", "run", "-q", "-p", "dashwright-model", "--example", "vin_decode"]
    asked = ("\n".join(lines) + "\n").encode()
    answer = subprocess.run(command, cwd=ROOT, input=asked, stdout=subprocess.PIPE, check=True)
    readings = [json.loads(line) for line in answer.stdout.decode().splitlines()]
    if len(readings) != len(lines):
        sys.exit(f"{len(lines)} lines asked, {len(readings)} answered")
    return readings


def enter_environment() -> None:
    """Goes on in the virtual environment, made first where it is missing or has other versions."""
    python = ENVIRONMENT / "bin" / "python"
    marker = ENVIRONMENT / "installed"
    if Path(sys.prefix) == ENVIRONMENT:
        return
    if not marker.exists() or marker.read_text(encoding="utf-8").split() != PINNED:
        venv.create(ENVIRONMENT, with_pip=True, clear=True)
        pip = [python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--only-binary", ":all:"]
        subprocess.run([*pip, *PINNED], check=True)
        marker.write_text("\n".join(PINNED), encoding="utf-8")
    sys.stdout.flush()
    os.execv(python, [str(python), str(Path(__file__).resolve()), *sys.argv[1:]])


if __name__ == "__main__":
    sys.exit(main())
