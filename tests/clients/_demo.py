"""The demo that a client's self-test starts, and a stand-in before it that refuses the first calls of each method.

The stand-in is what a busy or restarting service looks like from outside: UNAVAILABLE with google.rpc.RetryInfo, and
afterwards the real answer. It passes bytes on and knows nothing of the messages.
"""

from __future__ import annotations

import collections
import contextlib
import os
import queue
import re
import subprocess
import threading
from collections.abc import Iterator
from concurrent import futures

import grpc
from google.protobuf import any_pb2, duration_pb2
from google.rpc import error_details_pb2, status_pb2

# Longer than a demo takes to start on a busy machine.
START_SECONDS = 60
# Calls at once through the stand-in: a self-test makes one, and a retry may come before the refused one is gone.
STAND_IN_THREADS = 8


def binary() -> str:
    """The path of the binary, from $DASHWRIGHT."""
    if path := os.environ.get("DASHWRIGHT"):
        return path
    raise SystemExit("name the binary in $DASHWRIGHT")


@contextlib.contextmanager
def demo() -> Iterator[str]:
    """HOST:PORT of a demo that is started for this, and ended after it."""
    process = subprocess.Popen([binary(), "demo", "--listen", "127.0.0.1:0"], stdout=subprocess.PIPE, text=True)
    lines: queue.Queue[str | None] = queue.Queue()

    def read() -> None:
        for line in process.stdout:
            lines.put(line)
        lines.put(None)

    threading.Thread(target=read, daemon=True).start()
    try:
        while (line := lines.get(timeout=START_SECONDS)) is not None:
            if found := re.search(r"http://(127\.0\.0\.1:\d+)", line):
                yield found.group(1)
                return
        raise SystemExit("the demo ended without saying where it listens")
    finally:
        process.terminate()
        status = process.wait(timeout=START_SECONDS)
        print(f"the demo ended with status {status}")


class StandIn(grpc.GenericRpcHandler):
    """Refuses the first calls of each method, and passes the others on."""

    def __init__(self, target: grpc.Channel, refusals: int) -> None:
        self.target = target
        self.refusals = refusals
        self.calls: collections.Counter[str] = collections.Counter()
        # The most messages of one call that waited for their answer at a time.
        self.most_open = 0

    def service(self, handler_call_details: grpc.HandlerCallDetails) -> grpc.RpcMethodHandler:
        # On the wire a call of one message is a stream of one.
        path = handler_call_details.method

        def answer(requests: Iterator[bytes], context: grpc.ServicerContext) -> Iterator[bytes]:
            self.calls[path] += 1
            if self.calls[path] <= self.refusals:
                refuse(context)
            asked = answered = 0

            def counted() -> Iterator[bytes]:
                nonlocal asked
                for request in requests:
                    asked += 1
                    self.most_open = max(self.most_open, asked - answered)
                    yield request

            for reply in self.target.stream_stream(path)(counted(), timeout=context.time_remaining()):
                answered += 1
                yield reply

        return grpc.stream_stream_rpc_method_handler(answer)


def refuse(context: grpc.ServicerContext) -> None:
    """What the service answers when it has more calls than it takes at once."""
    details = [
        error_details_pb2.ErrorInfo(reason="OVERLOADED", domain="dashwright", metadata={"most_calls": "1"}),
        error_details_pb2.RetryInfo(retry_delay=duration_pb2.Duration(nanos=250_000_000)),
    ]
    status = status_pb2.Status(code=grpc.StatusCode.UNAVAILABLE.value[0], message="too many calls at once")
    for detail in details:
        packed = any_pb2.Any()
        packed.Pack(detail)
        status.details.append(packed)
    context.set_trailing_metadata((("grpc-status-details-bin", status.SerializeToString()),))
    context.abort(grpc.StatusCode.UNAVAILABLE, status.message)


@contextlib.contextmanager
def stand_in(target: str, refusals: int) -> Iterator[tuple[str, StandIn]]:
    """HOST:PORT of a stand-in before a server, and the stand-in, which counts its calls."""
    with grpc.insecure_channel(target) as channel:
        handler = StandIn(channel, refusals)
        server = grpc.server(futures.ThreadPoolExecutor(max_workers=STAND_IN_THREADS))
        server.add_generic_rpc_handlers((handler,))
        port = server.add_insecure_port("127.0.0.1:0")
        server.start()
        try:
            yield f"127.0.0.1:{port}", handler
        finally:
            server.stop(grace=None).wait()
