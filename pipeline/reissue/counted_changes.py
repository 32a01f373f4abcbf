"""What an issue counted against the previous one, in words."""

from pipeline.issue.record_types import Changes, Compared
from pipeline.words import counted

#: How points are told of whose times differ from those of the previous issue.
_AGAIN = "known again by name and place"

#: How it ends that an issue was told against one that is not what was issued.
EDITED = "some of what changed may be somebody's edit of it"


def attributes_changed(compared: Compared) -> list[str]:
    """Say how many points have other attributes than before, or another name, where any have."""
    attributes = compared.get("attributes", 0)
    names = compared.get("recoded", 0) - attributes
    told = [f"the code or another attribute of {counted(attributes, 'point')} changed"] if attributes else []
    return [*told, f"{counted(names, 'point')} {'has' if names == 1 else 'have'} another name"] if names else told


def is_counted(reason: str, changes: Changes) -> bool:
    """Say whether a reason for an issue is what it counted against the previous one: that holds between those alone.

    Over several issues such counts neither add up nor need to stay.
    """
    return reason in attributes_changed(changes) or f" {_AGAIN}: " in reason or reason.endswith(EDITED)


def times_differ(points: int, since: int) -> list[str]:
    """Say of how many points an issue has other times than the one before, where of any."""
    if not points:
        return []
    what = "its time differs" if points == 1 else "their times differ"
    return [f"{counted(points, 'point')} {_AGAIN}: {what} from issue {since:03d}"]
