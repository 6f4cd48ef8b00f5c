"""The demo catalogue, served by the binary and asked through its own client."""

from __future__ import annotations

import json
import queue
import re
import subprocess
import threading

SECONDS = 120


class Server:
    """The demo catalogue, served."""

    def __init__(self, binary: str) -> None:
        self.binary = binary
        self.process = subprocess.Popen([binary, "demo"], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        lines: queue.Queue[str] = queue.Queue()
        threading.Thread(target=lambda: [lines.put(line) for line in self.process.stdout], daemon=True).start()
        while not (found := re.search(r"http://(127\.0\.0\.1:\d+)", lines.get(timeout=SECONDS))):
            pass
        self.address = found[1]

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        command = [self.binary, *arguments, "--server", self.address]
        return subprocess.run(command, capture_output=True, text=True, timeout=SECONDS)

    def json(self, *arguments: str) -> dict:
        done = self.run(*arguments, "--json")
        assert done.returncode == 0, f"{arguments}: {done.stderr}"
        return json.loads(done.stdout)

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(timeout=SECONDS)
