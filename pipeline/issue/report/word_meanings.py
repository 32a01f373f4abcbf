"""The meaning of each word of the closed lists, in one sentence each, for the report."""

from pipeline.words import Change, Place, Proof, Reason, Verdict

VERDICTS = {
    Verdict.PROVEN: "independent check marks, occupied before the first and after the last point, agree with their"
    " published coordinates within the tolerances",
    Verdict.UNCLOSED: "every check agrees, but no passing occupation of a control mark stands on both sides of all"
    " points: a base that moved after the last check would not have been noticed",
    Verdict.UNCHECKED: "no mark that is independent of the ties was occupied, none was while a field shift was applied"
    " that its points carry, or a doubt takes its proof away: nothing proves the coordinates",
    Verdict.FAILED: "at least one occupation of a control mark disagrees with its published coordinates by more than"
    " the tolerances",
    Verdict.UNTIED: "no chain of ties leads to control, in position or in height: its points have no coordinates yet",
}

PROOFS = {
    Proof.BRACKETED: "between two occupations of control marks that both passed",
    Proof.UNCLOSED: "a passing occupation on one side in time, none on the other",
    Proof.SUSPECT: "next in time to an occupation that failed, or of an export all of whose occupations did",
    Proof.UNCHECKED: "in a session without an independent check, or whose proof a field shift that no check tests, or a"
    " doubt, takes away",
}

REASONS = {
    Reason.UNREADABLE: "the row could not be read in the format of its export",
    Reason.NO_POSITION: "the row has no usable position",
    Reason.NO_TIME: "the row has no usable time, so that no base can be found for it",
    Reason.AMBIGUOUS_TIME: "its local time occurs twice or not at all, because the clocks are changed",
    Reason.OUTSIDE_SESSIONS: "no base session covers its time, or none with its base id",
    Reason.TWO_SESSIONS: "two bases ran at its time, and it does not state which of them it was observed against",
    Reason.UNTIED: "no chain of ties leads from its session to control, in position or in height",
    Reason.NOT_FIXED: "its solution is not accepted by the job: float or autonomous, for instance",
    Reason.POOR_QUALITY: "its own quality figures are beyond the limits of the job",
    Reason.IMPLAUSIBLE: "its position or height is not possible: far from its base, its session or its neighbours",
    Reason.OUTSIDE_COVERAGE: "it is outside the area of the grid, the projection or a grid file",
    Reason.SUSPECT: "an occupation of a control mark next to it in time failed, or all of its export in the session"
    " did, or it says that it is a check and no mark is there",
    Reason.UNCLOSED: "no passing occupation of a control mark stands on both sides of it in time",
    Reason.UNCHECKED: "its session has no independent check, or a field shift that no check tests, or a doubt, takes"
    " its proof away",
    Reason.DUPLICATE: "it is the same observation as another row, exported twice, or copied to another name and time,"
    " or the mean of rows that are there too",
}

CHANGES = {
    Change.MOVED: "points with other coordinates than before",
    Change.ADDED: "points that were not there before",
    Change.WITHDRAWN: "points that are no longer there",
    Change.HELD: "points of the previous issue that are now held back",
    Change.RELEASED: "points that were held back before and are now issued",
    Change.RECODED: "points with another name, code or other attribute than before, those that moved among them",
}

#: What to do with points that changed, once `current` shows the issue.
TO_DO = dict.fromkeys((Change.WITHDRAWN, Change.HELD), ": remove them from drawings")

PLACES = {
    Place.OPENING: "before the first point of its session",
    Place.BETWEEN: "among the points of its session",
    Place.CLOSING: "after the last point of its session",
}

#: How much a reader wants to see a session or job with a verdict; 0 is nothing to look at.
URGENCY = {
    Verdict.PROVEN: 0,
    Verdict.UNCLOSED: 1,
    Verdict.UNCHECKED: 2,
    Verdict.UNTIED: 3,
    Verdict.FAILED: 4,
}
