"""A minimal conflict: rows and bounds that cannot be kept together, while any fewer can."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

Member = TypeVar("Member")


def minimal_conflict(
    members: Sequence[Member], feasible_without: Callable[[frozenset[Member]], bool]
) -> tuple[Member, ...]:
    """Deletion filter: drop members one after the other, keep those whose loss makes the rest feasible.

    Parameters
    ----------
    members : sequence
        Candidates, all together infeasible. The last are dropped first where they can be.
    feasible_without : callable
        Whether the model is feasible when these members are dropped.

    Returns
    -------
    tuple
        A conflict from which no member can be dropped, in the order of `members`.

    References
    ----------
    Chinneck JW, Dravnieks EW, Locating minimal infeasible constraint sets in linear programs,
    ORSA Journal on Computing 3 (1991) 157-168.
    """
    dropped: frozenset[Member] = frozenset()
    for member in reversed(members):
        tried = dropped | {member}
        if not feasible_without(tried):
            dropped = tried
    return tuple(member for member in members if member not in dropped)
