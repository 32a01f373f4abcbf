"""What costs most of a new job is done once: asking the registry for a place, and deciding of a folder."""

from collections.abc import Iterator

import pytest
from folders_made import keep_draft
from pyproj.enums import PJType

from pipeline.geodesy import registry
from pipeline.geodesy.registry import Registered
from pipeline.new_job import start

#: The registry gives the bounds of its areas in hundredths of a degree.
_PARTS = 1000


@pytest.fixture(scope="session", autouse=True)
def _asked_once() -> Iterator[None]:
    """Half of the time of a new job. The first to ask at a place asks the registry."""
    known: dict[tuple[PJType, int, int], tuple[Registered, ...]] = {}
    ask = registry._at

    def asked(kind: PJType, longitude: float, latitude: float) -> tuple[Registered, ...]:
        place = (kind, int(longitude * _PARTS // 1), int(latitude * _PARTS // 1))
        if place not in known:
            known[place] = ask(kind, longitude, latitude)
        return known[place]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(registry, "_at", asked)
        yield


@pytest.fixture(scope="session", autouse=True)
def _drafted_once() -> Iterator[None]:
    """Tests that ask what was decided are told what `new_job` decided, and need not have it decided again."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(start, "draft_of", keep_draft)
        yield
