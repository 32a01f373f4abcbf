"""Tells readings dated after the machine's clock: in no record, which is the same on whatever day it is made."""

from datetime import UTC, datetime, timedelta

from pipeline.clock import seconds_text

#: Clocks are set by hand, and times without a zone may be read a day off, which is told elsewhere. Ours, no source.
_AHEAD = timedelta(days=2)


def date_ahead_notes(newest: datetime) -> list[str]:
    """Return in words that the newest reading, at a time in UTC, is not to be yet; nothing where it is past."""
    if newest <= datetime.now(UTC) + _AHEAD:
        return []
    return [
        f"the newest reading is of {seconds_text(newest)} UTC, which is yet to come by the clock of this machine: check"
        " the dates in exports and sessions, and the clock"
    ]
