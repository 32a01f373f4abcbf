"""Of a position that an export has twice, before a correction and after it, one kind is taken for all coordinates."""

from pathlib import Path

import pytest
from folders_made import drafted

from pipeline.new_job import new_job
from pipeline.new_job.draft import Draft
from pipeline.read.uncorrected_headings import uncorrected_twin

AXES = {"easting": "Easting", "northing": "Northing", "height": "Height"}
WORDS = [
    "Raw {}", "raw_{}", "{} (raw)", "{} [uncorrected]", "Uncorrected {}", "{} before correction", "Unadjusted {}",
    "{} pre-correction", "Pre-shift {}", "{} not corrected", "{} roh", "{} (unkorrigiert)", "{} vor Korrektur",
    "{} vor der Korrektur", "{} brut", "{} non corrigé", "{} avant correction", "{} bruto", "{} sin corregir",
    "{} antes de la corrección", "{} antes da correção", "{} grezzo", "{} prima della correzione",
    "{} voor correctie", "{} ongecorrigeerd", "{} før korreksjon", "{} okorrigerad", "{} przed korektą",
    "{} nieskorygowana", "{} nekorigovaná", "{} nyers", "{} prije korekcije", "{} до коррекции", "補正前 {}",
]  # fmt: skip


def laid(folder: Path, heads: dict[str, tuple[str, float]]) -> Draft:
    """Draft a folder with an export of these columns, each of an axis and off by so many metres."""
    marks = {"CM1": (1506500.0, 5160600.0, 20.0), "CM2": (1507100.0, 5160650.0, 22.0)}
    register = [f"{name},{e:.3f},{n:.3f},{h:.3f}" for name, (e, n, h) in marks.items()]
    (folder / "control.csv").write_text("\n".join(["Mark,Easting,Northing,RL", *register, ""]), encoding="utf-8")
    rows = [",".join(["Point", "UTC", "Code", *heads])]
    for at in range(30):
        name = {0: "CM1", 29: "CM2"}.get(at, f"p{at}")
        place = dict(zip(AXES, marks.get(name, (1506510.5 + at, 5160613.2 + 2 * at, 21.3 + 0.1 * at)), strict=True))
        cells = [f"{place[axis] - off:.3f}" for axis, off in heads.values()]
        rows.append(",".join([name, f"2026-03-20 08:{at:02d}:00", "EDGE", *cells]))
    (folder / "rover.csv").write_text("\n".join([*rows, ""]), encoding="utf-8")
    return drafted(new_job(folder))


@pytest.mark.parametrize("raw_first", [True, False])
@pytest.mark.parametrize("word", WORDS)
def test_what_was_corrected_is_mapped_and_the_other_told(word: str, raw_first: bool, tmp_path: Path) -> None:
    after: dict[str, tuple[str, float]] = {name: (axis, 0.1) for axis, name in AXES.items()}
    before: dict[str, tuple[str, float]] = {word.format(name): (axis, 2.3) for axis, name in AXES.items()}
    draft = laid(tmp_path, before | after if raw_first else after | before)
    (block,) = draft.blocks
    assert {axis: block.columns[axis] for axis in AXES} == AXES and not block.asks
    for name in AXES.values():
        assert f'{word.format(name)}: it is "{name}" before a correction, so it is not mapped' in block.notes
    assert any("made in the field" in note for note in block.notes)


@pytest.mark.parametrize("word", ["Raw {}", "{} (unkorrigiert)", "{} brut", "Corrected {}"])
def test_one_kind_alone_is_mapped_and_nothing_told(word: str, tmp_path: Path) -> None:
    (block,) = laid(tmp_path, {word.format(name): (axis, 0.1) for axis, name in AXES.items()}).blocks
    if word != "Corrected {}":  # what a heading of that word means is asked today
        assert {axis: block.columns[axis] for axis in AXES} == {axis: word.format(name) for axis, name in AXES.items()}
    assert not [note for note in block.notes if "before a correction" in note or "made in the field" in note]


def test_no_position_is_of_both_kinds(tmp_path: Path) -> None:
    heads = {"Raw Easting": ("easting", 2.3), "Raw Northing": ("northing", 2.3), "Raw Height": ("height", 2.3)}
    (block,) = laid(tmp_path, heads | {"Height": ("height", 0.1)}).blocks
    assert [block.columns[axis] for axis in AXES] == [*heads]
    assert any(note.startswith('Height: it is "Raw Height" after a correction') for note in block.notes)


@pytest.mark.parametrize(
    ("heading", "other"),
    [
        ("Raw Height", "Easting"), ("Height", "Height 2"), ("Rawdon Height", "Height"), ("Raw", "Height"),
        ("Height of Rawson", "Height"), ("Antenna Height", "Height"), ("Raw E", "Raw E"), ("Ham Height 2", "Height"),
        ("Design Height", "Height"), ("Height before storm", "Height"), ("Height corrected", "Height"),
    ],
)  # fmt: skip
def test_other_headings_are_no_pair(heading: str, other: str) -> None:
    assert uncorrected_twin(heading, [other]) is None
