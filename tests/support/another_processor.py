"""Runs a script as if on another processor: sine, cosine and their like come out with another last bit.

    python tests/support/another_processor.py SCRIPT [ARGUMENTS]

No processor is wrong there: the standard asks for no more than a result close by.
"""

import math
import runpy
import struct
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

NAMES = ("sin", "cos", "tan", "arctan", "arctan2", "sinh", "cosh", "arcsinh", "arctanh", "exp", "log", "hypot")
PLAIN = ("sin", "cos", "tan", "atan", "atan2", "exp", "log", "hypot")
#: What draws from a number's bits; all 64 of them; a number as it lies, and as its bits.
_MIXED, _ALL = 0x9E3779B97F4A7C15, 2**64 - 1
_DOUBLE, _BITS = struct.Struct("=d"), struct.Struct("=Q")


def another_last_bit(values: Any) -> NDArray[np.float64]:
    """Return the next number up for a quarter of the values, the next one down for another; always the same ones."""
    given = np.atleast_1d(np.asarray(values, np.float64))
    drawn = (given.view(np.uint64) * np.uint64(_MIXED)) >> np.uint64(62)
    moved = np.where(drawn == 0, np.nextafter(given, np.inf), given)
    moved = np.where(drawn == 1, np.nextafter(given, -np.inf), moved)
    exact = (given == 0) | (np.abs(given) == 1)
    return np.where(exact, given, moved).reshape(np.shape(values))


def another_last_bit_of_one(value: float) -> float:
    """Return the same for one number, without an array made for it."""
    (bits,) = _BITS.unpack(_DOUBLE.pack(value))
    drawn = (bits * _MIXED & _ALL) >> 62
    if drawn > 1 or value == 0 or abs(value) == 1:
        return value
    return math.nextafter(value, -math.inf if drawn else math.inf)


def elsewhere(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return a function of numbers or arrays as another processor works it out."""

    def worked_out(*values: Any) -> Any:
        found = function(*values)
        if isinstance(found, np.ndarray):
            return another_last_bit(found)
        return type(found)(another_last_bit_of_one(float(found)))

    return worked_out


def main() -> None:
    """Change the functions, then run the script with the arguments that follow it."""
    sys.argv = sys.argv[1:]
    sys.path.insert(0, str(Path(sys.argv[0]).parent))
    for module, names in ((np, NAMES), (math, PLAIN)):
        for name in names:
            setattr(module, name, elsewhere(getattr(module, name)))
    runpy.run_path(sys.argv[0], run_name="__main__")


if __name__ == "__main__":
    main()
