"""Portions at the bench: what of every ingredient and part goes into each serving.

A serving holds the same ratio as the batch when every part is divided evenly. On a scale the shares are
whole steps; they are dealt out by largest remainder, so that the servings add up to the batch exactly: some
servings get one step more than others.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from ratio_solver.dish import notices
from ratio_solver.dish.cautions import cautions_for
from ratio_solver.dish.confidence import guaranteed_for
from ratio_solver.dish.constraints import Identity, limits_of
from ratio_solver.dish.nutrition import Facts, cooked_batch, facts_of
from ratio_solver.dish.status import LimitState, state_of
from ratio_solver.errors import BadInput, Fault
from ratio_solver.exact import ONE, ZERO, Vector, exact
from ratio_solver.foods.ends import Guaranteed, Kind, kind_of
from ratio_solver.foods.sizes import MOST_SERVINGS, SMALLEST
from ratio_solver.outcome import Outcome
from ratio_solver.recipe.model import Ingredient, Recipe
from ratio_solver.recipe.reader import HEAVIEST

TENTH, HUNDREDTH = Fraction(1, 10), Fraction(1, 100)
"""Shares are weighed to 0.1 g where the ingredient has no step of its own, to 0.01 g where they are below 1 g."""

WHOLE_DISH, REST = "dish", "the rest"
"""Name of the part of ingredients that have none, without and with other parts."""

SOLVED_TO = Fraction(1, 10**6)
"""Weights that were solved to any fraction of a gram keep their limits to this (`lp.certificate.TOLERANCE`)."""


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
        g; with what is `left` over they add up to `total`.
    left : Fraction
        g that go into no portion, where portions of a stated weight do not take the whole batch.
    """

    part: str
    ingredient: str
    total: Fraction
    even: Fraction
    grams: tuple[Fraction, ...]
    left: Fraction = ZERO

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


@dataclass(frozen=True, repr=False)
class Portions(Outcome):
    """A batch in servings; its `outcome` is "kept" or "missed", for the targets of every serving as dealt out.

    Attributes
    ----------
    recipe : Recipe
        With the number of servings that the batch is divided into.
    batch : Fraction
        g as weighed, before cooking.
    grams_of_each : tuple of Fraction, one per ingredient
        g for the batch.
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
    limits : tuple of LimitState
        The targets at an even portion, of the size that is asked for.
    broken : tuple of LimitState
        Those that an even portion does not keep: the dish or the size is at fault, not the rounding.
    dealt_broken : tuple of LimitState
        Targets that a serving as dealt out does not keep, each at the serving that misses it by most.
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
    grams_of_each: Vector
    cooked: Fraction | None
    ingredients: tuple[Share, ...]
    parts: tuple[Share, ...]
    facts: Facts
    servings: tuple[Serving, ...]
    portion: Fraction | None = None
    left: Fraction | None = None
    limits: tuple[LimitState, ...] = ()
    broken: tuple[LimitState, ...] = ()
    dealt_broken: tuple[LimitState, ...] = ()
    own_broken: tuple[LimitState, ...] = ()
    own_weight: Fraction | None = None
    guaranteed: Guaranteed = None
    sure: Kind | None = None
    allergens: tuple[str, ...] = ()
    allergens_unknown: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()

    reported_in = "tools.portions.report"

    @property
    def kept(self) -> bool:
        """Whether every serving as dealt out keeps every target."""
        return not self.dealt_broken

    @property
    def outcome(self) -> str:
        """Whether every serving as dealt out keeps every target, in a word."""
        return "kept" if self.kept else "missed"


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

    Returns
    -------
    Portions

    Raises
    ------
    BadInput
        Where the portion is no positive weight or heavier than the batch.

    Examples
    --------
    >>> from ratio_solver import check, load_foods, portions, read_recipe
    >>> gratin = read_recipe("examples/celeriac-gratin.toml", load_foods())
    >>> dealt_out = portions(gratin, check(gratin).grams_of_each, portion_grams=100)
    >>> dealt_out.recipe.servings, f"{float(dealt_out.left):.1f} g"
    (17, '69.5 g')
    """
    batch, cooked = sum(weights, ZERO), cooked_batch(recipe, weights)
    own, whole = recipe, batch if cooked is None else cooked
    portion, taken = None, ONE
    if portion_grams is not None:
        recipe, taken = _in_portions(recipe, whole, portion_grams)
        portion = exact(portion_grams)

    def states(of: Recipe, grams: Vector) -> tuple[LimitState, ...]:
        return tuple(state_of(limit, grams, tolerance) for limit in limits_of(of, guaranteed))

    used = tuple(weight * taken for weight in weights)
    limits = _targets(states(recipe, used))
    shares, parts = _shares_of(recipe, weights, taken)
    each = Counter(tuple(shares[item].grams[place] if item in shares else ZERO for item in range(len(weights)))
                   for place in range(recipe.servings))
    one, facts = replace(recipe, servings=1, finished_grams=None), facts_of(recipe, used)
    own_weight = whole / own.servings
    order = [share.part for share in parts]
    return Portions(
        recipe=recipe, batch=batch, grams_of_each=tuple(weights), cooked=cooked,
        ingredients=tuple(sorted(shares.values(), key=lambda share: order.index(share.part))),
        parts=parts,
        facts=facts,
        servings=tuple(Serving(count, grams, facts_of(one, grams)) for grams, count in each.items()),
        portion=portion,
        left=None if portion is None else whole - portion * recipe.servings,
        limits=limits,
        broken=_broken_states(limits, used),
        dealt_broken=_worst_missed({grams: _broken_states(_targets(states(one, grams)), grams) for grams in each}),
        own_broken=_broken_states(states(own, tuple(weights)), weights),
        own_weight=own_weight if portion is not None and portion != own_weight else None,
        guaranteed=kind_of(guaranteed),
        sure=guaranteed_for(own, weights, guaranteed),
        allergens=notices.allergens(recipe, weights),
        allergens_unknown=notices.allergens_unknown(recipe, weights),
        warnings=(*notices.warnings(own, weights, guaranteed=guaranteed, eating=False),
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
    if not 1 <= count <= MOST_SERVINGS:
        raise BadInput([Fault("--portion-grams", "", f"{portion_grams:g}",
                              f"expected at most the batch, {float(batch):g} g, and at most {MOST_SERVINGS:,} "
                              "portions")])
    return count


def _in_portions(recipe: Recipe, whole: Fraction, portion_grams: float) -> tuple[Recipe, Fraction]:
    """The recipe in as many portions as a batch of that weight makes, and the share of the batch that these take."""
    count = portion_count(whole, portion_grams)
    grams = exact(portion_grams) * count
    finished = None if recipe.finished_grams is None else float(grams)
    return replace(recipe, servings=count, pieces=None, finished_grams=finished), grams / whole


def _targets(states: Sequence[LimitState]) -> tuple[LimitState, ...]:
    return tuple(state for state in states if state.limit.kind == "target")


def _broken_states(states: Sequence[LimitState], weights: Sequence[Fraction]) -> tuple[LimitState, ...]:
    return tuple(state for state in states if not state.binding and state.limit.margin(weights) < 0)


def _worst_missed(broken: Mapping[Vector, Sequence[LimitState]]) -> tuple[LimitState, ...]:
    """Each target that a serving misses, at the serving that misses it by most."""
    found: dict[Identity, list[tuple[Fraction, LimitState]]] = {}
    for serving, states in broken.items():
        for state in states:
            found.setdefault(state.limit.identity, []).append((state.limit.margin(serving), state))
    return tuple(min(missed, key=lambda one: one[0])[1] for missed in found.values())


def weighed_out_with(ingredient: Ingredient, recipe: Recipe) -> str:
    """The part an ingredient is weighed out with."""
    return ingredient.part or (REST if any(i.part for i in recipe.ingredients) else WHOLE_DISH)


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


def _shares_of(recipe: Recipe, weights: Sequence[Fraction],
               taken: Fraction) -> tuple[dict[int, Share], tuple[Share, ...]]:
    """What each serving gets of each ingredient that is used, by its place; and of each part, mixed first.

    Parts are in the order in which the recipe first names them.
    """
    inside = {place: item for place, item in enumerate(recipe.ingredients) if weights[place]}
    shares = _dealt_out(recipe, (
        (weighed_out_with(item, recipe), item.label, weights[place], exact(item.step) if item.step else
         TENTH if weights[place] * taken >= recipe.servings else HUNDREDTH) for place, item in inside.items()), taken)
    totals = dict.fromkeys((weighed_out_with(item, recipe) for item in recipe.ingredients), ZERO)
    for share in shares:
        totals[share.part] += share.total
    parts = _dealt_out(recipe, ((name, "", total, TENTH) for name, total in totals.items() if total), taken)
    return dict(zip(inside, shares, strict=True)), tuple(parts)


def _dealt_out(recipe: Recipe, amounts: Iterable[tuple[str, str, Fraction, Fraction]], taken: Fraction) -> list[Share]:
    """Amounts (part, label, g for the batch, step) in shares, where the servings take that share of the batch.

    All of an amount is dealt out, or what the portions take to the nearest step there is. Each goes on being dealt
    where the one before it stopped, so that no serving gets all the extras.
    """
    found, first = list[Share](), 0
    for part, label, total, step in amounts:
        amount = total if taken == 1 else min(round(total * taken / step), total // step) * step
        found.append(Share(part, label, total, total * taken / recipe.servings,
                           dealt(amount, step, recipe.servings, first), total - amount))
        first += int(amount / step) % recipe.servings + (amount % step > 0)
    return found
