"""PROJ pipelines as text: taken apart into steps, put together, and read for what they do to a height."""

import re
from collections.abc import Callable, Sequence

Steps = tuple[str, ...]

# a value may be quoted, a quote within it doubled
_TOKEN = re.compile(r'\+?(?:[^\s"]|"(?:[^"]|"")*")+')
_GRIDS = re.compile(r'(?<![\w])(grids|xy_grids|z_grids|file|model)=("(?:[^"]|"")*"|\S+)')
_VERTICAL = {"vgridshift", "vertoffset"}
_TURNING = {"helmert", "molodensky", "molobadekas", "xyzgridshift"}
_MOVING = {"deformation", "defmodel"}


def steps(definition: str) -> Steps:
    """Return the steps of a PROJ string, each as "[inv ]proj=... key=value ...", without plus signs.

    A single operation is one step; "noop" is none. Raises `ValueError` for parameters that stand before the first step.
    """
    tokens = [token.removeprefix("+") for token in _TOKEN.findall(definition)]
    if "proj=pipeline" not in tokens:
        return () if "proj=noop" in tokens else (" ".join(token for token in tokens if token != "step"),)
    first = tokens.index("step") if "step" in tokens else len(tokens)
    if tokens[:first] != ["proj=pipeline"]:
        raise ValueError(f"parameters for all steps of a pipeline are not expected: {definition}")
    parts: list[list[str]] = []
    for token in tokens[first:]:
        if token == "step":
            parts.append([])
        else:
            parts[-1].append(token)
    return tuple(" ".join(part) for part in parts)


def join(parts: Sequence[str]) -> str:
    """Return the pipeline of some steps; of none, one that changes nothing."""
    return " ".join(["proj=pipeline", *(f"step {part}" for part in parts or ("proj=noop",))])


def kind(step: str) -> str:
    """Return the operation's name of a step, such as "cart"."""
    found = re.search(r"proj=(\S+)", step)
    return found[1] if found else ""


def grid_names(definition: str) -> list[str]:
    """Return the grid files that a definition names, each once, in order; a leading "@" (optional) is kept."""
    names = [name for _, value in _GRIDS.findall(definition) for name in _unquoted(value).split(",")]
    return list(dict.fromkeys(names))


def with_grids(definition: str, replace: Callable[[str], str]) -> str:
    """Return the definition with every grid's name replaced, quoted where it needs to be."""

    def replaced(found: re.Match[str]) -> str:
        value = ",".join(replace(name) for name in _unquoted(found[2]).split(","))
        return f"{found[1]}={quoted(value)}"

    return _GRIDS.sub(replaced, definition)


def depends_on_time(parts: Steps) -> bool:
    """Tell whether a step moves coordinates with time: a reference epoch, or a deformation model without fixed dt."""
    return any("t_epoch=" in part or (kind(part) in _MOVING and " dt=" not in part) for part in parts)


def has_height_step(parts: Steps) -> bool:
    """Tell whether a step leads from one kind of height to another: a vertical grid or a stated offset."""
    return any(kind(part) in _VERTICAL or (kind(part) == "geogoffset" and " dh=" in part) for part in parts)


def inverse(step: str) -> str:
    """Return a step the other way."""
    return step.removeprefix("inv ") if step.startswith("inv ") else f"inv {step}"


def turns_height(parts: Steps) -> bool:
    """Tell whether a step takes ellipsoidal heights to another ellipsoid: geocentric, not between push and pop v_3."""
    kept = 0
    ellipsoids = set()
    for part in parts:
        if " v_3" in part:
            kept += {"push": 1, "pop": -1}.get(kind(part), 0)
        elif kept == 0 and kind(part) == "cart":
            ellipsoids.add(part.removeprefix("inv "))
        elif kept == 0 and kind(part) in _TURNING:
            return True
    return len(ellipsoids) > 1


def quoted(value: str) -> str:
    """Return a parameter's value as PROJ reads it: between quotes where it holds a space or a quote."""
    escaped = value.replace('"', '""')
    return f'"{escaped}"' if re.search(r'[\s"]', value) else value


def _unquoted(value: str) -> str:
    return value[1:-1].replace('""', '"') if value.startswith('"') else value
