#!/usr/bin/env python3
"""A part list at the counter: a vehicle in words and a radio in; parts to pull, prices and the open question out.

It is written to be copied. It compiles the schema at its start, calls with a deadline, leaves repeating to gRPC and its
service config, and tells what a refused call says in google.rpc details. Its packages are in tests/requirements.txt.

Usage: point_of_sale.py --server http://HOST:PORT --radio RADIO WORDS...
       point_of_sale.py [--self-test]     starts the demo of the binary in $DASHWRIGHT and checks itself

It ends with 0 when there is one list of parts, with 3 when a question is open, and with 1 when there is no list.
"""

from __future__ import annotations

import argparse
import os
import pathlib
import sys
import tempfile
import types
import urllib.parse
from typing import Any

import grpc
from google.rpc import error_details_pb2
from grpc_status import rpc_status
from grpc_tools import protoc

ROOT = pathlib.Path(__file__).resolve().parents[2]
SCHEMA = ROOT / "proto"
SERVICE_CONFIG = ROOT / "deploy" / "service-config.json"
# A person waits at the counter: room for every attempt of the service config, whose waits come to 4.5 s at most.
CALL_SECONDS = 6.0
# As many vehicles as fit on a till's screen with their lists.
MOST_VEHICLES_TOLD = 6
# Ends of the program.
ONE_LIST, NO_LIST, QUESTION_OPEN = 0, 1, 3
# Verdicts with which the radio goes in.
FITS = ("fits as is", "fits with parts")


def compiled(schema: pathlib.Path) -> types.SimpleNamespace:
    """The generated modules that are used here, made from the schema in a directory that goes once they are loaded."""
    directory = tempfile.TemporaryDirectory(prefix="dashwright-stubs-")
    files = sorted(str(file.relative_to(schema)) for file in schema.rglob("*.proto"))
    into = [f"--proto_path={schema}", f"--python_out={directory.name}", f"--grpc_python_out={directory.name}"]
    if protoc.main(["protoc", *into, *files]) != 0:
        raise SystemExit(f"the schema in {schema} does not compile")
    sys.path.insert(0, directory.name)
    try:
        from dashwright.v1 import fitment_service_pb2_grpc, plan_pb2, vehicle_pb2
    finally:
        sys.path.remove(directory.name)
        directory.cleanup()
    return types.SimpleNamespace(plans=plan_pb2, services=fitment_service_pb2_grpc, vehicles=vehicle_pb2)


class Counter:
    """What a till asks, over one channel: open it once and keep it."""

    def __init__(self, server: str, config: pathlib.Path, key: str = "", ca: pathlib.Path | None = None) -> None:
        self.schema = compiled(SCHEMA)
        # The file says which calls are repeated, after which waits; grpcio does it.
        options = [("grpc.service_config", config.read_text(encoding="utf-8")), ("grpc.enable_retries", 1)]
        address = urllib.parse.urlsplit(server)
        if address.scheme not in ("http", "https") or not address.netloc:
            raise SystemExit(f"`{server}` is no address: write http://HOST:PORT or https://HOST:PORT")
        if address.scheme == "https":
            trusted = ca.read_bytes() if ca else None
            self.channel = grpc.secure_channel(address.netloc, grpc.ssl_channel_credentials(trusted), options)
        else:
            self.channel = grpc.insecure_channel(address.netloc, options)
        self.stub = self.schema.services.FitmentServiceStub(self.channel)
        self.metadata = (("authorization", f"Bearer {key}"),) if key else ()

    def plan(self, words: str, radio: str, audio: str = "", year: int = 0, seconds: float = CALL_SECONDS) -> Any:
        """A PlanInstallResponse, or a grpc.RpcError."""
        vehicle = self.schema.vehicles.VehicleQuestion(words=words, audio_option=audio, model_year=year)
        request = self.schema.plans.PlanInstallRequest(vehicle=vehicle, radio_id=radio)
        return self.stub.PlanInstall(request, timeout=seconds, metadata=self.metadata)

    def close(self) -> None:
        self.channel.close()


def verdict(answer: Any) -> str:
    """The verdict in words, as "fits with parts"."""
    return name_of(answer, "verdict", "VERDICT_")


def told_plan(answer: Any) -> list[str]:
    """A plan as a person at the counter reads it."""
    named = {part.id: part for part in answer.parts}
    lines = [f"{answer.radio.brand} {answer.radio.model}: {verdict(answer)}"]
    lines += told_matches(answer)
    # As long as many vehicles are possible their lists help nobody: the question does.
    few = len(answer.candidates) <= MOST_VEHICLES_TOLD
    candidates = [vehicle(it) for it in answer.candidates] if few else [f"{answer.remaining_lines} vehicle lines"]
    lines += [f"  for {it}" for it in candidates]
    lines += [f"  {reason.text}" for reason in answer.verdict_reasons]
    if answer.HasField("question"):
        lines += ["", f"ask: {answer.question.text}"]
        for choice in answer.question.choices:
            lines.append(f"  {choice.value}: {choice.title}")
            if choice.how_to_tell:
                lines.append(f"      {choice.how_to_tell}")
    lines += headed("pull" if not answer.depends else "pull, whatever the answer", told_pieces(answer.settled, named))
    for variant in answer.depends if few else ():
        which = "; ".join(vehicle(answer.candidates[place]) for place in variant.candidates)
        reasons = [f"  {reason.text}" for reason in variant.verdict_reasons]
        lines += headed(f"only for {which}", told_pieces(variant.pieces, named) + reasons)
    # Never leave these out: what is sold here is wired into a car.
    lines += ["", "beware"] + [f"  {caution.text}" for caution in answer.cautions]
    return lines


def told_matches(answer: Any) -> list[str]:
    """What was not taken as it was typed: a slip at the counter must not sell the parts of another car."""
    lines = []
    for match in answer.matches:
        kind = name_of(match, "kind", "MATCH_KIND_")
        if kind == "misspelt":
            lines.append(f"  `{match.typed}` is taken for {match.matched}")
        elif kind == "unused":
            lines.append(f"  `{match.typed}` was not understood and counts for nothing")
        elif kind == "unchecked":
            lines.append(f"  `{match.typed}` could not be checked")
    return lines + [f"  {concern.text}" for concern in answer.vin_concerns]


def headed(heading: str, lines: list[str]) -> list[str]:
    """Lines under a heading, or nothing."""
    return ["", heading, *lines] if lines else []


def told_pieces(pieces: Any, named: dict[str, Any]) -> list[str]:
    """Parts with prices, and what will not work any more."""
    lines = []
    for planned in pieces.parts:
        part = named[planned.part_id]
        price = planned.price.text if planned.HasField("price") else "no price"
        lines.append(f"  {price:>12}  {part.brand} {part.number}  {part.title}")
    if pieces.HasField("total"):
        unpriced = f", {pieces.total.unpriced} without a price" if pieces.total.unpriced else ""
        lines.append(f"  {pieces.total.price.text:>12}  in all for {pieces.total.parts} parts{unpriced}")
    # What the customer has to hear before the sale.
    lost = [name_of(it, "feature", "FEATURE_") for it in pieces.features if name_of(it, "outcome", "OUTCOME_") == "lost"]
    lines += [f"  will not work any more: {', '.join(lost)}"] if lost else []
    lines += [f"  mind: {limit}" for feature in pieces.features for limit in feature.limits]
    return lines


def name_of(message: Any, field: str, prefix: str = "") -> str:
    """The value of an enum in words, as "driver display"; its name comes with the message."""
    values = message.DESCRIPTOR.fields_by_name[field].enum_type.values_by_number
    return values[getattr(message, field)].name.removeprefix(prefix).lower().replace("_", " ")


def vehicle(candidate: Any) -> str:
    """A vehicle line with its audio option."""
    years = f"{candidate.first_year} to {candidate.last_year}"
    distinction = f", {candidate.distinction}" if candidate.distinction else ""
    return f"{candidate.make} {candidate.model}, {years}{distinction}; {candidate.audio_title}"


def told_refusal(error: grpc.RpcError) -> list[str]:
    """A refused call as a person reads it: what is wrong, in which fields, what is near, and when to try again."""
    lines = [f"refused: {error.details()} ({error.code().name})"]
    status = rpc_status.from_call(error)
    for detail in status.details if status else ():
        if detail.Is(error_details_pb2.ErrorInfo.DESCRIPTOR):
            detail.Unpack(info := error_details_pb2.ErrorInfo())
            lines.append(f"  reason: {info.reason}")
            lines += [f"    {key}: {value}" for key, value in sorted(info.metadata.items()) if value]
        elif detail.Is(error_details_pb2.BadRequest.DESCRIPTOR):
            detail.Unpack(request := error_details_pb2.BadRequest())
            lines += [f"  {it.field}: {it.description}" for it in request.field_violations]
        elif detail.Is(error_details_pb2.RetryInfo.DESCRIPTOR):
            detail.Unpack(retry := error_details_pb2.RetryInfo())
            lines.append(f"  try again in {retry.retry_delay.ToMilliseconds()} ms")
    return lines


def key_text(file: pathlib.Path | None) -> str:
    """The caller's key: the text of a file that only its owner can read, or of $DASHWRIGHT_KEY."""
    return file.read_text(encoding="utf-8").strip() if file else os.environ.get("DASHWRIGHT_KEY", "")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("words", nargs="*", help="the vehicle: year, make, model and whatever else is known")
    parser.add_argument("--server", help="http://HOST:PORT or https://HOST:PORT")
    parser.add_argument("--radio", help="the id of the radio")
    parser.add_argument("--audio", default="", help="the code of the factory audio, once it was asked for")
    parser.add_argument("--key-file", type=pathlib.Path, help="the file that holds your key; else DASHWRIGHT_KEY")
    parser.add_argument("--ca", type=pathlib.Path, help="the authorities that may vouch for the server: PEM")
    parser.add_argument("--service-config", type=pathlib.Path, default=SERVICE_CONFIG)
    parser.add_argument("--self-test", action="store_true", help="check this program against a demo")
    given = parser.parse_args()
    if given.self_test or len(sys.argv) == 1:
        import _point_of_sale_checks

        return _point_of_sale_checks.run()
    if not (given.words and given.server and given.radio):
        parser.error("name the vehicle in words, --server and --radio")
    counter = Counter(given.server, given.service_config, key_text(given.key_file), given.ca)
    try:
        answer = counter.plan(" ".join(given.words), given.radio, given.audio)
    except grpc.RpcError as error:
        print("\n".join(told_refusal(error)), file=sys.stderr)
        return NO_LIST
    finally:
        counter.close()
    print("\n".join(told_plan(answer)))
    if answer.HasField("question"):
        return QUESTION_OPEN
    return ONE_LIST if verdict(answer) in FITS else NO_LIST


if __name__ == "__main__":
    sys.exit(main())
