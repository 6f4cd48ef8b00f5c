#!/usr/bin/env python3
"""Two servers restarted in turns under a gRPC library that knows its trade: no call may fail.

The library is grpcio, with `round_robin` over both addresses and deploy/service-config.json as it is: waiting, repeating
and what never left the client (gRFC A6, "transparent retries") are its business, and nothing is repeated here.

It needs the packages of tests/requirements.txt, and the binary's path in $DASHWRIGHT.

Usage: rolling_restart.py [--restarts NUMBER]
"""

from __future__ import annotations

import argparse
import collections
import json
import pathlib
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time

import grpc

from _demo import START_SECONDS, binary

DEPLOY = pathlib.Path(__file__).resolve().parents[2] / "deploy"
# Each server three times: a bounded time.
RESTARTS = 6
CLIENTS = 4
# The load is there all the time, and leaves the machine to others too.
PAUSE_SECONDS = 0.002
# Between two restarts: a client that found nobody looks again after a second (gRPC connection backoff), the time after that some
# two later, and has to have found the first server again before the second one goes. A rolling update waits likewise.
SETTLE_SECONDS = 4
# Answers between two restarts, so that each is met by calls in flight.
ANSWERS_BETWEEN = 100
# A call that an empty dataset answers, and its request in bytes: no field is set.
PATH = "/dashwright.v1.CatalogueService/GetDatasetInfo"
REQUEST = b""


class Server:
    """One server on a dataset of its own."""

    def __init__(self, data: pathlib.Path) -> None:
        self.data = data
        self.address = "127.0.0.1:0"
        self.start("--init")

    def start(self, *more: str) -> None:
        command = [binary(), "serve", "--data", str(self.data), "--listen", self.address, "--log", "error", *more]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        line = self.process.stdout.readline()
        if not (found := re.search(r"http://(127\.0\.0\.1:\d+)", line)):
            raise SystemExit(f"the server did not start: {line!r}")
        self.address = found.group(1)

    def end(self) -> None:
        self.process.send_signal(signal.SIGTERM)
        if status := self.process.wait(timeout=START_SECONDS):
            raise SystemExit(f"the server ended with status {status}")


class Load:
    """Clients that ask over one channel until they are told to end."""

    def __init__(self, channel: grpc.Channel) -> None:
        self.ask = channel.unary_unary(PATH)
        self.changed = threading.Condition()
        self.calls = 0
        self.codes: collections.Counter[grpc.StatusCode] = collections.Counter()
        self.longest = 0.0
        self.ending = False
        self.threads = [threading.Thread(target=self.run) for _ in range(CLIENTS)]
        for thread in self.threads:
            thread.start()

    def run(self) -> None:
        while not self.ending:
            begin = time.monotonic()
            try:
                self.ask(REQUEST)
                code = grpc.StatusCode.OK
            except grpc.RpcError as error:
                code = error.code()
                print(f"failed: {code}: {error.details()}")
            with self.changed:
                self.calls += 1
                self.codes[code] += 1
                self.longest = max(self.longest, time.monotonic() - begin)
                self.changed.notify_all()
            time.sleep(PAUSE_SECONDS)

    def wait_for_more(self) -> None:
        with self.changed:
            until = self.calls + ANSWERS_BETWEEN
            if not self.changed.wait_for(lambda: self.calls >= until, timeout=START_SECONDS):
                raise SystemExit("there are no more answers")

    def end(self) -> None:
        self.ending = True
        for thread in self.threads:
            thread.join()


def options() -> list[tuple[str, str]]:
    """The service config as it is, and both servers in turn."""
    config = json.loads((DEPLOY / "service-config.json").read_text())
    config["loadBalancingConfig"] = [{"round_robin": {}}]
    # Several addresses with commas between them are no name of a server, and HTTP/2 refuses them as one.
    return [("grpc.service_config", json.dumps(config)), ("grpc.default_authority", "localhost")]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--restarts", type=int, default=RESTARTS)
    restarts = parser.parse_args().restarts
    with tempfile.TemporaryDirectory() as directory:
        servers = [Server(pathlib.Path(directory) / name) for name in ("one", "two")]
        target = "ipv4:" + ",".join(server.address for server in servers)
        with grpc.insecure_channel(target, options=options()) as channel:
            load = Load(channel)
            try:
                for turn in range(restarts):
                    load.wait_for_more()
                    server = servers[turn % 2]
                    server.end()
                    server.start()
                    time.sleep(SETTLE_SECONDS)
                load.wait_for_more()
            finally:
                load.end()
        for server in servers:
            server.end()
    failed = load.calls - load.codes[grpc.StatusCode.OK]
    print(f"{restarts} restarts, {load.calls} calls, {failed} failed, the longest took {load.longest:.2f} s: {dict(load.codes)}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
