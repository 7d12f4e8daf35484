"""The shopping list: text, JSON and CSV."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import TYPE_CHECKING

from ratio_solver.dish.notices import allergen_words
from ratio_solver.output.blocks import QUIET, STRONG, Block, Cell, Text, table_of
from ratio_solver.output.json_csv import Data, Rows
from ratio_solver.output.numbers import decimal, plain, short

if TYPE_CHECKING:
    from ratio_solver.tools.shopping.compute import Purchase, ShoppingList

PURCHASE_COLUMNS = ("section", "food", "buy_g", "pieces", "piece", "bought_g", "raw_g", "used_g", "price", "used_for",
                    "note", "packs", "pack_g", "dishes")


def text(found: ShoppingList) -> Block:
    """What to buy, section by section."""
    word = "serving" if found.servings == 1 else "servings"
    count = len(found.purchases)
    return (
        Text.assemble((found.title, STRONG), f"  what to buy for {found.servings} {word}"),
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
