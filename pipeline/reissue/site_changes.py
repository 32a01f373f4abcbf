"""Says which marks of the site's own system are others than in an issue: its localisation hangs on them."""

from collections.abc import Iterator, Mapping
from typing import Any

from pipeline.issue.record_types import SiteFit
from pipeline.near import and_more

#: Marks that are named.
_NAMED = 4
_AXES = ("easting", "northing", "height")


def site_marks_changed(then: SiteFit | None, now: SiteFit | None) -> str:
    """Return in words which marks of two localisations are new, gone or elsewhere; "" where none is."""
    if then is None or now is None:
        return ""
    told = list(_told({one["mark"]: one for one in then["marks"]}, {one["mark"]: one for one in now["marks"]}))
    return "; ".join(told[:_NAMED]) + and_more(len(told) - _NAMED, "; ")


def _told(then: Mapping[str, Mapping[str, Any]], now: Mapping[str, Mapping[str, Any]]) -> Iterator[str]:
    for mark, row in now.items():
        if mark not in then:
            yield f"mark {mark} is new among the marks of the site"
        elif parts := [f"{axis} {_text(then[mark][axis])} to {_text(row[axis])}"
                       for axis in _AXES if _text(then[mark][axis]) != _text(row[axis])]:  # fmt: skip
            yield f"mark {mark} of the site: {', '.join(parts)}"
    yield from (f"mark {mark} is no longer among the marks of the site" for mark in then if mark not in now)


def _text(metres: float | None) -> str:
    return "none" if metres is None else f"{metres:.4f}"
