"""What is known and what is open of a job: the values of its keys with their reasons, and the questions left."""

import json
from dataclasses import dataclass

#: Beyond TOML's own: what a terminal or an editor may take for the end of a line.
_ESCAPED = str.maketrans({sign: f"\\u{ord(sign):04x}" for sign in "\x7f\x85\u2028\u2029"})


def quoted(text: str) -> str:
    """Return a basic string of TOML: JSON's escapes are among its own."""
    return json.dumps(text, ensure_ascii=False).translate(_ESCAPED)


def listed(texts: "list[str] | tuple[str, ...]") -> str:
    """Return a list of texts as TOML has it."""
    return f"[{', '.join(map(quoted, texts))}]"


@dataclass(frozen=True)
class Candidate:
    """An answer that a question may have, as TOML writes the value, and what speaks for it."""

    value: str
    why: str


@dataclass(frozen=True)
class Question:
    """What has to be answered: the key, what is asked, and the candidates, the likeliest first.

    ``also`` are further keys that take the same answer.
    """

    key: str
    asks: str
    candidates: tuple[Candidate, ...] = ()
    also: tuple[str, ...] = ()


@dataclass(frozen=True)
class Known:
    """A value, as TOML writes it, and its reason."""

    value: str
    why: str = ""


#: A key's state: known, to be asked, or left to its default.
State = Known | Question | None
