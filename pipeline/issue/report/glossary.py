"""The trade's words that the project uses, one thing each: the report and the README have them from here."""

GLOSSARY = {
    "control mark": "a mark in the ground whose coordinates are published",
    "register": "the file of control marks and their published coordinates",
    "base": "the receiver that stands still and broadcasts corrections, from a position that may be metres wrong",
    "session": "a time during which one base stood at one place; everything observed in it has the same shift",
    "export": "a file of readings as a rover or its office software wrote it",
    "reading": "one row of an export: a position, its time and what else was recorded",
    "temporary mark": "a mark without published coordinates that ties join between sessions",
    "occupation": "a reading on a control mark or on a temporary mark",
    "tie": "an occupation that computes the shift, so its residual is not independent",
    "check": "an occupation that never takes part in the adjustment and so tests the result independently",
    "noted check": "one that was read off the screen in the field and has no row in an export; it proves nothing",
    "shift": "what is added to the raw positions of a session to correct the base's position",
    "bracketed, proven": "a point is bracketed between two occupations that passed; a session is proven when"
    " all of its occupations passed, with some before its first and after its last point, and one or more of them are"
    " checks on marks that do not tie it",
    "doubt": "what would put every point of a session off although all checks agree; takes the proof away until"
    " somebody confirms that all is in order",
    "held back": "in the issue, in its own layer with the reason, but not among the points to draw from",
    "issue": "one numbered set of files, complete and never changed afterwards",
    "sigma, 95 %": "sigma is one standard deviation; 95 % is the radius of the circle, or half the height of the band,"
    " that holds the true value 95 times in 100",
}
