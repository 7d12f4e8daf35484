"""People whom a pot or the stock joins: everyone by themselves first, then the whole programme at once.

Without the limits that join them, people are blocks of their own, and each is solved exactly. Where what comes out
keeps the limits that join, it is the best there is for all; ties are those of each block. Else all are one programme
in exact arithmetic; and very many people, or those for whom that finds nothing in the time, one linear programme,

    minimise    sum_j keep_j (up_j + down_j)
    subject to  a_r . (base + up - down) >= b_r       for every limit r
                0 <= up_j <= max_j - base_j,  0 <= down_j <= base_j - min_j,   base_j = start_j within its bounds

in doubles; its multipliers bound the least grams moved from below, recomputed in rationals (weak duality). What it
takes of the pots and the stock for each block is what that block may take, and each is solved exactly once more within
that; what a block leaves is there for the next. Every limit is checked in rationals, and the gap is stated; on the
steps it is narrowed by the least of each block with the limits that join priced (`_bound_by_parts`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from types import MappingProxyType

import numpy as np

from ratio_solver.day.kitchen import Component, Kitchen, proposals, weights_of
from ratio_solver.day.limits import KitchenLimit
from ratio_solver.dish.constraints import MORE
from ratio_solver.exact import ONE, ZERO, exact
from ratio_solver.lp import highs
from ratio_solver.lp.highs import Optimum
from ratio_solver.lp.model import Floats
from ratio_solver.lp.search import common_divisor, raised
from ratio_solver.solving.result import Diagnosis, Proposal, Repair
from ratio_solver.solving.scale_steps import step_of
from ratio_solver.solving.within import least_with_prices, weights_within

MOST_JOINED = 150
"""Weights that are solved as one programme in exact arithmetic, where pots and stock do not suffice as it comes."""

JOINS = ("pot", "stock")
"""Kinds of limits that join people."""

BEYOND_TAKEN = Fraction(1, 1000)
"""g of a pot or the stock that each block is given beyond what the linear programme takes, where there is any left."""

Answers = list[tuple[Component, Proposal | Diagnosis]]


@dataclass(frozen=True)
class Linked:
    """The answers of blocks that limits join.

    Attributes
    ----------
    answers : sequence of (Component, Proposal or Diagnosis)
    raised : Fraction
        By how much the bound of the whole exceeds the sum of the blocks' own, g moved.
    """

    answers: Answers
    raised: Fraction = ZERO

    @property
    def solved(self) -> bool:
        """Whether everyone has an answer."""
        return all(isinstance(answer, Proposal) for _, answer in self.answers)

    @property
    def moved(self) -> Fraction:
        """g moved by those who have an answer."""
        return sum((answer.objective.value for _, answer in proposals(self.answers)), ZERO)


def solve_linked(kitchen: Kitchen, block: Component, exactly: bool, time_limit: float | None = None) -> Linked:
    """The portions of people whom pots or the stock join.

    Parameters
    ----------
    kitchen : Kitchen
    block : Component
        Of portions of dishes that are cooked.
    exactly : bool
        Weights to any fraction of a gram.
    time_limit : float, optional
        Seconds for each person.

    Returns
    -------
    Linked
        Undecided where somebody has no portions in what the programme gives them.
    """
    parts = kitchen.parted([limit for limit in block.sparse if not _joining(limit)], block.places)
    if len(parts) == 1:
        return Linked([(block, block.solved(exactly, time_limit))])
    wide = len(block.places) > MOST_JOINED
    free: Answers = [(part, part.solved(exactly, time_limit, reasons=wide)) for part in parts]
    failed: Answers = [(part, answer) for part, answer in free if isinstance(answer, Diagnosis)]
    if not failed:
        weights = weights_of(free)
        weights |= _batches(kitchen, weights)
        if _suffice(block, weights):
            return Linked([(part, _batches_known(part, weights) if part.whole else answer) for part, answer in free])
    if wide:
        return Linked(failed) if failed else _within_joins(kitchen, block, parts, free, exactly, time_limit)
    answer = block.solved(exactly, time_limit)
    known = answer.objective.proven if isinstance(answer, Proposal) else not answer.undecided
    at_once = Linked([(block, answer)])
    if known or failed:
        return at_once
    return _fewer_moved(at_once, _within_joins(kitchen, block, parts, free, exactly, time_limit))


def _joining(limit: KitchenLimit) -> bool:
    """Whether it joins people, and is not about one weight alone."""
    return limit.model.kind in JOINS and len(limit.places) > 1


def _fewer_moved(one: Linked, other: Linked) -> Linked:
    """What has fewer grams moved, with the better bound of the two."""
    best = min((one, other), key=lambda linked: (not linked.solved, linked.moved))
    bound = max(linked.raised + _bound_of(linked.answers) for linked in (one, other))
    return replace(best, raised=min(bound, best.moved) - _bound_of(best.answers)) if best.solved else best


def _batches(kitchen: Kitchen, weights: Mapping[int, Fraction]) -> dict[int, Fraction]:
    """The batches that portions take, of the dishes whose number is a weight."""
    found = {}
    for pot, place in kitchen.batches_of.items():
        served = sum((len(portion.people) * weights[at] for portion, at in kitchen.place_of.items()
                      if kitchen.course(portion).pot == pot and at in weights), ZERO)
        given = kitchen.pots[pot].pot.batches
        found[place] = Fraction(given) if given is not None else Fraction(-int(-served // kitchen.pots[pot].grams))
    return found


def _suffice(block: Component, weights: Mapping[int, Fraction]) -> bool:
    """Whether pots and stock do for these weights."""
    return all(_used(limit, weights) <= limit.model.bound for limit in block.sparse if limit.model.kind in JOINS)


def _used(limit: KitchenLimit, weights: Mapping[int, Fraction]) -> Fraction:
    return sum((amount * weights.get(place, ZERO) for place, amount in limit.above.items()), ZERO)


def _within_joins(kitchen: Kitchen, block: Component, parts: Sequence[Component], free: Answers, exactly: bool,
                  time_limit: float | None) -> Linked:
    """Everyone within what the whole programme gives them of pots and the stock."""
    joins = [limit for limit in block.sparse if _joining(limit)]
    programme = Programme(kitchen, block)
    solved = programme.solved()
    if solved is None:
        return Linked([(block, _scarce(kitchen, block))])
    least = max(programme.bound(solved.row_prices.tolist()), _bound_of(free))
    undecided = Linked([(block, Diagnosis((), undecided=True))])
    in_whole = _with_whole_batches(kitchen, block, programme, solved)
    if in_whole is None:
        return undecided
    programme, solved = in_whole
    taken = programme.weights(solved.values.tolist())
    if not exactly:
        least = max(least, _bound_by_parts(parts, joins, programme.prices(solved), time_limit))
    spare = [limit.model.bound - _used(limit, taken) for limit in joins]
    found: Answers = []
    waiting = [part for part in parts if not part.whole]
    once = len(waiting)
    for turn, part in enumerate(waiting):
        own = [_of_part(limit, part, taken, left) for limit, left in zip(joins, spare, strict=True)]
        held = replace(part, sparse=(*part.sparse, *(limit for limit in own if limit is not None)))
        answer = held.solved(exactly, time_limit, reasons=False)
        if isinstance(answer, Proposal):
            found.append((part, answer))
            here = weights_of(found[-1:])
            spare = [left + sum((limit.above[at] * (taken[at] - grams) for at, grams in here.items()
                                 if at in limit.above), ZERO) for limit, left in zip(joins, spare, strict=True)]
        elif turn < once:
            waiting.append(part)  # once more, with what the others leave
        else:
            return undecided
    weights = weights_of(found) | {place: taken[place] for place in kitchen.batches_of.values() if place in taken}
    if not _suffice(block, weights):
        return undecided
    found += [(part, _batches_known(part, weights)) for part in parts if part.whole]
    linked = Linked(found)
    return replace(linked, raised=min(least, linked.moved) - _bound_of(found))


def _bound_by_parts(parts: Sequence[Component], joins: Sequence[KitchenLimit], prices: Sequence[Fraction],
                    time_limit: float | None) -> Fraction:
    """No weights on the steps have less moved: the limits that join are priced, and each part is solved by itself.

    For any prices y >= 0 of these limits, ``sum_p min (moved_p + y . used_p) - y . bounds`` (Lagrangian relaxation,
    Geoffrion 1974), raised to what grams moved are a multiple of; 0 where a part is not solved in the time.
    """
    total = -sum((price * limit.model.bound for price, limit in zip(prices, joins, strict=True)), ZERO)
    for part in parts:
        added = tuple(sum((price * limit.above.get(place, ZERO) for price, limit in zip(prices, joins, strict=True)),
                          ZERO) for place in part.places)
        least = least_with_prices(part.recipe, part.limits, added, time_limit)
        if least is None:
            return ZERO
        total += least
    items = [item for part in parts for item in part.recipe.ingredients if item.keep]
    grid = [exact(item.keep) * (common_divisor([step_of(item), exact(item.start)]) or ONE) for item in items]
    return raised(total, common_divisor(grid))


def _bound_of(answers: Answers) -> Fraction:
    """No weights of theirs have less moved."""
    return sum((answer.objective.bound for _, answer in proposals(answers)), ZERO)


def _with_whole_batches(kitchen: Kitchen, block: Component, programme: Programme,
                        solved: Optimum) -> tuple[Programme, Optimum] | None:
    """The programme with whole numbers of batches: as many as it takes, else one less of what can be.

    None where no such numbers are found.
    """
    weights = programme.weights(solved.values.tolist())
    places = [place for place in kitchen.batches_of.values() if place in weights]
    for rule in (math.ceil, round, math.floor) if places else ():
        fixed = Programme(kitchen, block, fixed={place: Fraction(rule(weights[place])) for place in places})
        found = fixed.solved()
        if found is not None:
            return fixed, found
    return None if places else (programme, solved)


def _of_part(limit: KitchenLimit, part: Component, taken: Mapping[int, Fraction],
             spare: Fraction) -> KitchenLimit | None:
    """What a block may take of a pot or of the stock; None where it takes nothing of it."""
    above = {place: limit.above[place] for place in part.places if place in limit.above}
    if not above:
        return None
    bound = sum((amount * taken[place] for place, amount in above.items()), ZERO) + max(ZERO, spare)
    return replace(limit, model=replace(limit.model, bound=bound), above=above)


def _batches_known(part: Component, weights: Mapping[int, Fraction]) -> Proposal | Diagnosis:
    """Numbers of batches, as they are already known."""
    items = tuple(replace(item, start=float(weights[place]), minimum=None, maximum=None)
                  for place, item in zip(part.places, part.recipe.ingredients, strict=True))
    return weights_within(replace(part.recipe, ingredients=items), ())


def _scarce(kitchen: Kitchen, block: Component) -> Diagnosis:
    """That pots or stock are not enough for what is prescribed, and how much of one would be."""
    at = {place: here for here, place in enumerate(block.places)}
    conflict, changes = [], []
    for limit in (limit for limit in block.sparse if limit.model.kind in JOINS):
        shown = limit.over(block.places, at)
        least = Programme(kitchen, block, without=limit).least(limit)
        conflict.append(shown)
        if least is not None and least > limit.model.bound:
            changes.append(Repair(shown, Fraction(-int(-least * (ONE + BEYOND_TAKEN) // 1))))
    return Diagnosis(tuple(conflict), repairs=tuple(changes), minimal=False)


class Programme:
    """The linear programme of a block in doubles, sparse; every row is ``>=``.

    Parameters
    ----------
    kitchen : Kitchen
    block : Component
    without : KitchenLimit, optional
        A limit that is left out.
    fixed : mapping of int to Fraction
        Weights that are known.
    """

    def __init__(self, kitchen: Kitchen, block: Component, without: KitchenLimit | None = None,
                 fixed: Mapping[int, Fraction] = MappingProxyType({})) -> None:
        self.places = block.places
        items = [kitchen.items[place] for place in self.places]
        starts = [exact(item.start) for item in items]
        self.low, self.high = ([fixed.get(place, start if end is None else exact(end)) for place, start, end in
                                zip(self.places, starts, ends, strict=True)]
                               for ends in ([item.minimum for item in items], [item.maximum for item in items]))
        self.base = [min(max(start, low), high) for start, low, high in zip(starts, self.low, self.high, strict=True)]
        self.keep = [exact(item.keep) for item in items]
        self.constant = sum((keep * abs(start - base) for start, base, keep in
                             zip(starts, self.base, self.keep, strict=True)), ZERO)
        self.at = {place: here for here, place in enumerate(self.places)}
        self.limits = [limit for limit in block.sparse if limit.model.kind != "ingredient" and limit is not without]
        self.rows = [self._at_least(limit) for limit in self.limits]

    def _at_least(self, limit: KitchenLimit) -> tuple[dict[int, Fraction], Fraction, float]:
        """A limit as a row of ``>=`` over moves from the base, and what it is divided by for the solver."""
        model, entries = limit.model, dict(limit.above)
        for place, amount in limit.below.items():
            entries[place] = entries.get(place, ZERO) - model.bound * amount
        sign = ONE if model.sense == MORE else -ONE
        row = {self.at[place]: sign * amount for place, amount in entries.items()}
        left = sign * model.bound * model.constant - sum((a * self.base[place] for place, a in row.items()), ZERO)
        return row, left, max((abs(float(a)) for a in row.values()), default=1.0) or 1.0

    @cached_property
    def arrays(self) -> tuple[Floats, object, Floats, Floats, Floats, Floats]:
        """Cost, matrix, bounds of rows, signs, lower and upper: what the solver is given."""
        count = len(self.places)
        entries = [(number, place, float(a) / scale) for number, (row, _, scale) in enumerate(self.rows)
                   for place, a in row.items()]
        number, place, value = np.array(entries).reshape(-1, 3).T
        matrix = highs.sparse(np.append(value, -value), np.append(number, number).astype(np.int64),
                              np.append(place, place + count).astype(np.int64), (len(self.rows), 2 * count))
        bound = np.array([float(left) / scale for _, left, scale in self.rows])
        rooms = [high - base for high, base in zip(self.high, self.base, strict=True)]
        rooms += [base - low for low, base in zip(self.low, self.base, strict=True)]
        return (np.array([float(keep) for keep in self.keep] * 2), matrix, bound, np.ones(len(bound)),
                np.zeros(2 * count), np.array([float(room) for room in rooms]))

    def solved(self) -> Optimum | None:
        """The best point and the multipliers of the rows, in doubles; None where the solver finds no point."""
        return highs.linear(*self.arrays)

    def prices(self, solved: Optimum) -> list[Fraction]:
        """What a unit more of each limit that joins people would save, g moved."""
        return [Fraction(max(0.0, price)) / Fraction(scale) for limit, (_, _, scale), price in
                zip(self.limits, self.rows, solved.row_prices.tolist(), strict=True) if _joining(limit)]

    def least(self, limit: KitchenLimit) -> Fraction | None:
        """The least of a sum over all portions."""
        one = np.array([float(limit.above.get(place, ZERO)) for place in self.places])
        found = highs.linear(np.append(one, -one), *self.arrays[1:])
        return None if found is None else _used(limit, self.weights(found.values.tolist()))

    def weights(self, values: Sequence[float]) -> dict[int, Fraction]:
        """Weights of a point, g, by their places in the kitchen."""
        moves = zip(self.places, self.base, values, values[len(self.places):], strict=False)
        return {place: base + Fraction(up) - Fraction(down) for place, base, up, down in moves}

    def bound(self, prices: Sequence[float]) -> Fraction:
        """Exact lower bound on the grams moved, from any multipliers (weak duality)."""
        up, down = list(self.keep), list(self.keep)
        total = self.constant
        for (row, left, scale), price in zip(self.rows, prices, strict=True):
            if price > 0:
                y = Fraction(price) / Fraction(scale)
                total += y * left
                for place, a in row.items():
                    up[place] -= y * a
                    down[place] += y * a
        for place, base in enumerate(self.base):
            total += min(ZERO, up[place]) * (self.high[place] - base)
            total += min(ZERO, down[place]) * (base - self.low[place])
        return total
