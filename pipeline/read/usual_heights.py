"""The usual headings of heights, each with what its heights refer to.

Most exports have one of these over their heights; `height_headings` reads all others, by their words.
"""

import re
from enum import StrEnum

from pipeline.files.heading_words import run_together


class HeightKind(StrEnum):
    """What the numbers of a column are, by its heading."""

    ELLIPSOIDAL = "ellipsoidal heights"
    LEVEL = "heights above a height datum"
    SEPARATION = "geoid separations"
    OF_GEOID = "heights above a geoid or its separations"
    HEIGHT = "heights"
    OTHER = "no heights"


#: Whole headings that are usual for each kind, bare (small letters without accents, blanks and units), the plainest
#: first. English, German, French, Spanish, Portuguese, Italian, Dutch, Norwegian, Danish, Swedish, Finnish, Polish, ...
#: Those of other alphabets are from memory, as a dictionary has them; those that say no surface are heights alone.
_USUAL = {
    HeightKind.ELLIPSOIDAL: """
        ellipht elliphgt ellipheight
        ellht ellh ellhgt ellheight ellipsoidheight ellipsoidalheight ellipsoidalht hae hell ellhoehe ellhohe
        ellipsoidischehohe ellipsoidischehoehe ellipshohe altellipsoidale altitudeellipsoidale hauteurellipsoidale
        hauteurellips alturaelipsoidal altelip alturaelip altitudeelipsoidal cotaelipsoidal quotaellissoidica
        altezzaellissoidica quotaell hellissoidica ellipsoidischehoogte ellipshoogte ellhoogte ellipsoidehoyde
        ellipsoidhoyde ellipsoidiskhoyde ellipsoidhojd ellipsoidiskhojd ellhojd ellipsoidhojde ellipsoidehojde
        ellipsoidkorkeus wysokoscelipsoidalna wyselips wysokoscelips elipsoidickavyska elipsvyska ellipsoidischhohe
        wgs84height gpsheight heightell hellipsoid ellipsoidh helips ellipsoid ellipsoidal ellipsoidisch ellipsoidique
        elipsoidal ellissoidica elipsoityukseklik elipsoityuksekligi elipsoidalyukseklik 楕円体高
        大地高 椭球高 橢球高 타원체고 độcaoelipxoit độcaoelipsoid độcaotrắcđịa tinggielipsoid ketinggianelipsoid
        ellipszoidimagasság ellmagasság cotăelipsoidală altitudineelipsoidală elipsoidnavisina elipsoidskavisina
        ελλειψοειδέςυψόμετρο геодезическаявысота эллипсоидальнаявысота геодезичнависота еліпсоїднависота
        الارتفاعالإهليلجي ارتفاعالإهليلج גובהאליפסואידי ارتفاعبیضوی ارتفاعازبیضوی ელიფსოიდურისიმაღლე
        दीर्घवृत्तीयऊँचाई दीर्घवृत्तीयऊंचाई ความสูงเหนือทรงรี ความสูงทรงรี kimochaelipsoidi
        """,
    HeightKind.LEVEL: """
        orthoht orthoheight orthometricheight orthometricht orthoh elevation elevacion elevacao cota cotă elev mpd
        elevationm mslheight msl rl
        reducedlevel level nhnhohe nhnhoehe hohenhn hoehenhn nnhohe nnhoehe hohenn meereshohe meereshoehe
        gebrauchshohe altitudengf altngf ngf cotaortometrica alturaortometrica altitudeortometrica quotaortometrica
        altezzaortometrica quotaslm naphoogte hoogtenap nap nn2000hoyde hoydenn2000 kotehoyde rh2000hojd hojdrh2000
        dvr90hojde hojdedvr90 kotedvr90 n2000korkeus korkeusn2000 wysokoscnormalna wysnorm normalnivyska vyskabpv
        nadmorskavyska navd88 heightmsl tengerszintfelettimagassag orthometric orthometrique orthometrisch ortometrica
        標高 标高 正常高 正高 海拔 海拔高 표고 정표고 해발고도 độcaothủychuẩn tinggiortometrik
        elevasi ortometrikyükseklik baltimagasság altitudineortometrică ortometrijskavisina
        nadmorskavisina ορθομετρικόυψόμετρο нормальнаявысота
        нормальнависота الارتفاععنسطحالبحر גובהאורתומטרי
        """,
    HeightKind.HEIGHT: """
        height ht hgt h hohe hoehe z altitude alt hauteur altura quota altezza altitud hoogte hoyde hoejde hojd
        hojde kote kota kot haeð koordh korkeus wysokosc wys rzedna vyska magassag yukseklik visina zcoord coordz
        υψομετρο υψοσ η высота н
        高程 高度 高さ 높이 고도 độcao caođộ tinggi ketinggian altitudine înălțime висота отметка الارتفاع ارتفاع
        المنسوب גובה רום სიმაღლე ऊँचाई ऊंचाई ความสูง kimo
        """,
}
#: The usual unit behind a heading.
_IN_METRES = re.compile(r"\s*(?:\(m\)|\[m\])")
#: The usual headings of each kind, each once, as `run_together` has them.
USUAL: dict[HeightKind, tuple[str, ...]] = {
    kind: tuple(dict.fromkeys(map(run_together, text.split()))) for kind, text in _USUAL.items()
}


def says_no_other(heading: str, kind: HeightKind) -> bool:
    """Tell whether a heading is a usual one of heights of a kind, or of any heights: it states no other kind.

    What stands in brackets makes it none of them, unless they are metres; `height_headings` reads all that are none.
    """
    bare = _IN_METRES.sub("", heading)
    usual = run_together(bare) in (*USUAL[kind], *USUAL[HeightKind.HEIGHT])
    return usual and not any(bracket in bare for bracket in "([{")
