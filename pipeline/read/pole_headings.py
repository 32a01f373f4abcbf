"""Headings of the heights of a rover's pole or antenna, in many languages; generic words only."""

from functools import lru_cache

from pipeline.files.heading_words import run_together
from pipeline.read.correction_headings import bare, says_base_antenna

#: The plainest first, as `new_job.headings` has those of other columns.
CALLED = """
    pole poleheight polehgt poleht rodheight rodht rod hr antennaheight antheight antht ih stab stabhohe stabhoehe
    antennenhohe antennenhoehe reflektorhohe canne hauteurcanne hauteurantenne bastonalt jalon alturajalon
    alturabaston alturaantena altezzapalina palina altezzaantenna stokhoogte antennehoogte stanghoyde antennehoyde
    antennikorkeus antennamagassag antenyuksekligi
    stanghojd antennhojd sauvankorkeus wysokosctyczki wysokoscanteny vyskavytycky vyskaanteny targetheight
    heightofpole heightofrod heightofantenna polelength rodlength hauteurdecanne hauteurdelacanne hauteurdelantenne
    alturadeantena alturadelaantena alturadaantena alturadobastao alturabastao alturadeljalon alturadebaston
    altezzadellantenna lattenhohe lattenhoehe stablange stablaenge
    высотавехи высотавешки длинавехи высотаантенны высоташтанги висотавіхи висотавішки висотаантени височинанаантената
    ύψοςστυλεού ύψοςκεραίας 杆高 杆高度 对中杆高 對中桿高 桿高 天线高 天線高 天线高度
    天線高度 ポール高 アンテナ高 폴높이 안테나높이 안테나고
    ความสูงเสา ความสูงเสาอากาศ chieucaosao chieucaoanten
"""
_CALLED = frozenset(map(run_together, CALLED.split()))


@lru_cache(maxsize=1024)
def says_pole(heading: str) -> bool:
    """Tell whether a heading says that its column is of heights of the rover's pole or antenna, in whatever unit."""
    return bare(heading) in _CALLED and not says_base_antenna(heading)
