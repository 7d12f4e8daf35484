"""People whom a pot or the stock joins: everyone by themselves first, then the whole programme at once.

Without the limits that join them, people are blocks of their own, and each is solved exactly. Where what comes out
keeps the limits that join, it is the best there is for all; ties are those of each block. Else all are one programme
in exact arithmetic, and very many people one linear programme,

    minimise    sum_j keep_j (up_j + down_j)
    subject to  a_r . (base + up - down) >= b_r       for every limit r
                0 <= up_j <= max_j - base_j,  0 <= down_j <= base_j - min_j,   base_j = start_j within its bounds

in doubles; its multipliers bound the least grams moved from below, recomputed in rationals (weak duality). What it
takes of the pots and the stock for each block is what that block may take, and each is solved exactly once more within
that; what a block leaves is there for the next. Every limit is checked in rationals, and the gap is stated.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from types import MappingProxyType

import numpy as np

from ratio_solver.day.kitchen import Block, Kitchen
from ratio_solver.day.limits import KitchenLimit
from ratio_solver.dish.constraints import MORE
from ratio_solver.errors import NotProven
from ratio_solver.exact import ONE, ZERO, exact
from ratio_solver.lp import highs
from ratio_solver.lp.highs import Optimum
from ratio_solver.lp.model import Floats
from ratio_solver.solving.result import Diagnosis, Proposal, Repair
from ratio_solver.solving.within import proposal_within, weights_within

MOST_JOINED = 150
"""Weights that are solved as one programme in exact arithmetic, where pots and stock do not suffice as it comes."""

JOINS = ("pot", "stock")
"""Kinds of limits that join people."""

SPARE = Fraction(1, 1000)
"""g of a pot or the stock that each block is given beyond what the linear programme takes, where there is any left."""

Answers = list[tuple[Block, Proposal | Diagnosis]]


@dataclass(frozen=True)
class Linked:
    """The answers of blocks that limits join.

    Attributes
    ----------
    answers : sequence of (Block, Proposal or Diagnosis)
    raised : Fraction
        By how much the bound of the whole exceeds the sum of the blocks' own, g moved.
    """

    answers: Answers
    raised: Fraction = ZERO


def solve_linked(kitchen: Kitchen, block: Block, exactly: bool, time_limit: float | None = None) -> Linked:
    """The portions of people whom pots or the stock join.

    Parameters
    ----------
    kitchen : Kitchen
    block : Block
        Of portions of dishes that are cooked.
    exactly : bool
        Weights to any fraction of a gram.
    time_limit : float, optional
        Seconds for each person.

    Raises
    ------
    NotProven
        Where the joined limits leave somebody no portions in what the programme gives them.
    """
    joins = [limit for limit in block.sparse if limit.model.kind in JOINS]
    parts = kitchen.parted([limit for limit in block.sparse if limit.model.kind not in JOINS], block.places)
    if len(parts) == 1:
        return Linked([(block, _solved(block, exactly, time_limit))])
    wide = len(block.places) > MOST_JOINED
    alone = _solved if wide else _tried
    free: Answers = [(part, answer) for part in parts if (answer := alone(part, exactly, time_limit)) is not None]
    failed: Answers = [(part, answer) for part, answer in free if isinstance(answer, Diagnosis)]
    if len(free) == len(parts) and not failed:
        weights = _weights(free)
        weights |= _batches(kitchen, weights)
        if all(_kept(limit, weights) for limit in joins):
            return Linked([(part, _counted(part, weights) if part.whole else answer) for part, answer in free])
    if not wide:
        return Linked([(block, _solved(block, exactly, time_limit))])
    return Linked(failed) if failed else _within_joins(kitchen, block, parts, joins, free, exactly, time_limit)


def _solved(block: Block, exactly: bool, time_limit: float | None) -> Proposal | Diagnosis:
    return weights_within(block.recipe, block.limits, exact=exactly, whole=block.whole, time_limit=time_limit)


def _tried(block: Block, exactly: bool, time_limit: float | None) -> Proposal | None:
    """The same without the reasons where there are none."""
    return proposal_within(block.recipe, block.limits, exact=exactly, whole=block.whole, time_limit=time_limit)


def _weights(answers: Iterable[tuple[Block, Proposal | Diagnosis]]) -> dict[int, Fraction]:
    return {place: weight.grams for part, answer in answers if isinstance(answer, Proposal)
            for place, weight in zip(part.places, answer.weights, strict=True)}


def _batches(kitchen: Kitchen, weights: Mapping[int, Fraction]) -> dict[int, Fraction]:
    """The batches that portions take, of the dishes whose number is a weight."""
    found = {}
    for pot, place in kitchen.batches_of.items():
        served = sum((len(portion.people) * weights[at] for portion, at in kitchen.place_of.items()
                      if kitchen.course(portion).pot == pot and at in weights), ZERO)
        given = kitchen.pots[pot].pot.batches
        found[place] = Fraction(given) if given is not None else Fraction(-int(-served // kitchen.pots[pot].grams))
    return found


def _kept(limit: KitchenLimit, weights: Mapping[int, Fraction]) -> bool:
    return _used(limit, weights) <= limit.model.bound


def _used(limit: KitchenLimit, weights: Mapping[int, Fraction]) -> Fraction:
    return sum((amount * weights.get(place, ZERO) for place, amount in limit.above.items()), ZERO)


def _within_joins(kitchen: Kitchen, block: Block, parts: Sequence[Block], joins: Sequence[KitchenLimit],
                  free: Answers, exactly: bool, time_limit: float | None) -> Linked:
    """Everyone within what the whole programme gives them of pots and the stock."""
    programme = Programme(kitchen, block)
    solved = programme.solved()
    if solved is None:
        return Linked([(block, _scarce(kitchen, block, joins))])
    least = programme.bound(solved.row_prices.tolist())
    taken = _with_whole_batches(kitchen, block, programme.weights(solved.values.tolist()))
    number = {place: taken[place] for place in kitchen.batches_of.values() if place in taken}
    spare = [limit.model.bound - _used(limit, taken) for limit in joins]
    found: Answers = []
    waiting = [part for part in parts if not part.whole]
    for again in (True, False):
        later = []
        for part in waiting:
            own = [_of_part(limit, part, taken, left) for limit, left in zip(joins, spare, strict=True)]
            held = part.with_limits([limit for limit in own if limit is not None])
            answer = proposal_within(held.recipe, held.limits, exact=exactly, time_limit=time_limit)
            if answer is None and again:
                later.append(part)
                continue
            if answer is None:
                raise NotProven("the portions that pots and stock leave could not be found for everyone")
            found.append((part, answer))
            here = dict(zip(part.places, (weight.grams for weight in answer.weights), strict=True))
            for place, limit in enumerate(joins):
                spare[place] += sum((limit.above[at] * (taken[at] - grams) for at, grams in here.items()
                                     if at in limit.above), ZERO)
        waiting = later
    weights = _weights(found) | number
    if not all(_kept(limit, weights) for limit in joins):
        raise NotProven("the portions of everyone together do not keep what pots and stock leave")
    found += [(part, _counted(part, weights)) for part in parts if part.whole]
    whole = sum((answer.objective.bound for _, answer in free if isinstance(answer, Proposal)), ZERO)
    here_least = sum((answer.objective.value for _, answer in found if isinstance(answer, Proposal)), ZERO)
    bound = min(max(least, whole), here_least)
    own_bounds = sum((answer.objective.bound for _, answer in found if isinstance(answer, Proposal)), ZERO)
    unsure = [(part, replace(answer, objective=replace(answer.objective, proven=bound == here_least, proof=""))
               if isinstance(answer, Proposal) else answer) for part, answer in found]
    return Linked(unsure, bound - own_bounds)


def _with_whole_batches(kitchen: Kitchen, block: Block, weights: dict[int, Fraction]) -> dict[int, Fraction]:
    """The weights of the programme with whole numbers of batches: as many as it takes, else one less of what can be.

    Raises
    ------
    NotProven
        Where no such numbers are found.
    """
    places = [place for place in kitchen.batches_of.values() if place in weights]
    if not places:
        return weights
    for rule in (math.ceil, round, math.floor):
        fixed = {place: Fraction(rule(weights[place])) for place in places}
        programme = Programme(kitchen, block, fixed=fixed)
        solved = programme.solved()
        if solved is not None:
            return programme.weights(solved.values.tolist())
    raise NotProven("whole batches within the stock could not be found")


def _of_part(limit: KitchenLimit, part: Block, taken: Mapping[int, Fraction], spare: Fraction) -> KitchenLimit | None:
    """What a block may take of a pot or of the stock; None where it takes nothing of it."""
    above = {place: limit.above[place] for place in part.places if place in limit.above}
    if not above:
        return None
    bound = sum((amount * taken[place] for place, amount in above.items()), ZERO) + max(ZERO, spare)
    return replace(limit, model=replace(limit.model, bound=bound), above=above)


def _counted(part: Block, weights: Mapping[int, Fraction]) -> Proposal | Diagnosis:
    """Numbers of batches, as they are already known."""
    items = tuple(replace(item, start=float(weights[place]), minimum=None, maximum=None)
                  for place, item in zip(part.places, part.recipe.ingredients, strict=True))
    return weights_within(replace(part.recipe, ingredients=items), ())


def _scarce(kitchen: Kitchen, block: Block, joins: Sequence[KitchenLimit]) -> Diagnosis:
    """That pots or stock are not enough for what is prescribed, and how much of one would be."""
    at = {place: here for here, place in enumerate(block.places)}
    conflict, changes = [], []
    for limit in joins:
        shown = limit.over(block.places, at)
        least = Programme(kitchen, block, without=limit).least(limit)
        conflict.append(shown)
        if least is not None and least > limit.model.bound:
            changes.append(Repair(shown, Fraction(-int(-least * (ONE + SPARE) // 1))))
    return Diagnosis(tuple(conflict), repairs=tuple(changes), minimal=False)


class Programme:
    """The linear programme of a block in doubles, sparse; every row is ``>=``.

    Parameters
    ----------
    kitchen : Kitchen
    block : Block
    without : KitchenLimit, optional
        A limit that is left out.
    fixed : mapping of int to Fraction
        Weights that are known.
    """

    def __init__(self, kitchen: Kitchen, block: Block, without: KitchenLimit | None = None,
                 fixed: Mapping[int, Fraction] = MappingProxyType({})) -> None:
        self.places = block.places
        self.items = [kitchen.items[place] for place in self.places]
        self.at = {place: here for here, place in enumerate(self.places)}
        self.low = [exact(item.minimum) if item.minimum is not None else exact(item.start) for item in self.items]
        self.high = [exact(item.maximum) if item.maximum is not None else exact(item.start) for item in self.items]
        for place, value in fixed.items():
            self.low[self.at[place]] = self.high[self.at[place]] = value
        self.base = [min(max(exact(item.start), low), high)
                     for item, low, high in zip(self.items, self.low, self.high, strict=True)]
        self.keep = [exact(item.keep) for item in self.items]
        self.rows = [_row(limit, self.at) for limit in block.sparse
                     if limit.model.kind != "ingredient" and limit is not without]

    @cached_property
    def constant(self) -> Fraction:
        """g moved that no portions can avoid: starts out of bounds."""
        return sum((keep * abs(exact(item.start) - base)
                    for item, keep, base in zip(self.items, self.keep, self.base, strict=True)), ZERO)

    @cached_property
    def arrays(self) -> tuple[Floats, object, Floats, Floats, Floats, Floats]:
        """Cost, matrix, bounds of rows, signs, lower and upper: what the solver is given."""
        count = len(self.places)
        value, row, column, bound = [], [], [], []
        for number, (entries, right) in enumerate(self.rows):
            scale = _scale(entries)
            for place, a in entries.items():
                for at, sign in ((place, 1.0), (count + place, -1.0)):
                    value.append(sign * float(a) / scale)
                    row.append(number)
                    column.append(at)
            bound.append(float(right - sum((a * self.base[place] for place, a in entries.items()), ZERO)) / scale)
        matrix = highs.sparse(np.array(value), np.array(row, dtype=np.int64), np.array(column, dtype=np.int64),
                              (len(self.rows), 2 * count))
        ups = [float(high - base) for high, base in zip(self.high, self.base, strict=True)]
        downs = [float(base - low) for base, low in zip(self.base, self.low, strict=True)]
        cost = np.array([float(keep) for keep in self.keep] * 2)
        return cost, matrix, np.array(bound), np.ones(len(bound)), np.zeros(2 * count), np.array(ups + downs)

    def solved(self) -> Optimum | None:
        """The best point and the multipliers of the rows, in doubles; None where the solver finds no point."""
        return highs.linear(*self.arrays)

    def least(self, limit: KitchenLimit) -> Fraction | None:
        """The least of a sum over all portions."""
        _, matrix, bound, sign, lower, upper = self.arrays
        one = np.zeros(len(self.places))
        for place, amount in limit.above.items():
            one[self.at[place]] = float(amount)
        found = highs.linear(np.append(one, -one), matrix, bound, sign, lower, upper)
        if found is None:
            return None
        return _used(limit, self.weights(found.values.tolist()))

    def weights(self, values: Sequence[float]) -> dict[int, Fraction]:
        """Weights of a point, g, by their places in the kitchen."""
        count = len(self.places)
        return {self.places[at]: base + Fraction(values[at]) - Fraction(values[count + at])
                for at, base in enumerate(self.base)}

    def bound(self, prices: Sequence[float]) -> Fraction:
        """Exact lower bound on the grams moved, from any multipliers (weak duality)."""
        up, down = list(self.keep), list(self.keep)
        total = self.constant
        for (entries, right), price in zip(self.rows, prices, strict=True):
            if price <= 0:
                continue
            y = Fraction(price) / Fraction(_scale(entries))
            total += y * (right - sum((a * self.base[place] for place, a in entries.items()), ZERO))
            for place, a in entries.items():
                up[place] -= y * a
                down[place] += y * a
        for place, base in enumerate(self.base):
            total += min(ZERO, up[place]) * (self.high[place] - base)
            total += min(ZERO, down[place]) * (base - self.low[place])
        return total


def _scale(entries: Mapping[int, Fraction]) -> float:
    """What a row is divided by for the solver: its multiplier is that of the row so divided."""
    return max((abs(float(a)) for a in entries.values()), default=1.0) or 1.0


def _row(limit: KitchenLimit, at: Mapping[int, int]) -> tuple[dict[int, Fraction], Fraction]:
    """A limit as a row of ``>=``."""
    model = limit.model
    entries = dict(limit.above)
    for place, amount in limit.below.items():
        entries[place] = entries.get(place, ZERO) - model.bound * amount
    sign = ONE if model.sense == MORE else -ONE
    return {at[place]: sign * amount for place, amount in entries.items()}, sign * model.bound * model.constant
