"""A headless Chromium driven by the DevTools protocol over a pipe: standard library only."""

from __future__ import annotations

import base64
import json
import os
import select
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--remote-debugging-pipe",
)
PATIENCE_S = 60.0


def find_chromium() -> str | None:
    """The browser of this machine; None without one."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


class BrowserError(Exception):
    """The browser refused a command, or did not answer."""


class Page:
    """One page of a browser, and everything it asked the network for or complained of."""

    def __init__(self, commands: int, answers: int) -> None:
        self._commands, self._answers = commands, answers
        self._pending = b""
        self._last = 0
        self._session = ""
        self.events: list[dict[str, Any]] = []

    def start(self) -> None:
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Network", "Log"):
            self.call(f"{domain}.enable")

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """One command and its answer."""
        self._last += 1
        message: dict[str, Any] = {"id": self._last, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._commands, json.dumps(message).encode() + b"\0")
        limit = time.monotonic() + PATIENCE_S
        while True:
            answer = self._read(limit)
            if answer.get("id") == self._last:
                if "error" in answer:
                    raise BrowserError(f"{method}: {answer['error']}")
                return answer["result"]  # type: ignore[no-any-return]
            self.events.append(answer)

    def _read(self, limit: float) -> dict[str, Any]:
        while b"\0" not in self._pending:
            left = limit - time.monotonic()
            if left <= 0 or not select.select([self._answers], [], [], left)[0]:
                raise BrowserError("the browser does not answer")
            data = os.read(self._answers, 1 << 20)
            if not data:
                raise BrowserError("the browser has gone")
            self._pending += data
        line, self._pending = self._pending.split(b"\0", 1)
        return json.loads(line)  # type: ignore[no-any-return]

    def until(self, method: str) -> dict[str, Any]:
        """Wait for an event."""
        limit = time.monotonic() + PATIENCE_S
        while True:
            for event in self.events:
                if event.get("method") == method:
                    self.events.remove(event)
                    return event
            self.events.append(self._read(limit))

    def open(self, file: Path) -> None:
        """Show a file and wait until it stands."""
        self.call("Page.navigate", url=file.as_uri())
        self.until("Page.loadEventFired")

    def size(self, width: int, height: int, *, phone: bool = False) -> None:
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=phone,
        )

    def run(self, script: str) -> Any:
        """The value of an expression in the page."""
        answer = self.call("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in answer:
            raise BrowserError(str(answer["exceptionDetails"]))
        return answer["result"].get("value")

    def click(self, x: float, y: float) -> None:
        """A real press of the pointer, at a place of the window."""
        for kind in ("mousePressed", "mouseReleased"):
            self.call("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)

    def type(self, text: str) -> None:
        self.call("Input.insertText", text=text)

    def screenshot(self, file: Path) -> None:
        file.write_bytes(base64.b64decode(self.call("Page.captureScreenshot", format="png")["data"]))

    def asked_for(self) -> list[str]:
        """Addresses that the page asked for, but for files and what it holds itself."""
        asked = (
            e["params"]["request"]["url"]
            for e in self.events
            if e.get("method") == "Network.requestWillBeSent"
        )
        return [url for url in asked if not url.startswith(("file:", "data:", "blob:", "about:"))]

    def complaints(self) -> list[str]:
        """What the console said as an error, policies refused and scripts that failed."""
        logged = [
            e["params"]["entry"]["text"]
            for e in self.events
            if e.get("method") == "Log.entryAdded" and e["params"]["entry"]["level"] == "error"
        ]
        thrown = [
            str(e["params"]["exceptionDetails"])
            for e in self.events
            if e.get("method") == "Runtime.exceptionThrown"
        ]
        return logged + thrown


@contextmanager
def chromium(environment: Mapping[str, str] | None = None) -> Iterator[Page]:
    """A fresh browser with an empty profile; it is ended with the block."""
    binary = find_chromium()
    if binary is None:
        raise BrowserError("there is no chromium here")
    to_read, to_write = os.pipe()
    from_read, from_write = os.pipe()

    def hand_over() -> None:
        # The browser reads commands on descriptor 3 and writes answers on 4.
        os.dup2(to_read, 13)
        os.dup2(from_write, 14)
        os.dup2(13, 3)
        os.dup2(14, 4)

    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        process = subprocess.Popen(
            [binary, *FLAGS, f"--user-data-dir={profile}", "about:blank"],
            preexec_fn=hand_over,
            close_fds=False,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env={**os.environ, **(environment or {})},
        )
        os.close(to_read)
        os.close(from_write)
        page = Page(to_write, from_read)
        try:
            page.start()
            yield page
        finally:
            process.terminate()
            try:
                process.wait(timeout=15)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
            os.close(to_write)
            os.close(from_read)
