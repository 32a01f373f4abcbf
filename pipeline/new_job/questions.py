"""Known values of keys with their reasons, and the open questions."""

from msgspec import Struct


class Candidate(Struct, frozen=True):
    """An answer that a question may have, as TOML writes the value, and what speaks for it.

    ``key`` is the key that takes it where that is not the question's.
    """

    value: str
    why: str
    key: str = ""


class Question(Struct, frozen=True):
    """What has to be answered: the key, what is asked, and the candidates, the likeliest first.

    ``also`` are further keys that take the same answer; ``repeats`` tells that it is another question over again, and
    so counts as none of its own. ``blank`` is a line to be filled in where the likeliest answers cannot be named.
    """

    key: str
    asks: str
    candidates: tuple[Candidate, ...] = ()
    also: tuple[str, ...] = ()
    repeats: bool = False
    blank: Candidate | None = None


class Known(Struct, frozen=True):
    """A value, as TOML writes it, and its reason."""

    value: str
    why: str = ""


#: A key's state: known, to be asked, or left to its default.
State = Known | Question | None
