"""Every key of a TOML text is found at the line where it is written, whatever the layout."""

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.job.key_lines import KeyPath, key_lines

LAYOUTS: list[tuple[str, str, dict[KeyPath, int]]] = [
    ("root keys", "a = 1\n\n# x = 2\nb = 2", {("a",): 1, ("b",): 4}),
    ("table", "# first\n[t] # [u]\n\nk = 1\n", {("t",): 2, ("t", "k"): 4}),
    ("table below a table that is never opened", "[a.b.c]\nk=1", {("a",): 1, ("a", "b"): 1, ("a", "b", "c", "k"): 2}),
    ("own header beats the mention", "[a.b]\nx=1\n\n[a]\ny=2", {("a",): 4, ("a", "b"): 1, ("a", "y"): 5}),
    ("spaces in a header", '[ a . "b c" ]\nk=1', {("a", "b c", "k"): 2}),
    ("array of tables", "[[s]]\nk=1\n[[s]]\nk=2\n", {("s",): 1, ("s", 0, "k"): 2, ("s", 1): 3, ("s", 1, "k"): 4}),
    (
        "table inside an array of tables",
        "[[p]]\nf=1\n[p.columns]\nname='x'\n[[p]]\n[p.columns]\ntime='y'",
        {("p", 0, "columns"): 3, ("p", 0, "columns", "name"): 4, ("p", 1, "columns", "time"): 7},
    ),
    (
        "array of tables inside an array of tables",
        "[[a]]\n[[a.b]]\nk=1\n[[a.b]]\nk=2\n[[a]]\n[[a.b]]\nk=3",
        {("a", 0, "b", 0, "k"): 3, ("a", 0, "b", 1): 4, ("a", 0, "b", 1, "k"): 5, ("a", 1, "b", 0, "k"): 8},
    ),
    ("dotted keys", "a.b.c = 1\na . d = 2", {("a",): 1, ("a", "b"): 1, ("a", "b", "c"): 1, ("a", "d"): 2}),
    ("quoted keys", '"a.b" = 1\n\'c d\'.e = 2\n"\\u00e9" = 3', {("a.b",): 1, ("c d", "e"): 2, ("é",): 3}),
    (
        "inline tables in a list over several lines",
        "ties = [\n  { point = 'A', mark = 'B' }, # { x = 1 }\n\n  { point = ']', mark = 'D' },\n]\nz = 1",
        {("ties", 0): 2, ("ties", 0, "mark"): 2, ("ties", 1): 4, ("ties", 1, "point"): 4, ("z",): 6},
    ),
    (
        "list inside an inline table, over several lines",
        "a = { b = [\n1,\n2 ], c = 3 }\nd = 4",
        {("a", "b"): 1, ("a", "b", 1): 3, ("a", "c"): 3, ("d",): 4},
    ),
    ("dotted key in an inline table", "x = 0\na = { b.c = 1 }", {("a", "b"): 2, ("a", "b", "c"): 2}),
    ("long text", 'a = """\nb = 1\n[t]\n"""\nc = 1', {("a",): 1, ("c",): 5}),
    ("long literal text", "a = '''\nb = 1\n\\'''\nc = 1", {("a",): 1, ("c",): 4}),
    ("quotes before the end of a long text", 'a = """x"""""\nb = 1', {("b",): 2}),
    ("an empty long text", 'a = """"""\nb = 1\nc = """\\""""\nd = ""\ne = 1', {("b",): 2, ("d",): 4, ("e",): 5}),
    ("escaped quotes", 'a = "\\"] # {"\nb = "\\\\"\nc = 1', {("b",): 2, ("c",): 3}),
    ("a comment sign in text", "a = '# no' # yes\nb = [ '#', # ]\n 1 ]\nc = 1", {("b", 1): 3, ("c",): 4}),
    ("values without quotes", "t = 2026-03-02 07:30:00+13:00 # x\nf = -1.5e3\nb = true", {("f",): 2, ("b",): 3}),
    ("line ends of another system", "[a]\r\nk = 1\r\n[b]\r\nk = '''\r\n'''\r\nl = 1", {("b", "k"): 4, ("b", "l"): 6}),
    ("empty list and table", "a = []\nb = {}\nc = [\n]\nd = 1", {("b",): 2, ("c",): 3, ("d",): 5}),
    ("nothing", "", {}),
]


@pytest.mark.parametrize(("text", "lines"), [row[1:] for row in LAYOUTS], ids=[row[0] for row in LAYOUTS])
def test_known_layouts(text: str, lines: dict[KeyPath, int]) -> None:
    """Lines counted by hand; and the scanner knows exactly the keys that tomllib reads."""
    found = key_lines(text)
    assert {path: found.line(path) for path in lines} == lines
    assert set(found.known) == set(_paths(tomllib.loads(text)))


def test_an_unknown_path_falls_back_to_its_parent() -> None:
    """What is not written is reported where it ought to stand."""
    lines = key_lines("x = 1\n[[session]]\nties = [\n { point = 'A' } ]")
    assert lines.line(("session", 0, "ties", 0, "mark")) == 4
    assert lines.line(("session", 0, "ties", 7, "mark")) == 3
    assert lines.line(("session", 0, "end")) == 2
    assert lines.line(("target", "height")) == 1
    assert lines.line(()) == 1


@pytest.mark.parametrize("text", ["a 1", "[a", "a = [1", "a = {b = 1", "= 1"])
def test_text_that_is_not_toml_is_refused(text: str) -> None:
    """The scanner stops rather than run on without end."""
    with pytest.raises(ValueError, match="expected"):
        key_lines(text)


# A document made at random, with a writer that notes the line of each key as it writes it.

KEYS = st.one_of(st.from_regex(r"[a-z0-9_-]{1,6}", fullmatch=True), st.text("ab.#]\"'\\ é=\t", max_size=4))
TEXTS = st.text("a]}[{#,='\"\\ \n", max_size=8)
LEAVES = st.one_of(st.integers(-9, 9), st.booleans(), TEXTS)
VALUES = st.recursive(
    LEAVES, lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(KEYS, inner, max_size=3)), max_leaves=8
)
TABLES = st.dictionaries(
    KEYS, st.one_of(VALUES, st.lists(st.dictionaries(KEYS, VALUES, max_size=3), min_size=1, max_size=3)), max_size=4
)


@dataclass
class _Writer:
    draw: st.DataObject
    text: str = ""
    lines: dict[KeyPath, int] = field(default_factory=dict)

    def put(self, text: str) -> None:
        self.text += text

    def note(self, path: KeyPath) -> None:
        self.lines[path] = self.text.count("\n") + 1

    def gap(self) -> None:
        """Between the items of a list: nothing, blanks, lines, a comment."""
        self.put(self.draw.draw(st.sampled_from(["", " ", "\n", "\n\n  ", " # ], \" '\n"])))

    def end(self) -> None:
        self.put(self.draw.draw(st.sampled_from(["\n", " # [x]\n", "\n\n", "\n# a = '''\n"])))

    def quoted(self, text: str) -> str:
        forms = ['"' + _escaped(text).replace("\n", "\\n").replace("\t", "\\t") + '"']
        if "'" not in text and "\n" not in text:
            forms.append(f"'{text}'")
        return self.draw.draw(st.sampled_from(forms))

    def key(self, key: str) -> None:
        bare = key and all(sign in "abcdefghijklmnopqrstuvwxyz0123456789_-" for sign in key)
        self.put(key if bare and self.draw.draw(st.booleans()) else self.quoted(key))

    def value(self, path: KeyPath, value: object) -> None:
        if isinstance(value, str):
            forms = [self.quoted(value), '"""\n' + _escaped(value) + '"""']
            if "''" not in value and not value.endswith("'"):
                forms.append(f"'''\n{value}'''")
            self.put(self.draw.draw(st.sampled_from(forms)))
        elif isinstance(value, list):
            self.put("[")
            for position, item in enumerate(value):
                self.gap()
                self.note((*path, position))
                self.value((*path, position), item)
                self.gap()
                self.put("," if position + 1 < len(value) or self.draw.draw(st.booleans()) else "")
            self.gap()
            self.put("]")
        elif isinstance(value, dict):
            self.put("{ ")
            for position, (key, item) in enumerate(value.items()):
                self.put(", " if position else "")
                self.pair(path, key, item)
            self.put(" }")
        else:
            self.put(str(value).lower())

    def pair(self, path: KeyPath, key: str, value: object) -> None:
        self.note((*path, key))
        self.key(key)
        self.put(self.draw.draw(st.sampled_from(["=", " = ", "\t="])))
        self.value((*path, key), value)

    def document(self, tables: dict[str, object]) -> None:
        later = {}
        for key, value in tables.items():
            opened = isinstance(value, dict) or (_is_tables(value) and value)
            if opened and self.draw.draw(st.booleans()):
                later[key] = value
            else:
                self.pair((), key, value)
                self.end()
        for key, value in later.items():
            for position, table in enumerate(value if isinstance(value, list) else [value]):
                path: KeyPath = (key, position) if isinstance(value, list) else (key,)
                if position == 0:
                    self.note((key,))
                self.note(path)
                self.put("[[" if isinstance(value, list) else "[")
                self.key(key)
                self.put("]]" if isinstance(value, list) else "]")
                self.end()
                for inner, item in table.items():
                    self.pair(path, inner, item)
                    self.end()


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"')


def _is_tables(value: object) -> bool:
    return isinstance(value, list) and all(isinstance(item, dict) for item in value)


def _paths(value: object, path: KeyPath = ()) -> Iterator[KeyPath]:
    if path:
        yield path
    if isinstance(value, dict | list):
        for key, item in value.items() if isinstance(value, dict) else enumerate(value):
            yield from _paths(item, (*path, key))


@settings(max_examples=120, deadline=None)
@given(tables=TABLES, draw=st.data())
def test_any_layout(tables: dict[str, object], draw: st.DataObject) -> None:
    """The scanner agrees with the writer on every line, and with tomllib on every key."""
    writer = _Writer(draw)
    writer.document(tables)
    assert tomllib.loads(writer.text) == tables
    assert dict(key_lines(writer.text).known) == writer.lines
