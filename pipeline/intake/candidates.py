"""The sound candidates of the first pass, with their raw positions and what the sessions say of them."""

from collections import defaultdict

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.intake.first_pass import FirstPass
from pipeline.intake.named_points import Named, named_points
from pipeline.intake.operations import Operations
from pipeline.intake.positions import working_positions
from pipeline.intake.prepare import Prepared
from pipeline.occupations.signs import Wanted
from pipeline.replace import replace
from pipeline.tables import milliseconds
from pipeline.words import Role


class Candidates(Struct, frozen=True):
    """Readings that may be occupations of marks and are not held back, (n,) in the order of reading.

    Args:
        table: their columns of `first_pass.FirstPass.candidates`.
        session: index of the session.
        time: UTC milliseconds.
        names: of the points.
        named: what the session says of each, None where it says nothing.
        raw: (n, 3) working frame.
    """

    table: pa.Table
    session: Integers
    time: Integers
    names: tuple[str | None, ...]
    named: tuple[Named | None, ...]
    raw: Floats

    def ties(self) -> list[tuple[int, str]]:
        """Return the row and the mark of every tie."""
        return [(row, said.mark) for row, said in enumerate(self.named) if said is not None and said.role is Role.TIE]

    def ties_by_name(self) -> dict[tuple[int, str | None], list[int]]:
        """Return the rows of the ties by session and name."""
        found = defaultdict[tuple[int, str | None], list[int]](list)
        for row, _ in self.ties():
            found[int(self.session[row]), self.names[row]].append(row)
        return found


def sound_candidates(prepared: Prepared, first_pass: FirstPass, operations: Operations) -> Candidates:
    """Return the candidates that are not held back."""
    table = first_pass.candidates.filter(pc.equal(first_pass.candidates.column("held"), 0))
    session = np.asarray(table.column("session"), np.int64)
    names = table.column("name").to_pylist()
    said = named_points(prepared)
    raw = np.full((table.num_rows, 3), np.nan)
    export = np.asarray(table.column("export"), np.int64)
    for number in np.unique(export):
        rows = np.flatnonzero(export == number)
        block = prepared.exports[number].block
        epochs = operations.epochs[session[rows], block]
        raw[rows] = working_positions(table.take(pa.array(rows)), operations.frames.to_working[block], epochs)
    named = [said.get((int(at), name or "")) for at, name in zip(session, names, strict=True)]
    found = Candidates(table, session, milliseconds(table), tuple(names), tuple(named), raw)
    return _with_roles_parted(found, np.asarray(coded_checks(table, prepared), bool))


def coded_checks(table: pa.Table, prepared: Prepared) -> pa.Array:
    """Return (n,) which readings of a table have a code of ``checks.codes``."""
    wanted = Wanted.of([], prepared.loaded.job.checks.codes)
    return pc.fill_null(wanted.has_code(table.column("code").combine_chunks()), False)


def _with_roles_parted(candidates: Candidates, coded: Flags) -> Candidates:
    """Make checks of those readings named like a tie that have the code of a check, where others of the name have not.

    One who ties and closes on a mark may use one name for both, and says by the code which is which.
    """
    named = list(candidates.named)
    for rows in candidates.ties_by_name().values():
        if coded[rows].all():
            continue
        for row in rows:
            if coded[row] and (said := named[row]) is not None:
                named[row] = Named(said.mark, Role.CHECK)
    return replace(candidates, named=tuple(named))
