"""What of a register would tie a session that nothing ties, in words: it may have the mark, and not what is needed."""

from collections.abc import Collection, Mapping, Sequence

_OF = {"3d": "", "position": "position", "height": "height"}


def of_register(
    marks: Sequence[str], lacks: Sequence[str], holds: Mapping[str, str], most: int, whole: Collection[str] = ()
) -> str:
    """Return what of which marks the register would have to give, joined by "or"; nothing where there are no marks.

    Args:
        marks: any one of them would do.
        lacks: "position", "height" or both.
        holds: what the register holds of each of its marks: "3d", "position" or "height".
        most: marks that are named at most.
        whole: marks that the register gives both position and height, whatever it holds of them.
    """
    new, lacking, unusable = list[str](), dict[tuple[str, bool], list[str]](), list[str]()
    for mark in marks[:most]:
        held = _OF.get(holds.get(mark, ""), "")
        if mark not in holds:
            new.append(mark)
        elif held and any(component != held for component in lacks):
            lacking.setdefault((held, mark in whole), []).append(mark)
        else:
            unusable.append(mark)
    said = [f"register coordinates of {_or(new)}"] if new else []
    for (held, given), some in lacking.items():
        needed = "height" if held == "position" else "position"
        why = "has but does not hold (see its column holds)" if given else "does not have"
        said.append(f"a {needed} of {_or(some)}, which the register {why}")
    if unusable:
        what = "heights" if list(lacks) == ["height"] else "coordinates"
        why = "those in the register lie outside an operation's area of use or a grid file"
        said.append(f"usable {what} of {_or(unusable)}, since {why}")
    return " or ".join(said) + (" or others" if said and len(marks) > most else "")


def _or(names: Sequence[str]) -> str:
    return " or ".join(names)
