"""People whom a pot or the stock joins: everyone by themselves first, then the whole programme at once.

Without the limits that join them, people are blocks of their own, and each is solved exactly. Where what comes out
keeps the limits that join, it is the best there is for all; ties are those of each block. Else all are one programme
in exact arithmetic; before it, on the steps of many weights, and where there are very many people, or where that finds
nothing in the time, one linear programme,

    minimise    sum_j keep_j (up_j + down_j)
    subject to  a_r . (base + up - down) >= b_r       for every limit r
                0 <= up_j <= max_j - base_j,  0 <= down_j <= base_j - min_j,   base_j = start_j within its bounds

in doubles; its multipliers bound the least grams moved from below, recomputed in rationals (weak duality). What it
takes of the pots and the stock for each block is what that block may take, and each is solved exactly once more within
that; what a block leaves is there for the next. Every limit is checked in rationals, and the gap is stated; on the
steps what is left of it is closed by combining ways of the blocks (`day.ways`), as far as the time goes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from ratio_solver.day.kitchen import Component, Kitchen, proposals, weights_of
from ratio_solver.day.limits import KitchenLimit
from ratio_solver.day.programme import JOINS, Programme, held_by, joining, used_of_limit
from ratio_solver.day.ways import BlockWays, combined
from ratio_solver.dish.constraints import LESS
from ratio_solver.errors import NotProven
from ratio_solver.exact import ONE, ZERO, dot, exact
from ratio_solver.lp.clock import limited
from ratio_solver.lp.highs import Optimum
from ratio_solver.lp.search import common_divisor, raised
from ratio_solver.solving.result import Diagnosis, Proposal, Repair
from ratio_solver.solving.scale_steps import step_of
from ratio_solver.solving.within import weights_within

MOST_JOINED = 150
"""Weights that are solved as one programme in exact arithmetic, where pots and stock do not suffice as it comes."""

FEW_JOINED = 40
"""Of more, everyone's ways on the steps are combined before that: a search in all at once takes long to end."""

KEPT_BACK = Fraction(1, 10**6)
"""Share of each pot and of the stock that the programme in doubles does not give away: what it misses by rounding."""

ROUNDED_UP = Fraction(1, 1000)
"""Share by which what is said to be enough of a pot or the stock is raised: it is told in whole grams."""

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
    def least(self) -> Fraction:
        """No weights have fewer g moved."""
        return self.raised + _bound_of(self.answers)

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
    parts = kitchen.parted([limit for limit in block.sparse if not joining(limit)], block.places)
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
    apart = None
    if len(block.places) > FEW_JOINED and not exactly and not failed:
        apart = _within_joins(kitchen, block, parts, free, exactly, time_limit)
        if apart.solved and apart.least >= apart.moved:
            return apart
    answer = block.solved(exactly, time_limit)
    known = answer.objective.proven if isinstance(answer, Proposal) else not answer.undecided
    at_once = Linked([(block, answer)])
    if known or failed:
        return at_once
    most = at_once.moved if at_once.solved else None
    return _fewest_moved([at_once, apart or _within_joins(kitchen, block, parts, free, exactly, time_limit, most)])


def _fewest_moved(found: Sequence[Linked]) -> Linked:
    """What has the fewest grams moved, with the best bound of all."""
    return _bounded(min(found, key=_fewest_first), max(linked.least for linked in found))


def _fewest_first(linked: Linked) -> tuple[bool, Fraction]:
    return not linked.solved, linked.moved


def _bounded(linked: Linked, least: Fraction) -> Linked:
    """The same where it is known that no weights have fewer grams moved than these, and not only of each block."""
    return replace(linked, raised=min(least, linked.moved) - _bound_of(linked.answers)) if linked.solved else linked


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
    return all(used_of_limit(limit, weights) <= limit.model.bound
               for limit in block.sparse if limit.model.kind in JOINS)


def _within_joins(kitchen: Kitchen, block: Component, parts: Sequence[Component], free: Answers, exactly: bool,
                  time_limit: float | None, most: Fraction | None = None) -> Linked:
    """Everyone within what the whole programme gives them of pots and the stock; `most` g moved are known already."""
    joins = [limit for limit in block.sparse if joining(limit)]
    programme = Programme(kitchen, block)
    solved = programme.solved()
    if solved is None:
        return Linked([(block, _scarce(kitchen, block))])
    least = max(programme.bound(solved.row_prices.tolist()), _bound_of(free))
    undecided = Linked([(block, Diagnosis((), undecided=True))])
    given_away = _given_away(kitchen, block, time_limit)
    if given_away is None:
        return undecided
    programme, solved = given_away
    taken = programme.weights(solved.values.tolist())
    batches = {place: taken[place] for place in kitchen.batches_of.values() if place in taken}
    given = _given_parts(parts, joins, taken, exactly, time_limit)
    found = [_with_batches(block, parts, given, batches) or undecided]
    if not exactly:
        priced = [(limit, price) for limit, price in zip(joins, programme.prices(solved), strict=True) if price]
        known = [*([] if most is None else [most]), *(linked.moved for linked in found if linked.solved)]
        better, least = _combined_on_steps(kitchen, block, parts, priced, batches, least, min(known, default=None),
                                           time_limit)
        found += [linked for linked in (_with_batches(block, parts, better, batches),) if linked is not None]
    return _bounded(min(found, key=_fewest_first), least)


def _given_parts(parts: Sequence[Component], joins: Sequence[KitchenLimit], taken: Mapping[int, Fraction],
                 exactly: bool, time_limit: float | None) -> Answers:
    """Everyone within what the programme takes for them, and what the others leave; none where someone has nothing."""
    rounding = KEPT_BACK / 2 if exactly else ZERO  # of what is solved to any fraction of a gram
    spare = [limit.model.bound - used_of_limit(limit, taken) - rounding * held_by(limit, taken) for limit in joins]
    found: Answers = []
    waiting = [part for part in parts if not part.whole]
    once = len(waiting)
    for turn, part in enumerate(waiting):
        own = [_of_part(limit, part, taken, left) for limit, left in zip(joins, spare, strict=True)]
        held = replace(part, sparse=(*part.sparse, *(limit for limit in own if limit is not None)))
        answer = held.solved(exactly, time_limit, reasons=False)
        if isinstance(answer, Proposal):
            found.append((part, answer))
            unused = {place: taken[place] - grams for place, grams in weights_of(found[-1:]).items()}
            spare = [left + used_of_limit(limit, unused) for limit, left in zip(joins, spare, strict=True)]
        elif turn < once:
            waiting.append(part)  # once more, with what the others leave
        else:
            return []
    return found


def _combined_on_steps(kitchen: Kitchen, block: Component, parts: Sequence[Component],
                       joins: Sequence[tuple[KitchenLimit, Fraction]], batches: Mapping[int, Fraction],
                       least: Fraction, most: Fraction | None, time_limit: float | None) -> tuple[Answers, Fraction]:
    """Everyone's weights on the steps with fewer than `most` g moved, where any are found; none have less than is said.

    What ways there are for everyone is asked with a price for each limit that joins, where it has one (`day.ways`); the
    bound of these is raised to what grams moved are a multiple of.
    """
    limits, prices = [limit for limit, _ in joins], tuple(price for _, price in joins)
    try:
        ways = [BlockWays(part, limits, prices, time_limit) for part in parts if joins]
    except NotProven:
        ways = []
    if not ways:
        return [], least
    bounds = [limit.model.bound for limit in limits]
    items = [item for part in parts for item in part.recipe.ingredients if item.keep]
    grid = [exact(item.keep) * (common_divisor([step_of(item), exact(item.start)]) or ONE) for item in items]
    least = max(least, raised(sum((block.least for block in ways), -dot(prices, bounds)), common_divisor(grid)))
    if most is not None and most <= least:
        return [], least
    served = [block for block in ways if not block.part.whole]
    room = tuple(bound - used_of_limit(limit, batches) for limit, bound in zip(limits, bounds, strict=True))
    with limited(time_limit):
        found = combined(served, room, least, most)
    better = found.ways or []
    moved = sum((way.moved for way in better), ZERO) if better else most
    if found.best and moved is not None and _no_more_batches(kitchen, block, batches):
        least = max(least, moved)
    return [(block.part, block.within([(None, used) for used in way.used]).solved(False, time_limit, reasons=False))
            for block, way in zip(served, better, strict=False)], least


def _no_more_batches(kitchen: Kitchen, block: Component, batches: Mapping[int, Fraction]) -> bool:
    """Whether there can be no more batches of any dish, whatever else is cooked: then fewer are no better."""
    ends = [limit for limit in block.sparse
            if limit.model.kind in ("stock", "ingredient") and limit.model.sense == LESS]
    about = {place: [limit for limit in ends if place in limit.above] for place in batches}
    return all(kitchen.items[place].minimum is None or (
        all(other in batches for limit in about[place] for other in limit.above)
        and any(limit.above[place] * (number + 1) > limit.model.bound for limit in about[place]))
        for place, number in batches.items())


def _with_batches(block: Component, parts: Sequence[Component], served: Answers, batches: Mapping[int, Fraction]
              ) -> Linked | None:
    """What everyone is served, with numbers of batches; None where nothing is, or pots or stock are not enough."""
    weights = weights_of(served) | dict(batches)
    if not served or len(weights) < len(block.places) or not _suffice(block, weights):
        return None
    return Linked([*served, *((part, _batches_known(part, weights)) for part in parts if part.whole)])


def _bound_of(answers: Answers) -> Fraction:
    """No weights of theirs have less moved."""
    return sum((answer.objective.bound for _, answer in proposals(answers)), ZERO)


def _given_away(kitchen: Kitchen, block: Component, time_limit: float | None) -> tuple[Programme, Optimum] | None:
    """The programme with whole numbers of batches, nearly the best; None where none are found in the time.

    Where portions take all that there is, nothing can be kept back.
    """
    places = [place for place in kitchen.batches_of.values() if place in block.places]
    for kept_back in (KEPT_BACK, ZERO):
        try:
            with limited(time_limit):
                fixed = Programme(kitchen, block, kept_back=kept_back).in_whole(places) if places else {}
        except NotProven:
            return None
        if fixed is not None:
            programme = Programme(kitchen, block, fixed=fixed, kept_back=kept_back)
            found = programme.solved()
            if found is not None:
                return programme, found
    return None


def _of_part(limit: KitchenLimit, part: Component, taken: Mapping[int, Fraction],
             spare: Fraction) -> KitchenLimit | None:
    """What a block may take of a pot or of the stock; None where it takes nothing of it."""
    own = limit.taken_by(part.places)
    bound = used_of_limit(own, taken) + max(ZERO, spare)
    return replace(own, model=replace(own.model, bound=bound)) if own.above else None


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
            changes.append(Repair(shown, Fraction(-int(-least * (ONE + ROUNDED_UP) // 1))))
    return Diagnosis(tuple(conflict), repairs=tuple(changes), minimal=False)
