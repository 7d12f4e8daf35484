"""The costs of a whole model in the stages in which HiGHS minimises them: one alone, or two at once."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from ratio_solver.exact import Vector
from ratio_solver.lp.search import USABLE, WholeModel, raised

SEEN = Fraction(1, 10**5)
"""The least that a second cost may weigh beside a first when both are minimised at once."""


@dataclass(frozen=True)
class Stage:
    """One cost to minimise, or two at once: the second so small that it cannot outweigh a grid unit of the first.

    Counted from what the variables' lower bounds make of them (their bases), both costs are >= 0. Where then second
    <= steepness * first for every point and first <= most at the best, ``first + share * second`` with
    ``share * steepness * most = grid / 2`` has its minimum at the least first cost, and there at the least second.
    """

    following: int
    cost: Vector
    grid: Fraction | None
    tilt: Fraction = Fraction(0)
    share: Fraction = Fraction(0)
    bases: tuple[Fraction, Fraction] = (Fraction(0), Fraction(0))

    def spoilt(self, value: Fraction) -> bool:
        """Whether the first cost came out so high that the second may have outweighed a grid unit of it."""
        return bool(self.tilt) and self.grid is not None and self.tilt * (value - self.bases[0]) >= self.grid

    def bound(self, bound: Fraction) -> Fraction:
        """What a bound on the joint cost says of the first."""
        first, second = self.bases
        return raised((bound - self.share * second + self.tilt * first) / (1 + self.tilt), self.grid)


def stage_of(whole: WholeModel, place: int, most: Fraction) -> Stage:
    """The cost at this place, joined with the next where the solver can still tell both apart."""
    costs = whole.model.costs
    first, grid = costs[place], whole.grid(costs[place])
    if place + 1 < len(costs) and grid is not None and _tells_apart(first, grid):
        steepness = _steepness(first, costs[place + 1])
        if steepness is not None:
            bases = whole.base(first), whole.base(costs[place + 1])
            share = grid / (2 * steepness * max(most - bases[0], grid))
            if share * min(c for c in costs[place + 1] if c) > SEEN * max(first):
                joint = tuple(a + share * b if b else a for a, b in zip(first, costs[place + 1], strict=True))
                return Stage(place + 2, joint, grid, share * steepness, share, bases)
    return Stage(place + 1, first, grid)


def _steepness(first: Vector, second: Vector) -> Fraction | None:
    """The least s with second <= s * first, both counted from their bases; None where there is none."""
    pairs = [(a, b) for a, b in zip(first, second, strict=True) if a or b]
    if not pairs or any(a <= 0 or b <= 0 for a, b in pairs):
        return None
    return max(b / a for a, b in pairs)


def _tells_apart(cost: Vector, grid: Fraction | None) -> bool:
    """Whether the solver can tell neighbouring values of a cost from each other."""
    return grid is not None and float(grid) > USABLE * max(float(abs(c)) for c in cost)
