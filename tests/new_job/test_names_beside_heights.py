"""Columns of names under headings that nobody knows, beside heights under others: texts are never heights."""

from pathlib import Path

import pytest
from pyproj import Transformer

from pipeline.new_job import new_job

_MARKS = {"K1": (1570250.0, 5180300.0, 12.2), "K2": (1570400.0, 5180450.0, 11.9), "K3": (1570300.0, 5180600.0, 15.0)}


@pytest.mark.parametrize("head", ["Qwv,Lat,Lon,Jkx,Time", "Jkx,Lon,Lat,Qwv,Time"])
@pytest.mark.parametrize("letters", ["K", ""])
def test_names_are_named_and_heights_asked_after(head: str, letters: str, tmp_path: Path) -> None:
    where = Transformer.from_crs("EPSG:2193", "EPSG:4167", always_xy=True)
    marks = [f"{letters}{name[1:]},{east},{north},{up}" for name, (east, north, up) in _MARKS.items()]
    (tmp_path / "control.csv").write_text("\n".join(["Mark,Easting,Northing,Ell height", *marks]), encoding="utf-8")
    rows = [head]
    for number, name in enumerate([*_MARKS, *(str(100 + count) for count in range(17))]):
        east, north, up = _MARKS.get(name, (1570290.0 + 9 * number, 5180400.0 + 7 * number, 13.0 + number))
        lon, lat = where.transform(east + 1.3, north - 0.7)
        called = f"{letters}{name[1:]}" if name in _MARKS else name
        cells = {"Qwv": called, "Lat": f"{lat:.9f}", "Lon": f"{lon:.9f}", "Jkx": f"{up + 2:.3f}"}
        if head.startswith("Jkx"):
            cells = {"Jkx": called, "Qwv": f"{up + 2:.3f}", "Lat": cells["Lat"], "Lon": cells["Lon"]}
        rows.append(",".join(cells[each] for each in head.split(",")[:-1]) + f",2026-03-12T01:{10 + number}:00Z")
    (tmp_path / "rover.csv").write_text("\n".join(rows), encoding="utf-8")
    started = new_job(tmp_path)
    names, heights = head.split(",")[0], head.split(",")[3]
    asked = next(
        one.question for one in started.asked if one.question.key == "height" and "column" in one.question.asks
    )
    assert [one.value for one in asked.candidates] == [f'"{heights}"']
    text = Path(started.path).read_text(encoding="utf-8")
    assert f'name = "{names}"' in text
    assert "ties = [{" in text
