"""Whether the rows of an export are sorted by their names or codes, so that their order says nothing of time."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field

#: So many codes may stand in order by chance.
_CHANCE = 2
#: No table of codes has more.
_KINDS = 2_000


class Sorting(Struct):
    """Whether all names so far ascend or descend as texts, and codes do; and what tells that they were sorted so."""

    names: list[bool] = field(default_factory=lambda: [True, True])
    codes: list[bool] = field(default_factory=lambda: [True, True])
    unnatural: list[bool] = field(default_factory=lambda: [False, False])
    kinds: set[str] = field(default_factory=set)
    groups: set[str] | None = field(default_factory=set)
    last: tuple[str, str] | None = None
    _code: str | None = None

    def take(self, names: pa.Array, codes: pa.Array) -> None:
        """Take the names and codes of the next rows."""
        self._group(codes)
        if not len(names) or not (any(self.names) or any(self.codes)):
            return
        names, codes = (pc.fill_null(pc.utf8_lower(texts), "") for texts in (names, codes))
        if self.last is not None:
            names, codes = (
                pa.concat_arrays([pa.array([before], pa.string()), texts.cast(pa.string())])
                for before, texts in zip(self.last, (names, codes), strict=True)
            )
        self.last = (names[-1].as_py(), codes[-1].as_py())
        if len(self.kinds) < _CHANCE + 1:
            self.kinds.update(pc.unique(codes).to_pylist()[: _CHANCE + 1])
        for way, no in enumerate((pc.greater, pc.less)):
            self.codes[way] = self.codes[way] and not pc.any(no(codes[:-1], codes[1:])).as_py()
            self.names[way] = self.names[way] and not pc.any(no(names[:-1], names[1:])).as_py()
            if self.names[way] and not self.unnatural[way]:
                self.unnatural[way] = _any_unnatural(
                    *((names[:-1], names[1:]) if way == 0 else (names[1:], names[:-1]))
                )

    def _group(self, codes: pa.Array) -> None:
        """Note the codes so far, unless rows of one have others in between."""
        if self.groups is None or not len(codes):
            return
        codes = pc.fill_null(pc.utf8_lower(codes), "")
        begins = np.append(True, np.asarray(pc.not_equal(codes[:-1], codes[1:]), bool))
        if self._code == codes[0].as_py():
            begins[0] = False
        found = codes.filter(pa.array(begins))
        self._code = codes[-1].as_py()
        kinds = set(found.to_pylist()) if len(found) <= _KINDS else set()
        one_each = 0 < len(kinds) == len(found) and not kinds & self.groups
        self.groups = self.groups | kinds if one_each or not len(found) else None

    @property
    def grouped(self) -> bool:
        """Tell whether the rows of each code follow one another, and there are more than two codes."""
        return self.groups is not None and len(self.groups) > _CHANCE

    @property
    def by_name(self) -> bool:
        """Tell whether the names are sorted as only texts are: P1, P10, P2."""
        return any(ordered and told for ordered, told in zip(self.names, self.unnatural, strict=True))

    @property
    def by_code(self) -> bool:
        """Tell whether codes follow one another as in the alphabet, and there are several."""
        return any(self.codes) and len(self.kinds) >= _CHANCE

    @property
    def by_codes(self) -> bool:
        """Tell the same, and that chance does not do that: there are more than two."""
        return any(self.codes) and len(self.kinds) > _CHANCE


def _any_unnatural(ones: pa.Array, others: pa.Array) -> bool:
    """Tell whether of two names, one for one, some are in an order that only texts have."""
    shorter = pc.less(pc.binary_length(others), pc.binary_length(ones))
    pairs = zip(ones.filter(shorter).to_pylist(), others.filter(shorter).to_pylist(), strict=True)
    return any(_unnatural(one, other) for one, other in pairs)


def _unnatural(one: str, other: str) -> bool:
    """Tell whether of two names the first has the same letters and the larger number."""
    letters = other.rstrip("0123456789")
    first, second = one.removeprefix(letters), other[len(letters) :]
    return bool(second) and one.startswith(letters) and first.isdecimal() and int(first) > int(second)
