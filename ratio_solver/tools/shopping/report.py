"""The shopping list as text, and as data for JSON and CSV."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.text import Text

from ratio_solver.dish.notices import allergen_words
from ratio_solver.output.blocks import QUIET, STRONG, grid
from ratio_solver.output.numbers import decimal, plain, short

if TYPE_CHECKING:
    from ratio_solver.output.json_csv import Data
    from ratio_solver.tools.shopping.compute import Purchase, ShoppingList

PURCHASE_COLUMNS = ("section", "food", "buy_g", "pieces", "piece", "bought_g", "raw_g", "used_g", "price", "used_for",
                    "note")


def shopping_report(found: ShoppingList) -> RenderableType:
    """What to buy, section by section."""
    word = "serving" if found.servings == 1 else "servings"
    lines: list[RenderableType] = [
        Text.assemble((found.recipe.title, STRONG), f"  what to buy for {found.servings} {word}")
    ]
    table = grid(("buy", "right"), ("food", "left"), ("of it used", "right"), ("", "left"))
    for name, purchases in groupby(found.purchases, key=lambda purchase: purchase.section):
        table.add_row()
        table.add_row("", Text(name.capitalize(), STRONG))
        for item in purchases:
            price = "" if item.price is None else f"price {decimal(item.price, 2)}"
            table.add_row(quantity(item), Text(item.food), f"{short(item.used, 1)} g",
                          Text(", ".join(filter(None, (item.note, price))), QUIET))
    lines += [Text(""), table, Text("")]
    if found.price is not None:
        priced = len(found.purchases) - len(found.unpriced)
        lines.append(Text(f"Price of the {priced} of {len(found.purchases)} foods that have one: "
                          f"{decimal(found.price, 2)}"))
    lines.append(Text.assemble("Allergens: ", (allergen_words(found.allergens, found.allergens_unknown), STRONG)))
    lines += [Text(f"Note: {warning}.", "yellow") for warning in found.warnings]
    lines.append(Text("Weights are as bought: before preparation, with peel, bone or shell.", QUIET))
    return Group(*lines)


def quantity(item: Purchase) -> str:
    """What to ask for: "1134 g", "3 large"."""
    if item.pieces is not None:
        return f"{item.pieces} {item.piece}"
    return f"{short(item.buy, 1)} g"


def shopping_data(found: ShoppingList) -> Data:
    """The list in the keys of its JSON; weights in g."""
    return {
        "title": found.recipe.title,
        "servings": found.servings,
        "purchases": [purchase_data(item) for item in found.purchases],
        "price": plain(found.price),
        "unpriced": list(found.unpriced),
        "allergens": list(found.allergens),
        "allergens_unknown": list(found.allergens_unknown),
        "warnings": list(found.warnings),
    }


def purchase_data(item: Purchase) -> Data:
    """One food on the list."""
    return {
        "section": item.section, "food": item.food, "buy_g": plain(item.buy), "pieces": item.pieces,
        "piece": item.piece, "bought_g": plain(item.bought), "raw_g": plain(item.raw), "used_g": plain(item.used),
        "price": plain(item.price), "used_for": "; ".join(item.used_for), "note": item.note,
    }
