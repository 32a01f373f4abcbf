"""How many elements a GeoJSON file lists as its features, told without making objects of them.

GDAL passes over elements that are no features (null, numbers, bare geometries) and says nothing; the rows behind them
would be numbered wrongly, and nobody would miss the ones passed over.
"""

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np

_CHUNK = 8 << 20
#: A whole string, escapes included. What is left of a chunk from a quote on is a string that goes on in the next one.
_STRING = re.compile(rb'"(?:[^"\\]|\\.)*"', re.DOTALL)
#: Stands for the key; no JSON text has it outside strings.
_KEY, _MARK = b'"features"', b"\x01"
_OPENS, _CLOSES, _COMMA = b"[{", b"]}", ord(",")


def count_elements(path: Path) -> int | None:
    """Return the number of elements of the top level's ``features``; None where it has no such list.

    Raises OSError where the file cannot be read.
    """
    depth, waiting, inside, found, empty = 0, False, False, 0, True
    for text in _without_strings(path):
        symbols = np.frombuffer(text, np.uint8)
        step = np.isin(symbols, list(_OPENS)).astype(np.int64) - np.isin(symbols, list(_CLOSES))
        after = depth + np.cumsum(step)
        at = 0
        while at < len(symbols) and not inside:
            # the key at the top level, then the bracket that opens its list
            wanted = (symbols[at:] == _MARK[0]) & (after[at:] == 1) if not waiting else symbols[at:] == ord("[")
            hits = np.flatnonzero(wanted)
            if not len(hits):
                break
            at += int(hits[0]) + 1
            waiting, inside = not waiting, waiting
        if inside and at < len(symbols):
            ends = np.flatnonzero(after[at:] < 2)
            end = at + int(ends[0]) if len(ends) else len(symbols)
            found += int(((symbols[at:end] == _COMMA) & (after[at:end] == 2)).sum())
            empty = empty and not bytes(symbols[at:end]).strip()
            if len(ends):
                return 0 if empty else found + 1
        depth = int(after[-1]) if len(after) else depth
    return None


def _without_strings(path: Path) -> Iterator[bytes]:
    """Yield the file piece by piece with every string replaced: ``"features"`` by a mark, the others by an ``s``."""
    carried = b""
    with path.open("rb") as file:
        while True:
            chunk = file.read(_CHUNK)
            text = _STRING.sub(lambda match: _MARK if match[0] == _KEY else b"s", carried + chunk)
            left = text.find(b'"')
            # A string that the chunk cuts in two: its beginning is looked at again with what follows.
            carried, text = (text[left:], text[:left]) if left >= 0 else (b"", text)
            yield text
            if not chunk:
                return
