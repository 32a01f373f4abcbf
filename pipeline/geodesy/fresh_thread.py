"""Runs a PROJ query in a new thread, where PROJ has cached nothing that could give a wrong answer.

PROJ keeps what it reads of its database, for each thread by itself. Having read WKT of the first version, PROJ 9.5
takes the datum that the text names by its code for the ensemble registered under this code, so that no CRS on it has
members any more. Seen with ETRS89, not with WGS 84.
"""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Answer = TypeVar("Answer")


def in_fresh_thread(ask: Callable[[], Answer]) -> Answer:
    """Return an answer given in a thread of its own, where PROJ reads its database anew. Raises what ``ask`` does."""
    with ThreadPoolExecutor(1) as apart:
        return apart.submit(ask).result()
