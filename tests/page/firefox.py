"""A headless Firefox for tests, over WebDriver BiDi (W3C draft) by a websocket (RFC 6455) of our own.

Playwright drives only a Firefox that it has patched itself; this is the one that people have.
"""

from __future__ import annotations

import base64
import json
import os
import shutil
import socket
import subprocess
import time
from contextlib import suppress
from pathlib import Path
from typing import Any

__all__ = ["FIREFOX", "Firefox"]

FIREFOX = next(filter(None, map(shutil.which, ("firefox-esr", "firefox"))), None)
PATIENCE_S = 120.0
PREFERENCES = {
    "app.normandy.enabled": False,
    "browser.shell.checkDefaultBrowser": False,
    "datareporting.policy.dataSubmissionEnabled": False,
    "layout.css.prefers-color-scheme.content-override": 1,
    "network.captive-portal-service.enabled": False,
    "network.connectivity-service.enabled": False,
    "toolkit.telemetry.enabled": False,
    "ui.prefersReducedMotion": 1,
}


class Socket:
    """Text messages over one websocket."""

    def __init__(self, host: str, port: int, path: str) -> None:
        self.wire = socket.create_connection((host, port), timeout=PATIENCE_S)
        self.wire.sendall(
            f"GET {path} HTTP/1.1\r\nHost: {host}:{port}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
            f"Sec-WebSocket-Key: {base64.b64encode(os.urandom(16)).decode()}\r\n"
            "Sec-WebSocket-Version: 13\r\n\r\n".encode()
        )
        head = b""
        while not head.endswith(b"\r\n\r\n"):
            head += self._take(1)
        assert b" 101 " in head.split(b"\r\n", 1)[0], head

    def _take(self, count: int) -> bytes:
        data = bytearray()
        while len(data) < count:
            part = self.wire.recv(count - len(data))
            assert part, "Firefox hung up"
            data += part
        return bytes(data)

    def send(self, text: str) -> None:
        """Send one message; a client masks what it sends."""
        data, mask = text.encode(), os.urandom(4)
        size = len(data)
        data = bytes(byte ^ mask[place % 4] for place, byte in enumerate(data))
        length = bytes([size]) if size < 126 else b"\x7e" + size.to_bytes(2) if size < 65536 else (
            b"\x7f" + size.to_bytes(8)
        )
        self.wire.sendall(b"\x81" + bytes([length[0] | 0x80]) + length[1:] + mask + data)

    def receive(self) -> str:
        """Return the next message of text, put together from its parts."""
        data, is_last = b"", False
        while not is_last:
            first, second = self._take(2)
            size = second & 0x7F
            size = int.from_bytes(self._take({126: 2, 127: 8}[size])) if size > 125 else size
            part = self._take(size)
            if first & 0x0F in (0, 1):
                data += part
                is_last = bool(first & 0x80)
        return data.decode()


class Firefox:
    """One window of a headless Firefox with a profile of its own.

    Parameters
    ----------
    folder : for the profile
    """

    def __init__(self, folder: Path) -> None:
        assert FIREFOX is not None
        lines = [f"user_pref({json.dumps(key)}, {json.dumps(value)});" for key, value in PREFERENCES.items()]
        (folder / "user.js").write_text("\n".join(lines), encoding="utf-8")
        self.process = subprocess.Popen(
            [FIREFOX, "--headless", "--no-remote", "--profile", str(folder), "--remote-debugging-port=0",
             "about:blank"],
            stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
        )
        self.number, self.events = 0, []
        try:
            self.socket = Socket(*self._address(folder / "WebDriverBiDiServer.json"), "/session")
            self.ask("session.new", capabilities={})
            self.ask("session.subscribe", events=["log.entryAdded", "network.beforeRequestSent"])
            self.context = self.ask("browsingContext.getTree")["contexts"][0]["context"]
        except BaseException:
            self.close()
            raise

    events: list[dict[str, Any]]

    def _address(self, told: Path) -> tuple[str, int]:
        """Where Firefox says that it listens: in a file of the profile, once it does."""
        until = time.monotonic() + PATIENCE_S
        while time.monotonic() < until and self.process.poll() is None:
            with suppress(OSError, ValueError, KeyError):
                found = json.loads(told.read_text(encoding="utf-8"))
                return str(found["ws_host"]), int(found["ws_port"])
            time.sleep(0.1)
        raise AssertionError("Firefox does not say where it listens")

    def ask(self, method: str, **params: Any) -> dict[str, Any]:
        """Send a command and return its result; what happens meanwhile is kept."""
        self.number += 1
        self.socket.send(json.dumps({"id": self.number, "method": method, "params": params}))
        while True:
            told: dict[str, Any] = json.loads(self.socket.receive())
            if told["type"] == "event":
                self.events.append(told)
            elif told.get("id") == self.number:
                assert told["type"] == "success", told
                return told["result"]  # type: ignore[no-any-return]

    def open(self, address: str) -> None:
        """Load a page."""
        self.ask("browsingContext.navigate", context=self.context, url=address, wait="complete")

    def evaluate(self, expression: str) -> Any:
        """Return the value of an expression, which may be a promise, as JSON has it."""
        found = self.ask(
            "script.evaluate", expression=f"(async () => JSON.stringify(await ({expression})))()",
            target={"context": self.context}, awaitPromise=True,
        )
        assert found["type"] == "success", found
        return json.loads(found["result"].get("value", "null"))

    def set_size(self, width: int, height: int) -> None:
        """Set the size of the window's inside [px]."""
        size = {"width": width, "height": height}
        self.ask("browsingContext.setViewport", context=self.context, viewport=size)

    def picture(self) -> bytes:
        """Return the whole page as PNG."""
        taken = self.ask("browsingContext.captureScreenshot", context=self.context, origin="document")
        return base64.b64decode(taken["data"])

    def print(self) -> bytes:
        """Return the page as PDF, on the paper that its style asks for."""
        made = self.ask("browsingContext.print", context=self.context, shrinkToFit=False)
        return base64.b64decode(made["data"])

    def close(self) -> None:
        """End the process."""
        self.process.terminate()
        try:
            self.process.wait(20.0)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
