"""Builds the record of points measured twice."""

import numpy as np

from pipeline.draft.layer_rows import as_records
from pipeline.draft.second_pass import Drafter
from pipeline.issue.record_types import Repeats
from pipeline.issue.row_types import RepeatRow
from pipeline.run.layers import Laid

#: Failing pairs that the record has; the layer has all of them.
_FAILING = 100


def repeats(drafter: Drafter, laid: Laid) -> Repeats:
    """Return the record's ``repeats``."""
    pairs, merged = laid.repeated.pairs, drafter.merged
    same, issued = drafter.survey.first_pass.same_names, drafter.survey.job.issue.repeats
    named = np.unique(same.name[~np.isin(same.number, drafter.solved.not_points)], return_counts=True)[1]
    failing = np.flatnonzero(~pairs.passed)
    worst = failing[np.argsort(-np.linalg.norm(pairs.apart[failing], axis=1), kind="stable")][:_FAILING]
    rows = as_records(laid.repeats.take(worst), RepeatRow)
    plan, height = merged.spread.max(axis=0).tolist() if len(merged.spread) else (None, None)
    return {
        "issued": issued,
        "names": int((named > 1).sum()),
        "told_apart": len(drafter.names.number),
        "pairs": len(pairs.passed),
        "failed": len(failing),
        "failing": rows,
        "means": len(merged.number),
        "spread_horizontal": plan,
        "spread_vertical": height,
    }
