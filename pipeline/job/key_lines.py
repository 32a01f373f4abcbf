"""The line of every key of a TOML text. ``tomllib`` keeps none, so this scanner walks the same text beside it."""

import re
import tomllib
from collections.abc import Callable, Iterator, Mapping

from msgspec import Struct, field

Key = str | int
KeyPath = tuple[Key, ...]
#: Where a key of one table is written, given its path in that table: the file as shown to the user, and the line.
Where = Callable[..., tuple[str, int]]

_BLANK = re.compile(r"[ \t]*")
_BETWEEN = re.compile(r"(?:[ \t\n]|#[^\n]*)*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_DOT = re.compile(r"[ \t]*\.[ \t]*")
_SCALAR = re.compile(r"[^,\]}\n#]*")
# The long forms come first. Up to two quotes may stand directly before the three that end a long string.
_TEXT = re.compile(
    r'"""(?:\\[\s\S]|[^\\])*?"{3,5}(?!")'
    r"|'''[\s\S]*?'{3,5}(?!')"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'"
)


class KeyLines(Struct, frozen=True):
    """Key path -> line. A path holds keys as text and positions in lists, counted from 0, as numbers."""

    known: Mapping[KeyPath, int]

    def line(self, path: KeyPath) -> int:
        """Return the line (from 1) where ``path`` is written, or else its nearest written parent; 1 for the root."""
        for length in range(len(path), 0, -1):
            if path[:length] in self.known:
                return self.known[path[:length]]
        return 1


def key_lines(text: str) -> KeyLines:
    """Return the line of every key, table and list item of ``text``, which ``tomllib`` must have accepted.

    Raises:
        ValueError: ``text`` is not TOML.
    """
    scanner = _Scanner(text.replace("\r\n", "\n"))
    scanner.document()
    return KeyLines(scanner.known)


class _Scanner(Struct):
    text: str
    place: int = 0
    known: dict[KeyPath, int] = field(default_factory=dict)
    lists: dict[KeyPath, int] = field(default_factory=dict)  # array of tables -> the position of its last table
    _line: int = 1
    _counted: int = 0

    def document(self) -> None:
        table: KeyPath = ()
        self.skip(_BETWEEN)
        while self.place < len(self.text):
            if self.text[self.place] == "[":
                table = self.header()
            else:
                self.pair(table)
            self.skip(_BETWEEN)

    def header(self) -> KeyPath:
        """Read ``[a.b]`` or ``[[a.b]]``; return the path of the table that it opens."""
        line = self.line()
        double = self.text.startswith("[[", self.place)
        self.place += 2 if double else 1
        self.skip(_BLANK)
        *parents, last = self.dotted()
        path: KeyPath = ()
        for parent in parents:
            path = self.inside((*path, parent))
        path = self.next_table((*path, last)) if double else (*path, last)
        self.note_parents(path, line)
        self.known[path] = line  # the table's own header beats a mention as another one's parent
        self.skip(_BLANK)
        self.expect("]]" if double else "]")
        return path

    def inside(self, path: KeyPath) -> KeyPath:
        """Return ``path``, or its last table where it is an array of tables."""
        return (*path, self.lists[path]) if path in self.lists else path

    def next_table(self, path: KeyPath) -> KeyPath:
        self.lists[path] = self.lists.get(path, -1) + 1
        return (*path, self.lists[path])

    def pair(self, table: KeyPath) -> None:
        line = self.line()
        path = table + tuple(self.dotted())
        self.note_parents(path, line)
        self.known.setdefault(path, line)
        self.skip(_BLANK)
        self.expect("=")
        self.skip(_BLANK)
        self.value(path)

    def value(self, path: KeyPath) -> None:
        if self.text.startswith("[", self.place):
            self.array(path)
        elif self.text.startswith("{", self.place):
            self.inline_table(path)
        elif not self.skip(_TEXT):
            self.skip(_SCALAR)

    def array(self, path: KeyPath) -> None:
        self.expect("[")
        self.skip(_BETWEEN)
        position = 0
        while not self.text.startswith("]", self.place):
            self.known[(*path, position)] = self.line()
            self.value((*path, position))
            position += 1
            self.comma("]")
        self.expect("]")

    def inline_table(self, path: KeyPath) -> None:
        self.expect("{")
        self.skip(_BETWEEN)
        while not self.text.startswith("}", self.place):
            self.pair(path)
            self.comma("}")
        self.expect("}")

    def comma(self, end: str) -> None:
        self.skip(_BETWEEN)
        if not self.text.startswith(end, self.place):
            self.expect(",")
            self.skip(_BETWEEN)

    def dotted(self) -> Iterator[str]:
        yield self.key()
        while self.skip(_DOT):
            yield self.key()

    def key(self) -> str:
        start = self.place
        if self.skip(_BARE):
            return self.text[start : self.place]
        if not self.skip(_TEXT):
            raise ValueError(f"line {self.line()}: a key is expected")
        quoted: str = tomllib.loads("key = " + self.text[start : self.place])["key"]
        return quoted

    def note_parents(self, path: KeyPath, line: int) -> None:
        for length in range(1, len(path)):
            self.known.setdefault(path[:length], line)

    def skip(self, pattern: re.Pattern[str]) -> bool:
        """Step over ``pattern``; return whether there was anything of it."""
        found = pattern.match(self.text, self.place)
        if found is None or found.end() == self.place:
            return False
        self.place = found.end()
        return True

    def expect(self, mark: str) -> None:
        if not self.text.startswith(mark, self.place):
            raise ValueError(f"line {self.line()}: '{mark}' is expected")
        self.place += len(mark)

    def line(self) -> int:
        self._line += self.text.count("\n", self._counted, self.place)
        self._counted = self.place
        return self._line
