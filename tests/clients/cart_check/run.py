#!/usr/bin/env python3
"""Installs the cart check, checks its types, and checks what it answers against a demo.

It needs node 20 or later with npm, the packages of tests/requirements.txt, and the binary's path in $DASHWRIGHT. What a
cart lacks is worked out by hand from the files in crates/demo/data; how is said beside each.
"""

from __future__ import annotations

import json
import pathlib
import subprocess
import sys
from collections.abc import Callable

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from _demo import demo, stand_in  # noqa: E402

# Longer than an installation takes over a slow line, and than any batch below.
INSTALL_SECONDS = 300
RUN_SECONDS = 90
CARTS = "/dashwright.v1.FitmentService/CheckCarts"
CAR = {"words": "2013 orvane tamsel hatchback", "audio_option": "B6"}
# The car has dash tamsel-2 and audio orv-2-base. Where nothing is wished its musts are supply (hwk-210), antenna (mw-12, 790
# cents) and mount with hazard switch and airbag lamp (qm-7.214, 3995 cents: what is cheaper drops the hazard switch or is
# too shallow for a radio of 158 + 28 mm).
MUSTS = ("sonquill-rowan-2", "hwk-210", "mw-12", "qm-7.214")
# Carts in a batch: many times what may be in flight.
BATCH = 200


def cart(name: str, *items: str, vehicle: dict | None = None, **more: object) -> dict:
    """A CheckCartsRequest; an item may be written `item:quantity`."""
    lines = [{"item": item.partition(":")[0], "quantity": int(item.partition(":")[2] or 1)} for item in items]
    order = {"only_named_wishes": True}
    return {"correlation_id": name, "cart": {"vehicle": vehicle or CAR, "order": order, "lines": lines, **more}}


def check_types(_: str) -> None:
    done = subprocess.run([str(HERE / "node_modules/.bin/tsc"), "--project", str(HERE)], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout


def check_answers(server: str) -> None:
    done = program(
        server,
        cart("complete", *MUSTS),
        cart("lacking", "sonquill-rowan-2", "hwk-210"),
        cart("twice", *MUSTS[:3], "qm-7.214:2"),
        # hwk-101 is for round-pin plugs, which this car does not have.
        cart("wrong", *MUSTS, "hwk-101"),
        # Six speakers or an amplifier: the second needs one part more.
        cart("open", *MUSTS, vehicle={"words": "2013 orvane tamsel hatchback"}),
    )
    assert done.returncode == 0, done
    answers = answered(done)
    assert list(answers) == ["complete", "lacking", "twice", "wrong", "open"], list(answers)

    assert answers["complete"]["verdict"] == "CART_VERDICT_COMPLETE", answers["complete"]
    assert statuses(answers["complete"]) == ["LINE_STATUS_NEEDED"] * 4, answers["complete"]

    assert answers["lacking"]["verdict"] == "CART_VERDICT_INCOMPLETE", answers["lacking"]
    (completion,) = answers["lacking"]["completions"]
    assert [part["id"] for part in completion["add"]] == ["mw-12", "qm-7.214"], completion
    # 7.90 + 39.95.
    assert completion["price"] == "47.85 USD", completion

    assert answers["twice"]["verdict"] == "CART_VERDICT_COMPLETE_WITH_SURPLUS", answers["twice"]
    assert statuses(answers["twice"])[3] == "LINE_STATUS_ONE_TOO_MANY", answers["twice"]
    assert answers["twice"]["lines"][3]["surplus"] == 1, answers["twice"]

    assert statuses(answers["wrong"])[4] == "LINE_STATUS_WRONG_FOR_VEHICLE", answers["wrong"]

    assert answers["open"]["verdict"] == "CART_VERDICT_DEPENDS", answers["open"]
    asked = {choice["value"]: choice["how_to_tell"] for choice in answers["open"]["ask"]["choices"]}
    assert set(asked) == {"A8", "B6"} and "plain storage bin" in asked["B6"], asked


def check_errors(server: str) -> None:
    """A cart that can not be checked gets its own error, and those behind it their answers."""
    done = program(
        server,
        cart("bad", *MUSTS, vehicle={"words": "tamsel", "model_year": 7}),
        cart("unknown", *MUSTS, vehicle={"make": "qqqqqqqq"}),
        cart("good", *MUSTS),
    )
    assert done.returncode == 3, done
    answers = answered(done)
    # 3 is INVALID_ARGUMENT, 5 is NOT_FOUND.
    assert answers["bad"]["error"]["code"] == 3, answers["bad"]
    assert answers["bad"]["error"]["reason"] == "FIELDS_INVALID", answers["bad"]
    assert any("model_year" in field for field in answers["bad"]["error"]["fields"]), answers["bad"]
    assert answers["unknown"]["error"]["code"] == 5, answers["unknown"]
    assert answers["unknown"]["error"]["reason"] == "WORD_UNKNOWN", answers["unknown"]
    assert answers["good"]["verdict"] == "CART_VERDICT_COMPLETE", answers["good"]


def check_bound(server: str) -> None:
    carts = [cart(f"cart-{number}", *MUSTS) for number in range(BATCH)]
    with stand_in(server, refusals=0) as (address, seen):
        done = program(address, *carts, more=("--in-flight", "4"))
        assert done.returncode == 0, done.stderr
        assert list(answered(done)) == [it["correlation_id"] for it in carts], "not in the order of the carts"
        assert 2 <= seen.most_open <= 4, f"{seen.most_open} carts were in flight"


def check_retry(server: str) -> None:
    with stand_in(server, refusals=2) as (address, seen):
        done = program(address, cart("one", *MUSTS), cart("two", *MUSTS))
        assert done.returncode == 0, done
        assert list(answered(done)) == ["one", "two"], done.stdout
        assert seen.calls[CARTS] == 3, f"two refusals and an answer, not {seen.calls}"


def check_given_up(server: str) -> None:
    with stand_in(server, refusals=100) as (address, seen):
        done = program(address, *(cart(f"cart-{number}", *MUSTS) for number in range(20)))
        assert done.returncode == 1 and not done.stdout, done
        # As deploy/service-config.json says.
        assert seen.calls[CARTS] == 5, seen.calls
    for told in ("(UNAVAILABLE)", "reason: OVERLOADED", "try again in 250 ms", "cart-0, cart-1,", "cart-19"):
        assert told in done.stderr, f"`{told}` is not in:\n{done.stderr}"


def check_deadline(server: str) -> None:
    with stand_in(server, refusals=100) as (address, _):
        done = program(address, cart("late", *MUSTS), more=("--deadline-seconds", "0.1"))
    assert done.returncode == 1 and "(DEADLINE_EXCEEDED)" in done.stderr, done
    assert "not checked: late" in done.stderr, done.stderr


def check_refused_stream(server: str) -> None:
    """What is wrong with the stream as a whole is told with its fields."""
    done = program(server, cart("first", *MUSTS, read_at={"exactly": "no token"}), cart("second", *MUSTS))
    assert done.returncode == 1, done
    assert "(INVALID_ARGUMENT)" in done.stderr and "reason: " in done.stderr, done.stderr
    assert "not checked: first, second" in done.stderr, done.stderr


def check_bad_file(server: str) -> None:
    done = program(server, text='{"correlation_id": "a", "cart": {}}\n{"cart": \n')
    assert done.returncode == 1 and "line 2 is no cart" in done.stderr, done


CHECKS: dict[str, Callable[[str], None]] = {
    "the types are right": check_types,
    "complete, lacking, surplus, wrong and open carts": check_answers,
    "a cart that can not be checked ends nothing": check_errors,
    "carts in flight are bounded, and their order is kept": check_bound,
    "a refused stream is repeated by the service config": check_retry,
    "it gives up after the attempts of the service config and names the carts": check_given_up,
    "the deadline ends the attempts": check_deadline,
    "a stream that is refused as a whole is told with its reason": check_refused_stream,
    "a file that holds no carts is refused with the line": check_bad_file,
}


def main() -> int:
    install = ["npm", "ci", "--ignore-scripts", "--no-audit", "--no-fund"]
    subprocess.run(install, cwd=HERE, check=True, timeout=INSTALL_SECONDS)
    failed = 0
    with demo() as server:
        for name, check in CHECKS.items():
            try:
                check(server)
            except (AssertionError, LookupError, TypeError, ValueError, subprocess.TimeoutExpired) as error:
                failed += 1
                print(f"FAILED  {name}: {type(error).__name__}: {error}")
            else:
                print(f"passed  {name}")
    print(f"{len(CHECKS) - failed} passed, {failed} failed")
    return 1 if failed else 0


def program(
    server: str, *carts: dict, more: tuple[str, ...] = (), text: str | None = None
) -> subprocess.CompletedProcess[str]:
    """The program as a shop runs it."""
    command = ["node", str(HERE / "cart_check.mjs"), "--server", f"http://{server}", *more]
    given = "".join(json.dumps(it) + "\n" for it in carts) if text is None else text
    return subprocess.run(command, input=given, capture_output=True, text=True, timeout=RUN_SECONDS)


def answered(done: subprocess.CompletedProcess[str]) -> dict[str, dict]:
    """The answers by the names of their carts, in the order in which they came."""
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    return {answer["id"]: answer for answer in answers}


def statuses(answer: dict) -> list[str]:
    return [line["status"] for line in answer["lines"]]


if __name__ == "__main__":
    sys.exit(main())
