"""ezdxf as it comes: without the settings and the list of fonts that it looks for in the user's home and at hand.

When it is loaded it reads ``ezdxf.ini`` there and in the working folder, and ends the program where that is no text;
and it lists every font of the machine in a file in the user's home. A drawing of ours hangs on neither.
"""

import configparser
import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

#: Its list of fonts, without any: a drawing only names the font that it is to be shown in.
_NO_FONTS = '{"version": 0, "font-faces": []}'


def load() -> None:
    """Load ezdxf, which keeps to itself what it is loaded with."""
    if "ezdxf" in sys.modules:
        return
    with tempfile.TemporaryDirectory() as scratch, _elsewhere(scratch):
        import ezdxf  # noqa: F401


@contextmanager
def _elsewhere(folder: str) -> Iterator[None]:
    """Give a folder of ours for the user's home of settings and caches, and no file of settings to read."""

    def nothing(self: configparser.RawConfigParser, filenames: Any, encoding: str | None = None) -> list[str]:
        return []

    fonts = Path(folder, "ezdxf", "font_manager_cache.json")
    fonts.parent.mkdir()
    fonts.write_text(_NO_FONTS, encoding="utf-8")
    homes = ("XDG_CACHE_HOME", "XDG_CONFIG_HOME")
    before, read = {name: os.environ.get(name) for name in homes}, configparser.RawConfigParser.read
    os.environ.update(dict.fromkeys(homes, folder))
    # the method is replaced on purpose, and put back below
    configparser.RawConfigParser.read = nothing  # type: ignore[method-assign, assignment]
    try:
        yield
    finally:
        configparser.RawConfigParser.read = read  # type: ignore[method-assign]  # as above
        for name, value in before.items():
            os.environ.pop(name)
            os.environ.update({name: value} if value is not None else {})
