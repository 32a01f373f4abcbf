"""The tie of a session is on a mark with position and height, where one was occupied; a draft says so, or that none is.

A tie on a mark without a height ties no height, so that every point of its session is held back: three marks with
coordinates and a benchmark among them are usual.
"""

from pathlib import Path

import pytest
from folders_made import drafted

from pipeline.new_job import new_job

MARKS = {"CP1": (7000, 3000), "CP2": (7060, 3045), "CP3": (7120, 3090)}


def _drafted(
    folder: Path, heights: dict[str, str], names: list[str], holds: dict[str, str] | None = None
) -> tuple[list[str], list[str], list[str]]:
    """Return the marks of ties and of checks, and what is told of heights, where readings have such names in turn."""
    (folder / "control.csv").write_text(
        f"mark,easting,northing,height{'' if holds is None else ',holds'}\n"
        + "".join(
            f"{name},{east}.000,{north}.000,{heights[name]}{'' if holds is None else ',' + holds.get(name, '')}\n"
            for name, (east, north) in MARKS.items()
        )
    )
    lines = ["Point,Easting,Northing,Ellipsoidal height,Time (UTC)"]
    for at, name in enumerate(names):
        east, north = MARKS.get(name, (7010 + 3 * at, 3050 - 2 * at))
        when = f"2026-03-17T{7 + at // 30:02d}:{2 * at % 60:02d}:00Z"
        lines.append(f"{name},{east}.412,{north}.207,{at % 7}.512,{when}")
    (folder / "day.csv").write_text("\n".join(lines) + "\n")
    draft = drafted(new_job(folder))
    (session,) = draft.sessions
    told = [note for note in draft.notes if "position and height" in note or "lacks position or height" in note]
    return [mark for _, mark in session.ties], [mark for _, mark in session.checks], told


POINTS = [str(number) for number in range(101, 131)]


@pytest.mark.parametrize(
    "names",
    [
        ["CP1", "CP2", "CP3", *POINTS],
        ["CP1", *POINTS, "CP2", "CP3"],
        ["CP1", "CP2", *POINTS, "CP2", "CP3"],
        ["CP1", "CP2", "CP3", *POINTS, "CP3"],
    ],
)
def test_a_mark_without_a_height_checks(tmp_path: Path, names: list[str]) -> None:
    ties, checks, told = _drafted(tmp_path, {"CP1": "", "CP2": "12.300", "CP3": "12.500"}, names)
    assert ties in (["CP2"], ["CP3"]) and "CP1" in checks
    assert any("CP1, occupied before the tie, lacks" in note for note in told)


def test_a_mark_that_holds_its_position_alone_checks(tmp_path: Path) -> None:
    given = {name: "12.300" for name in MARKS}
    ties, _, told = _drafted(tmp_path, given, ["CP1", "CP2", "CP3", *POINTS], {"CP1": "position"})
    assert ties == ["CP2"] and told


def test_it_is_told_where_no_mark_has_both(tmp_path: Path) -> None:
    ties, _, (told,) = _drafted(tmp_path, {"CP1": "", "CP2": "", "CP3": "12.500"}, ["CP1", "CP2", *POINTS])
    assert ties == ["CP1"] and "no tie is on a mark that has both position and height" in told


@pytest.mark.parametrize("names", [["CP1", "CP2", "CP3", *POINTS], ["CP2", *POINTS, "CP1", "CP3"]])
@pytest.mark.parametrize("heights", [{"CP1": "12.1", "CP2": "12.2", "CP3": "12.3"},
                                     {"CP1": "12.1", "CP2": "12.2", "CP3": ""}])  # fmt: skip
def test_the_first_ties_otherwise(tmp_path: Path, names: list[str], heights: dict[str, str]) -> None:
    ties, _, told = _drafted(tmp_path, heights, names)
    assert ties == names[:1] and told == []
