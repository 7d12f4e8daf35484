"""What to buy: weights before preparation, with what is thrown away, in whole pieces where sold so.

    bought = used / yield / (1 - refuse),   rounded up to whole pieces, whole grams, or 0.1 g below 10 g; then to packs.

The list is reported by parts of the shop.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import groupby
from types import MappingProxyType

from ratio_solver.dish.notices import allergen_words, allergens, allergens_unknown, eating_warnings
from ratio_solver.errors import BadInput, Fault
from ratio_solver.exact import ONE, ZERO, exact
from ratio_solver.foods.ends import Guaranteed
from ratio_solver.foods.food import Food
from ratio_solver.foods.heat import bundled_yields
from ratio_solver.foods.table import FoodTable
from ratio_solver.outcome import Outcome
from ratio_solver.output.blocks import QUIET, STRONG, Block, Cell, Text, table_of
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import counted, decimal, plain, short
from ratio_solver.recipe.heat import raw_grams
from ratio_solver.recipe.model import Ingredient, Recipe

SECTIONS: Mapping[str, tuple[str, ...]] = MappingProxyType({
    "vegetables and fruit": ("vegetable", "mushroom", "starchy vegetable", "seaweed", "fruit", "herb"),
    "meat and poultry": ("meat", "poultry"),
    "fish and shellfish": ("fish", "shellfish"),
    "dairy and eggs": ("dairy", "cheese", "egg"),
    "fats and oils": ("fat",),
    "nuts and seeds": ("nut", "seed"),
    "flours, grains and bread": ("flour", "grain", "pasta", "bread", "leavening"),
    "beans and soy": ("legume", "soy"),
    "fibres, binders and powders": ("fibre", "binder", "protein powder", "supplement"),
    "sweet": ("sweetener", "sugar", "chocolate"),
    "seasonings and stocks": ("condiment", "stock", "spice"),
    "drinks": ("drink",),
    "other": ("",),
})
"""Part of the shop to the roles of foods found there, in the order of the list."""

_COOKED = re.compile(r"\b(boiled|roasted|braised|broiled|grilled|cooked|simmered|poached|browned|baked|pan-fried)\b")
_SOLD_SO = re.compile(r"\b(canned|dry roasted|frozen)\b")
_WATER = "water, tap"


@dataclass(frozen=True)
class Purchase:
    """One food on the list.

    Attributes
    ----------
    section : str
        Part of the shop.
    food : str
        What to buy: the food before preparation where a yield is known.
    used_for : tuple of str
        Labels of the ingredients it goes into.
    used : Fraction
        Grams as the recipe weighs it, all its ingredients together.
    raw : Fraction
        Grams before preparation, edible part.
    bought : Fraction
        Grams with what is thrown away, not rounded.
    buy : Fraction
        Grams to buy, rounded up; of whole pieces where sold so.
    pieces : int or None
        Number of pieces, where sold so.
    piece : str
        What a piece is called ("large").
    price : Fraction or None
        Of `buy`, in the table's currency; None where the table has no price.
    note : str
    dishes : mapping of str to Fraction
        Where the list is of several dishes: each that takes of it, and what of `bought` is for it, g.
    packs : int or None
        Number of packs, where the table says what a pack weighs.
    pack : Fraction or None
        g of one.
    """

    section: str
    food: str
    used_for: tuple[str, ...]
    used: Fraction
    raw: Fraction
    bought: Fraction
    buy: Fraction
    pieces: int | None
    piece: str
    price: Fraction | None
    note: str
    dishes: Mapping[str, Fraction] = field(default_factory=dict)
    packs: int | None = None
    pack: Fraction | None = None


@dataclass(frozen=True)
class ToCook:
    """A dish to buy for.

    Attributes
    ----------
    name : str
        What it is called on the list; empty where the list is of this dish alone.
    recipe : Recipe
    weights : sequence of Fraction
        g for the batch, one per ingredient, as the recipe weighs them.
    times : Fraction
        Batches.
    """

    name: str
    recipe: Recipe
    weights: Sequence[Fraction]
    times: Fraction = ONE


@dataclass(frozen=True, repr=False)
class ShoppingList(Outcome):
    """What to buy for so many servings of a dish, or of several; its `outcome` is "listed".

    Attributes
    ----------
    recipe : Recipe
        The dish; of several the first.
    servings : int
        Of all dishes together.
    purchases : tuple of Purchase
        By section, then in the order of the recipe.
    allergens, allergens_unknown : tuple of str
        Of what is used; and the labels of the ingredients whose allergens are not known.
    warnings : tuple of str
        What whoever eats a serving must know.
    """

    recipe: Recipe
    servings: int
    purchases: tuple[Purchase, ...]
    allergens: tuple[str, ...] = ()
    allergens_unknown: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    dishes: tuple[ToCook, ...] = ()

    outcome = "listed"

    @property
    def title(self) -> str:
        """The dish, or how many there are."""
        return self.recipe.title if len(self.dishes) < 2 else f"{len(self.dishes)} dishes"

    @property
    def price(self) -> Fraction | None:
        """Of all that has a price; None where nothing has."""
        known = [purchase.price for purchase in self.purchases if purchase.price is not None]
        return sum(known, ZERO) if known else None

    @property
    def unpriced(self) -> tuple[str, ...]:
        """Foods whose price the table does not have."""
        return tuple(p.food for p in self.purchases if p.price is None)


@dataclass(frozen=True)
class _Need:
    """A food to buy for one ingredient."""

    ingredient: Ingredient
    food: Food
    used: Fraction
    raw: Fraction
    piece: Fraction | None
    note: str
    dish: str


def shopping(recipe: Recipe, weights: Sequence[Fraction], servings: int | None = None, *,
             foods: FoodTable | None = None, guaranteed: Guaranteed = None) -> ShoppingList:
    """What to buy for a dish at these weights.

    Parameters
    ----------
    recipe : Recipe
    weights : sequence of Fraction
        g for the batch, one per ingredient, as the recipe weighs them.
    servings : int, optional
        Buy for so many servings instead of the batch.
    foods : FoodTable, optional
        Where the food before preparation is looked up, for an ingredient that is a cooked food.
    guaranteed : {"mean", "food"}, optional
        What a serving may hold is told by the upper ends of the table's intervals.

    Returns
    -------
    ShoppingList

    Raises
    ------
    BadInput
        Where the servings are not a positive number.

    Examples
    --------
    >>> from ratio_solver import check, load_foods, read_recipe, shopping
    >>> gratin = read_recipe("examples/celeriac-gratin.toml", load_foods())
    >>> bought = shopping(gratin, check(gratin).grams_of_each, servings=12).purchases[0]
    >>> f"{float(bought.buy):.0f} g {bought.food}"
    '2667 g potato, with skin, raw'
    """
    wanted = recipe.servings if servings is None else servings
    if wanted < 1:
        raise BadInput([Fault("--servings", "", str(wanted), "expected 1 or more")])
    return shopping_for([ToCook("", recipe, weights, Fraction(wanted, recipe.servings))], wanted, foods=foods,
                        guaranteed=guaranteed)


def shopping_for(dishes: Sequence[ToCook], servings: int, *, foods: FoodTable | None = None,
                 guaranteed: Guaranteed = None) -> ShoppingList:
    """One list for several dishes: foods are added up across them before anything is rounded.

    Parameters
    ----------
    dishes : sequence of ToCook
        At least one.
    servings : int
        Of all dishes together.
    foods : FoodTable, optional
        Where the food before preparation is looked up, for an ingredient that is a cooked food.
    guaranteed : {"mean", "food"}, optional
        What a serving may hold is told by the upper ends of the table's intervals.
    """
    needs: dict[str, list[_Need]] = {}
    known: dict[str, None] = {}
    unknown: dict[str, None] = {}
    warnings: dict[str, None] = {}
    for dish in dishes:
        table = foods.with_tables(dish.recipe.tables) if foods is not None else None
        for ingredient, weight in zip(dish.recipe.ingredients, dish.weights, strict=True):
            if weight > 0:
                need = _need(ingredient, weight * dish.times, table, dish.name)
                needs.setdefault(need.food.id, []).append(need)
        known |= dict.fromkeys(allergens(dish.recipe, dish.weights))
        unknown |= dict.fromkeys(allergens_unknown(dish.recipe, dish.weights))
        told = eating_warnings(dish.recipe, dish.weights, guaranteed=guaranteed)
        warnings |= dict.fromkeys(f"{dish.name}: {one}" if dish.name else one for one in told)
    order = [*SECTIONS, _WATER]
    purchases = sorted(map(_purchase, needs.values()), key=lambda purchase: order.index(purchase.section))
    return ShoppingList(dishes[0].recipe, servings, tuple(purchases), tuple(sorted(known)), tuple(unknown),
                        tuple(warnings), tuple(dishes))


def _need(ingredient: Ingredient, used: Fraction, foods: FoodTable | None, dish: str) -> _Need:
    raw, food = raw_grams(ingredient, used), ingredient.food
    piece: Fraction | None = raw_grams(ingredient, exact(ingredient.piece)) if ingredient.piece else None
    notes = [f"{ingredient.prepared or 'prepared'}: yield {ingredient.yield_:g}"] if ingredient.yield_ != 1 else []
    if _COOKED.search(food.name) and not _SOLD_SO.search(food.name):
        rows = bundled_yields().rows
        row = next((row for row in rows if row.cooked_id == food.id), None) or \
            next((row for row in rows if row.cooked_food.lower() == food.name.lower()), None)
        before = (foods.get(row.id) or foods.get(row.food)) if foods and row else None
        if row is None or before is None:
            notes.append("weight as cooked; no yield known")
        else:
            notes.append(f"{row.prepared}: yield {row.share:g}")
            food, raw, piece = before, raw / exact(row.share), None
    return _Need(ingredient, food, used, raw, piece, ", ".join(notes), dish)


def _purchase(needs: Sequence[_Need]) -> Purchase:
    food = needs[0].food
    used, raw = sum((n.used for n in needs), ZERO), sum((n.raw for n in needs), ZERO)
    whole = 1 - exact(food.refuse or 0.0) / 100
    piece = next((need.piece for need in needs if need.piece), None)
    if piece is None and food.role == "egg" and "dried" not in food.name:  # sold whole, whether weighed or not
        piece = next((exact(food.measures[name]) for name in ("large", "egg", "medium") if name in food.measures), None)
    bought = raw / whole
    scale = ONE if bought >= 10 else Fraction(1, 10)  # what a shop's scale shows
    pieces = None if piece is None else math.ceil(raw / piece)
    buy = math.ceil(bought / scale) * scale if piece is None or pieces is None else pieces * piece / whole
    pack = None if food.pack is None else exact(food.pack)
    packs = None if pack is None else math.ceil(buy / pack)
    if pack is not None and packs is not None:
        buy = packs * pack
    dishes: dict[str, Fraction] = {}
    for need in needs:
        if need.dish:
            dishes[need.dish] = dishes.get(need.dish, ZERO) + need.raw / whole
    notes = [*(need.note for need in needs if need.note), *([f"{food.refuse:g} % refuse"] if food.refuse else [])]
    named = next((name for name, grams in food.measures.items() if exact(grams) == piece), "whole")
    return Purchase(
        section=section_of(food), food=food.name, used_for=tuple(
            dict.fromkeys(need.ingredient.label for need in needs)), used=used,
        raw=raw, bought=bought, buy=buy, pieces=pieces, piece=named if piece else "",
        price=None if food.price is None else buy * exact(food.price) / 1000, note=", ".join(dict.fromkeys(notes)),
        dishes=dishes, packs=packs, pack=pack,
    )


def section_of(food: Food) -> str:
    """Part of the shop where a food is found, by its role."""
    if food.name == _WATER:
        return _WATER
    return next((section for section, roles in SECTIONS.items() if food.role in roles), "other")


PURCHASE_COLUMNS = ("section", "food", "buy_g", "pieces", "piece", "bought_g", "raw_g", "used_g", "price", "used_for",
                    "note", "packs", "pack_g", "dishes")


def text(found: ShoppingList) -> Block:
    """What to buy, section by section."""
    count = len(found.purchases)
    return (
        Text.assemble((found.title, STRONG), f"  what to buy for {counted(found.servings, 'serving')}"),
        Text(""),
        table_of((("buy", "right"), ("food", "left"), ("of it used", "right"), ("", "left")), _shopping_lines(found)),
        Text(""),
        *([] if found.price is None else [Text(
            f"Price of the {count - len(found.unpriced)} of {count} foods that have one: {decimal(found.price, 2)}")]),
        Text.assemble("Allergens: ", (allergen_words(found.allergens, found.allergens_unknown), STRONG)),
        *(Text(f"Note: {warning}.", "yellow") for warning in found.warnings),
        Text("Weights are as bought: before preparation, with peel, bone or shell.", QUIET),
    )


def _shopping_lines(found: ShoppingList) -> Iterator[Sequence[Cell]]:
    """What to ask for ("1134 g", "3 large") under the part of the shop where it is."""
    for name, purchases in groupby(found.purchases, key=lambda purchase: purchase.section):
        yield ()
        yield "", Text(name.capitalize(), STRONG)
        for item in purchases:
            price = "" if item.price is None else f"price {decimal(item.price, 2)}"
            packs = "" if item.pack is None else f"{item.packs} x {short(item.pack, 1)} g"
            pieces = "" if item.pieces is None else f"{item.pieces} {item.piece}"
            of_dishes = "; ".join(f"{short(grams, 1)} g {name}" for name, grams in item.dishes.items()) \
                if len(item.dishes) > 1 else "".join(item.dishes)
            yield (packs or pieces or f"{short(item.buy, 1)} g", Text(item.food), f"{short(item.used, 1)} g",
                   Text(", ".join(filter(None, (pieces if packs else "", item.note, price, of_dishes))), QUIET))


def data(found: ShoppingList) -> Data:
    """The same in the keys of the command's JSON; weights in g."""
    return {
        "title": found.title,
        "servings": found.servings,
        "purchases": [_purchase_data(item) for item in found.purchases],
        "price": plain(found.price),
        "unpriced": list(found.unpriced),
        "allergens": list(found.allergens),
        "allergens_unknown": list(found.allergens_unknown),
        "warnings": list(found.warnings),
        "dishes": [{"dish": dish.name or dish.recipe.title, "batches": plain(dish.times)} for dish in found.dishes],
    }


def rows(found: ShoppingList) -> Rows:
    """A row a food."""
    return PURCHASE_COLUMNS, map(_purchase_data, found.purchases)


def _purchase_data(item: Purchase) -> Data:
    return {
        "section": item.section, "food": item.food, "buy_g": plain(item.buy), "pieces": item.pieces,
        "piece": item.piece, "bought_g": plain(item.bought), "raw_g": plain(item.raw), "used_g": plain(item.used),
        "price": plain(item.price), "used_for": "; ".join(item.used_for), "note": item.note,
        "packs": item.packs, "pack_g": plain(item.pack),
        "dishes": "; ".join(f"{name}: {float(grams):g} g" for name, grams in item.dishes.items()),
    }
