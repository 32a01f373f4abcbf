"""Names made unique among millions without keeping them: what is kept is a hash of each, and the names that repeat."""

from collections.abc import Iterable
from hashlib import blake2b

import numpy as np
import numpy.typing as npt


class HashedNames:
    """Sees all names once, then gives each row its own: the first of several alike keeps it, others get a number.

    Eight bytes a name are kept. Two names of one hash, which 64 bits make as good as impossible, would only cost one of
    them its number.
    """

    def __init__(self) -> None:
        self._pieces: list[npt.NDArray[np.uint64]] = []
        self._all: npt.NDArray[np.uint64] | None = None
        self._repeated: set[int] = set()
        self._start()

    def _start(self) -> None:
        self._last: dict[str, int] = {}
        self._made: set[str] = set()

    def see(self, names: Iterable[str]) -> None:
        """Take in the next names."""
        self._pieces.append(np.fromiter(map(_hash, names), np.uint64))

    def give(self, names: Iterable[str], before: int) -> list[str]:
        """Return the unique names of the next rows; ``before`` is how many were given, 0 to begin again."""
        if before == 0:
            self._start()
        if self._all is None:
            self._all = np.sort(np.concatenate([np.empty(0, np.uint64), *self._pieces]))
            self._repeated = set(self._all[1:][self._all[1:] == self._all[:-1]].tolist())
        if not self._repeated:
            return list(names)
        return [self._one(name) if _hash(name) in self._repeated else name for name in names]

    def _one(self, name: str) -> str:
        if name not in self._last:
            self._last[name] = 1
            return name
        while True:
            self._last[name] += 1
            made = f"{name}_{self._last[name]}"
            if not self._seen(_hash(made)) and made not in self._made:
                self._made.add(made)
                return made

    def _seen(self, number: int) -> bool:
        assert self._all is not None
        place = int(np.searchsorted(self._all, np.uint64(number)))
        return place < len(self._all) and int(self._all[place]) == number


def _hash(name: str) -> int:
    return int.from_bytes(blake2b(name.encode(), digest_size=8).digest(), "little")
