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

from ratio_solver.faults import BadInput, Fault
from ratio_solver.foods.content import ZERO
from ratio_solver.foods.food import exact
from ratio_solver.recipes import notices
from ratio_solver.recipes.facts import Facts, facts_of
from ratio_solver.recipes.limits import limits_of
from ratio_solver.recipes.preparing import cooked_batch
from ratio_solver.recipes.recipe import Ingredient, Recipe
from ratio_solver.recipes.standing import LimitState, state_of

TENTH, HUNDREDTH = Fraction(1, 10), Fraction(1, 100)
"""Shares are weighed to 0.1 g where the ingredient has no step of its own, to 0.01 g where they are below 1 g."""

SOLVED_TO = Fraction(1, 10**6)
"""Weights that were solved to any fraction of a gram keep their limits to this (`linear.certificate.TOLERANCE`)."""

WHOLE, REST = "dish", "the rest"
"""Name of the part of ingredients that have none, without and with other parts."""


@dataclass(frozen=True)
class Share:
    """How an amount is dealt out.

    Attributes
    ----------
    part, ingredient : str
        `ingredient` is empty for a whole part.
    total : Fraction
        g for the batch.
    even : Fraction
        An even share, g, not rounded.
    grams : tuple of Fraction, one per serving
        g; they add up to `total`.
    """

    part: str
    ingredient: str
    total: Fraction
    even: Fraction
    grams: tuple[Fraction, ...]

    @property
    def counts(self) -> tuple[tuple[int, Fraction], ...]:
        """How many servings get how much, the larger share first."""
        sizes = sorted(set(self.grams), reverse=True)
        return tuple((self.grams.count(size), size) for size in sizes)


@dataclass(frozen=True)
class Serving:
    """Servings that are dealt the same: how many, g of each ingredient, and their facts."""

    count: int
    grams: tuple[Fraction, ...]
    facts: Facts


@dataclass(frozen=True)
class Judged:
    """How targets are judged: at the safe-side ends of intervals or not, and with which tolerance."""

    guaranteed: bool
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
        Of an even serving.
    servings : tuple of Serving
        As dealt out, the same ones together.
    portion : Fraction or None
        Grams of a portion that were asked for.
    left : Fraction or None
        Grams over when each portion weighs exactly that.
    kept : bool
        Whether every serving as dealt out keeps every target.
    limits : tuple of LimitState
        The targets at an even portion, of the size that is dealt out.
    broken : tuple of LimitState
        Those that an even portion does not keep: the dish or the size is at fault, not the rounding.
    dealt_broken : tuple of LimitState
        Targets that a serving as dealt out does not keep, each at the serving that misses it by most.
    portion_broken : tuple of LimitState
        Targets that a portion of exactly `portion` does not keep.
    own_broken : tuple of LimitState
        Targets that a serving of the recipe's own size does not keep.
    own_weight : Fraction or None
        g of a serving of the recipe (cooked where it says), where the portion is another.
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
    guaranteed: bool = False
    allergens: tuple[str, ...] = ()
    allergens_unknown: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


def portions(recipe: Recipe, weights: Sequence[Fraction], *, portion_grams: float | None = None,
             guaranteed: bool = False, tolerance: Fraction = ZERO) -> Portions:
    """The batch in the recipe's servings, or in as many portions of a stated weight as it makes.

    Parameters
    ----------
    recipe : Recipe
    weights : sequence of Fraction
        g for the batch, one per ingredient.
    portion_grams : float, optional
        Weight of a portion, cooked where the recipe says what the batch then weighs: a batch of 700 g in
        portions of 100 g makes 7 (common practice, no source). It is then that portion which is held to the
        targets, and pieces are not counted: they are those of the recipe's serving.
    guaranteed : bool
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
    if portion_grams is not None:
        count = portion_count(whole, portion_grams)
        recipe = replace(recipe, servings=count, pieces=None)
    portion = None if portion_grams is None else exact(portion_grams)
    shares = _ingredient_shares(recipe, weights)
    each = Counter(_serving(recipe, shares, place) for place in range(recipe.servings))
    facts = facts_of(recipe, weights)
    one = replace(recipe, servings=1, finished_grams=None)
    missed = _missed(one, each, how)
    exactly = weights if portion is None else [weight * portion * recipe.servings / whole for weight in weights]
    own_weight = whole / own.servings
    return Portions(
        recipe=recipe, batch=batch, cooked=cooked,
        ingredients=tuple(sorted(shares, key=lambda share: part_names(recipe).index(share.part))),
        parts=_part_shares(recipe, shares),
        facts=facts,
        servings=tuple(Serving(count, grams, facts_of(one, grams)) for grams, count in each.items()),
        portion=portion,
        left=None if portion is None else whole - portion * recipe.servings,
        kept=not missed,
        limits=_targets(recipe, weights, how),
        broken=_broken(recipe, weights, how),
        dealt_broken=missed,
        portion_broken=_broken(recipe, exactly, how),
        own_broken=_broken(own, weights, how),
        own_weight=own_weight if portion is not None and portion != own_weight else None,
        guaranteed=guaranteed,
        allergens=notices.allergens(recipe, weights),
        allergens_unknown=notices.allergens_unknown(recipe, weights),
        warnings=notices.warnings(recipe, weights, guaranteed=guaranteed),
        cautions=notices.cautions(recipe, facts),
    )


def portion_count(batch: Fraction, portion_grams: float) -> int:
    """How many portions of a weight a batch makes.

    >>> portion_count(Fraction(700), 100)
    7
    """
    if not 0 < portion_grams < float("inf"):
        raise BadInput([Fault("--portion-grams", "", f"{portion_grams:g}", "expected a weight above 0 g")])
    count = int(batch / exact(portion_grams))
    if not 1 <= count <= 100_000:
        raise BadInput([Fault("--portion-grams", "", f"{portion_grams:g}",
                              f"expected at most the batch, {float(batch):g} g, and at most 100,000 portions")])
    return count


def part_names(recipe: Recipe) -> list[str]:
    """Parts in the order in which the recipe first names them."""
    return list(dict.fromkeys(part_of(ingredient, recipe) for ingredient in recipe.ingredients))


def part_of(ingredient: Ingredient, recipe: Recipe) -> str:
    """The part an ingredient is weighed out with."""
    return ingredient.part or (REST if any(i.part for i in recipe.ingredients) else WHOLE)


def dealt(total: Fraction, step: Fraction, servings: int, first: int = 0) -> tuple[Fraction, ...]:
    """So many shares of a total, each a multiple of a step; they add up to the total exactly.

    Every serving gets the even share cut to the step, and the steps that are left go one each to the
    servings from `first` on. What is left of the total below one step goes to the serving after those.

    >>> [str(share) for share in dealt(Fraction(100), Fraction(1), 3)]
    ['34', '33', '33']
    """
    steps, rest = divmod(total, step)
    base, more = divmod(int(steps), servings)
    shares = [base * step] * servings
    for k in range(more):
        shares[(first + k) % servings] += step
    shares[(first + more) % servings] += rest
    return tuple(shares)


def _ingredient_shares(recipe: Recipe, weights: Sequence[Fraction]) -> list[Share]:
    """Each ingredient goes on dealing where the one before it stopped, so that no serving gets all the extras."""
    found = []
    first = 0
    for ingredient, weight in zip(recipe.ingredients, weights, strict=True):
        if not weight:
            continue
        step = exact(ingredient.step) if ingredient.step else TENTH if weight >= recipe.servings else HUNDREDTH
        shares = dealt(weight, step, recipe.servings, first)
        first += int(weight / step) % recipe.servings + (weight % step > 0)
        found.append(Share(part_of(ingredient, recipe), ingredient.label, weight, weight / recipe.servings, shares))
    return found


def _part_shares(recipe: Recipe, shares: Sequence[Share]) -> tuple[Share, ...]:
    """What each serving gets of a part: for a filling that is mixed first and weighed out as one."""
    found = []
    first = 0
    for name in part_names(recipe):
        total = sum((share.total for share in shares if share.part == name), ZERO)
        if total:
            found.append(Share(name, "", total, total / recipe.servings, dealt(total, TENTH, recipe.servings, first)))
            first += int(total / TENTH) % recipe.servings + (total % TENTH > 0)
    return tuple(found)


def _serving(recipe: Recipe, shares: Sequence[Share], place: int) -> tuple[Fraction, ...]:
    by_label = {share.ingredient: share.grams[place] for share in shares}
    return tuple(by_label.get(ingredient.label, ZERO) for ingredient in recipe.ingredients)


def _targets(recipe: Recipe, weights: Sequence[Fraction], how: Judged) -> tuple[LimitState, ...]:
    """The targets at a serving of these weights."""
    return tuple(state_of(limit, tuple(weights), how.tolerance)
                 for limit in limits_of(recipe, how.guaranteed) if limit.kind == "target")


def _broken(recipe: Recipe, weights: Sequence[Fraction], how: Judged) -> tuple[LimitState, ...]:
    return tuple(state for state in _targets(recipe, weights, how)
                 if not state.binding and state.limit.margin(weights) < 0)


def _missed(recipe: Recipe, each: Iterable[tuple[Fraction, ...]], how: Judged) -> tuple[LimitState, ...]:
    """Each target that a serving misses, at the serving that misses it by most."""
    found: dict[tuple[str, str], list[tuple[Fraction, LimitState]]] = {}
    for serving in each:
        for state in _broken(recipe, serving, how):
            found.setdefault(state.limit.key, []).append((state.limit.margin(serving), state))
    return tuple(min(missed, key=lambda one: one[0])[1] for missed in found.values())
