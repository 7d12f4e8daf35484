"""Portions at the bench: what of every ingredient and part goes into each serving.

A serving holds the same ratio as the batch when every part is divided evenly. On a scale the shares are
whole steps; they are dealt out by largest remainder, so that the servings add up to the batch exactly: some
servings get one step more than others.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from ratio_solver.dish import notices
from ratio_solver.dish.cautions import cautions_for
from ratio_solver.dish.confidence import guaranteed_for, interval_notes
from ratio_solver.dish.constraints import Identity, limits_of
from ratio_solver.dish.nutrition import Facts, cooked_batch, facts_of
from ratio_solver.dish.status import LimitState, state_of
from ratio_solver.errors import BadInput, Fault
from ratio_solver.exact import ONE, ZERO, exact
from ratio_solver.foods.ends import Guaranteed, Kind, kind_of
from ratio_solver.foods.sizes import SMALLEST
from ratio_solver.recipe.model import Recipe
from ratio_solver.recipe.reader import HEAVIEST
from ratio_solver.tools.portions.shares import Share, ingredient_shares, part_names, part_shares

SOLVED_TO = Fraction(1, 10**6)
"""Weights that were solved to any fraction of a gram keep their limits to this (`lp.certificate.TOLERANCE`)."""

@dataclass(frozen=True)
class Serving:
    """Servings that are dealt the same: how many, g of each ingredient, and their facts."""

    count: int
    grams: tuple[Fraction, ...]
    facts: Facts


@dataclass(frozen=True)
class Judged:
    """How targets are judged: at the safe-side ends of intervals or not, and with which tolerance."""

    guaranteed: Guaranteed
    tolerance: Fraction


@dataclass(frozen=True)
class Portions:
    """A batch in servings.

    Attributes
    ----------
    recipe : Recipe
        With the number of servings that the batch is divided into.
    batch : Fraction
        g as weighed, before cooking.
    cooked : Fraction or None
        g after cooking, where the recipe says.
    ingredients, parts : tuple of Share
        By part, in the order of the recipe.
    facts : Facts
        Of an even serving; of a portion of exactly `portion`, where that is asked for.
    servings : tuple of Serving
        As dealt out, the same ones together.
    portion : Fraction or None
        Grams of a portion that were asked for.
    left : Fraction or None
        Grams over when each portion weighs exactly that; cooked like it.
    kept : bool
        Whether every serving as dealt out keeps every target.
    limits : tuple of LimitState
        The targets at an even portion, of the size that is asked for.
    broken : tuple of LimitState
        Those that an even portion does not keep: the dish or the size is at fault, not the rounding.
    dealt_broken : tuple of LimitState
        Targets that a serving as dealt out does not keep, each at the serving that misses it by most.
    portion_broken : tuple of LimitState
        The same as `broken`: a portion that is asked for is dealt out in its own size.
    own_broken : tuple of LimitState
        Limits of every kind that the dish does not keep in servings of the recipe's own size.
    own_weight : Fraction or None
        g of a serving of the recipe (cooked where it says), where the portion is another.
    guaranteed : {"mean", "food"}, optional
        The intervals at whose ends the targets are judged.
    sure : {"mean", "food"}, optional
        The same where no figure is taken as exact.
    allergens, allergens_unknown, warnings, cautions : tuple of str
    """

    recipe: Recipe
    batch: Fraction
    cooked: Fraction | None
    ingredients: tuple[Share, ...]
    parts: tuple[Share, ...]
    facts: Facts
    servings: tuple[Serving, ...]
    portion: Fraction | None = None
    left: Fraction | None = None
    kept: bool = True
    limits: tuple[LimitState, ...] = ()
    broken: tuple[LimitState, ...] = ()
    dealt_broken: tuple[LimitState, ...] = ()
    portion_broken: tuple[LimitState, ...] = ()
    own_broken: tuple[LimitState, ...] = ()
    own_weight: Fraction | None = None
    guaranteed: Guaranteed = None
    sure: Kind | None = None
    allergens: tuple[str, ...] = ()
    allergens_unknown: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


def portions(recipe: Recipe, weights: Sequence[Fraction], *, portion_grams: float | None = None,
             guaranteed: Guaranteed = None, tolerance: Fraction = ZERO) -> Portions:
    """The batch in the recipe's servings, or in as many portions of a stated weight as it makes.

    Parameters
    ----------
    recipe : Recipe
    weights : sequence of Fraction
        g for the batch, one per ingredient.
    portion_grams : float, optional
        Weight of a portion, cooked where the recipe says what the batch then weighs: a batch of 700 g in
        portions of 100 g makes 7 (common practice, no source). It is then that portion which is weighed out
        and held to the targets, and pieces are not counted: they are those of the recipe's serving.
    guaranteed : {"mean", "food"}, optional
        Judge the targets by the safe-side ends of the table's intervals.
    tolerance : Fraction
        A target that is missed by no more than this, in units of its largest coefficient, is met: weights that
        were solved to any fraction of a gram keep the limits to the solver's tolerance. 0 judges exactly.

    Raises
    ------
    BadInput
        Where the portion is no positive weight or heavier than the batch.
    """
    batch = sum(weights, ZERO)
    cooked = cooked_batch(recipe, weights)
    how = Judged(guaranteed, tolerance)
    own, whole = recipe, batch if cooked is None else cooked
    portion, taken = None, ONE
    if portion_grams is not None:
        recipe, taken = _in_portions(recipe, whole, portion_grams)
        portion = exact(portion_grams)
    used = tuple(weight * taken for weight in weights)
    shares = ingredient_shares(recipe, weights, taken)
    each = Counter(_serving(recipe, shares, place) for place in range(recipe.servings))
    facts = facts_of(recipe, used)
    one = replace(recipe, servings=1, finished_grams=None)
    missed = _missed(one, each, how)
    broken = _broken(recipe, used, how)
    own_weight = whole / own.servings
    return Portions(
        recipe=recipe, batch=batch, cooked=cooked,
        ingredients=tuple(sorted(shares, key=lambda share: part_names(recipe).index(share.part))),
        parts=part_shares(recipe, shares, taken),
        facts=facts,
        servings=tuple(Serving(count, grams, facts_of(one, grams)) for grams, count in each.items()),
        portion=portion,
        left=None if portion is None else whole - portion * recipe.servings,
        kept=not missed,
        limits=_targets(recipe, used, how),
        broken=broken,
        dealt_broken=missed,
        portion_broken=broken,
        own_broken=_broken(own, weights, how, all_kinds=True),
        own_weight=own_weight if portion is not None and portion != own_weight else None,
        guaranteed=kind_of(guaranteed),
        sure=guaranteed_for(own, weights, guaranteed),
        allergens=notices.allergens(recipe, weights),
        allergens_unknown=notices.allergens_unknown(recipe, weights),
        warnings=(*notices.warnings(own, weights, settled=False), *interval_notes(own, weights, guaranteed),
                  *notices.eating_warnings(recipe, used, guaranteed=guaranteed)),
        cautions=cautions_for(recipe, facts),
    )


def portion_count(batch: Fraction, portion_grams: float) -> int:
    """How many portions of a weight a batch makes.

    >>> portion_count(Fraction(700), 100)
    7
    """
    if not SMALLEST <= portion_grams <= HEAVIEST:
        raise BadInput([Fault("--portion-grams", "", f"{portion_grams:g}",
                              f"expected a weight above 0 g, {SMALLEST:f} to {HEAVIEST:,.0f}")])
    count = int(batch / exact(portion_grams))
    if not 1 <= count <= 100_000:
        raise BadInput([Fault("--portion-grams", "", f"{portion_grams:g}",
                              f"expected at most the batch, {float(batch):g} g, and at most 100,000 portions")])
    return count


def _in_portions(recipe: Recipe, whole: Fraction, portion_grams: float) -> tuple[Recipe, Fraction]:
    """The recipe in as many portions as a batch of that weight makes, and the share of the batch that these take."""
    count = portion_count(whole, portion_grams)
    grams = exact(portion_grams) * count
    finished = None if recipe.finished_grams is None else float(grams)
    return replace(recipe, servings=count, pieces=None, finished_grams=finished), grams / whole


def _serving(recipe: Recipe, shares: Sequence[Share], place: int) -> tuple[Fraction, ...]:
    by_label = {share.ingredient: share.grams[place] for share in shares}
    return tuple(by_label.get(ingredient.label, ZERO) for ingredient in recipe.ingredients)


def _targets(recipe: Recipe, weights: Sequence[Fraction], how: Judged, all_kinds: bool = False
             ) -> tuple[LimitState, ...]:
    """The targets at a serving of these weights; of a whole dish its other limits too."""
    return tuple(state_of(limit, tuple(weights), how.tolerance)
                 for limit in limits_of(recipe, how.guaranteed) if limit.kind == "target" or all_kinds)


def _broken(recipe: Recipe, weights: Sequence[Fraction], how: Judged, all_kinds: bool = False
            ) -> tuple[LimitState, ...]:
    return tuple(state for state in _targets(recipe, weights, how, all_kinds)
                 if not state.binding and state.limit.margin(weights) < 0)


def _missed(recipe: Recipe, each: Iterable[tuple[Fraction, ...]], how: Judged) -> tuple[LimitState, ...]:
    """Each target that a serving misses, at the serving that misses it by most."""
    found: dict[Identity, list[tuple[Fraction, LimitState]]] = {}
    for serving in each:
        for state in _broken(recipe, serving, how):
            found.setdefault(state.limit.identity, []).append((state.limit.margin(serving), state))
    return tuple(min(missed, key=lambda one: one[0])[1] for missed in found.values())
