"""The trade's words: the glossary is one, rejected phrases do not come back, and no text builds a plural by hand."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from pipeline.issue.report.glossary import GLOSSARY
from pipeline.words import counted, plural

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "pipeline"
README = (ROOT / "README.md").read_text(encoding="utf-8")
#: The pages that users read.
PAGES = (ROOT / "README.md", *sorted((ROOT / "configs").rglob("*.md")))

#: What a surveyor, a drafter or an office manager stumbled over, and what is said instead.
REJECTED = {
    "to look at": "needs attention",
    "where every row went": "readings accounted for",
    "proof in time": "check coverage",
    "failures read": "possible causes",
    "leaves horiz": "unexplained, horizontal",
    "against the first": "likelihood",
    "causes tried": "possible causes tested",
    "untied sessions": "sessions not connected to control",
    "off the register": "from the register",
    "agrees the better for it": "its residual is not independent",
    "not judged": "not tested",
    "plan to measure from": "do not scale",
    "data to (": "last observation",
    '"data to"': "last observation",
    "points at a blunder": "indicates a blunder",
    "points by the opposite": "points after the move are out by the reverse",
    "nothing wrong": "no errors",
    "another run holds": "is already being run",
    "mind the": "check the",
    "takes over unchanged": "carries forward unchanged",
    "worked out again": "recomputed from raw",
    "raw to working": "field datum to computation",
    "working to issued": "computation to grid",
    "register to working": "register to computation",
    "the machine's record": "machine-readable record",
    "+- ": "sigma, or 95 %",
    "with their sums": "checksums",
    "and its sum.": "checksum",
    "had better be": "should be",
    "the issue before": "the previous issue",
    "fault of the program": "fault in the program",
    "takes its error up": "absorbs its error",
    "take the error up": "absorb the error",
    "shift takes up": "shift absorbs",
    "see to its": "check its",
    "see to the": "check the",
    "let be": "ignored, or left alone",
    "it anew": "again",
    "nobody measures so": "two measurements hardly agree to the last digit",
}
#: Those that comments and docstrings do not say either: whoever writes a message has just read them.
NOWHERE = ("the issue before", "fault of the program", "faults of the program")
#: Old names that are looked for in older records, and so stand in the code.
OLD_NAMES = "earlier_records.py"

#: What texts count: behind a number they are written by `counted`, which knows that one is not many.
NOUNS = (
    "files|rows|points|readings|sessions|marks|occupations|issues|jobs|problems|warnings|notes|causes|differences|"
    "columns|layers|lines|cells|pairs|days|hours|entries|geometries|elements|characters|observations|times|names"
)


@cache
def texts() -> tuple[tuple[str, str], ...]:
    """Return where a text stands and what it says: strings that are no docstring, templates, the pages for users."""
    return tuple(_texts())


@cache
def laid_out() -> tuple[tuple[str, str], ...]:
    """Return the same in small letters, with one blank wherever a text has some."""
    return tuple((where, " ".join(text.lower().split())) for where, text in texts())


def _texts() -> Iterator[tuple[str, str]]:
    for path in sorted(PACKAGE.rglob("*.py")):
        if path.name == OLD_NAMES:
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in strings(tree):
            yield f"{path.relative_to(ROOT)}:{node.lineno}", said(node)
    for path in sorted(PACKAGE.rglob("*.html")):
        yield str(path.relative_to(ROOT)), path.read_text(encoding="utf-8")
    for path in PAGES:
        yield str(path.relative_to(ROOT)), path.read_text(encoding="utf-8")


def strings(tree: ast.AST) -> Iterator[ast.expr]:
    """Yield strings and f-strings, each once, without docstrings."""
    nodes = list(ast.walk(tree))
    inner = {id(part) for node in nodes if isinstance(node, ast.JoinedStr) for part in node.values}
    alone = {id(node.value) for node in nodes if isinstance(node, ast.Expr)}
    for node in nodes:
        text = isinstance(node, ast.JoinedStr) or (isinstance(node, ast.Constant) and isinstance(node.value, str))
        if isinstance(node, ast.expr) and text and id(node) not in inner and id(node) not in alone:
            yield node


def said(node: ast.expr) -> str:
    """Return what a string says, with {} for each value of an f-string."""
    if isinstance(node, ast.JoinedStr):
        return "".join(str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values)
    assert isinstance(node, ast.Constant)
    return str(node.value)


@pytest.mark.parametrize("phrase", REJECTED)
def test_a_rejected_phrase_does_not_come_back(phrase: str) -> None:
    found = [where for where, text in laid_out() if phrase in text]
    assert not found, f"say {REJECTED[phrase]!r} in the place of {phrase!r}"


def test_nor_in_a_comment_or_a_docstring() -> None:
    sources = [*sorted(PACKAGE.rglob("*.py")), ROOT / "DEVELOPERS.md"]
    flowing = {path: re.sub(r"[\s#]+", " ", path.read_text(encoding="utf-8").lower()) for path in sources}
    assert [(str(path), phrase) for path, text in flowing.items() for phrase in NOWHERE if phrase in text] == []


def test_every_word_of_the_glossary_stands_in_the_readme_before_it_is_used() -> None:
    opening = README.partition("\n## ")[0]
    rows = re.findall(r"^\| (.+?) \| (.+) \|$", opening, re.MULTILINE)
    assert dict(rows[2:]) == GLOSSARY
    assert opening.index(f"| {next(iter(GLOSSARY))} |") < opening.index("$ .venv/bin/tiedown")


def test_counts_go_with_their_nouns() -> None:
    assert [counted(number, "file") for number in (0, 1, 2)] == ["0 files", "1 file", "2 files"]
    assert counted(1, "reading carries", "readings carry") == "1 reading carries"
    assert plural(1, "entry", "entries") == "entry" and plural(3, "entry", "entries") == "entries"


def test_no_text_builds_a_plural_by_hand() -> None:
    by_hand = re.compile(r"""["'](?:s|es|ies)["'] if |else ["'](?:s|es|ies)["']|\([a-z]*s\)\b""")
    number = re.compile(rf"\{{\}} (?:more |other )?(?:{NOUNS})\b")
    for path in sorted(PACKAGE.rglob("*.py")):
        source = path.read_text(encoding="utf-8")
        assert path.name == "words.py" or not by_hand.search(source), path
    found = [(where, text) for where, text in texts() if where.endswith(tuple("0123456789")) and number.search(text)]
    assert not found
