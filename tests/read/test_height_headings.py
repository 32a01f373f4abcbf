"""What headings of heights say, for a run and for a job file that is drafted: one vocabulary for both.

Expectations are the trade's: a height above the geoid is an orthometric one, the geoid's own height a separation.
"""

import pytest

from pipeline.new_job.heights import height_said, is_separation
from pipeline.read.height_headings import HeightKind, height_kind_in_heading, read_height_heading
from pipeline.read.slant_headings import is_slant
from pipeline.read.usual_heights import USUAL, says_no_other

_SAYS = {
    HeightKind.ELLIPSOIDAL: (
        "Ellipsoidal height",
        "Ellipsoid Ht",
        "Height above ellipsoid",
        "h.a.e.",
        "HAE",
        "Ell. h [m]",
        "ELLHT",
        "h_ell",
        "ellipsoidische Höhe",
        "Ellipsoidhöhe",
        "Höhe über dem Ellipsoid",
        "Höhe ü. Ellipsoid",
        "hauteur ellipsoïdale",
        "Hauteur au-dessus de l'ellipsoïde",
        "altitude ellipsoïdale",
        "Altura elipsoidal",
        "Altura sobre el elipsoide",
        "Altezza ellissoidica",
        "Quota ellissoidica",
        "Altezza sull'ellissoide",
        "Altitude elipsoidal",
        "Altura acima do elipsoide",
        "ellipsoïdische hoogte",
        "Hoogte boven ellipsoïde",
        "Ellipsoidehøjde",
        "Ellipsoidisk høyde",
        "Høyde over ellipsoiden",
        "Ellipsoidhöjd",
        "Höjd över ellipsoiden",
        "Ellipsoidikorkeus",
        "Korkeus ellipsoidista",
        "Wysokość elipsoidalna",
        "Wysokość nad elipsoidą",
        "Elipsoidická výška",
        "Výška nad elipsoidem",
        "Elevation (ellipsoidal)",
        "Height (ellipsoidal) [m]",
        "above ellipsoid",
        "EllHt (GRS80)",
    ),
    HeightKind.LEVEL: (
        "Height above geoid",
        "Height (geoid)",
        "HeightAboveGeoid",
        "Orthometric height",
        "OrthoHt",
        "H ort",
        "H(orth)",
        "MSL",
        "Mean sea level height",
        "Height above mean sea level",
        "Height AMSL",
        "Height (m a.s.l.)",
        "NAVD88 ft",
        "NAVD 88 height",
        "Normal height",
        "Höhe ü. NN",
        "Höhe ü. NHN",
        "Höhe (m ü. M.)",
        "Meereshöhe",
        "Normalhöhe",
        "Höhe über dem Geoid",
        "Höhe über Meeresspiegel",
        "orthometrische Höhe",
        "Gebrauchshöhe NHN",
        "Altitude NGF",
        "Altitude orthométrique",
        "Hauteur au-dessus du géoïde",
        "Altitude (niveau de la mer)",
        "Cota ortométrica",
        "Altura sobre el geoide",
        "Altura (m.s.n.m.)",
        "Altura sobre el nivel del mar",
        "Altezza ortometrica",
        "Quota s.l.m.",
        "Quota sul livello del mare",
        "Altezza sul geoide",
        "Altitude ortométrica",
        "Altitude acima do geoide",
        "Altura sobre o nível médio do mar",
        "Hoogte NAP",
        "hoogte t.o.v. NAP",
        "orthometrische hoogte",
        "Hoogte boven zeeniveau",
        "Hoogte boven geoïde",
        "DVR90 height",
        "Kote DVR90",
        "Højde over havet",
        "Højde over geoiden",
        "NN2000 høyde",
        "Høyde NN2000",
        "Høyde over havet",
        "Ortometrisk høyde",
        "Høyde (m.o.h.)",
        "Höjd RH 2000",
        "RH2000",
        "Höjd över havet",
        "Höjd över geoiden",
        "N2000 korkeus",
        "Korkeus merenpinnasta",
        "Ortometrinen korkeus",
        "Korkeus geoidista",
        "Wysokość normalna",
        "Wysokość ortometryczna",
        "Wysokość (m n.p.m.)",
        "Wysokość nad poziomem morza",
        "Wysokość nad geoidą",
        "Wysokość PL-EVRF2007-NH",
        "Nadmořská výška",
        "Výška Bpv",
        "Výška (m n. m.)",
        "Normální výška",
        "Výška nad geoidem",
        "Elevation (geoid)",
        "Geoid corrected height",
        "Height (EGM96)",
        "H over quasigeoid",
        "above_geoid",
        "Geoid-based elevation",
    ),
    HeightKind.SEPARATION: (
        "Geoid height",
        "Geoid separation (m)",
        "Geoid sep",
        "Undulation",
        "N",
        "N (m)",
        "Separation geoid ellipsoid",
        "Geoid-ellipsoid separation",
        "EGM96 geoid height",
        "Height of geoid above ellipsoid",
        "Geoid above ellipsoid",
        "Height anomaly",
        "Height of the geoid",
        "Geoidhöhe",
        "Geoidundulation",
        "Quasigeoidhöhe",
        "Undulation des Geoids",
        "Höhenanomalie",
        "Hauteur du géoïde",
        "Ondulation du géoïde",
        "Hauteur géoïdale",
        "Ondulación del geoide",
        "Altura del geoide",
        "Ondulación geoidal",
        "Ondulazione del geoide",
        "Altezza del geoide",
        "Ondulação geoidal",
        "Altura geoidal",
        "Altura do geoide",
        "Geoïdehoogte",
        "Hoogte van de geoïde",
        "Geoideundulatie",
        "Geoidhøjde",
        "Geoidehøyde",
        "Geoidhöjd",
        "Geoidin korkeus",
        "Geoidikorkeus",
        "Odstęp geoidy",
        "Undulacja geoidy",
        "Wysokość geoidy",
        "Výška geoidu",
        "Převýšení geoidu",
        "GeoidSep",
    ),
    HeightKind.HEIGHT: (
        "Height",
        "Altitude",
        "Z",
        "h",
        "H",
        "Höhe",
        "Hauteur",
        "Altura",
        "Altezza",
        "Hoogte",
        "Højde",
        "Høyde",
        "Höjd",
        "Korkeus",
        "Wysokość",
        "Výška",
        "Altitud",
        "Z (Up)",
        "Alt_ft",
        "GNSS height",
        "GNSS height (no geoid)",
    ),
}
_IN_A_DRAFT = {
    HeightKind.ELLIPSOIDAL: "ellipsoid",
    HeightKind.LEVEL: "level",
    HeightKind.SEPARATION: None,
    HeightKind.HEIGHT: "",
}
#: No heights of the row's own point, whatever else: none is taken for them.
_NONE = (
    "Tree height",
    "Antenna height",
    "Pole height",
    "Instrument height",
    "Height error",
    "Error ellipse a",
    "ellipsoid_name",
    "Name",
    "Code",
    "Time",
    "Easting",
    "North",
    "Latitude",
    "PDOP",
    "HRMS",
    "Point",
    "Elevation mask",
    "Geoid model",
    "Ort",
    "Shell",
    "well",
    "orthophoto",
    "short",
    "Normal",
    "Mean",
    "Datum",
    "Sea",
)


@pytest.mark.parametrize(("kind", "heading"), [(kind, each) for kind, headings in _SAYS.items() for each in headings])
def test_a_run_and_a_draft_read_a_heading_alike(kind: HeightKind, heading: str) -> None:
    assert height_kind_in_heading(heading) is (None if kind is HeightKind.HEIGHT else kind)
    assert height_said(heading) == _IN_A_DRAFT[kind]
    assert is_separation(heading) == (kind is HeightKind.SEPARATION)


@pytest.mark.parametrize("heading", _NONE)
def test_other_headings_say_no_heights(heading: str) -> None:
    assert height_kind_in_heading(heading) is None
    assert height_said(heading) is None


@pytest.mark.parametrize("heading", ["Elevation", "RL", "Lyttelton 1937 height", "GPS height", "WGS84 height"])
def test_what_many_programs_write_over_any_height_is_no_contradiction(heading: str) -> None:
    assert height_kind_in_heading(heading) is None
    assert height_said(heading) in ("level", "ellipsoid")


@pytest.mark.parametrize(
    ("heading", "slant"),
    [
        *((heading, True) for heading in (
            "Antenna height (slant)", "SlantHgt", "slant_ant_ht", "Schräghöhe", "Antennenhöhe (schief)",
            "Hauteur antenne inclinée", "hauteur oblique", "Altura antena inclinada", "altura sesgada",
            "altezza antenna sghemba", "Antennehøyde skrå", "Snedhöjd", "Wysokość anteny skośna", "Výška antény šikmá",
            "antennikorkeus viisto", "ferde antennamagasság", "eğik anten yüksekliği", "schuine antennehoogte", "斜高",
        )),
        *((heading, False) for heading in (
            "Antenna height", "Antenna height (vertical)", "Vertical (not slant)", "Vertical height from slant", "Rod",
            "Inclination", "Slantown", "Island", "Höhe", "Tilt",
        )),
    ],
)  # fmt: skip
def test_headings_that_say_a_slant_measure(heading: str, slant: bool) -> None:
    assert is_slant(heading) == slant


@pytest.mark.parametrize(
    "heading",
    [
        "Kõrgustäpsus",
        "Kõrgusviga [m]",
        "Kõrgusvahe",
        "Kõrgusmääramatus",
        "Ellipsoidaalse kõrguse täpsus",
        "Visinska točnost",
        "visinaantene",
        "Elipsoidna točnost",
        "Elipsoidna greška",
        "Preciznost elipsoidne visine",
        "Odstupanje elipsoidne visine",
        "Aukščio tikslumas",
        "Elipsoidinio aukščio paklaida",
        "Elipsoidālā augstuma precizitāte",
        "Precizie înălțime elipsoidală",
        "inaltimeantena",
        "Ακρίβεια ελλειψοειδούς υψομέτρου",
        "Τυπική απόκλιση ελλειψοειδούς ύψους",
        "Σφάλμα υψομέτρου",
        "Τύπος ελλειψοειδούς",
        "Отклонение эллипсоидальной высоты",
        "Точность эллипсоидальной высоты",
        "СКП эллипсоидальной высоты",
        "Эллипсоидальная разность",
        "Эллипсоидальная высота антенны",
        "Большая полуось эллипсоида",
        "Точність еліпсоїдальної висоти",
        "Похибка еліпсоїдальної висоти",
        "Грешка на елипсоидна височина",
        "Височинна грешка",
        "Sai số cao",
        "Korkeustarkkuus",
        "Akurasi tinggi elipsoid",
        "Přesnost elipsoidické výšky",
        "Noggrannhet ellipsoidhöjd",
        "Usikkerhed ellipsoidehøjde",
        "Incertezza quota ellissoidica",
    ],
)
def test_precisions_and_antennas_are_no_heights_in_any_language(heading: str) -> None:
    assert height_said(heading) is None
    assert height_kind_in_heading(heading) is None


@pytest.mark.parametrize(
    "heading",
    [
        "Ύψος γεωειδούς",
        "Αποχή γεωειδούς",
        "Ύψος γεωειδούς πάνω από το ελλειψοειδές",
        "Высота геоида над эллипсоидом",
        "Висота геоїда над еліпсоїдом",
        "Visina geoida iznad elipsoida",
        "Geoidi kõrgus ellipsoidist",
        "Geoido aukštis virš elipsoido",
    ],
)
def test_how_far_the_geoid_is_above_the_ellipsoid_is_no_height(heading: str) -> None:
    assert height_said(heading) is None
    assert height_kind_in_heading(heading) in (None, HeightKind.SEPARATION)


@pytest.mark.parametrize("taken", [HeightKind.ELLIPSOIDAL, HeightKind.LEVEL])
@pytest.mark.parametrize("written", ["{}", "{} (m)", "{}[m]"])
def test_a_usual_heading_need_not_be_read(taken: HeightKind, written: str) -> None:
    """What a run passes over unread states no other kind by its words either, in capitals and with a word apart."""
    for bare in (*USUAL[taken], *USUAL[HeightKind.HEIGHT]):
        apart = [f"{bare[:at].title()}{bare[at:].title()}" for at in range(1, len(bare))]
        for heading in (bare, bare.upper(), bare.title(), *apart):
            shown = written.format(heading)
            assert says_no_other(shown, taken)
            read = read_height_heading(shown)
            assert not read.plain or read.kind is taken, shown
            assert taken is HeightKind.LEVEL or (not read.mostly_level and read.kind is not HeightKind.OF_GEOID), shown


@pytest.mark.parametrize("heading", ["N (AP)", "Height (ellipsoidal)", "H [NHN]", "Height (ft)", "Geoid height"])
def test_what_may_say_more_is_read(heading: str) -> None:
    assert not says_no_other(heading, HeightKind.LEVEL)
