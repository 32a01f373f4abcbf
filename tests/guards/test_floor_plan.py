"""The house's floor plan, as DEVELOPERS.md has it: what may import what, inside functions and for typing too."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[2] / "pipeline"

#: Floor of each room (a folder or a module of `pipeline/`); a module imports only from lower floors, or its own room.
FLOORS = {
    "words": 0, "problems": 0, "tables": 0, "digest": 0, "near": 0, "packages": 0, "plain_path": 0, "said": 0,
    "doubts": 1, "job": 1, "geodesy": 1, "adjust": 1,
    "read": 2, "control": 2, "sessions": 2, "attach": 2, "accept": 2, "duplicates": 2, "plausible": 2, "occupations": 2,
    "shift": 2, "correct": 2, "proof": 2, "issue": 2,
    "work": 3,
    "run": 4, "check": 4, "trace": 4, "history": 4, "verify": 4,
    "fleet": 5,
    "cli": 6,
    "__init__": 7,
}  # fmt: skip

#: Where the libraries that are heavy or particular may be imported, and nowhere else.
LIBRARIES = {
    "pyproj": {"geodesy"},
    "scipy": {"adjust"},
    "pyogrio": {"read", "control", "issue"},
    "fiona": {"issue"},
    "ezdxf": {"issue"},
    "pydantic": {"job", "sessions"},
    "filelock": {"issue"},
    "jinja2": {"issue"},
    "typer": {"cli"},
    "rich": {"cli"},
}

#: Libraries that a room may not use at all, so that it stays arrays in, arrays out.
PURE = {
    "geodesy": {"pyarrow", "pydantic"}, "adjust": {"pyarrow", "pyproj", "pydantic"}, "proof": {"pyarrow", "pyproj"},
    "plausible": {"pyarrow", "pyproj"},
}  # fmt: skip


def modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def room(path: Path) -> str:
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def imported(path: Path) -> list[str]:
    names = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports are absolute"
            names += [f"{node.module}.{alias.name}" for alias in node.names]
    return names


def name_of(path: Path) -> str:
    parts = ("pipeline", *path.relative_to(PACKAGE).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


@pytest.mark.parametrize("path", modules(), ids=name_of)
def test_a_module_imports_only_from_lower_floors_or_its_own_room(path: Path) -> None:
    own = room(path)
    for name in imported(path):
        parts = name.split(".")
        if parts[0] == "pipeline" and parts[1] != own:
            assert FLOORS[parts[1]] < FLOORS[own], f"{name_of(path)} imports {name}"


@pytest.mark.parametrize("path", modules(), ids=name_of)
def test_a_library_is_imported_only_where_it_belongs(path: Path) -> None:
    own = room(path)
    for name in imported(path):
        library = name.split(".")[0]
        assert own in LIBRARIES.get(library, {own}), f"{name_of(path)} imports {name}"
        assert library not in PURE.get(own, set()), f"{name_of(path)} imports {name}"


def test_no_module_reaches_itself_by_imports() -> None:
    known = {name_of(path) for path in modules()}
    graph = {
        name_of(path): {
            found
            for name in imported(path)
            for found in (name, name.rpartition(".")[0])
            if found in known and found != name_of(path)
        }
        for path in modules()
    }
    graph["pipeline"] = set()  # gives its public names only when asked
    done: set[str] = set()

    def visit(name: str, above: tuple[str, ...]) -> None:
        assert name not in above, " -> ".join([*above[above.index(name) :], name])
        if name not in done:
            for below in sorted(graph[name]):
                visit(below, (*above, name))
            done.add(name)

    for name in sorted(graph):
        visit(name, ())


def test_the_plan_names_every_room_and_no_other() -> None:
    assert {room(path) for path in modules()} == set(FLOORS)
