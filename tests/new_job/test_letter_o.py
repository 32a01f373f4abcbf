"""The letter O of longitudes: the west beneath Romance headings, refused wherever it may be the east.

It is Oeste, Ouest and Ovest as dictionaries have them, and Ost, Oost, Öst and Øst in Germanic languages.
"""

from pathlib import Path

import pytest
from answered import answer
from folders_made import job_of, write
from simulate import Place, Simulation
from simulate_files import write_register
from simulate_plan import GRS80, utm
from told_of import told_of

from pipeline.issue.record_types import Record
from pipeline.new_job import new_job
from pipeline.new_job.start import Started
from pipeline.problems import JobError
from pipeline.run.run_job import run_job

_SPANISH = ("Punto", "Latitud", "Longitud", "Altura elipsoidal", "Fecha y hora", "Solución", "Código")
_PORTUGUESE = ("Ponto", "Latitude", "Longitude", "Altitude elipsoidal", "Data/Hora", "Solução", "Código")
_FRENCH = ("Point", "Latitude", "Longitude", "Hauteur ellipsoïdale", "Date et heure", "Solution", "Code")
_ITALIAN = ("Punto", "Latitudine", "Longitudine", "Quota ellissoidica", "Data e ora", "Soluzione", "Codice")
_GERMAN = ("Punktnummer", "Breite", "Länge", "Ellipsoidische Höhe", "Datum/Uhrzeit", "Lösung", "Code")
_DUTCH = ("Puntnummer", "Breedtegraad", "Lengtegraad", "Ellipsoïdische hoogte", "Tijdstip", "Oplossing", "Code")
_SWEDISH = ("Punkt", "Latitud", "Longitud", "Höjd över ellipsoiden", "Tid", "Lösning", "Kod")
_DANISH = ("Punkt", "Bredde", "Længde", "Ellipsoidehøjde", "Tidspunkt", "Løsning", "Kode")
_ENGLISH = ("Point", "Latitude", "Longitude", "Ellipsoidal height", "Time", "Solution", "Code")
_OF_BOTH = ("Punkt/Punto", "Latitude", "Longitude", "Höhe/Altezza/Quota", "Zeit/Ora", "Soluzione", "Codice")
_WORDS = ("name", "latitude", "longitude", "height", "time", "solution", "code")


def _place(longitude: float, zone: int) -> Place:
    """Return a place in the north in ETRS89, of which all heights are ellipsoidal."""
    return Place(longitude, 41.1, 120.0, GRS80, utm(zone, south=False, ellipsoid=GRS80), f"EPSG:{25800 + zone}",
                 "EPSG:4937", "ellipsoid", None)  # fmt: skip


_WEST, _GREENWICH, _EAST = _place(-8.6, 29), _place(0.0, 31), _place(7.4, 32)
#: A zone from Greenwich to 6 degrees east that work to the west of it is kept in.
_OVER_THE_EDGE = _place(-0.3, 31)


def _minutes(value: float, sides: str) -> str:
    seconds = round(abs(value) * 3600, 6)
    whole = int(seconds // 60)
    return f"{whole // 60}°{whole % 60:02d}'{seconds - 60 * whole:09.6f}\"{sides[int(value < 0)]}"


def _decimal(value: float, sides: str) -> str:
    return f"{abs(value):.11f} {sides[int(value < 0)]}"


def _export(folder: Path, job: Simulation, heads: tuple[str, ...], sides: str, *, decimal: bool = False) -> None:
    spelt = _decimal if decimal else _minutes
    told = {
        word: [spelt(value, of) for value in job.rows[word].tolist()]
        for word, of in (("latitude", "NS"), ("longitude", sides))
    }
    write(folder / "rover.csv", job, dict(zip(_WORDS, heads, strict=True)), told=told, sign=";",
          time="%Y-%m-%dT%H:%M:%SZ")  # fmt: skip


def _folder(folder: Path, place: Place, heads: tuple[str, ...], sides: str, *, decimal: bool = False) -> Simulation:
    job = job_of(place=place)
    write_register(job.register, folder / "control.csv")
    _export(folder, job, heads, sides, decimal=decimal)
    return job


def _answered(started: Started, place: Place, *, register: bool = True) -> Path:
    """Answer what is asked by what is known of the place."""
    grid, datum = f'"{place.grid}"', f'"{place.source}"'
    answer(Path(started.path), {"target.grid": grid, "source.crs": datum, "control.crs": grid if register else datum})
    return Path(started.path)


def _notes(record: Record) -> list[str]:
    return [note for note in record["notes"] if "letter O" in note]


@pytest.mark.parametrize("decimal", [False, True])
@pytest.mark.parametrize("heads", [_SPANISH, _PORTUGUESE, _FRENCH, _ITALIAN])
def test_o_is_the_west_beneath_romance_headings(heads: tuple[str, ...], decimal: bool, tmp_path: Path) -> None:
    _folder(tmp_path, _WEST, heads, "EO", decimal=decimal)
    started = new_job(tmp_path)
    path = _answered(started, _WEST)
    assert "# the letter O of the longitudes is read as west" in path.read_text(encoding="utf-8")
    record = run_job(path, dry_run=True).record
    assert record["verdict"] == "proven"
    (note,) = _notes(record)
    assert note.startswith("rover.csv: the letter O of the longitudes is read as west")


def test_e_and_o_stand_in_one_export_on_both_sides_of_greenwich(tmp_path: Path) -> None:
    job = _folder(tmp_path, _GREENWICH, _SPANISH, "EO")
    assert (job.rows["longitude"] < 0).any() and (job.rows["longitude"] > 0).any()
    record = run_job(_answered(new_job(tmp_path), _GREENWICH), dry_run=True).record
    assert record["verdict"] == "proven" and record["rows"]["held_back"] == 0


@pytest.mark.parametrize(
    "heads, place, sides",
    [
        (_GERMAN, _EAST, "OW"),
        (_DUTCH, _EAST, "OW"),
        (_SWEDISH, _EAST, "OV"),
        (_DANISH, _EAST, "OV"),
        (_OF_BOTH, _EAST, "OW"),
        (_ENGLISH, _EAST, "OW"),
        (_ENGLISH, _WEST, "EO"),
        (("Punto", *_ENGLISH[1:]), _WEST, "EO"),
    ],
)
def test_o_is_refused_where_headings_do_not_say_which_side_it_is(
    heads: tuple[str, ...], place: Place, sides: str, tmp_path: Path
) -> None:
    _folder(tmp_path, place, heads, sides)
    assert "the letter O, which means east in some languages and west in others" in told_of(tmp_path)


def _run_with(folder: Path, place: Place, drafted: str, heads: tuple[str, ...], sides: str) -> Record:
    """Return the record of a job that was drafted with plain letters and whose export then has others."""
    job = _folder(folder, place, heads, drafted)
    path = _answered(new_job(folder), place)
    _export(folder, job, heads, sides)
    return run_job(path, dry_run=True).record


def test_work_over_the_edge_of_a_zone_at_greenwich_is_no_doubt(tmp_path: Path) -> None:
    record = _run_with(tmp_path, _OVER_THE_EDGE, "EW", _SPANISH, "EO")
    assert record["verdict"] == "proven" and _notes(record)


def test_a_run_refuses_o_for_the_east_beneath_german_headings_as_ever(tmp_path: Path) -> None:
    with pytest.raises(JobError, match="the letter O, which means east in some languages"):
        _run_with(tmp_path, _EAST, "EW", _GERMAN, "OW")


def test_a_run_refuses_romance_headings_above_an_o_that_only_lies_in_the_grid_as_the_east(tmp_path: Path) -> None:
    """As of a program of which headings were translated and letters were not, at 7 degrees east."""
    with pytest.raises(JobError, match="O is west in the language of the headings") as error:
        _run_with(tmp_path, _EAST, "EW", _FRENCH, "OW")
    assert "export E or W" in str(error.value)


def test_e_is_read_beneath_romance_headings_without_a_word_of_o(tmp_path: Path) -> None:
    record = _run_with(tmp_path, _EAST, "EW", _ITALIAN, "EO")
    assert record["verdict"] == "proven" and not _notes(record)


@pytest.mark.parametrize("decimal", [False, True])
@pytest.mark.parametrize(
    "heads", ["Punto;Latitud;Longitud;Altura elipsoidal", "Borne;Latitude;Longitude;Hauteur ellipsoïdale"]
)
def test_a_register_has_o_for_the_west_too(heads: str, decimal: bool, tmp_path: Path) -> None:
    job = _folder(tmp_path, _WEST, _ENGLISH, "EW")
    spelt, marks = _decimal if decimal else _minutes, job.marks
    rows = [
        f"{name};{spelt(latitude, 'NS')};{spelt(longitude, 'EO')};{height:.5f}"
        for name, longitude, latitude, height in zip(
            job.register["mark"], marks.longitude, marks.latitude, marks.ellipsoid_height, strict=True
        )
    ]
    (tmp_path / "control.csv").write_text("\n".join([heads, *rows, ""]), encoding="utf-8")
    started = new_job(tmp_path)
    path = _answered(started, _WEST, register=False)
    record = run_job(path, dry_run=True).record
    assert record["verdict"] == "proven"
    (note,) = _notes(record)
    assert note.startswith("the register: the letter O")
