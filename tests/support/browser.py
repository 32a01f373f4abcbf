"""A page in Debian's chromium, spoken to through a pipe by the DevTools protocol: nothing but the standard library."""

import json
import os
import shutil
import subprocess
import tempfile
from base64 import b64decode
from importlib.util import find_spec
from pathlib import Path
from types import TracebackType
from typing import Any, Self

CHROMIUM = shutil.which("chromium")
_FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--remote-debugging-pipe", "--hide-scrollbars", "--no-first-run",
)  # fmt: skip


class Browser:
    """One window of a browser, of which size, colour scheme and medium can be set."""

    def __enter__(self) -> Self:
        assert CHROMIUM is not None
        self._home = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        theirs_in, self._to = os.pipe()
        self._from, theirs_out = os.pipe()
        line = 'exec 3<&"$1" 4>&"$2"; shift 2; exec "$@"'  # it reads from 3 and writes to 4
        command = [CHROMIUM, *_FLAGS, f"--user-data-dir={self._home.name}", "about:blank"]
        self._process = subprocess.Popen(
            ["bash", "-c", line, "browser", str(theirs_in), str(theirs_out), *command],
            pass_fds=(theirs_in, theirs_out),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(theirs_in)
        os.close(theirs_out)
        self._number, self._rest, self._session = 0, b"", None
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._process.kill()
        self._process.wait(30)
        os.close(self._to)
        os.close(self._from)
        self._home.cleanup()

    def ask(self, method: str, **parameters: Any) -> dict[str, Any]:
        """Send a command and return its result; events that come before it are let go."""
        self._number += 1
        message: dict[str, Any] = {"id": self._number, "method": method, "params": parameters}
        if self._session is not None:
            message["sessionId"] = self._session
        left = json.dumps(message).encode() + b"\0"
        while left:
            left = left[os.write(self._to, left) :]
        while (answer := self._next()).get("id") != self._number:
            pass
        assert "error" not in answer, answer
        result: dict[str, Any] = answer["result"]
        return result

    def show(self, page: str, width: int, *, zoom: float = 1.0, dark: bool = False, medium: str = "screen") -> None:
        """Lay a page out in a window of so many pixels; zoomed in, it has as many fewer of its own."""
        self.look(width, zoom=zoom, dark=dark, medium=medium)
        frame = self.ask("Page.getFrameTree")["frameTree"]["frame"]["id"]
        self.ask("Page.setDocumentContent", frameId=frame, html=page)

    def look(self, width: int, *, zoom: float = 1.0, dark: bool = False, medium: str = "screen") -> None:
        """Give the window another size, scheme or medium, with the page that is in it."""
        scheme = [{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}]
        self.ask("Emulation.setEmulatedMedia", media=medium, features=scheme)
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=round(width / zoom), height=round(800 / zoom), deviceScaleFactor=zoom, mobile=False,
        )  # fmt: skip

    def run(self, script: str) -> Any:
        """Return what an expression of the page's own language comes to."""
        found = self.ask("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in found, found["exceptionDetails"]
        return found["result"].get("value")

    def printed(self) -> bytes:
        """Return the page as a PDF of A4."""
        made = self.ask("Page.printToPDF", preferCSSPageSize=True, printBackground=True)
        return b64decode(made["data"])

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self._rest:
            piece = os.read(self._from, 1 << 20)
            assert piece, "the browser is gone"
            self._rest += piece
        one, _, self._rest = self._rest.partition(b"\0")
        answer: dict[str, Any] = json.loads(one)
        return answer


def checker() -> Path | None:
    """Return axe-core's script: that of TIEDOWN_AXE, of the project's node_modules, or of a package of the tests."""
    if named := os.environ.get("TIEDOWN_AXE"):
        return Path(named)
    packed = find_spec("axe_core_python")
    places = [Path(__file__).parents[2] / "node_modules" / "axe-core"]
    places += map(Path, packed.submodule_search_locations or ()) if packed is not None else ()
    return next((path for place in places if (path := place / "axe.min.js").is_file()), None)
