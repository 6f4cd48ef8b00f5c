#!/usr/bin/env python3
"""A client that knows nothing but the address: it learns the schema by reflection and asks as anybody could.

It shares no code with the project: gRPC, reflection and messages are grpcio's and protobuf's, error details are those of
googleapis-common-protos. It lists the services, follows ListChoices down to one vehicle, looks up what fits, compares
revisions, and takes an error apart.

It needs the packages of tests/requirements.txt, and the binary's path in $DASHWRIGHT, whose demo it starts on a free
port; or it asks a server that runs already.

Usage: foreign_client.py [--address HOST:PORT]
"""

from __future__ import annotations

import argparse
import contextlib
import os
import re
import sys
from collections.abc import Callable
from typing import Any

import grpc
from google.protobuf import descriptor_pool, message_factory
from google.rpc import error_details_pb2, status_pb2
from grpc_reflection.v1alpha import reflection_pb2
from grpc_reflection.v1alpha.proto_reflection_descriptor_database import ProtoReflectionDescriptorDatabase

from _demo import demo

PACKAGE = "dashwright.v1"
CALL_SECONDS = 10
# The fields of a VehicleQuestion that answer the attributes that ListChoices asks for.
FIELDS = {
    "ATTRIBUTE_MODEL_YEAR": "model_year",
    "ATTRIBUTE_MAKE": "make",
    "ATTRIBUTE_MODEL": "model",
    "ATTRIBUTE_TRIM": "trim",
    "ATTRIBUTE_BUILD_MONTH": "build_month",
    "ATTRIBUTE_MARKET": "market",
    "ATTRIBUTE_BODY": "body",
    "ATTRIBUTE_DRIVETRAIN": "drivetrain",
    "ATTRIBUTE_AUDIO_OPTION": "audio_option",
}


class Service:
    """The service behind an address, with the schema that it tells."""

    def __init__(self, channel: grpc.Channel) -> None:
        self.channel = channel
        self.database = ProtoReflectionDescriptorDatabase(channel)
        self.pool = descriptor_pool.DescriptorPool(self.database)

    def message(self, name: str, **fields: Any) -> Any:
        """A message of the schema, made from its descriptor."""
        descriptor = self.pool.FindMessageTypeByName(f"{PACKAGE}.{name}")
        return message_factory.GetMessageClass(descriptor)(**fields)

    def call(self, service: str, method: str, **fields: Any) -> Any:
        """The answer of a method, or a grpc.RpcError."""
        found = self.pool.FindServiceByName(f"{PACKAGE}.{service}").FindMethodByName(method)
        request = message_factory.GetMessageClass(found.input_type)(**fields)
        answer = message_factory.GetMessageClass(found.output_type)
        path = f"/{PACKAGE}.{service}/{method}"
        stub = self.channel.unary_unary(
            path, request_serializer=lambda it: it.SerializeToString(), response_deserializer=answer.FromString
        )
        return stub(request, timeout=CALL_SECONDS)

    def stream(self, service: str, method: str, requests: list[dict[str, Any]]) -> list[Any]:
        """The answers of a method that takes and gives a stream."""
        found = self.pool.FindServiceByName(f"{PACKAGE}.{service}").FindMethodByName(method)
        request = message_factory.GetMessageClass(found.input_type)
        answer = message_factory.GetMessageClass(found.output_type)
        stub = self.channel.stream_stream(
            f"/{PACKAGE}.{service}/{method}",
            request_serializer=lambda it: it.SerializeToString(),
            response_deserializer=answer.FromString,
        )
        return list(stub(iter([request(**fields) for fields in requests]), timeout=CALL_SECONDS))

    def name_of(self, enum: str, number: int) -> str:
        """The name of an enum's value."""
        return self.pool.FindEnumTypeByName(f"{PACKAGE}.{enum}").values_by_number[number].name

    def list_services(self, version: str) -> list[str]:
        """The services that one version of reflection lists; the versions have the same messages."""
        stub = self.channel.stream_stream(
            f"/grpc.reflection.{version}.ServerReflection/ServerReflectionInfo",
            request_serializer=reflection_pb2.ServerReflectionRequest.SerializeToString,
            response_deserializer=reflection_pb2.ServerReflectionResponse.FromString,
        )
        request = reflection_pb2.ServerReflectionRequest(list_services="")
        answer = next(iter(stub(iter([request]), timeout=CALL_SECONDS)))
        return sorted(service.name for service in answer.list_services_response.service)


class Checks:
    """Runs checks, prints a line for each, and counts."""

    def __init__(self) -> None:
        self.passed = 0
        self.failed = 0

    def run(self, name: str, check: Callable[[], None]) -> None:
        try:
            check()
        except (AssertionError, LookupError, TypeError, ValueError, grpc.RpcError) as error:
            self.failed += 1
            told = error.details() if isinstance(error, grpc.Call) else error
            print(f"FAILED  {name}: {type(error).__name__}: {told}")
        else:
            self.passed += 1
            print(f"passed  {name}")


def refused(service: Service, *call: str, **fields: Any) -> tuple[grpc.StatusCode, dict[str, Any]]:
    """The code of a refused call and the details of its google.rpc.Status by the names of their types."""
    try:
        answer = service.call(*call, **fields)
    except grpc.RpcError as error:
        trailers = dict(error.trailing_metadata() or ())
        packed = trailers["grpc-status-details-bin"]
        assert len(packed) <= 4096 + 1024, f"{len(packed)} bytes of status"
        status = status_pb2.Status.FromString(packed)
        assert status.code == error.code().value[0], f"{status.code} in the details, {error.code()} outside"
        known = {it.DESCRIPTOR.full_name: it for it in (error_details_pb2.ErrorInfo, error_details_pb2.BadRequest)}
        details = {}
        for detail in status.details:
            name = detail.type_url.rpartition("/")[2]
            if name in known:
                details[name] = known[name].FromString(detail.value)
        return error.code(), details
    raise AssertionError(f"it was answered: {answer}")


def check_reflection(service: Service) -> None:
    for version in ("v1", "v1alpha"):
        listed = service.list_services(version)
        for expected in (f"{PACKAGE}.FitmentService", f"{PACKAGE}.CatalogueService", "grpc.health.v1.Health"):
            assert expected in listed, f"{version} lists {listed}"
    methods = service.pool.FindServiceByName(f"{PACKAGE}.FitmentService").methods_by_name
    expected = {"ListChoices", "ResolveVehicle", "LookUpFitment", "PlanInstall", "CheckCart", "CheckCarts"}
    assert expected <= set(methods), sorted(methods)


def narrowed(service: Service) -> dict[str, Any]:
    """What is known after the first choice was taken until the audio option is asked for or nothing is."""
    known: dict[str, Any] = {}
    for _ in range(len(FIELDS) + 1):
        answer = service.call("FitmentService", "ListChoices", vehicle=service.message("VehicleQuestion", **known))
        attribute = service.name_of("Attribute", answer.attribute)
        if attribute in ("ATTRIBUTE_UNSPECIFIED", "ATTRIBUTE_AUDIO_OPTION"):
            assert answer.remaining_lines == 1, f"{answer.remaining_lines} lines remain after {known}"
            return known
        assert len(answer.choices) > 1, f"{attribute} has the choices {list(answer.choices)}"
        value = answer.choices[0].value
        if attribute == "ATTRIBUTE_DRIVE_SIDE":
            known["drive_side"] = f"DRIVE_SIDE_{value.upper()}"
        else:
            known[FIELDS[attribute]] = int(value) if attribute == "ATTRIBUTE_MODEL_YEAR" else value
    raise AssertionError(f"there is no end to the choices: {known}")


def look_up(service: Service, **known: Any) -> Any:
    return service.call("FitmentService", "LookUpFitment", vehicle=service.message("VehicleQuestion", **known))


def check_look_up(service: Service) -> None:
    known = narrowed(service)
    answer = look_up(service, **known)
    assert len({candidate.vehicle_id for candidate in answer.candidates}) == 1, known
    assert service.name_of("Verdict", answer.verdict) != "VERDICT_UNSPECIFIED"
    assert answer.cautions, "no cautions"
    for candidate in answer.candidates:
        single = look_up(service, **known, audio_option=candidate.audio_option)
        assert [it.audio_option for it in single.candidates] == [candidate.audio_option]
        assert not single.HasField("question"), "one candidate and still a question"
        assert single.settled.HasField("opening"), "no opening is told"
        named = {part.id for part in single.parts}
        offered = {offer.part_id for need in single.settled.needs for offer in need.parts}
        assert offered <= named, f"offered and not told: {offered - named}"


def check_plan(service: Service) -> None:
    known = {"words": "2013 orvane tamsel hatchback", "audio_option": "A8"}
    vehicle = service.message("VehicleQuestion", **known)
    plan = service.call("FitmentService", "PlanInstall", vehicle=vehicle, radio_id="sonquill-rowan-2")
    assert service.name_of("Verdict", plan.verdict) == "VERDICT_FITS_WITH_PARTS", plan.verdict
    pieces = plan.settled
    named = {part.id: part for part in plan.parts}
    prices = [named[part.part_id].price.amount.minor_units for part in pieces.parts]
    assert sum(prices) == pieces.total.price.minor_units, f"{prices} and {pieces.total.price.minor_units}"
    functions = {service.name_of("Function", join.function) for join in pieces.joins}
    assert {"FUNCTION_BATTERY", "FUNCTION_SWITCHED", "FUNCTION_GROUND"} <= functions, functions
    assert pieces.steps and not plan.HasField("question"), "one candidate, a question or no steps"
    # What the plan names completes a cart.
    lines = [service.message("CartLine", item=part.part_id) for part in pieces.parts]
    carts = [
        {"correlation_id": "full", "cart": {"vehicle": vehicle, "radio_id": "sonquill-rowan-2", "lines": lines}},
        {"correlation_id": "nonsense", "cart": {"radio_id": "no-radio"}},
        {"correlation_id": "empty", "cart": {"vehicle": vehicle, "radio_id": "sonquill-rowan-2"}},
    ]
    answers = service.stream("FitmentService", "CheckCarts", carts)
    assert [answer.correlation_id for answer in answers] == ["full", "nonsense", "empty"]
    verdicts = [service.name_of("CartVerdict", answer.answer.verdict) for answer in answers]
    assert verdicts[0] == "CART_VERDICT_COMPLETE" and verdicts[2] == "CART_VERDICT_INCOMPLETE", verdicts
    assert answers[1].error.reason == "FIELDS_INVALID", answers[1]
    assert set(answers[2].answer.completions[0].add_part_ids) == {part.part_id for part in pieces.parts}


def check_words(service: Service) -> None:
    answer = look_up(service, words="2013 orvnae tamsel hatchback")
    assert answer.candidates and all(it.make == "Orvane" for it in answer.candidates), answer.candidates
    kinds = {match.typed: service.name_of("MatchKind", match.kind) for match in answer.matches}
    assert kinds.get("orvnae") == "MATCH_KIND_MISSPELT", kinds


def check_revision(service: Service) -> None:
    info = service.call("CatalogueService", "GetDatasetInfo")
    assert info.revision.number == 1 and re.fullmatch("[0-9a-f]{64}", info.revision.content_hash), info.revision
    for way in ("at_least", "exactly"):
        read_at = service.message("ReadAt", **{way: info.revision.token})
        choices = service.call("FitmentService", "ListChoices", read_at=read_at)
        assert choices.revision == info.revision, f"{way}: {choices.revision}"
    assert look_up(service, **narrowed(service)).revision == info.revision


def check_fields(service: Service) -> None:
    vehicle = service.message(
        "VehicleQuestion", vin="123", model_year=7, make="x" * 121, build_month="2018-13", words="y" * 500
    )
    code, details = refused(service, "FitmentService", "LookUpFitment", vehicle=vehicle)
    assert code == grpc.StatusCode.INVALID_ARGUMENT, code
    info = details["google.rpc.ErrorInfo"]
    assert (info.domain, info.reason) == ("dashwright", "FIELDS_INVALID"), info
    paths = sorted(violation.field for violation in details["google.rpc.BadRequest"].field_violations)
    expected = [f"vehicle.{field}" for field in ("build_month", "make", "model_year", "vin", "words")]
    assert paths == expected, paths


def check_unknown(service: Service) -> None:
    vehicle = service.message("VehicleQuestion", make="qqqqqqqq")
    code, details = refused(service, "FitmentService", "ResolveVehicle", vehicle=vehicle)
    assert code == grpc.StatusCode.NOT_FOUND, code
    info = details["google.rpc.ErrorInfo"]
    assert info.reason == "WORD_UNKNOWN" and info.metadata["typed"] == "qqqqqqqq", info
    assert info.reason in {
        value.name.removeprefix("ERROR_REASON_")
        for value in service.pool.FindEnumTypeByName(f"{PACKAGE}.ErrorReason").values
    }, "the reason is not published"


def check_records(service: Service) -> None:
    seen: list[str] = []
    token = ""
    for _ in range(1000):
        page = service.call(
            "CatalogueService", "ListRecords", kind="RECORD_KIND_VEHICLE", page_size=7, page_token=token
        )
        seen += [record.key.id for record in page.records]
        token = page.next_page_token
        if not token:
            break
    assert len(seen) == len(set(seen)) == page.total, f"{len(seen)} of {page.total}"
    assert seen == sorted(seen), "not in the order of the ids"


CHECKS: dict[str, Callable[[Service], None]] = {
    "reflection lists the services and describes their methods": check_reflection,
    "the choices lead to one vehicle line, and its look-up answers": check_look_up,
    "a plan's prices sum up, and its parts complete a cart": check_plan,
    "a misspelt word is matched and reported": check_words,
    "every answer names the revision, and a read may ask for it": check_revision,
    "every malformed field is named in one error": check_fields,
    "an unknown word has its published reason": check_unknown,
    "the pages of a list hold every record once": check_records,
}


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--address", help="HOST:PORT of a server that runs already")
    address = parser.parse_args().address
    if not address and not os.environ.get("DASHWRIGHT"):
        parser.error("name the binary in $DASHWRIGHT, or a server with --address")
    checks = Checks()
    with contextlib.nullcontext(address) if address else demo() as target:
        with grpc.insecure_channel(target) as channel:
            service = Service(channel)
            for name, check in CHECKS.items():
                checks.run(name, lambda check=check: check(service))
    print(f"{checks.passed} passed, {checks.failed} failed")
    return 1 if checks.failed else 0


if __name__ == "__main__":
    sys.exit(main())
