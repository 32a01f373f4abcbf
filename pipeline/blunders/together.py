"""Two things wrong in one day: a shift that the field applied, and what else the occupations say once it is out."""

from collections.abc import Sequence

import numpy as np

from pipeline.blunders.carried import Way
from pipeline.blunders.hypotheses import Tried
from pipeline.blunders.not_stated import FoundPattern, partial
from pipeline.blunders.score import Explanation, Hypothesis, Kind, WeighedDifferences, explain
from pipeline.replace import replace
from pipeline.tolerance import Tolerance

#: Second causes that are told of one pattern.
_SECOND = 3


def with_another(
    evidence: WeighedDifferences, tried: Tried, tolerance: Tolerance, explanations: Sequence[Explanation]
) -> tuple[list[Explanation], dict[Hypothesis, FoundPattern]]:
    """Return the explanations with those of two causes among them, and the pattern of each by its hypothesis' `id`.

    A second cause is looked for where a shift that the field applied explains some occupations and leaves others.
    """
    about = {one: found for one, found in tried.not_stated}
    if any(one.hypothesis.kind is Kind.NOT_STATED for one in explanations):
        return _once(explanations, about), about
    others = [one for one in tried.hypotheses if one.kind is not Kind.NOT_STATED]
    told = list(explanations)
    for first, found in partial(tried.not_stated):
        rest = replace(evidence, difference=evidence.difference - first.shape)
        for second in explain(rest, others, tolerance, tried.count)[:_SECOND]:
            if second.chance:
                continue
            both = _both(first, second, len(tried.not_stated))
            about[both.hypothesis] = found
            told.append(both)
    return sorted(told, key=lambda one: one.score), about


def _once(explanations: Sequence[Explanation], about: dict[Hypothesis, FoundPattern]) -> list[Explanation]:
    """Return explanations without patterns that a better one says already: the same readings carry the same."""
    told: list[Explanation] = []
    seen: set[tuple[int, bytes]] = set()
    for one in explanations:
        found = about.get(one.hypothesis)
        if found is not None and found.before is None:
            key = found.session, found.pattern.carrying.tobytes()
            if key in seen and found.pattern.way in (Way.ONCE, Way.REVISED):
                continue
            seen.add(key)
        told.append(one)
    return told


def _both(first: Hypothesis, second: Explanation, ways: int) -> Explanation:
    """Return one explanation of a shift that the field applied and of a second cause."""
    text = f"{first.text}; and in addition, {second.hypothesis.text}"
    decide = "; ".join(dict.fromkeys(filter(None, (first.decide, second.hypothesis.decide))))
    second_sentence = second.hypothesis.sentence_for
    both = None if second_sentence is None else lambda size: f"{first.text}; and in addition, {second_sentence(size)}"
    hypothesis = replace(second.hypothesis, kind=Kind.NOT_STATED, text=text, decide=decide, sentence_for=both)
    charged = 2.0 * float(np.log(max(ways, 1) * first.guesses))
    return replace(
        second, hypothesis=hypothesis, predicted=second.predicted + first.shape, score=second.score + charged
    )
