"""The recipe file of a draft: every written line a comment, every guess marked, nothing dropped.

How far each ingredient may move is here too, and which foods carry less carbohydrate in the same use.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction

from ratio_solver.errors import cut, one_line
from ratio_solver.exact import exact
from ratio_solver.foods.content import content
from ratio_solver.foods.food import Food
from ratio_solver.foods.nutrients import NET_CARBS
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.table import FoodTable
from ratio_solver.output.numbers import short
from ratio_solver.recipe.model import BATCH
from ratio_solver.recipe.write import Value, toml_key, toml_lines
from ratio_solver.tools.draft.model import Drafted, DraftLine

STAY_AS_THEY_ARE = frozenset(("spice", "herb", "leavening", "supplement", "binder"))
"""Roles that season or raise a dish: they stay as they are."""

LEAST_MOVED = 2.0
"""What weighs less than so many g stays as it is: it moves no ratio."""

FINE_BELOW, FINE_STEP = 20.0, 0.1
"""What weighs less than so many g is weighed on steps of so many."""

THICKENS = Fraction(1, 15)
"""A flour that is at most this share of its part thickens it; more is its body. Common practice, no source."""

MOST_TOLD = 3
"""Foods that are named for one that may be left out."""

USES = {"sugar": "sweetness", "grain": "grains", "pasta": "noodles", "bread": "crumbs", "starchy vegetable": "bulk",
        "legume": "pulses", "flour": "crust"}
"""Roles of sugars, flours, grains and starchy foods, which may be left out, and what each does in a dish: its use hangs
on the dish, not on the food (`use_of`), so it has no column."""

CHECK = "# check: "

LEAST_LEFT = Fraction(3, 5)
"""Share of a part's weight that stays of it at least where ingredients may move; our choice."""


def draft_text(title: str, servings: int, servings_known: bool, method: Sequence[str], targets: Mapping[str, float],
               lines: Sequence[DraftLine], passed_over: Sequence[str], bounds: float | None, foods: FoodTable,
               tables: Sequence[str] = ()) -> str:
    """The recipe file (TOML).

    Parameters
    ----------
    title, servings, method : str, int, sequence of str
    servings_known : bool
        Whether someone said how many there are.
    targets : mapping of str to float
    lines : sequence of DraftLine
    passed_over : sequence of str
        Lines that are about something else; they stay as comments.
    bounds : float or None
        How far each ingredient may move, percent; None to fix them all.
    foods : FoodTable
        Where foods that carry less carbohydrate are looked up.
    tables : sequence of str
        Composition tables that the recipe names.
    """
    top = toml_lines([("title", title), ("foods", list(tables) or None), ("servings", servings),
                    ("method", list(method) or None)])
    if not servings_known:
        top = top.replace(
            f"\nservings = {servings}", f"\n{CHECK}the recipe does not say how many it serves\nservings = {servings}", 1
        )
    blocks = [top]
    if targets:
        blocks.append("[targets]\n" + toml_lines(list(targets.items())))
    weights = _weights(lines)
    blocks += ["\n".join(_block(line, bounds, weights.get(line.part, Fraction(0)), foods)) for line in lines]
    if bounds is not None and (held := _held(weights)):
        blocks.append(held)
    if passed_over:
        blocks.append("\n".join(["# Not taken for ingredients:", *map(comment, passed_over)]))
    return "\n\n".join(blocks) + "\n"


def _weights(lines: Sequence[DraftLine]) -> dict[str, Fraction]:
    """What each part weighs, g; that of no name is what stands under no heading."""
    found: dict[str, Fraction] = {}
    for line in lines:
        for item in line.foods:
            found[line.part] = found.get(line.part, Fraction(0)) + exact(item.grams)
    return found


def _held(weights: Mapping[str, Fraction]) -> str:
    """The least weight of each part, and of the batch where it has none: else a whole part could go."""
    told = [f"[parts.{toml_key(name or BATCH)}]\n" + toml_lines([("min", float(round(weight * LEAST_LEFT, 1)))])
            for name, weight in weights.items() if weight and (name or len(weights) == 1)]
    why = f"# At least {int(100 * LEAST_LEFT)} % stays of what each weighs: without its top a pie is another dish."
    return "\n\n".join([f"{why}\n{told[0]}", *told[1:]]) if told else ""


def comment(text: str) -> str:
    r"""A text as a comment of TOML: one line, with nothing in it that could end it.

    >>> comment("2 eggs\n[[ingredients]]"), comment("a\x07b")
    ('# 2 eggs [[ingredients]]', '# a\\x07b')
    """
    return f"# {cut(one_line(text))}"


def _block(line: DraftLine, bounds: float | None, part: Fraction, foods: FoodTable) -> Iterator[str]:
    yield comment(line.text)
    yield from (CHECK + cut(one_line(why)) for why in line.unread)
    for place, item in enumerate(line.foods):
        if place:
            yield ""
        if item.check:
            yield CHECK + cut(one_line(item.check))
        if bounds is not None and item.food.role in USES and (instead := lower(item, part, foods)):
            told = ", ".join(f"{food.name} ({short(net)} g)" for food, net in instead)
            yield f"# {use_of(item, part)} with fewer net carbs (in 100 g): {told}"
        yield "[[ingredients]]"
        yield toml_lines(_keys(item, line.part, bounds))


def _keys(item: Drafted, part: str, bounds: float | None) -> list[tuple[str, Value | None]]:
    moved = None if bounds is None else may_weigh(item, bounds)
    piece = piece_of(item)
    own = item.weighed.measure if piece else ""
    return [
        ("food", item.food.name), ("label", item.label if item.label != item.food.name else None),
        ("grams", item.grams), ("min", moved[0] if moved else None), ("max", moved[1] if moved else None),
        ("part", part or None), ("measure", own or None),
        ("piece", piece if piece and not own else None), ("step", fine_step_of(item) if moved else None),
    ]


def may_weigh(item: Drafted, percent: float) -> tuple[float, float] | None:
    """Least and greatest weight of an ingredient in g that may move by so many percent; None for a fixed one.

    Parameters
    ----------
    item : Drafted
    percent : float
        How far to each side. Fats may go from nothing to double, sugars, flours, grains and starchy foods from nothing
        to what they are, eggs in whole pieces; seasonings and leavening stay.
    """
    role, grams, share = item.food.role, item.grams, percent / 100
    if role in USES:
        return 0.0, grams
    if role in STAY_AS_THEY_ARE or (role != "fat" and grams < LEAST_MOVED):
        return None
    if role == "fat":
        return 0.0, 2 * grams
    piece = piece_of(item)
    if piece:
        count = grams / piece
        return math.floor(count * (1 - share) + 1e-9) * piece, math.ceil(count * (1 + share) - 1e-9) * piece
    step = fine_step_of(item) or 1.0
    return (round(math.ceil(grams * max(1 - share, 0) / step - 1e-9) * step, 4),
            round(math.floor(grams * (1 + share) / step + 1e-9) * step, 4))


def piece_of(item: Drafted) -> float | None:
    """The weight of one where it can only be used whole, g: an egg."""
    whole = item.counted is not None and item.counted.denominator == 1
    return float(item.weighed.piece) if item.food.role == "egg" and whole and item.weighed.piece else None


def fine_step_of(item: Drafted) -> float | None:
    """The step of the scale that a small amount needs, g; None where the usual one will do."""
    return FINE_STEP if item.grams < FINE_BELOW and not piece_of(item) else None


def use_of(item: Drafted, part: Fraction) -> str:
    """What a source of carbohydrate does in the dish: "thickener", "crust", "sweetness", ...; empty where it is none.

    Parameters
    ----------
    item : Drafted
    part : Fraction
        Weight of all that stands under the same heading, g: the flour of a crumble is its body.
    """
    use = USES.get(item.food.role, "")
    pastry = item.food.role == "bread" and any(word in item.food.name for word in ("pastry", "phyllo", "pie crust"))
    if use == "crust" and part and exact(item.grams) <= THICKENS * part:
        return "thickener"
    return "crust" if pastry else use


def lower(item: Drafted, part: Fraction, foods: FoodTable) -> tuple[tuple[Food, Fraction], ...]:
    """Up to three foods of the same use, by the table's column, with fewer net carbs: each with those of 100 g, g.

    The fewest come first.
    """
    own, use = content(item.food, NET_CARBS, Policy()), use_of(item, part)
    told = [(food, net) for food in foods if use and use in food.use
            and (net := content(food, NET_CARBS, Policy())) is not None and own is not None and net < own]
    return tuple(sorted(told, key=lambda pair: pair[1])[:MOST_TOLD])
