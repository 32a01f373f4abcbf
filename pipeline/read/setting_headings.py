"""Headings of columns that say how the controller was set when it took a reading, in many languages, from memory.

Whatever is set otherwise from some row on moves what is measured from there: by centimetres (an antenna's model), by
decimetres (a geoid, a site calibration) or by metres (a coordinate system, the source of the corrections).
"""

from functools import lru_cache

from pipeline.files.heading_words import words_of
from pipeline.letter_case import folded
from pipeline.read.correction_headings import bare

#: What is set, and the headings that stand for it as `correction_headings.bare` has them.
_CALLED = {
    "system": """
        crs srs srid epsg epsgcode datum coordinatesystem coordsystem coordsys coordinatereferencesystem
        referencesystem referenceframe geodeticdatum coordinateframe koordinatensystem bezugssystem bezugsrahmen
        koordinatsystem referanseramme referenssystem systemedecoordonnees systemecoordonnees systemedereference
        sistemadecoordenadas sistemacoordenadas sistemadereferencia sistemadicoordinate
        sistemadiriferimento coordinatenstelsel referentiestelsel koordinaattijarjestelma ukladwspolrzednych
        ukladodniesienia souradnicovysystem системакоординат
        """,
    "source": """
        mountpoint mountpt mount ntripmountpoint correctionsource correctionssource corrsource sourceofcorrections
        correctionservice correctionsservice rtksource rtknetwork gnssnetwork ntripsource caster korrekturquelle
        korrekturdienst sourcedescorrections sourcecorrections pointdemontage fuentedecorrecciones fuentecorreccion
        fontedicorrezione fontecorrezioni correctiebron korreksjonskilde korrektionskalla zrodlopoprawek zdrojkorekci
        """,
    "geoid": """
        geoid geoidmodel geoidfile geoidname geoidgrid geoidused geoidapplied quasigeoid geoidmodell geoide
        modelegeoide modeledegeoide modelogeoide modelodegeoide modellogeoide modellodigeoide geoidemodel geoidimalli
        modelgeoidy geoida modelgeoidu геоид
        """,
    "calibration": """
        calibration calibrated sitecalibration localisation localization localised localized sitelocalisation
        sitelocalization localadjustment kalibrierung kalibriert lokalisierung lokalisiert calibrage calibracion
        calibrado localizacion calibrazione calibrato localizzazione calibracao localizacao kalibratie kalibrering
        lokalisering kalibracja lokalizacja kalibrace lokalizace
        """,
    "antenna model": """
        antenna antennamodel antennatype anttype antmodel antennaname antenne antennentyp antennentype antennenmodell
        antennename antennetype typeantenne typedantenne modeleantenne antena tipodeantena tipoantena modeloantena
        tipodiantenna tipoantenna modelloantenna antennemodel antenntyp antennmodell antennimalli
        typanteny modelanteny
        """,
    "profile": """
        config configuration rtkprofile gnssprofile receiverprofile roverprofile rtkconfig rtkconfiguration
        receiverconfig receiverconfiguration rtkstyle konfiguration rtkprofil messprofil konfigurasjon configuracion
        configuracao configurazione configuratie konfiguracja konfigurace
        """,
}
_HEADINGS = {heading: word for word, headings in _CALLED.items() for heading in headings.split()}
#: What is set, by our word.
SETTINGS = (*_CALLED, "mode")
#: Words by which a solution says where its corrections were from: computed afterwards, a network's, one base's.
_WAYS = {
    "computed afterwards": {"ppk", "pp", "post", "postproc", "postprocessed", "postprocessing"},
    "a network": {"nrtk", "netrtk", "vrs", "network", "ntrip", "fkp", "imax", "netz", "reseau"},
    "one base": {"rtk"},
}
#: Digits of a coordinate system's code, at the least and most.
_CODE = (4, 6)
#: What a column of yes and no may be, in figures.
_ON_OFF = frozenset("01")


@lru_cache(maxsize=1024)
def setting_heading(heading: str) -> str:
    """Return what a heading says was set, by our word of `SETTINGS`; "" if nothing."""
    return _HEADINGS.get(bare(heading), "")


def is_setting(word: str, values: list[str]) -> bool:
    """Tell whether all of a column's values may be of what its heading says: names, codes, on and off, no figures.

    A datum begins with a letter: elsewhere the word is that of a date.
    """
    if word == "system":
        return all(each[:1].isalpha() or (each.isdigit() and _CODE[0] <= len(each) <= _CODE[1]) for each in values)
    if word == "calibration" and _ON_OFF.issuperset(values):
        return True
    return all(any(letter.isalpha() for letter in each) for each in values)


def way_of(solution: str) -> str:
    """Return by what a solution says that it was corrected; "" where it does not say."""
    words = set(words_of(folded(solution)))
    return next((way for way, said in _WAYS.items() if words & said), "")
