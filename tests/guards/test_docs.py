"""The documents say what is so."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from typer.main import get_command

from pipeline.cli.main import app
from pipeline.words import Doubt

ROOT = Path(__file__).resolve().parents[2]
PAGES = ("README.md", "DEVELOPERS.md", "configs/KEYS.md", "configs/JUDGING.md", "configs/ISSUES.md")
#: Lines beyond which the README is no page to be read in one sitting.
ONE_SITTING = 500
#: What DEVELOPERS.md says how to add.
RECIPES = (
    "an input format", "an output format", "a column of a layer", "a key of the job file", "a command",
    "a section to the report", "a height model", "a unit", "a tolerance", "something that needs attention", "a cause",
    "a doubt", "a check or a notice",
)  # fmt: skip
#: `path` or `path:name` in backticks, with a folder in it or a Python file's ending.
NAMED = re.compile(r"`((?:[\w.-]+/)+(?:[\w.-]+)?|[\w-]+\.py)(?::(\w+(?:\.\w+)*))?`")


def text_of(page: str) -> str:
    return (ROOT / page).read_text(encoding="utf-8")


def found(path: str) -> Path | None:
    """A path as the documents write it: from the root, or from `pipeline/`."""
    return next((place / path for place in (ROOT, ROOT / "pipeline") if (place / path).exists()), None)


def named(page: str) -> Iterator[tuple[str, str]]:
    """The paths that a page names, with the name inside the file or nothing; of README those of the checkout alone."""
    for path, name in NAMED.findall(text_of(page)):
        if page == "DEVELOPERS.md" or re.match("pipeline/|tests/|configs/|sample_data/", path) or path.endswith(".py"):
            yield path, name


@cache
def names_in(path: Path) -> frozenset[str]:
    """Functions, classes and values at the top of a module, and members of its classes as `Class.member`."""
    body = ast.parse(path.read_text(encoding="utf-8")).body
    inside = [f"{one.name}.{name}" for one in body if isinstance(one, ast.ClassDef) for name in _names(one.body)]
    return frozenset([*_names(body), *inside])


def _names(body: list[ast.stmt]) -> Iterator[str]:
    for one in body:
        if isinstance(one, ast.FunctionDef | ast.ClassDef):
            yield one.name
        elif isinstance(one, ast.Assign):
            yield from (node.id for target in one.targets for node in ast.walk(target) if isinstance(node, ast.Name))
        elif isinstance(one, ast.AnnAssign) and isinstance(one.target, ast.Name):
            yield one.target.id


def first_cells(page: str, heading: str, column: str) -> list[str]:
    """What stands in the first cells of the table below a heading that has this first column, empty ones left out."""
    _, rest = text_of(page).split(f"\n{heading}\n")
    _, table = rest.split("\n## ")[0].split(f"| {column} |", 1)
    rows = table.split("\n\n")[0].splitlines()[2:]
    return [cell for row in rows if (cell := row.split("|")[1].strip(" `"))]


def test_every_command_has_a_row_in_the_readmes_table() -> None:
    said = [cell.split()[1] for cell in first_cells("README.md", "## Commands", "command")]
    assert sorted(said) == sorted(get_command(app).commands)  # type: ignore[attr-defined]


def test_every_doubt_has_its_rows_in_the_table_of_doubts() -> None:
    assert sorted(first_cells("configs/JUDGING.md", "## Doubts", "kind")) == sorted(Doubt)


def test_the_readme_is_read_in_one_sitting() -> None:
    assert text_of("README.md").count("\n") <= ONE_SITTING


def headings(page: Path) -> set[str]:
    """The anchors of a page's headings, as hosts of Markdown make them."""
    text = re.sub(r"^```.*?^```$", "", page.read_text(encoding="utf-8"), flags=re.MULTILINE | re.DOTALL)
    titles = re.findall(r"^#+ (.*)$", text, re.MULTILINE)
    return {re.sub(r"[^\w -]", "", title.lower()).replace(" ", "-") for title in titles}


@pytest.mark.parametrize("page", PAGES)
def test_every_link_leads_to_a_page_and_a_heading_that_is_there(page: str) -> None:
    for target in re.findall(r"\]\((?!https?:)([^)]*)\)", text_of(page)):
        path, _, anchor = target.partition("#")
        there = (ROOT / page).parent / path if path else ROOT / page
        assert there.exists(), target
        assert not anchor or anchor in headings(there), target


def test_the_readme_leads_to_every_page_beside_the_example_jobs() -> None:
    there = {path.relative_to(ROOT).as_posix() for path in (ROOT / "configs").glob("*.md")}
    assert there == {page for page in PAGES if page.startswith("configs/")}
    assert there <= {target.partition("#")[0] for target in re.findall(r"\]\(([^)]*)\)", text_of("README.md"))}


def floor_plan() -> list[list[str]]:
    """The rooms of the table in the developers' page, line by line."""
    _, rest = text_of("DEVELOPERS.md").split("| room in `pipeline/` |")
    lines = [line for line in rest.split("\n\n")[0].splitlines() if line.startswith("| `")]
    return [re.findall(r"`(\w+)/?`", line.split("|")[1]) for line in lines]


def test_every_room_stands_in_the_floor_plan_of_the_developers_page_once() -> None:
    rooms = {
        path.stem for path in (ROOT / "pipeline").iterdir() if path.suffix == ".py" or (path / "__init__.py").exists()
    }
    assert sorted(room for line in floor_plan() for room in line) == sorted(rooms - {"__init__"})


def test_the_floor_plan_has_the_order_that_is_held() -> None:
    """That of `ORDER` in test_rooms.py; what all share stands in one line at the top, whatever its own order."""
    tree = ast.parse((ROOT / "tests" / "guards" / "test_rooms.py").read_text(encoding="utf-8"))
    (held,) = [one.value for one in tree.body if isinstance(one, ast.Assign) and list(_names([one])) == ["ORDER"]]
    place = {room: number for number, rooms in enumerate(ast.literal_eval(held)) for room in rooms}
    shared, *others = floor_plan()
    assert max(place[room] for room in shared) < place["files"]
    assert [len({place[room] for room in line}) for line in others] == [1] * len(others)
    places = [place[line[0]] for line in others]
    assert places == sorted(places)


@pytest.mark.parametrize("page", PAGES)
def test_every_path_named_in_backticks_exists(page: str) -> None:
    paths = {path for path, _ in named(page)}
    assert paths or page == "configs/JUDGING.md"  # which names none
    assert [path for path in sorted(paths) if found(path) is None] == []


def test_every_function_class_or_list_named_with_its_file_is_there() -> None:
    said = {(path, name) for page in PAGES for path, name in named(page) if name}
    assert len(said) > 40
    gone = [f"{path}:{name}" for path, name in sorted(said) if (at := found(path)) and name not in names_in(at)]
    assert gone == []


def test_what_is_gone_would_be_found() -> None:
    text = "`solve/nowhere.py` `words.py:Doubt`, `words.py:Doubts`, `draft/layer_rows.py:LayerRows.points`, `a/b and c`"
    said = NAMED.findall(text)
    assert [path for path, _ in said if found(path) is None] == ["solve/nowhere.py"]
    there = [name in names_in(at) for path, name in said if (at := found(path)) and name]
    assert there == [True, False, True]


def test_every_recipe_is_there_and_names_the_files_that_it_needs() -> None:
    parts = re.split(r"^### To add ", text_of("DEVELOPERS.md"), flags=re.MULTILINE)[1:]
    recipes = {part.split("\n", 1)[0]: part for part in parts}
    assert set(RECIPES) <= set(recipes)
    assert [title for title, recipe in recipes.items() if not NAMED.search(recipe)] == []
    tested = [title for title in RECIPES if "tests/" in recipes[title] or "A test " in recipes[title]]
    assert tested == list(RECIPES)


@pytest.mark.parametrize("page", PAGES)
def test_no_line_is_longer_than_a_screen_but_in_tables_and_in_what_is_printed(page: str) -> None:
    blocks = re.sub(r"^```.*?^```$", "", text_of(page), flags=re.MULTILINE | re.DOTALL)
    assert [line for line in blocks.splitlines() if len(line) > 120 and not line.startswith("|")] == []
