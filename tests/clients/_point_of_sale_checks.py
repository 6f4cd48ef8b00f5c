"""Checks of point_of_sale.py against a demo.

Parts and sums are worked out by hand from the files in crates/demo/data; how is said beside each. Nothing here is
computed by the service or copied from its answers.
"""

from __future__ import annotations

import json
import os
import pathlib
import re
import subprocess
import sys
import time
from collections.abc import Callable

import grpc
import point_of_sale
from _demo import demo, stand_in

CAR = "2013 orvane tamsel hatchback"
RADIO = "sonquill-rowan-2"
# Characters of a failure that are printed: what the program printed goes with it.
MOST_TOLD = 2_000
PLAN = "/dashwright.v1.FitmentService/PlanInstall"
# The car of the year 2013 has dash tamsel-2 and either audio orv-2-base (B6) or orv-2-amp (A8). With either, in cents:
#   qm-7.214   3995  mount, hazard switch, airbag lamp. th-4410 (1750) drops the hazard switch; th-4412 (2450) sits
#                    flush, and the radio is 158 + 28 mm deep before 172 mm; qm-7.209 is superseded.
#   hwk-210-d  3290  supply and lighting, and alone brings out the reverse signal, which the radio asks for
#   lkd-1001   4990  the only one for the voice button of a radio with a remote socket
#   vq-22.1    4590  camera and auxiliary socket in one; vq-06.1 (2490) and vq-21.1 (1290) want the same plug arvo-12
EITHER = {"qm-7.214", "hwk-210-d", "lkd-1001", "vq-22.1"}
# mw-12 (790) leads the antenna on; the feed comes by a lead of the harness. 3995 + 3290 + 4990 + 4590 + 790 = 17655.
BASE, BASE_CENTS = EITHER | {"mw-12"}, 17_655
# mw-12p (1490) also feeds the antenna through its coax, am-4l.118 (4490) fits the level of the factory amplifier.
# 3995 + 3290 + 4990 + 4590 + 1490 + 4490 = 22845.
AMPLIFIED, AMPLIFIED_CENTS = EITHER | {"mw-12p", "am-4l.118"}, 22_845


def check_one_list(server: str) -> None:
    done = program(server, CAR, "--audio", "A8")
    assert done.returncode == point_of_sale.ONE_LIST, done
    for told in ("44.90 USD  Ampersund 4L.118", "39.95 USD  Quellmark Q7.214 ", "228.45 USD  in all for 6 parts"):
        assert told in done.stdout, f"`{told}` is not in:\n{done.stdout}"
    assert "\nask: " not in done.stdout, done.stdout
    # The factory radio fed the driver's display over the data bus, and no part for this car says that it keeps it.
    lost = done.stdout.partition("will not work any more: ")[2].partition("\n")[0]
    assert "driver display" in lost and "steering" not in lost, done.stdout
    # Whatever else is told, these are: the maker's word prevails, and nobody probes the restraint system.
    beware = done.stdout.partition("\nbeware\n")[2]
    assert "maker" in beware and "restraint" in beware, done.stdout


def check_lists(server: str) -> None:
    counter = point_of_sale.Counter(f"http://{server}", point_of_sale.SERVICE_CONFIG)
    for audio, parts, cents in (("B6", BASE, BASE_CENTS), ("A8", AMPLIFIED, AMPLIFIED_CENTS)):
        answer = counter.plan(CAR, RADIO, audio)
        assert point_of_sale.verdict(answer) == "fits with parts", answer.verdict
        assert {part.part_id for part in answer.settled.parts} == parts, audio
        assert answer.settled.total.price.minor_units == cents, answer.settled.total
        assert answer.settled.total.price.currency == "USD", answer.settled.total
    counter.close()


def check_question(server: str) -> None:
    done = program(server, CAR)
    assert done.returncode == point_of_sale.QUESTION_OPEN, done
    asked = done.stdout.partition("\nask: ")[2].partition("\n\n")[0]
    # The two options of the vehicle record, with the words by which they are told apart.
    assert "B6: base six-speaker" in asked and "A8: amplified eight-speaker" in asked, asked
    assert "plain storage bin" in asked and "amplifier the size of a book" in asked, asked
    for total in ("176.55 USD", "228.45 USD"):
        assert total in done.stdout, f"{total} is not in:\n{done.stdout}"


def check_no_way(server: str) -> None:
    # Orvane Tamsel of 2025: from 2024 on nobody makes a harness (crates/demo/data/README.md).
    done = program(server, "2025 orvane tamsel")
    assert done.returncode == point_of_sale.NO_LIST, done
    assert "no known way" in done.stdout, done.stdout


def check_cannot_fit(server: str) -> None:
    # Behind the panel of tamsel-2 there are 196 mm; the radio is 200 mm wide.
    done = program(server, CAR, "--audio", "B6", radio="auristane-umber-2w")
    assert done.returncode == point_of_sale.NO_LIST, done
    assert "cannot fit" in done.stdout and "196 mm" in done.stdout and "200 mm" in done.stdout, done.stdout


def check_misspelt(server: str) -> None:
    done = program(server, "2013 orvane tamsl hatchback", "--audio", "B6")
    assert done.returncode == point_of_sale.ONE_LIST, done
    assert "`tamsl` is taken for Tamsel" in done.stdout and "176.55 USD" in done.stdout, done.stdout
    # Nothing but the year was understood: nobody is given the lists of every car of that year.
    done = program(server, "2013 qqqqqqqq")
    assert done.returncode == point_of_sale.QUESTION_OPEN, done
    assert "`qqqqqqqq` was not understood" in done.stdout and "only for" not in done.stdout, done.stdout


def check_unknown_word(server: str) -> None:
    done = program(server, "qqqqqqqq")
    assert done.returncode == point_of_sale.NO_LIST and not done.stdout, done
    for told in ("(NOT_FOUND)", "reason: WORD_UNKNOWN", "typed: qqqqqqqq"):
        assert told in done.stderr, f"`{told}` is not in:\n{done.stderr}"


def check_unknown_radio(server: str) -> None:
    done = program(server, CAR, radio="sonquill-rowan-99")
    assert done.returncode == point_of_sale.NO_LIST, done
    assert "  radio_id: " in done.stderr and "sonquill-rowan-99" in done.stderr, done.stderr


def check_fields(server: str) -> None:
    counter = point_of_sale.Counter(f"http://{server}", point_of_sale.SERVICE_CONFIG)
    # A year and an audio code that can not be: both are named at once.
    told = refused(lambda: counter.plan("tamsel", RADIO, audio="x" * 121, year=7))
    counter.close()
    assert "INVALID_ARGUMENT" in told and "reason: FIELDS_INVALID" in told, told
    assert "  vehicle.model_year: " in told and "  vehicle.audio_option: " in told, told


def check_retry(server: str) -> None:
    with stand_in(server, refusals=2) as (address, seen):
        counter = point_of_sale.Counter(f"http://{address}", point_of_sale.SERVICE_CONFIG)
        answer = counter.plan(CAR, RADIO, "B6")
        counter.close()
        assert answer.settled.total.price.minor_units == BASE_CENTS, answer.settled.total
        assert seen.calls[PLAN] == 3, f"two refusals and an answer, not {seen.calls}"


def check_given_up(server: str) -> None:
    policy = policy_of("FitmentService")
    with stand_in(server, refusals=100) as (address, seen):
        counter = point_of_sale.Counter(f"http://{address}", point_of_sale.SERVICE_CONFIG)
        told = refused(lambda: counter.plan(CAR, RADIO, "B6"))
        counter.close()
        assert seen.calls[PLAN] == policy["maxAttempts"], seen.calls
    assert "(UNAVAILABLE)" in told and "reason: OVERLOADED" in told and "try again in 250 ms" in told, told


def check_deadline(server: str) -> None:
    with stand_in(server, refusals=100) as (address, _):
        counter = point_of_sale.Counter(f"http://{address}", point_of_sale.SERVICE_CONFIG)
        begin = time.monotonic()
        # Less than the waits between five attempts, more than a call on the same machine.
        told = refused(lambda: counter.plan(CAR, RADIO, "B6", seconds=0.3))
        spent = time.monotonic() - begin
        counter.close()
    assert "(DEADLINE_EXCEEDED)" in told, told
    assert spent < 2, f"it went on for {spent:.1f} s"


def check_service_config(_: str) -> None:
    """The service config names what the schema has, nothing twice, and repeats no call that must not be."""
    methods = {}
    for file in point_of_sale.SCHEMA.rglob("*.proto"):
        text = file.read_text(encoding="utf-8")
        for service, body in re.findall(r"^service (\w+) \{(.*?)^\}", text, re.DOTALL | re.MULTILINE):
            methods[f"dashwright.v1.{service}"] = set(re.findall(r"^  rpc (\w+)\(", body, re.MULTILINE))
    named: dict[tuple[str, str], dict] = {}
    for entry in config()["methodConfig"]:
        for name in entry["name"]:
            service, method = name["service"], name.get("method", "")
            assert service in methods and (not method or method in methods[service]), f"{name} is not in the schema"
            assert (service, method) not in named, f"{name} is named twice"
            named[service, method] = entry
    found = {
        method: named.get((service, method), named.get((service, "")))
        for service, listed in methods.items()
        for method in listed
    }
    # Each leaves an entry in the trail at every call, or tells a key once; an import goes on where it broke off.
    once = {"CreateKey", "ListKeys", "Backup", "ImportRecords"}
    repeated = {method for method, entry in found.items() if entry and "retryPolicy" in entry}
    assert repeated == set(found) - once, f"{repeated ^ (set(found) - once)}"


CHECKS: dict[str, Callable[[str], None]] = {
    "one list: parts, prices, sum and cautions are told": check_one_list,
    "the parts and sums are those worked out by hand": check_lists,
    "an open question is asked, with how to tell and both sums": check_question,
    "no known way is told as such": check_no_way,
    "what can not fit is told with the numbers that prove it": check_cannot_fit,
    "a misspelt word is told, and one that was not understood": check_misspelt,
    "a word that is not known is refused with its reason": check_unknown_word,
    "a radio that is not known is told with its field": check_unknown_radio,
    "every malformed field is told": check_fields,
    "a refused call is repeated by the service config": check_retry,
    "it gives up after the attempts of the service config and tells when to try again": check_given_up,
    "the deadline ends the attempts": check_deadline,
    "the service config names the methods of the schema": check_service_config,
}


def run() -> int:
    """Runs every check, prints a line for each, and tells whether one failed."""
    failed = 0
    with demo() as server:
        for name, check in CHECKS.items():
            try:
                check(server)
            except (AssertionError, LookupError, TypeError, ValueError, grpc.RpcError) as error:
                failed += 1
                print(f"FAILED  {name}: {type(error).__name__}: {str(error)[:MOST_TOLD]}")
            else:
                print(f"passed  {name}")
    print(f"{len(CHECKS) - failed} passed, {failed} failed")
    return 1 if failed else 0


def program(server: str, words: str, *more: str, radio: str = RADIO) -> subprocess.CompletedProcess[str]:
    """The program as a shop runs it."""
    file = pathlib.Path(point_of_sale.__file__)
    command = [sys.executable, str(file), "--server", f"http://{server}", "--radio", radio, *more, *words.split()]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, env=dict(os.environ))


def refused(call: Callable[[], object]) -> str:
    """What the program tells of a call that is refused."""
    try:
        answer = call()
    except grpc.RpcError as error:
        return "\n".join(point_of_sale.told_refusal(error))
    raise AssertionError(f"it was answered: {answer}")


def config() -> dict:
    return json.loads(point_of_sale.SERVICE_CONFIG.read_text(encoding="utf-8"))


def policy_of(service: str) -> dict:
    """The retry policy of a service's methods."""
    name = {"service": f"dashwright.v1.{service}"}
    return next(entry["retryPolicy"] for entry in config()["methodConfig"] if name in entry["name"])
