"""One headless Chromium for the page tests, spoken to over two pipes in its own DevTools protocol.

No driver program and no library stands between: the protocol is JSON with a NUL after each message. Every host is
unreachable; what a page asks for, and what its console says, is kept.
"""

from __future__ import annotations

import base64
import contextlib
import fcntl
import json
import os
import select
import shutil
import subprocess
import time
from pathlib import Path
from types import TracebackType
from typing import Any, Self

WORDS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync"),
    *("--disable-background-networking", "--disable-component-update", "--disable-dev-shm-usage"),
    *("--host-resolver-rules=MAP * ~NOTFOUND", "--hide-scrollbars", "--remote-debugging-pipe"),
)
PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
MM_PER_IN = 25.4
DRAWN = (
    "document.readyState === 'complete' && "
    "(!document.getElementById('specs') || document.documentElement.dataset.drawn === 'yes')"
)


def printed_text(pdf: Path) -> list[str]:
    """The words of each printed page."""
    tool = shutil.which("pdftotext")
    assert tool, "pdftotext is needed to read what is printed: apt-get install poppler-utils"
    done = subprocess.run([tool, "-layout", str(pdf), "-"], capture_output=True, text=True, check=True)
    return [" ".join(each.split()) for each in done.stdout.split("\f")[:-1]]


class Browser:
    """A running Chromium; `open` gives a page."""

    def __init__(self, profile: Path, *, seconds: float = 60.0) -> None:
        command = shutil.which("chromium") or shutil.which("chromium-browser")
        assert command, "Chromium is needed to look at the pages: apt-get install chromium"
        self.seconds = seconds
        self.events: list[dict[str, Any]] = []
        self._number = 0
        self._rest = b""
        low_in, self._out = os.pipe()
        self._in, low_out = os.pipe()
        theirs_in, theirs_out = (fcntl.fcntl(end, fcntl.F_DUPFD, 20) for end in (low_in, low_out))
        # the shell moves the pipes to the two places where Chromium looks for them
        shell = ("bash", "-c", f'exec "$@" 3<&{theirs_in} 4>&{theirs_out}', "bash")
        self._process = subprocess.Popen(
            [*shell, command, *WORDS, f"--user-data-dir={profile}", "about:blank"],
            pass_fds=(theirs_in, theirs_out),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "HOME": str(profile)},
        )
        for end in (low_in, low_out, theirs_in, theirs_out):
            os.close(end)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None:
        with contextlib.suppress(OSError, AssertionError):
            self.ask("Browser.close")
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(10)
        os.close(self._in)
        os.close(self._out)

    def ask(self, method: str, *, session: str | None = None, **params: Any) -> dict[str, Any]:
        """Send one command and wait for its answer; events that come meanwhile are kept."""
        self._number += 1
        number = self._number
        message: dict[str, Any] = {"id": number, "method": method, "params": params}
        if session is not None:
            message["sessionId"] = session
        data = json.dumps(message).encode() + b"\0"
        while data:
            data = data[os.write(self._out, data) :]
        until = time.monotonic() + self.seconds
        while True:
            answer = self._next(until, method)
            if answer.get("id") == number:
                assert "error" not in answer, f"{method}: {answer['error']}"
                result: dict[str, Any] = answer["result"]
                return result
            self.events.append(answer)

    def _next(self, until: float, waiting_for: str) -> dict[str, Any]:
        while b"\0" not in self._rest:
            ready, _, _ = select.select([self._in], [], [], max(0.0, until - time.monotonic()))
            assert ready, f"Chromium did not answer {waiting_for} in {self.seconds:g} s"
            got = os.read(self._in, 1 << 20)
            assert got, f"Chromium ended while {waiting_for} was asked"
            self._rest += got
        first, _, self._rest = self._rest.partition(b"\0")
        message: dict[str, Any] = json.loads(first)
        return message

    def open(self, page: Path) -> Tab:
        """A new tab on a file, drawn."""
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        session = self.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        tab = Tab(self, target, session, page)
        tab.load()
        return tab


class Tab:
    """A page in the browser."""

    def __init__(self, browser: Browser, target: str, session: str, page: Path) -> None:
        self.browser, self.target, self.session, self.page = browser, target, session, page

    def ask(self, method: str, **params: Any) -> dict[str, Any]:
        """A command to this page."""
        return self.browser.ask(method, session=self.session, **params)

    def load(self) -> None:
        """Open the file and wait until its charts are drawn."""
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.ask(f"{domain}.enable")
        self.ask(
            "Network.emulateNetworkConditions", offline=True, latency=0, downloadThroughput=0, uploadThroughput=0
        )
        self.ask("Emulation.setFocusEmulationEnabled", enabled=True)
        self.wide(1400)
        self.ask("Page.navigate", url=self.page.as_uri())
        until = time.monotonic() + self.browser.seconds
        while not self.run(DRAWN):
            assert time.monotonic() < until, f"{self.page.name} was not drawn: {self.said}"
            time.sleep(0.02)

    def run(self, script: str) -> Any:
        """The value of an expression on the page; a promise is waited for."""
        got = self.ask("Runtime.evaluate", expression=script, awaitPromise=True, returnByValue=True)
        assert "exceptionDetails" not in got, got["exceptionDetails"]
        return got["result"].get("value")

    def wide(self, width: int, *, height: int = 900, media: str = "") -> None:
        """Give the window this width [px]; `media` may be ``print``."""
        self.ask("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)
        self.ask("Emulation.setEmulatedMedia", media=media)

    def press(self, key: str) -> None:
        """A key down and up again."""
        code = {"Tab": 9}[key]
        for kind in ("rawKeyDown", "keyUp"):
            self.ask("Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=code)

    def picture(self, path: Path) -> None:
        """The whole page as PNG."""
        got = self.ask("Page.captureScreenshot", format="png", captureBeyondViewport=True)
        path.write_bytes(base64.b64decode(got["data"]))

    def pdf(self, path: Path, paper: str) -> None:
        """The page as it prints: the size is the paper's, the margins are the page's own."""
        width, height = PAPERS[paper]
        got = self.ask(
            "Page.printToPDF",
            paperWidth=width / MM_PER_IN,
            paperHeight=height / MM_PER_IN,
            preferCSSPageSize=True,
            printBackground=True,
        )
        path.write_bytes(base64.b64decode(got["data"]))

    @property
    def mine(self) -> list[dict[str, Any]]:
        """Every event of this page so far."""
        return [each for each in self.browser.events if each.get("sessionId") == self.session]

    @property
    def said(self) -> list[str]:
        """What the console, the log or a failed script said."""
        kinds = ("Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Log.entryAdded")
        return [json.dumps(each["params"])[:400] for each in self.mine if each["method"] in kinds]

    @property
    def asked(self) -> list[str]:
        """Everything asked for besides the file itself and data that stands in it."""
        urls = [
            each["params"]["request"]["url"] for each in self.mine if each["method"] == "Network.requestWillBeSent"
        ]
        return [url for url in urls if url != self.page.as_uri() and not url.startswith("data:")]

    def close(self) -> None:
        """Close the tab."""
        self.browser.ask("Target.closeTarget", targetId=self.target)
