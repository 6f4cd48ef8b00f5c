#!/usr/bin/env python3
"""Holds what the service tells of itself against the libraries that others read it with.

- /metrics is read by prometheus_client, the parser of the Prometheus project, and its counts are compared with calls that
  were made for it. Every figure that deploy/monitoring names, in rules and dashboard, is parsed out of its PromQL by
  promql-parser and must be one that the binary really exports, with labels that it really has.
- Traces are sent to a collector made of opentelemetry-proto, the schema of the OpenTelemetry project: the trace of the
  caller must go on, with the code of the call, and a call that is not sampled by its caller must not be there.
- /readyz and the log are read while the service starts, serves and goes down.

It needs Python 3.10 or later, the packages of tests/requirements.txt, and the binary in $DASHWRIGHT.
"""

from __future__ import annotations

import json
import os
import queue
import re
import resource
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from concurrent import futures
from pathlib import Path

import grpc
import promql_parser as promql
import yaml
from opentelemetry.proto.collector.trace.v1 import trace_service_pb2 as traces
from opentelemetry.proto.collector.trace.v1 import trace_service_pb2_grpc as trace_service
from prometheus_client.parser import text_string_to_metric_families

ROOT = Path(__file__).resolve().parents[2]
MONITORING = ROOT / "deploy" / "monitoring"
SECONDS = 60
INFO = "/dashwright.v1.CatalogueService/GetDatasetInfo"
LOOK_UP = "/dashwright.v1.FitmentService/LookUpFitment"
# What Prometheus itself adds to each scrape, and the variables of a dashboard.
OF_PROMETHEUS = {"up"}
TARGET_LABELS = {"job", "instance"}
CHECKED: list[str] = []


def check(name: str, holds: object, told: object = "") -> None:
    assert holds, f"{name}: {told}"
    CHECKED.append(name)


class Collector(trace_service.TraceServiceServicer):
    """Keeps every span that it is sent."""

    def __init__(self) -> None:
        self.spans: queue.Queue = queue.Queue()
        self.resources: list[dict[str, str]] = []

    def Export(self, request: traces.ExportTraceServiceRequest, context: grpc.ServicerContext):  # noqa: N802
        for resource in request.resource_spans:
            self.resources.append({it.key: it.value.string_value for it in resource.resource.attributes})
            for scope in resource.scope_spans:
                for span in scope.spans:
                    self.spans.put(span)
        return traces.ExportTraceServiceResponse()


class Service:
    """The binary on an empty dataset, with everything that it can tell switched on."""

    def __init__(self, binary: str, data: Path, *more: str) -> None:
        command = [binary, "serve", "--init", "--data", str(data), "--listen", "127.0.0.1:0", "--log-format", "json"]
        command += ["--operations-listen", "127.0.0.1:0", *more]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        self.lines: queue.Queue[str] = queue.Queue()
        self.log: list[dict] = []
        for pipe in (self.process.stdout, self.process.stderr):
            threading.Thread(target=lambda pipe=pipe: [self.lines.put(line) for line in pipe], daemon=True).start()
        self.operations = self.wait_for("answering /metrics")["address"]
        self.address = self.wait_for("listening")["address"]

    def wait_for(self, message: str) -> dict:
        """The line of the log that begins with a message; what is no JSON is what the program prints."""
        end = time.monotonic() + SECONDS
        while True:
            for line in self.log:
                if line["message"].startswith(message):
                    return line
            line = self.lines.get(timeout=max(0.1, end - time.monotonic()))
            if line.startswith("{"):
                self.log.append(json.loads(line))

    def get(self, path: str) -> tuple[int, str, str]:
        try:
            with urllib.request.urlopen(f"http://{self.operations}{path}", timeout=SECONDS) as answer:
                return answer.status, answer.headers["content-type"], answer.read().decode()
        except urllib.error.HTTPError as error:
            return error.code, error.headers["content-type"], error.read().decode()

    def call(self, channel: grpc.Channel, path: str, request: bytes = b"", **headers: str) -> grpc.StatusCode:
        ask = channel.unary_unary(path)
        metadata = [(name.replace("_", "-"), value) for name, value in headers.items()]
        try:
            ask(request, metadata=metadata, timeout=SECONDS)
        except grpc.RpcError as error:
            return error.code()
        return grpc.StatusCode.OK


def samples(text: str) -> dict[tuple[str, frozenset], float]:
    """Every sample by name and labels."""
    families = text_string_to_metric_families(text)
    return {(it.name, frozenset(it.labels.items())): it.value for family in families for it in family.samples}


def of_method(name: str, path: str, **more: str) -> tuple[str, frozenset]:
    service, method = path.strip("/").split("/")
    labels = {"grpc_type": "unary", "grpc_service": service, "grpc_method": method, **more}
    return name, frozenset(labels.items())


def check_counts(service: Service, channel: grpc.Channel) -> None:
    before = samples(service.get("/metrics")[2])
    asked = [service.call(channel, LOOK_UP) for _ in range(5)] + [service.call(channel, INFO) for _ in range(3)]
    refused = grpc.StatusCode.INVALID_ARGUMENT
    check("five are refused and three answered", asked == [refused] * 5 + [grpc.StatusCode.OK] * 3, asked)
    after = settled(service, of_method("grpc_server_handling_seconds_count", INFO), before, 3)

    def grown(key: tuple[str, frozenset]) -> float:
        return after[key] - before.get(key, 0.0)

    for path, code, calls in ((LOOK_UP, "InvalidArgument", 5), (INFO, "OK", 3)):
        for name, more in (
            ("grpc_server_started_total", {}),
            ("grpc_server_handled_total", {"grpc_code": code}),
            ("grpc_server_handling_seconds_count", {}),
        ):
            key = of_method(name, path, **more)
            check(f"{name} of {path}", grown(key) == calls, grown(key))
        within = of_method("grpc_server_handling_seconds_bucket", path, le="+Inf")
        check(f"every call of {path} is within the last bound", after[within] == after[of_method("grpc_server_handling_seconds_count", path)])
    service.call(channel, "/dashwright.v1.Nothing/AtAll")
    unknown = {"grpc_type": "unknown", "grpc_service": "unknown", "grpc_method": "unknown"}
    strange = settled(service, ("grpc_server_started_total", frozenset(unknown.items())), after, 1)
    names = {label for _, labels in strange for label in labels}
    check("a path of a stranger makes no series", not any("Nothing" in value for _, value in names))
    check("nothing is in flight", strange["dashwright_calls_in_flight", frozenset()] == 0)


def settled(service: Service, key: tuple[str, frozenset], before: dict, more: int) -> dict:
    """The samples once a count has grown: a call is counted when its answer is sent, which its caller may see first."""
    end = time.monotonic() + SECONDS
    while True:
        now = samples(service.get("/metrics")[2])
        if now[key] - before.get(key, 0.0) >= more:
            return now
        assert time.monotonic() < end, f"{key} did not grow by {more}"


def check_other_figures(service: Service) -> None:
    before = samples(service.get("/metrics")[2])
    command = [os.environ["DASHWRIGHT"], "draft", "new", "--server", service.address, "--reason", "drill"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=SECONDS)
    check("a draft is made", done.returncode == 0, done.stderr)
    after = samples(service.get("/metrics")[2])
    entries = "dashwright_log_entries", frozenset()
    appends = "dashwright_log_append_seconds_count", frozenset()
    check("one entry more", after[entries] == before[entries] + 1, after[entries])
    check("one append more", after[appends] == before[appends] + 1, after[appends])
    check("changes are taken", after["dashwright_writes_taken", frozenset()] == 1)
    builds = [dict(labels) for name, labels in after if name == "dashwright_build_info"]
    version = subprocess.run([os.environ["DASHWRIGHT"], "--version"], capture_output=True, text=True, check=True)
    check("the build names its version", [it["version"] for it in builds] == version.stdout.split()[1:2], builds)
    status = Path(f"/proc/{service.process.pid}/status").read_text(encoding="utf-8")
    resident = 1024 * int(re.search(r"VmRSS:\s+(\d+)", status)[1])
    told = after["process_resident_memory_bytes", frozenset()]
    check("memory is that of the process", 0.5 < told / resident < 2, (told, resident))


def check_connections(service: Service) -> None:
    """Sockets that say nothing are counted as long as they are open."""
    name, calls = "dashwright_connections_open", frozenset({("listener", "calls")})
    before = samples(service.get("/metrics")[2])
    check("so many may be open", before["dashwright_connections_most", calls] == 4096)
    check("a page has no listener here", ("dashwright_connections_most", frozenset({("listener", "web")})) not in before)
    host, port = service.address.removeprefix("http://").rsplit(":", 1)

    def told(key: tuple[str, frozenset], wanted: float) -> None:
        end = time.monotonic() + SECONDS
        while (now := samples(service.get("/metrics")[2])[key]) != wanted and time.monotonic() < end:
            time.sleep(0.05)
        check(f"{key} is {wanted}", now == wanted, now)

    # An address may have 1,024; the channel of the other checks is one of them.
    open_before = before[name, calls]
    sockets = [socket.create_connection((host, int(port)), timeout=SECONDS) for _ in range(1030)]
    cause = frozenset({("listener", "calls"), ("cause", "ADDRESS_FULL")})
    told((name, calls), 1024)
    told(("dashwright_connections_closed_unheard_total", cause), open_before + 1030 - 1024)
    for one in sockets:
        one.close()
    told((name, calls), open_before)


def used(expression: promql.Expr) -> Iterator[tuple[str, set[str]]]:
    """The figures of an expression with the labels that are matched."""
    for name in ("lhs", "rhs", "expr", "vector_selector", "args", "param"):
        part = getattr(expression, name, None)
        for it in part if isinstance(part, list) else [part]:
            if isinstance(it, promql.VectorSelector):
                yield it.name, {matcher.name for matcher in it.matchers.matchers}
            elif it is not None and not isinstance(it, (str, int, float)):
                yield from used(it)
    if isinstance(expression, promql.VectorSelector):
        yield expression.name, {matcher.name for matcher in expression.matchers.matchers}


def expressions() -> Iterator[tuple[str, str]]:
    rules = yaml.safe_load((MONITORING / "alerts.yaml").read_text(encoding="utf-8"))
    for group in rules["groups"]:
        for rule in group["rules"]:
            yield rule["alert"], rule["expr"]
    dashboard = json.loads((MONITORING / "dashboard.json").read_text(encoding="utf-8"))
    for panel in dashboard["panels"]:
        for target in panel["targets"]:
            yield panel["title"], target["expr"]
    for annotation in dashboard["annotations"]["list"]:
        yield annotation["name"], annotation["expr"]


def check_monitoring(service: Service) -> None:
    text = service.get("/metrics")[2]
    labels: dict[str, set[str]] = {}
    for name, of in samples(text):
        labels.setdefault(name, set()).update(label for label, _ in of)
    seen = set()
    for where, written in expressions():
        # What Grafana fills in before it asks.
        written = written.replace("$__rate_interval", "5m").replace("$__interval", "1m").replace("$instance", ".*")
        figures = list(used(promql.parse(written)))
        check(f"`{where}` names figures", figures, written)
        for name, matched in figures:
            if name in OF_PROMETHEUS:
                continue
            check(f"{name} of `{where}` is exported", name in labels, sorted(labels))
            check(f"labels of {name} in `{where}`", matched - TARGET_LABELS <= labels[name], matched - labels[name])
            seen.add(name)
    page = (ROOT / "deploy" / "README.md").read_text(encoding="utf-8")
    for alert in yaml.safe_load((MONITORING / "alerts.yaml").read_text(encoding="utf-8"))["groups"][0]["rules"]:
        check(f"the page explains {alert['alert']}", f"`{alert['alert']}`" in page)
    bare = {re.sub(r"_(bucket|sum|count)$", "", name) for name in labels}
    watched = {re.sub(r"_(bucket|sum|count)$", "", name) for name in seen}
    # Shown nowhere: which build runs is a label, how many keys there are is told to operators, the rest is plain.
    spare = {"dashwright_build_info", "dashwright_keys_live", "process_threads", "process_virtual_memory_bytes"}
    check("every figure is watched", bare - watched - spare <= {"grpc_server_handled_total"}, bare - watched - spare)


def check_traces(service: Service, channel: grpc.Channel, collector: Collector) -> None:
    trace, parent = "4bf92f3577b34da6a3ce929d0e0e4736", "00f067aa0ba902b7"
    other = "0af7651916cd43dd8448eb211c80319c"
    service.call(channel, INFO, traceparent=f"00-{other}-{parent}-00")
    service.call(channel, LOOK_UP, traceparent=f"00-{trace}-{parent}-01", x_request_id="order-17")
    span = collector.spans.get(timeout=SECONDS)
    check("the trace of the caller goes on", span.trace_id.hex() == trace, span.trace_id.hex())
    check("under the span of the caller", span.parent_span_id.hex() == parent)
    check("it names the call", span.name == LOOK_UP.strip("/"), span.name)
    # SPAN_KIND_SERVER.
    check("it is a server's", span.kind == 2, span.kind)
    of = {it.key: it.value for it in span.attributes}
    check("it has the name of the request", of["request_id"].string_value == "order-17", of)
    check("it has the system", of["rpc.system"].string_value == "grpc", of)
    # INVALID_ARGUMENT.
    check("it has the code", of["rpc.grpc.status_code"].int_value == 3, of)
    check("it lasts", span.end_time_unix_nano > span.start_time_unix_nano)
    check("the service has its name", collector.resources[0]["service.name"] == "dashwright", collector.resources)
    check("what the caller does not sample is not sent", collector.spans.empty())


def check_health(service: Service) -> None:
    check("it lives", service.get("/livez")[0] == 200)
    end = time.monotonic() + SECONDS
    while (not_yet := service.get("/readyz"))[0] == 503 and time.monotonic() < end:
        check("it says why it is not ready", "started failed: the dataset is being opened" in not_yet[2], not_yet)
    status, kind, text = service.get("/readyz")
    check("it is ready", (status, text) == (200, "started ok\nstaying ok\nwrites ok\n"), (status, text))
    check("as plain text", kind.startswith("text/plain"), kind)
    for name in ("started", "staying", "writes"):
        check(f"{name} by itself", service.get(f"/readyz/{name}")[:1] == (200,))
    check("there is no such check", service.get("/readyz/nothing")[0] == 404)
    check("there is no such path", service.get("/")[0] == 404)
    check("the media type is that of the format", service.get("/metrics")[1].startswith("text/plain; version=0.0.4"))


def check_wrong_port(service: Service, binary: str) -> None:
    """Whoever takes the port of the metrics for that of the calls is told so."""
    asked = subprocess.run(
        [binary, "info", "--server", f"http://{service.operations}"], capture_output=True, text=True, timeout=SECONDS
    )
    told = asked.returncode != 0 and "is no such server" in asked.stderr and "not that of its metrics" in asked.stderr
    check("the port of the metrics is no port of calls", told, asked.stderr)


def check_end(service: Service, channel: grpc.Channel) -> None:
    """While a call whose question has not arrived holds the drain, it is alive and not ready; then it ends with 0."""
    arrives = threading.Event()

    def question() -> Iterator[bytes]:
        arrives.wait(SECONDS)
        yield b""

    # On the wire a call of one message is a stream of one.
    answer = channel.stream_stream(LOOK_UP)(question(), timeout=SECONDS)
    in_flight = "dashwright_calls_in_flight", frozenset()
    end = time.monotonic() + SECONDS
    while samples(service.get("/metrics")[2])[in_flight] < 1:
        assert time.monotonic() < end, "the call does not begin"
    service.process.terminate()
    service.wait_for("going down")
    status, _, text = service.get("/readyz")
    check("who goes down is not ready", status == 503 and "staying failed" in text, (status, text))
    check("and lives", service.get("/livez")[0] == 200)
    arrives.set()
    code = answer.code()
    check("the call in flight is answered", code is grpc.StatusCode.INVALID_ARGUMENT, code)
    check("it ends with 0", service.process.wait(timeout=SECONDS) == 0)


def main() -> int:
    binary = os.environ.get("DASHWRIGHT")
    if not binary:
        raise SystemExit("name the binary in $DASHWRIGHT")
    # Of what the check of connections opens the service has one end, and we the other.
    most = resource.getrlimit(resource.RLIMIT_NOFILE)[1]
    resource.setrlimit(resource.RLIMIT_NOFILE, (most, most))
    collector = Collector()
    server = grpc.server(futures.ThreadPoolExecutor(max_workers=2))
    trace_service.add_TraceServiceServicer_to_server(collector, server)
    port = server.add_insecure_port("127.0.0.1:0")
    server.start()
    with tempfile.TemporaryDirectory(prefix="dashwright-telemetry-") as directory:
        endpoint = f"http://127.0.0.1:{port}"
        traced = ("--otlp-endpoint", endpoint, "--otlp-sample-ratio", "0")
        service = Service(binary, Path(directory) / "data", *traced)
        try:
            with grpc.insecure_channel(service.address) as channel:
                check_health(service)
                check_wrong_port(service, binary)
                check_counts(service, channel)
                check_connections(service)
                check_other_figures(service)
                check_monitoring(service)
                check_traces(service, channel, collector)
                check_end(service, channel)
        finally:
            service.process.kill()
            service.process.wait(timeout=SECONDS)
    server.stop(grace=None).wait()
    print(f"{len(CHECKED)} checks passed, 0 failed")
    return 0


if __name__ == "__main__":
    sys.exit(main())
