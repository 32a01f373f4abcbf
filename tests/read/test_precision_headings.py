"""What headings say of precisions, in a dozen languages; what is a word of something else is none."""

import pytest
from every import every

from pipeline.read.precision_headings import PrecisionHeading, Side, precision_in_heading

EAST, NORTH, UP, PLAN = Side.EAST, Side.NORTH, Side.UP, Side.PLAN


@pytest.mark.parametrize(
    ("headings", "sides", "sigma"),
    [
        (("Precision E", "Precision N", "Precision U"), (EAST, NORTH, UP), False),
        (("Accuracy East (m)", "Accuracy North (m)", "Accuracy Height (m)"), (EAST, NORTH, UP), False),
        (("Error E", "error_n", "Vertical error"), (EAST, NORTH, UP), False),
        (("RMS E", "N RMS", "rmsU"), (EAST, NORTH, UP), False),
        (("Prec. Est", "Prec. Nord", "Prec. Quota"), (EAST, NORTH, UP), False),
        (("Genauigkeit Ost", "Genauigkeit Nord", "Höhengenauigkeit"), (EAST, NORTH, UP), False),
        (("Précision E", "Écart-type N", "Précision altitude"), (EAST, NORTH, UP), None),
        (("Precisión Este", "Precisión Norte", "Precisión V"), (EAST, NORTH, UP), False),
        (("Błąd X", "Błąd Y", "Błąd H"), (Side.X, Side.Y, Side.H), False),
        (("Stř. chyba polohy", "Stř. chyba výšky", "Směr. odch. X"), (PLAN, UP, Side.X), None),
        (("Tasotarkkuus", "Korkeustarkkuus", "E keskihajonta"), (PLAN, UP, EAST), None),
        (("E std", "N std", "H std"), (EAST, NORTH, Side.H), True),
        (("Std E", "StdDev North", "Standard deviation of height [m]"), (EAST, NORTH, UP), True),
        (("Yatay Hassasiyet", "Düşey Hassasiyet", "Sai số độ cao"), (PLAN, UP, UP), False),
        (("Desvio E", "Desvio N", "Desvio h"), (EAST, NORTH, Side.H), False),
        (("mp [mm]", "mh [mm]", "mh (m)"), (PLAN, UP, UP), True),
        (("mE [mm]", "mN (cm)", "mH [mm]"), (EAST, NORTH, UP), True),
        (("m Lage [mm]", "m Höhe [mm]", "m_Lage (mm)", "mLage [mm]"), (PLAN, UP, PLAN, PLAN), True),
        (("mL (mm)", "mH (mm)", "mF Lage [mm]", "m.F. Höhe [cm]"), (PLAN, UP, PLAN, UP), True),
        (("m plani (mm)", "m alti (mm)", "m Altitude (m)"), (PLAN, UP, UP), True),
        (("m hoogte [mm]", "m ligging [mm]", "m Höhe [m]", "m der Höhe [mm]"), (UP, PLAN, UP, UP), True),
        (("m Ost [mm]", "m Nord [mm]", "m Este (mm)", "m Norte (mm)"), (EAST, NORTH, EAST, NORTH), True),
        (("m polohy [mm]", "m výšky [mm]", "mxy [mm]", "mz [mm]"), (PLAN, UP, PLAN, Side.Z), True),
        (("m wysokości [mm]", "m położenia [mm]", "m высоты, мм", "m плана, мм"), (UP, PLAN, UP, PLAN), True),
        (("m plan [mm]", "m altura [mm]", "m quota (mm)", "m høyde (mm)", "m höjd [mm]"), (PLAN, UP, UP, UP, UP), True),
        (("CQ 2D", "CQ 1D", "CQ 3D", "CQ2D (m)"), (PLAN, UP, Side.OPEN, PLAN), False),
        (("Coord. quality 2D", "Koordinatenqualität Höhe", "Calidad de coordenadas 1D"), (PLAN, UP, UP), False),
        (("水平精度", "高程精度", "수직정확도"), (PLAN, UP, UP), False),
        (("E精度", "N精度", "H精度"), (EAST, NORTH, Side.H), False),
        (("Точность в плане", "Погрешность H", "СКО N"), (PLAN, Side.H, NORTH), None),
    ],
)
def test_sides_and_kinds(headings: tuple[str, ...], sides: tuple[Side, ...], sigma: bool | None) -> None:
    said = [precision_in_heading(heading) for heading in headings]
    assert [one and one.side for one in said] == list(sides)
    assert all(one is not None and not one.wider for one in every(said))
    assert sigma is None or {one.sigma for one in said if one is not None} == {sigma}


@pytest.mark.parametrize(
    "heading",
    ["E", "Easting", "Lat", "Height", "Blade", "Felder", "Position", "Description", "PDOP", "Tilt accuracy",
     "Time error", "H 1995", "Code", "Standard", "Name", "Prec. code", "Error N°", "Position quality",
     "Quality 3D", "Quality", "3D", "dE", "Remark",
     "mp", "mh", "MP 3", "mp id", "m", "m [m]", "m ü. M. [m]", "m alt [m]", "H m [m]", "Höhe m", "Höhe [mm]", "M Lage",
     "m Baum [mm]", "m u. NN [m]", "Hoogte [m]", "m N [m]", "m E [m]", "m n.p.m. [m]", "m s.n.m. (m)"],
)  # fmt: skip
def test_other_headings_say_none(heading: str) -> None:
    assert precision_in_heading(heading) is None


@pytest.mark.parametrize("heading", ["Precision E (95%)", "Accuracy N 2 sigma", "95% error height", "2σ E"])
def test_wider_ones_are_told_apart(heading: str) -> None:
    said = precision_in_heading(heading)
    assert said is not None and said.wider


def test_a_word_that_is_not_known_takes_the_plainness_away() -> None:
    assert precision_in_heading("Precision E") == PrecisionHeading(EAST)
    said = precision_in_heading("Grumbled precision E")
    assert said is not None and not said.plain


@pytest.mark.parametrize(("heading", "side"), [("VarE", Side.EAST), ("variance N", Side.NORTH), ("方差 高程", Side.UP)])
def test_variances_are_no_standard_uncertainties(heading: str, side: Side) -> None:
    said = precision_in_heading(heading)
    assert said is not None and (said.side, said.square, said.sigma) == (side, True, False)
    assert precision_in_heading("Var") is None and precision_in_heading("Magnetic variance") is None
