#!/usr/bin/env python3
"""Builds the page's client, and checks in a browser without a window what it is answered over gRPC-Web.

A page of an origin that `serve --web-origins` names is answered; a page of another origin reads nothing, and neither does a
page that claims to be at home on the address of the service (the server would see the name of a stranger in `origin`).

It needs node 20 or later with npm, chromium (installed by apt-get where that is possible), and the binary in $DASHWRIGHT.
"""

from __future__ import annotations

import contextlib
import functools
import http.client
import http.server
import json
import os
import pathlib
import queue
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import urllib.parse
from collections.abc import Iterator

HERE = pathlib.Path(__file__).resolve().parent
DATA = HERE.parents[2] / "crates" / "demo" / "data"
# Longer than an installation takes over a slow line.
INSTALL_SECONDS = 400
# Longer than a browser takes to start and ask on a busy machine.
BROWSER_SECONDS = 90
START_SECONDS = 60
PAGE = b'<!doctype html><meta charset="utf-8"><title>check</title><script type="module" src="/check.js"></script>'
CHECKED: list[str] = []


def check(name: str, holds: object, told: object = "") -> None:
    assert holds, f"{name}: {told}"
    CHECKED.append(name)


def browser() -> str:
    """The path of chromium, installed where it is missing and this user may."""
    names = ("chromium", "chromium-browser")
    if found := next(filter(None, map(shutil.which, names)), None):
        return found
    if os.geteuid() == 0 and shutil.which("apt-get"):
        for command in (["apt-get", "update", "--quiet"], ["apt-get", "install", "--quiet", "--yes", "chromium"]):
            subprocess.run(command, check=True, timeout=INSTALL_SECONDS, stdout=subprocess.DEVNULL)
        if found := next(filter(None, map(shutil.which, names)), None):
            return found
    raise SystemExit("there is no chromium: install the package of that name")


class Pages(http.server.BaseHTTPRequestHandler):
    """The page, its script, and where it posts what it found."""

    def __init__(self, found: queue.Queue, *arguments: object) -> None:
        self.found = found
        super().__init__(*arguments)

    def do_GET(self) -> None:  # noqa: N802
        script = self.path.startswith("/check.js")
        body = (HERE / "built" / "check.js").read_bytes() if script else PAGE
        self.answer(body, "text/javascript" if script else "text/html")

    def do_POST(self) -> None:  # noqa: N802
        self.found.put(json.loads(self.rfile.read(int(self.headers["content-length"]))))
        self.answer(b"", "text/plain")

    def answer(self, body: bytes, media_type: str) -> None:
        self.send_response(200)
        self.send_header("content-type", media_type)
        self.send_header("content-length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *arguments: object) -> None:
        pass


@contextlib.contextmanager
def pages() -> Iterator[tuple[str, queue.Queue]]:
    """An origin that has the page, and what the page finds."""
    found: queue.Queue = queue.Queue()
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Pages, found)) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}", found
        server.shutdown()


@contextlib.contextmanager
def service(directory: pathlib.Path, origin: str) -> Iterator[str]:
    """HOST:PORT that speaks gRPC-Web with pages of an origin, over the demo catalogue."""
    records = directory / "records.jsonl"
    records.write_text("".join(it.read_text(encoding="utf-8") for it in sorted(DATA.glob("*.jsonl"))), encoding="utf-8")
    command = [os.environ["DASHWRIGHT"], "serve", "--init", "--data", str(directory / "data"), "--load", str(records)]
    command += ["--listen", "127.0.0.1:0", "--web-listen", "127.0.0.1:0", "--web-origins", origin, "--log-format", "json"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    lines: queue.Queue[str] = queue.Queue()
    for pipe in (process.stdout, process.stderr):
        threading.Thread(target=lambda pipe=pipe: [lines.put(line) for line in pipe], daemon=True).start()
    try:
        address, serves = "", False
        while not (address and serves):
            line = lines.get(timeout=START_SECONDS)
            serves = serves or line.startswith("serving revision 1")
            if found := re.search(r'"answering gRPC-Web","address":"([^"]+)"', line):
                address = found[1]
        yield address
    finally:
        process.terminate()
        process.wait(timeout=START_SECONDS)


def seen_by(chromium: str, origin: str, found: queue.Queue, server: str, profile: pathlib.Path) -> dict:
    """What a page of an origin finds at a server."""
    url = f"{origin}/?{urllib.parse.urlencode({'server': server})}"
    command = [chromium, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", f"--user-data-dir={profile}"]
    # Without a port for tools it ends by itself once the page is loaded, which is before the page has asked.
    command += ["--disable-dev-shm-usage", "--remote-debugging-port=0", url]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        try:
            return found.get(timeout=BROWSER_SECONDS)
        finally:
            process.terminate()


def check_known(found: dict) -> None:
    """What the files of crates/demo/data say of this car, as tests/clients/cart_check/run.py works it out."""
    lines = found["plan"]
    check("the radio fits with parts", lines[0] == "Sonquill Rowan 2: fits with parts", lines)
    bought = [line for line in lines if "USD" in line]
    for number in ("Harnwick HWK 210 ", "Mastwell MW 12 ", "Quellmark Q7.214 "):
        check(f"{number} is to be bought", any(number in line for line in bought), lines)
    check("and nothing else", len(bought) == 3, bought)
    check("cautions are told", any(line.startswith("beware: ") for line in lines), lines)
    check("the open question has its choices", found["open"] == ["A8", "B6"], found["open"])
    refused = found["refused"]["refused"]
    check("what is refused has its reason", (refused["code"], refused["reason"]) == ("InvalidArgument", "FIELDS_INVALID"), refused)
    check("and every field", {"vehicle.model_year", "radio_id"} <= set(refused["fields"]), refused)
    unknown = found["unknown"]["refused"]
    check("an unknown word is not found", (unknown["code"], unknown["reason"]) == ("NotFound", "WORD_UNKNOWN"), unknown)
    check("a deadline ends a call", found["late"]["refused"]["code"] == "DeadlineExceeded", found["late"])
    records = sum(len(it.read_text(encoding="utf-8").splitlines()) for it in DATA.glob("*.jsonl"))
    exported = found["exported"]
    check("a stream is read to its end", exported["records"] == records and exported["bytes"] > 100_000, exported)


def check_strange(found: dict) -> None:
    for name in ("plan", "open", "exported"):
        refused = found[name].get("refused") if isinstance(found[name], dict) else None
        check(f"a strange page reads no {name}", refused and refused["message"] == "Failed to fetch", found[name])


def check_headers(server: str, origin: str) -> None:
    """The same without a browser, for what one never shows."""
    path, call = "/dashwright.v1.CatalogueService/GetDatasetInfo", b"\0\0\0\0\0"

    def ask(method: str, **headers: str) -> http.client.HTTPResponse:
        connection = http.client.HTTPConnection(server, timeout=START_SECONDS)
        headers = {name.replace("_", "-"): value for name, value in headers.items()}
        connection.request(method, path, body=call if method == "POST" else None, headers=headers)
        return connection.getresponse()

    web = {"content_type": "application/grpc-web+proto", "x_grpc_web": "1"}
    answer = ask("POST", **web)
    check("who comes from no page is answered", answer.status == 200 and b"grpc-status:0" in answer.read(), answer.headers)
    answer = ask("POST", origin=origin, **web)
    check("a known page may read", answer.headers["access-control-allow-origin"] == origin, answer.headers)
    answer = ask("POST", origin="http://stranger.example", **web)
    check("a strange page is refused", answer.status == 403 and not answer.read(), answer.status)
    # As a name that was made to lead to this machine would say it: the page thinks that it is at home here.
    answer = ask("POST", origin=f"http://{server}", **web)
    check("a page at home here is strange, too", answer.status == 403, answer.status)
    asked = {"access_control_request_method": "POST", "access_control_request_headers": "content-type,x-grpc-web"}
    answer = ask("OPTIONS", origin=origin, **asked)
    check("a known page may ask", "x-grpc-web" in answer.headers["access-control-allow-headers"], answer.headers)
    answer = ask("OPTIONS", origin="http://stranger.example", **asked)
    check("a strange page may not", answer.headers["access-control-allow-origin"] is None, answer.headers)


def main() -> int:
    if not os.environ.get("DASHWRIGHT"):
        raise SystemExit("name the binary in $DASHWRIGHT")
    chromium = browser()
    install = ["npm", "ci", "--ignore-scripts", "--no-audit", "--no-fund"]
    for command in (install, ["npx", "buf", "generate"], ["npm", "run", "-s", "types"], ["npm", "run", "-s", "build"]):
        subprocess.run(command, cwd=HERE, check=True, timeout=INSTALL_SECONDS)
    with contextlib.ExitStack() as stack:
        directory = pathlib.Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="dashwright-web-", ignore_cleanup_errors=True)))
        origin, found = stack.enter_context(pages())
        strange, strange_found = stack.enter_context(pages())
        server = stack.enter_context(service(directory, origin))
        check_headers(server, origin)
        check_known(seen_by(chromium, origin, found, f"http://{server}", directory / "known"))
        check_strange(seen_by(chromium, strange, strange_found, f"http://{server}", directory / "strange"))
    print(f"{len(CHECKED)} checks passed, 0 failed")
    return 0


if __name__ == "__main__":
    sys.exit(main())
