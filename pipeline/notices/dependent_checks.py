"""Says why a session is unchecked although it has checks: what they stand on, and what of it they do not test."""

from collections.abc import Iterator

from pipeline.intake.survey import Survey
from pipeline.near import listed
from pipeline.solve.compare import Dependence
from pipeline.solve.solve import Solved, dependent_checks
from pipeline.words import Verdict, plural

#: How each reason reads behind one mark and behind several; "{}" is what is not held.
_WHY = {
    Dependence.TIES: ("is where it is tied", "are where it is tied"),
    Dependence.BASE: ("is where its base stands", "are where its base stands"),
    Dependence.SOLE: ("is what its ties hang on alone", "are what its ties hang on alone"),
    Dependence.UNHELD: ("holds no {}", "hold no {}"),
    Dependence.UNREGISTERED: ("is not in the register", "are not in the register"),
    Dependence.COPIED: ("is in a row that may be a copy", "are in rows that may be copies"),
}
_TESTED = ("position", "height")


def dependent_check_notes(survey: Survey, solved: Solved) -> Iterator[str]:
    """Yield why sessions that no doubt reaches are unchecked although they have checks, each reason once."""
    found: dict[str, list[str]] = {}
    for window, verdict in zip(survey.windows, solved.verdicts, strict=True):
        if verdict is Verdict.UNCHECKED and not any(doubt.reaches(window.index) for doubt in solved.doubts):
            why = _why(*dependent_checks(survey, solved, window.index))
            if why:
                found.setdefault(why, []).append(window.session.name)
    for why, names in found.items():
        has = plural(len(names), "is unchecked although it has checks", "are unchecked although they have checks")
        yield f"{plural(len(names), 'session')} {listed(names)} {has}: {why}"


def _why(*by_mark: dict[str, Dependence | None]) -> str:
    """Return in words what is not tested by checks on these marks, and why; "" where all is, or there are none."""
    parts: dict[str, list[str]] = {}
    for tested, marks in zip(_TESTED, by_mark, strict=True):
        because = {mark: why for mark, why in marks.items() if why is not None}
        if because and len(because) == len(marks):
            parts.setdefault(_reasons(because, tested), []).append(tested)
    if not parts:
        return ""
    told = "; ".join(f"none tests its {' or its '.join(tested)}, since {why}" for why, tested in parts.items())
    wanted = " and ".join(tested for part in parts.values() for tested in part)
    return f"{told}. Occupy another mark of the register that holds {wanted}"


def _reasons(because: dict[str, Dependence], tested: str) -> str:
    grouped: dict[Dependence, list[str]] = {}
    for mark, why in because.items():
        grouped.setdefault(why, []).append(mark)
    return " and ".join(
        f"{listed(marks)} {plural(len(marks), *_WHY[why]).format(tested)}" for why, marks in grouped.items()
    )
