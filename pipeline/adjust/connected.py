"""What is tied and what is not, and in which order a tie network is best eliminated: questions of who meets whom.

Sessions and marks are the nodes of a graph, numbered sessions first; an occupation joins two of them. Position (east
and north) and height (up) are asked separately: a node is tied in one of them if a chain of occupations that observe
it leads to an observation of it without a partner (control, or a stated shift). The local directions of two marks
differ by the rotation of the vertical between them (1 in 6,371 for a kilometre), so several marks of known position
would determine a height too, to metres: that is no tie, and none is counted.
"""

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Integers
from pipeline.groups import group_labels

if TYPE_CHECKING:  # a fifth of a second that jobs with a few sessions and marks need not wait for
    from scipy.sparse import csr_array


class Ties(Struct, frozen=True):
    """Which of ``S`` sessions and ``M`` marks are tied in position and in height.

    ``position_group`` and ``height_group`` (S + M,) label, sessions first, what occupations join to one another.
    """

    session_position: Flags
    session_height: Flags
    mark_position: Flags
    mark_height: Flags
    position_group: Integers
    height_group: Integers

    @property
    def position(self) -> Flags:
        """(S + M,), sessions first: tied in position."""
        return np.concatenate([self.session_position, self.mark_position])

    @property
    def height(self) -> Flags:
        """(S + M,), sessions first: tied in height."""
        return np.concatenate([self.session_height, self.mark_height])


class MissingTie(Struct, frozen=True):
    """One tie that is missing, in position, in height or in both.

    Any one of ``sessions`` occupying a mark that is tied in those components would make it, or register coordinates
    of them for any one of ``marks``.
    """

    sessions: tuple[int, ...]
    marks: tuple[int, ...]
    position: bool
    height: bool


def find_ties(session: Integers, mark: Integers, present: Flags, sessions: int, marks: int) -> Ties:
    """Follow the occupations from control and stated shifts to every session and mark.

    ``session`` and ``mark`` (n,) are indices, -1 where none takes part; ``present`` (n, 3) says which of east, north
    and up are observed, east and north always together.
    """
    first, second = _ends(session, mark, sessions)
    in_position = present[:, 0] & present[:, 1]
    position, position_group = _reached(first, second, in_position, sessions + marks)
    if np.array_equal(in_position, present[:, 2]):  # the same observations join the same
        height, height_group = position, position_group
    else:
        height, height_group = _reached(first, second, present[:, 2], sessions + marks)
    return Ties(
        session_position=position[:sessions],
        session_height=height[:sessions],
        mark_position=position[sessions:],
        mark_height=height[sessions:],
        position_group=position_group,
        height_group=height_group,
    )


def missing_ties(ties: Ties) -> tuple[MissingTie, ...]:
    """Return the shortest list of ties that would tie every session, in position and in height.

    One tie serves a group that lacks position and a group that lacks height where they have a session or mark in
    common; as many groups as possible are paired that way. Groups of marks alone hold nothing back and are left out.
    """
    sessions = len(ties.session_position)
    position = _lacking(ties.position, ties.position_group, sessions)
    height = _lacking(ties.height, ties.height_group, sessions)
    common = (position >= 0) & (height >= 0)
    shape = (int(position.max(initial=-1)) + 1, int(height.max(initial=-1)) + 1)
    partner = _matching(position[common], height[common], shape)
    missing = []
    for group, other in enumerate(partner.tolist()):
        members = position == group if other < 0 else (position == group) & (height == other)
        missing.append(_missing(members, sessions, position=True, height=other >= 0))
    for group in np.setdiff1d(np.arange(shape[1]), partner).tolist():
        missing.append(_missing(height == group, sessions, position=False, height=True))
    return tuple(missing)


def best_eliminated(session: Integers, mark: Integers, sessions: int, marks: int) -> Flags:
    """Return (S + M,) the largest set of sessions and marks no two of which meet, to be eliminated first.

    It is what the smallest vertex cover leaves over, and that comes from a largest matching (König, 1931).
    """
    both = (session >= 0) & (mark >= 0)
    partner = _matching(session[both], mark[both], (sessions, marks))
    matched = np.flatnonzero(partner >= 0)
    alone = np.flatnonzero(partner < 0)
    source = sessions + marks
    tails = np.concatenate([session[both], partner[matched] + sessions, np.full(len(alone), source)])
    heads = np.concatenate([mark[both] + sessions, matched, alone])
    from scipy.sparse.csgraph import breadth_first_order

    graph = _graph(tails, heads, (source + 1, source + 1))
    reached = np.zeros(source + 1, dtype=np.bool_)
    reached[breadth_first_order(graph, source, return_predecessors=False)] = True
    return np.concatenate([reached[:sessions], ~reached[sessions:source]])


def _ends(session: Integers, mark: Integers, sessions: int) -> tuple[Integers, Integers]:
    """The nodes that an observation touches; both the same where no partner takes part."""
    node = np.where(mark >= 0, mark + sessions, -1)
    return np.where(session >= 0, session, node), np.where(mark >= 0, node, session)


def _reached(first: Integers, second: Integers, observed: Flags, nodes: int) -> tuple[Flags, Integers]:
    """Which nodes a chain joins to an observation without a partner, and the label of each node's group."""
    first, second = first[observed], second[observed]
    labels = group_labels(first, second, nodes)
    held = np.zeros(nodes, dtype=np.bool_)
    held[labels[first[first == second]]] = True
    return held[labels], labels


def _lacking(tied: Flags, group: Integers, sessions: int) -> Integers:
    """Number the untied groups that hold a session, from 0; -1 for every other node."""
    wanted = np.unique(group[:sessions][~tied[:sessions]])
    place = np.searchsorted(wanted, group)
    return np.where(np.isin(group, wanted), place, -1)


def _missing(members: Flags, sessions: int, *, position: bool, height: bool) -> MissingTie:
    nodes = np.flatnonzero(members)
    return MissingTie(
        sessions=tuple(nodes[nodes < sessions].tolist()),
        marks=tuple((nodes[nodes >= sessions] - sessions).tolist()),
        position=position,
        height=height,
    )


def _matching(rows: Integers, columns: Integers, shape: tuple[int, int]) -> Integers:
    """The column that a largest matching gives each row, -1 for none."""
    if len(rows) == 0:
        return np.full(shape[0], -1, dtype=np.int64)
    from scipy.sparse.csgraph import maximum_bipartite_matching

    partner: Integers = maximum_bipartite_matching(_graph(rows, columns, shape), perm_type="column").astype(np.int64)
    return partner


def _graph(rows: Integers, columns: Integers, shape: tuple[int, int]) -> "csr_array":
    from scipy.sparse import coo_array

    return coo_array((np.ones(len(rows), dtype=np.int32), (rows, columns)), shape=shape).tocsr()
