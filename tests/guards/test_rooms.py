"""The order of the rooms, as DEVELOPERS.md has it: what may import what, inside functions and for typing too."""

import ast
from functools import cache
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[2] / "pipeline"

#: The rooms (folders and modules of `pipeline/`) in order: each imports only from those above it, and from its own.
#: Those of one line know nothing of one another.
ORDER = (
    (
        "words",
        "near",
        "replace",
        "digest",
        "arrays",
        "sphere",
        "clock",
        "visible",
        "limits",
        "sealed",
        "nameless",
        "progress",
        "damaged",
    ),
    ("letter_case",),
    ("problems", "tables", "tolerance", "handoff", "groups"),
    ("files",),
    ("job",),
    ("geodesy", "adjust", "duplicates", "plausible", "occupations"),
    ("read", "control", "sessions", "issue"),
    ("codes",),
    ("intake",),
    ("examine",),
    ("solve",),
    ("blunders",),
    ("notices",),
    ("draft",),
    ("reissue",),
    ("run", "check", "trace", "history", "between", "verify", "fieldwork", "opened"),
    ("aside", "new_job", "office", "release", "notify", "cluster"),
    ("cli",),
    ("__init__",),
)
PLACE = {room: number for number, rooms in enumerate(ORDER) for room in rooms}

#: Where the libraries that are heavy or particular may be imported, and nowhere else.
LIBRARIES = {
    "pyproj": {"geodesy"},
    "scipy": {"adjust"},
    "pyogrio": {"read", "control", "issue", "files"},
    "fiona": {"issue", "files"},
    "ezdxf": {"issue"},
    "openpyxl": {"files"},
    "pydantic": {"job", "sessions", "issue"},
    "filelock": {"issue"},
    "jinja2": {"issue"},
    "distributed": {"cluster"},
    "typer": {"cli"},
    "rich": {"cli"},
    "tomllib": {"job"},
}

#: Libraries that rooms, and single modules of the others, may not use, so that they stay arrays in, arrays out.
PURE = {
    "geodesy": {"pyarrow", "pydantic"}, "adjust": {"pyarrow", "pyproj", "pydantic"}, "plausible": {"pyarrow", "pyproj"},
    "occupations": {"pyproj", "pydantic"},
    **{
        module: {"pyarrow", "pyproj", "pydantic"}
        for module in (
            "intake.base_values", "intake.far_names", "examine.register_looks", "examine.systematic",
            "examine.unit_slips", "solve.covariance", "solve.proof", "solve.differences", "blunders.score",
            "blunders.grouped_errors", "blunders.outlook",
        )
    },
}  # fmt: skip


@cache
def modules(of: str | None = None) -> list[Path]:
    return [path for path in sorted(PACKAGE.rglob("*.py")) if of in (None, room(path))]


def rooms() -> list[str]:
    return sorted({room(path) for path in modules()})


def room(path: Path) -> str:
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


@cache
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


@pytest.mark.parametrize("own", rooms())
def test_a_module_imports_only_from_rooms_before_it_or_its_own(own: str) -> None:
    for path in modules(own):
        for name in imported(path):
            parts = name.split(".")
            if parts[0] == "pipeline" and parts[1] != own:
                assert PLACE[parts[1]] < PLACE[own], f"{name_of(path)} imports {name}"


@pytest.mark.parametrize("own", rooms())
def test_a_library_is_imported_only_where_it_belongs(own: str) -> None:
    for path in modules(own):
        for name in imported(path):
            library = name.split(".")[0]
            assert own in LIBRARIES.get(library, {own}), f"{name_of(path)} imports {name}"
            for pure in (own, name_of(path).removeprefix("pipeline.")):
                assert library not in PURE.get(pure, set()), f"{name_of(path)} imports {name}"


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


def test_every_module_that_is_to_stay_pure_is_there() -> None:
    known = {name_of(path).removeprefix("pipeline.") for path in modules()}
    assert set(PURE) <= known


def test_the_plan_names_every_room_and_no_other() -> None:
    assert set(rooms()) == set(PLACE)
