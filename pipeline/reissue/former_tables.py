"""Finds what a table of the job file said before: a record has its sum alone, which proves whatever gives the same.

Tried are the tables that the last one is likely to have been: with every choice of words, without keys that are stated
now, or with another number of one key. Where none gives the sum, what it said is not known.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from itertools import chain, combinations, product
from math import prod
from typing import Any

from pipeline.job.annotations import choices, leaves
from pipeline.job.canonical_text import KEYS_LATER, KEYS_SILENT, LIMITS, LIMITS_OF
from pipeline.job.model import Checks, Issue, Quality, Shift
from pipeline.job.stated_keys import in_words, plain
from pipeline.reissue.fingerprint import sum_of

_MODELS = {
    name: model.model_fields
    for name, model in (("checks", Checks), ("issue", Issue), ("quality", Quality), ("shift", Shift))
}

#: Numbers that people write: up to 0.1, 2, 10 and 120, to three, two, one and no decimals.
_NUMBERS = tuple(
    number / parts for parts, most in ((1000, 100), (100, 200), (10, 100), (1, 120)) for number in range(1, most + 1)
)
#: Words of a list up to which every choice of them is tried; of more, one more or one less.
_WORDS = 5
#: Tables that are tried at most with more than one key stated otherwise: some 50 ms.
_MOST = 4_000

Values = dict[str, Any]


def changed_keys(part: str, now: Mapping[str, Any], total: str | None) -> list[str]:
    """Return which keys of a table say something else than before, from what to what; nothing where it is not known.

    Args:
        part: the table's name, as `canonical_text.meanings` has it.
        now: what it says.
        total: the sum of what it said, None where there is none.
    """
    name = part.removeprefix(LIMITS_OF).strip("[]")
    if total is None or name not in _MODELS:
        return []
    fields, limits = _MODELS[name], LIMITS.get(name, ())
    keys = [
        key for key in fields if (key in limits) == part.startswith(LIMITS_OF) and key not in KEYS_SILENT.get(name, ())
    ]
    default = {key: plain(fields[key].get_default(call_default_factory=True)) for key in keys}
    said = {key: now.get(key, default[key]) for key in keys}
    options = {key: _options(fields[key].annotation, default[key], said[key]) for key in keys}
    for then in chain(_together(said, default, options), _single(said, options)):
        if sum_of(json.dumps(_written(then, default, name), sort_keys=True, ensure_ascii=False)) == total:
            return [f"{key} {in_words(then[key])} -> {in_words(said[key])}" for key in keys if then[key] != said[key]]
    return []


def _options(annotation: Any, default: Any, now: Any) -> list[Any]:
    """Return what a key may have said: every choice of words, numbers as people write them; else its default."""
    words, types = [*map(str, choices(annotation))], set(leaves(annotation))
    if isinstance(default, list):
        if not words:
            return [default]
        if len(words) <= _WORDS:
            return [sorted(some) for count in range(len(words) + 1) for some in combinations(words, count)]
        more = ([*now[:at], word, *now[at:]] for word in words if word not in now for at in range(len(now) + 1))
        return [default, *more, *([one for one in now if one != word] for word in now)]
    if words or bool in types:
        return words or [False, True]
    return [default, *_NUMBERS] if float in types else [default]


def _together(said: Values, default: Values, options: Mapping[str, Sequence[Any]]) -> Iterator[Values]:
    """Yield tables with several keys stated otherwise: as by default, or, where they are few, as they may be."""
    every = {key: [said[key], *(each for each in options[key] if len(options[key]) <= 1 << _WORDS)] for key in said}
    if prod(map(len, every.values())) > _MOST:
        every = {key: [said[key], *([default[key]] if said[key] != default[key] else [])] for key in said}
    if prod(map(len, every.values())) <= _MOST:
        yield from (dict(zip(said, values, strict=True)) for values in product(*every.values()))


def _single(said: Values, options: Mapping[str, Sequence[Any]]) -> Iterator[Values]:
    yield from ({**said, key: value} for key in said for value in options[key])


def _written(said: Values, default: Values, name: str) -> Values:
    """Return a table as its sum is made of it: what came later, or is nothing by default, only where it is stated."""
    left_out = [key for key, value in said.items() if value is None]
    left_out += [key for key in KEYS_LATER.get(name, ()) if key in said and said[key] == default[key]]
    return {key: value for key, value in said.items() if key not in left_out}
