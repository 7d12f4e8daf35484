"""The bowl that is already wrong: what is in it stays, the rest is solved again, close to the plan.

    minimise    grams moved from the plan
    subject to  w_i = what the scale said            for every ingredient that was weighed
                w_i >= what is in the bowl           for what can only be added to
                every other limit of the recipe

If nothing keeps the limits: what is in the way, the nearest ratio still reachable, and what would do -
more servings from the same batch (less per serving), more of a fat than the recipe allows, or both.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from ratio_solver.faults import Fault, collected
from ratio_solver.foods.food import exact
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.proposals.answer import Answer, Impossible, Proposal
from ratio_solver.proposals.diagnose import feasible
from ratio_solver.proposals.nearest import nearest_ratio
from ratio_solver.proposals.propose import solve
from ratio_solver.recipes.limits import limits_of, per_gram
from ratio_solver.recipes.naming import place_named
from ratio_solver.recipes.reading import HEAVIEST
from ratio_solver.recipes.recipe import Ingredient, Recipe
from ratio_solver.recipes.scaling import with_servings
from ratio_solver.recipes.toml_text import fixed, planned

ZERO = Fraction(0)
MOST_SERVINGS = 3
"""More servings are tried up to so many times the recipe's."""

FATTY = Fraction(7, 10)
"""A food is a fat to correct with when it is at least so much fat and its role says so, or almost all fat."""


@dataclass(frozen=True)
class Remedy:
    """A way out of a bowl that cannot keep the limits.

    Attributes
    ----------
    proposal : Proposal
        The dish so made.
    servings : int or None
        Servings to make of the batch, where other than planned.
    ratio : Fraction or None
        The ratio to accept, where the target cannot be met.
    raised : tuple of (str, Fraction, Fraction)
        Label, most the recipe (or the bowl) allows, g; and the grams used instead.
    """

    proposal: Proposal
    servings: int | None = None
    ratio: Fraction | None = None
    raised: tuple[tuple[str, Fraction, Fraction], ...] = ()

    @property
    def bowl(self) -> Recipe:
        """The dish of this remedy with every weight fixed."""
        return fixed(self.proposal.recipe, tuple(weight.grams for weight in self.proposal.weights))


@dataclass(frozen=True)
class Adjustment:
    """A dish solved again around what is in the bowl.

    Attributes
    ----------
    recipe : Recipe
        As written.
    plan : tuple of Fraction, one per ingredient
        The weights solved before anything was weighed, g.
    planned : bool
        False where the recipe has no answer as written: the plan then is its starts.
    weighed, added : mapping of str to Fraction
        Label to grams in the bowl: as the scale said, and what can only be added to.
    answer : Proposal or Impossible
        With the plan as starts.
    remedies : tuple of Remedy
        When impossible: what would do, most modest first.
    """

    recipe: Recipe
    plan: tuple[Fraction, ...]
    planned: bool
    weighed: Mapping[str, Fraction]
    added: Mapping[str, Fraction]
    answer: Answer
    remedies: tuple[Remedy, ...]

    @property
    def bowl(self) -> Recipe | None:
        """The adjusted dish with every weight fixed, or None where there is none."""
        if not isinstance(self.answer, Proposal):
            return None
        return fixed(self.answer.recipe, tuple(weight.grams for weight in self.answer.weights))


def adjust(recipe: Recipe, weighed: Mapping[str, float], added: Mapping[str, float | None] | None = None, *,
           guaranteed: bool = False) -> Adjustment:
    """Solve the rest of a dish around what is already in the bowl.

    Parameters
    ----------
    recipe : Recipe
    weighed : mapping of str to float
        Ingredient (label, food or a part of either that fits one) to the grams the scale said: fixed.
    added : mapping of str to float or None, optional
        Ingredient to the grams that are in the bowl and may only be added to; None: the planned weight is.
    guaranteed : bool
        Keep the targets for every composition within the table's intervals.

    Raises
    ------
    BadInput
        With every name that fits no ingredient or several, every weight out of range, and every ingredient
        that is named twice.
    """
    said = _by_place(recipe, weighed, added or {})
    first = solve(recipe, guaranteed=guaranteed)
    plan = _weights(first) if isinstance(first, Proposal) else tuple(map(_start, recipe.ingredients))
    in_bowl = {place: plan[place] if grams is None else exact(grams) for place, (_, grams) in said.items()}
    bowl = _bowl(planned(recipe, plan), said, in_bowl)
    answer = solve(bowl, guaranteed=guaranteed)
    labels = [ingredient.label for ingredient in recipe.ingredients]
    remedies = _remedies(bowl, in_bowl, guaranteed) if isinstance(answer, Impossible) else ()
    return Adjustment(
        recipe, plan, isinstance(first, Proposal),
        {labels[place]: in_bowl[place] for place, (how, _) in said.items() if how == "--weighed"},
        {labels[place]: in_bowl[place] for place, (how, _) in said.items() if how == "--added"},
        answer, remedies,
    )


def _by_place(recipe: Recipe, weighed: Mapping[str, float],
              added: Mapping[str, float | None]) -> dict[int, tuple[str, float | None]]:
    """Place of each ingredient that is in the bowl, the option that says so, and the grams."""
    faults: list[Fault] = []
    found: dict[int, tuple[str, float | None]] = {}
    given: list[tuple[str, str, float | None]] = [("--weighed", name, grams) for name, grams in weighed.items()]
    given += [("--added", name, grams) for name, grams in added.items()]
    for how, name, grams in given:
        place = place_named(name, recipe, how, faults)
        if grams is not None and not 0 <= grams <= HEAVIEST:
            faults.append(Fault(how, name, f"{grams:g}", f"expected a weight in g, 0 to {HEAVIEST:,.0f}"))
        if place is None:
            continue
        if place in found:
            faults.append(Fault(how, name, "", f"expected {recipe.ingredients[place].label} once"))
        found[place] = how, grams
    collected(faults)
    return found


def _weights(proposal: Proposal) -> tuple[Fraction, ...]:
    return tuple(weight.grams for weight in proposal.weights)


def _start(ingredient: Ingredient) -> Fraction:
    """The start, within the bounds."""
    start = exact(ingredient.start)
    if ingredient.minimum is None or ingredient.maximum is None:
        return start
    return min(max(start, exact(ingredient.minimum)), exact(ingredient.maximum))


def _bowl(recipe: Recipe, said: Mapping[int, tuple[str, float | None]], in_bowl: Mapping[int, Fraction]) -> Recipe:
    """The recipe with what was weighed fixed, and what can only be added to bounded from below."""
    items = list(recipe.ingredients)
    for place, (how, _) in said.items():
        grams = float(in_bowl[place])
        items[place] = _only_more(items[place], grams) if how == "--added" else \
            replace(items[place], start=grams, minimum=None, maximum=None)
    return replace(recipe, ingredients=tuple(items))


def _only_more(ingredient: Ingredient, grams: float) -> Ingredient:
    """At least what is in the bowl; the recipe's own bounds give way where the bowl is past them."""
    start = max(ingredient.start, grams)
    if ingredient.minimum is None or ingredient.maximum is None:
        return replace(ingredient, start=start)
    return replace(ingredient, start=start, minimum=max(ingredient.minimum, grams),
                   maximum=max(ingredient.maximum, grams))


def _remedies(bowl: Recipe, in_bowl: Mapping[int, Fraction], guaranteed: bool) -> tuple[Remedy, ...]:
    """What would do: more servings; more of one fat; both; and the nearest ratio with nothing else changed."""
    found = [
        _more_servings(bowl, guaranteed),
        _more_fat(bowl, in_bowl, guaranteed),
        _nearest(bowl, guaranteed),
    ]
    kept = [remedy for remedy in found if remedy]
    if not any(remedy.ratio is None for remedy in kept):
        both = _fat_and_servings(bowl, in_bowl, guaranteed)
        kept = [*([both] if both else []), *kept]
    return tuple(kept)


def _solved(recipe: Recipe, guaranteed: bool) -> Proposal | None:
    """The answer where there is one; whether there can be is asked first, as that costs little."""
    if not feasible(recipe, list(limits_of(recipe, guaranteed))):
        return None
    answer = solve(recipe, guaranteed=guaranteed)
    return answer if isinstance(answer, Proposal) else None


def _servings(bowl: Recipe) -> Iterator[int]:
    """More servings than the recipe's, as far as that is still the dish."""
    return iter(range(bowl.servings + 1, min(MOST_SERVINGS * bowl.servings, bowl.servings + 30) + 1))


def _more_servings(bowl: Recipe, guaranteed: bool) -> Remedy | None:
    for servings in _servings(bowl):
        proposal = _solved(with_servings(bowl, servings), guaranteed)
        if proposal:
            return Remedy(proposal, servings=servings)
    return None


def _more_fat(bowl: Recipe, in_bowl: Mapping[int, Fraction], guaranteed: bool) -> Remedy | None:
    """One fat beyond its maximum (or beyond what was weighed in); the one that takes the least."""
    found = []
    for place in _fats(bowl):
        free = _freed(bowl, (place,), in_bowl)
        proposal = _solved(free, guaranteed)
        if proposal:
            found.append(_raised(bowl, proposal, None))
    return min(found, key=_overshoot, default=None)


def _fat_and_servings(bowl: Recipe, in_bowl: Mapping[int, Fraction], guaranteed: bool) -> Remedy | None:
    """The fewest servings at which one fat beyond its maximum does, then all of them together."""
    fats = _fats(bowl)
    for servings in _servings(bowl):
        for places in ([(place,) for place in fats] + ([tuple(fats)] if len(fats) > 1 else [])):
            wider = with_servings(bowl, servings)
            proposal = _solved(_freed(wider, places, in_bowl), guaranteed)
            if proposal:
                return _raised(bowl, proposal, servings)
    return None


def _fats(bowl: Recipe) -> list[int]:
    """Places of the fats that could be used beyond the recipe, those of most fat first."""
    fat = [per_gram(ingredient, "fat_g", bowl) or ZERO for ingredient in bowl.ingredients]
    net = [per_gram(ingredient, NET_CARBS, bowl) or ZERO for ingredient in bowl.ingredients]
    places = [place for place, i in enumerate(bowl.ingredients)
              if fat[place] >= FATTY and i.food.role in ("fat", "", "dairy") and net[place] < FATTY / 10]
    return sorted(places, key=lambda place: -fat[place])


def _freed(bowl: Recipe, places: Sequence[int], in_bowl: Mapping[int, Fraction]) -> Recipe:
    """The bowl with no maximum on these fats; what is in it of them stays in."""
    items = list(bowl.ingredients)
    most = 10 * sum(max(i.start, i.maximum or 0.0) for i in items) + 100
    for place in places:
        item = items[place]
        least = item.minimum if item.minimum is not None else item.start
        items[place] = replace(item, minimum=max(least, float(in_bowl.get(place, ZERO))),
                               maximum=min(most, HEAVIEST))
    return replace(bowl, ingredients=tuple(items))


def _raised(bowl: Recipe, proposal: Proposal, servings: int | None) -> Remedy:
    """A remedy in words of the recipe: fats used beyond what it allows."""
    raised = []
    for ingredient, weight in zip(bowl.ingredients, proposal.weights, strict=True):
        most = exact(ingredient.start if ingredient.maximum is None else ingredient.maximum)
        if weight.grams > most:
            raised.append((ingredient.label, most, weight.grams))
    return Remedy(proposal, servings=servings, raised=tuple(raised))


def _overshoot(remedy: Remedy) -> Fraction:
    return sum((grams - most for _, most, grams in remedy.raised), ZERO)


def _nearest(bowl: Recipe, guaranteed: bool) -> Remedy | None:
    """The dish at the nearest ratio that can be reached with everything else as it is."""
    found = nearest_ratio(bowl, guaranteed=guaranteed)
    return Remedy(found[1], ratio=found[0]) if found else None


def weighed_options(texts: Sequence[str], option: str, *, bare: bool = False) -> dict[str, float | None]:
    """Names and grams from texts such as "celeriac=712"; with `bare` the grams may be left out.

    Raises
    ------
    BadInput
        With every text that cannot be read.
    """
    faults: list[Fault] = []
    found: dict[str, float | None] = {}
    for text in texts:
        name, equals, amount = text.rpartition("=") if "=" in text else (text, "", "")
        grams = _grams(amount)
        if not name.strip() or (equals and grams is None) or not (equals or bare):
            form = "NAME or NAME=GRAMS" if bare else "NAME=GRAMS"
            faults.append(Fault(option, "", repr(text), f"expected {form}, grams with a point: celeriac=712.5"))
        if name.strip() in found:
            faults.append(Fault(option, name.strip(), "", "expected each name once"))
        found[name.strip()] = grams
    collected(faults)
    return found


def _grams(text: str) -> float | None:
    try:
        value = float(text.strip().removesuffix("g").strip())
    except ValueError:
        return None
    return value if 0 <= value < float("inf") else None
