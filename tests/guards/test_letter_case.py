"""Names and codes are compared by one function: any other takes İ, Σ, ß or a decomposed letter for another one."""

import ast
from pathlib import Path

PACKAGE = Path(__file__).resolve().parents[2] / "pipeline"
#: Rooms in which what exports, register and job file say is compared.
COMPARING = (
    "occupations", "sessions", "intake", "examine", "solve", "blunders", "notices", "draft", "reissue", "trace",
    "fieldwork",
)  # fmt: skip
#: Modules that change case for another reason, with it.
OTHERS = {
    "intake/hemispheres.py": "the letters of hemispheres",
    "intake/unusable.py": "the order of words in a sentence",
    "examine/register_digits.py": "the e of a power of ten",
    "draft/layer_rows.py": "names of columns, as SQLite tells them apart",
}
#: Modules that change the case of columns, likewise.
COLUMNS = {
    "tables.py": "the one function",
    "intake/row_sorting.py": "the order in which an export has its own texts",
    "read/clock_fields.py": "English names of months",
}
TEXT = {"lower", "upper", "casefold", "swapcase", "title", "IGNORECASE"}
COLUMN = {f"{kind}_{case}" for kind in ("ascii", "utf8") for case in ("lower", "upper", "swapcase", "title")}


def uses(path: Path, of: set[str]) -> list[str]:
    """Return where a module uses attributes of such names, but for the ending of a file's name."""
    return [
        f"{path.relative_to(PACKAGE).as_posix()}:{node.lineno}: {ast.unparse(node)}"
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Attribute) and node.attr in of and not ast.unparse(node.value).endswith("suffix")
    ]


def found(paths: list[Path], of: set[str], but: dict[str, str]) -> list[str]:
    return [use for path in paths if path.relative_to(PACKAGE).as_posix() not in but for use in uses(path, of)]


def test_texts_are_compared_by_folded() -> None:
    paths = [path for room in COMPARING for path in sorted(PACKAGE.glob(f"{room}*/**/*.py"))]
    assert len(paths) > len(COMPARING)
    assert found(paths, TEXT, OTHERS) == [], "compare by letter_case.folded"


def test_columns_are_compared_by_folded_column() -> None:
    assert found(sorted(PACKAGE.rglob("*.py")), COLUMN, COLUMNS) == [], "compare by tables.folded_column"


def test_every_exception_is_one() -> None:
    for but, of in ((OTHERS, TEXT), (COLUMNS, COLUMN)):
        assert [name for name in but if not uses(PACKAGE / name, of)] == []
