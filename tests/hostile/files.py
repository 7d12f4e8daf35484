"""Sound files of the nine kinds that are read: what the mutations start from."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

RECIPE = """\
title = "Celeriac mash"
servings = 4
pieces = 2
note = "Serve at once."
method = ["Boil the celeriac.", "Mash it with the butter."]
finished_grams = 600

[targets]
ratio = {min = 1.5, max = 4}
net_carbs = 11
protein = {min = 2}
energy = {max = 900}
sodium = {max = 2000}

[policy]
ratio_formula = "net"
left_out = {erythritol = 1.0, polyols = 0.0}
unknown_as_zero = ["calcium"]

[[ingredients]]
food = "celeriac, raw"
label = "celeriac"
part = "mash"
grams = 400
min = 300
max = 450
step = 5
keep = 2

[[ingredients]]
food = "butter, salted"
grams = 40
min = 0
max = 200
part = "mash"

[[ingredients]]
food = "egg, whole, raw"
label = "egg"
measure = "large"
grams = 50
min = 0
max = 200

[[ingredients]]
food = "parmesan, grated"
grams = 60
yield = 0.9

[parts.mash]
min = 300
max = 700

[[proportions]]
of = ["celeriac"]
to = "batch"
min = 0.1
max = 0.9

[[choose]]
from = ["butter, salted", "egg"]
at_most = 2
"""

DAY = """\
title = "Day"
[[people]]
name = "A"
energy = 900
ratio = 1.5
protein = {min = 10, max = 80}
net_carbs = 30
within = 0.4
meals = {lunch = 2, dinner = 1}
[[people]]
name = "B"
weight_kg = 30
energy_per_kg = 30
protein_per_kg = 0.5
fat = {min = "40 % of energy"}
ratio_formula = "total"
[[meals]]
name = "lunch"
dishes = ["soup.toml", {file = "mash.toml", as_written = true, batches = 2, portion = 120, min = 0, max = 600}]
beside = [{food = "butter, salted", max = 60}, {food = "olive oil", grams = 5, min = 0, max = 40}]
people = ["A", "B"]
[[meals]]
name = "dinner"
dishes = [{file = "soup.toml", people = ["A"]}]
beside = [{food = "cream, heavy (36 % fat)", max = 150}]
[stock]
"butter, salted" = 900
[policy]
energy = "9/4/4"
"""

WEEK = [
    ["day", "meal", "dish", "person", "food", "portion", "max", "batches", "as_written"],
    ["Monday", "lunch", "soup.toml", "", "", 150, "", "", ""],
    ["Monday", "lunch", "", "A", "butter, salted", "", 60, "", ""],
    ["Monday", "dinner", "mash.toml", "A; B", "", "", 700, 2, "yes"],
    ["Tuesday", "lunch", "soup.toml", "B", "", "", "", 1, "no"],
    ["Tuesday", "dinner", "", "", "olive oil", 10, 80, "", ""],
]

PEOPLE = """\
[[people]]
name = "A"
energy = 900
ratio = 1.2
within = 0.5
[[people]]
name = "B"
net_carbs = 60
"""

SMALL = """\
title = "Soup"
servings = 2
[targets]
ratio = 2.0
net_carbs = 12
[[ingredients]]
food = "celeriac, raw"
grams = 200
min = 100
max = 300
[[ingredients]]
food = "cream, heavy (36 % fat)"
grams = 100
min = 0
max = 300
[[ingredients]]
food = "parmesan, grated"
grams = 20
"""

WRITTEN = """\
Mash of the lodge
Serves 4

For the mash:
1 1/2 kg celeriac, peeled
2 x 400 g tins of tomatoes
100-120 g butter, plus a little for the dish
2 large eggs
1 (14 oz) can coconut milk
50 g Parmesan or Gruyère, grated
½ tsp salt and a pinch of pepper
juice of 1 lemon
1,5 dl Schlagsahne

For the crust:
2 cups plain flour
a handful of parsley

Method
1. Boil the celeriac for 20 minutes.
2. Mash it with the butter.
"""

PAGE = ('<!DOCTYPE html><html lang="en"><head><title>Mash &amp; more</title><script type="application/ld+json">'
        + json.dumps({
            "@context": "https://schema.org",
            "@graph": [{"@type": "WebSite", "name": "A lodge"}, {
                "@type": ["Recipe"], "name": "Mash &amp; more", "recipeYield": ["4", "4 bowls"],
                "recipeIngredient": ["<b>800 g</b> celeriac", "1&frac12; cups milk", "For the top:", "2 eggs",
                                     "60 g butter"],
                "recipeInstructions": [{"@type": "HowToSection", "name": "The mash", "itemListElement": [
                    {"@type": "HowToStep", "text": "Boil."}, {"@type": "HowToStep", "name": "Mash."}]}]}]}, indent=1)
        + "</script></head><body><h1>Mash</h1><p>2 cups of nothing</p></body></html>")

Rows = list[list[Any]]

MENU: Rows = [
    ["recipe", "servings", "ratio", "ratio_max", "net_carbs", "protein_min", "energy_max", "food", "label", "grams",
     "min", "max", "yield", "keep", "step", "piece", "part", "ratio_formula"],
    ["mash", 4, 2, 4, 11, "", 900, "celeriac, raw", "root", 400, 300, 450, "", 2, 5, "", "a", ""],
    ["", "", "", "", "", "", "", "butter, salted", "", 40, 0, 200, "", "", "", "", "", ""],
    ["", "", "", "", "", "", "", "parmesan, grated", "", 60, "", "", 0.9, "", "", "", "", ""],
    ["soup", 2, "5:2", "", 9.5, 3, "", "cream, heavy (36 % fat)", "", 150, 0, 300, "", "", "", "", "", ""],
    ["soup", "", "", "", "", "", "", "celeriac, raw", "", 200, 100, 300, "", "", "", "", "", ""],
    ["soup", "", "", "", "", "", "", "egg, whole, raw", "", 50, 0, 150, "", "", "", 50, "", ""],
    ["none", 1, 4, "", 3, "", "", "sweet potato, raw", "", 100, 90, 110, "", "", "", "", "", ""],
    ["fudge", 10, 3, "", 5, "", "", "butter, unsalted", "", 200, 100, 400, "", "", "", "", "", "ketogenic-quotient"],
    ["fudge", "", "", "", "", "", "", "almonds", "", 100, 50, 200, "", "", "", "", "", ""],
]

BY_FILE: Rows = [["file", "recipe", "ratio", "net_carbs", "servings", "title", "protein_min"],
           ["mash.toml", "first", 2, 11, "", "", ""],
           ["soup.toml", "second", "3:1", "", 3, "A soup", 2],
           ["mash.toml", "", "", 12.5, 8, "", ""]]

FOODS: Rows = [
    ["food", "id", "carb_basis", "fat_g", "protein_g", "carbs_g", "fibre_g", "energy_kcal", "water_g", "polyols_g",
     "Omega-3_g", "sodium_mg", "fat_g_low", "fat_g_high", "refuse_percent", "price_per_kg", "allergens", "role",
     "measures", "source"],
    ["celeriac, raw", "own:1", "by_difference", 0.3, 1.5, 9.2, 1.8, 42, 88, "", 0.01, 100, 0.2, 0.4, 14, 2.5, "celery",
     "vegetable", "cup=156; small=300", "from memory"],
    ["butter, salted", "own:2", "available", 81, 0.9, 0.1, 0, 717, 16, "", 0.3, 643, 80, 82, 0, 9, "milk", "fat",
     "tbsp=14.2", "from memory"],
    ["parmesan, grated", "own:3", "available", 28, 38, 4, 0, "", 20, "", "", 1175, "", "", "", 20, "milk", "cheese", "",
     "from memory"],
    ["cream, heavy (36 % fat)", "own:4", "available", 36, 2, 3, "", 340, "", "", "", "", "", "", 0, 6, "milk", "dairy",
     "cup=238", "from memory"],
    ["syrup of nothing", "own:5", "by_difference", 0, 0, 80, 0, "", "", 75, "", "", "", "", "", "", "none", "sweetener",
     "", "from memory"],
]


def as_csv(rows: Sequence[Sequence[Any]], delimiter: str = ",") -> bytes:
    """Rows as CSV; with semicolons numbers have a decimal comma."""
    text = io.StringIO()
    writer = csv.writer(text, delimiter=delimiter, lineterminator="\n")
    for row in rows:
        writer.writerow([str(cell).replace(".", ",") if delimiter == ";" and isinstance(cell, float) else cell
                         for cell in row])
    return text.getvalue().encode("utf-8", "surrogatepass")


def as_book(path: Path, rows: Sequence[Sequence[Any]]) -> None:
    """Rows as a workbook; a cell that the library refuses stays empty."""
    import openpyxl
    from openpyxl.utils.exceptions import IllegalCharacterError

    book = openpyxl.Workbook()
    sheet = book.active
    for number, row in enumerate(rows, 1):
        for column, cell in enumerate(row, 1):
            if cell != "":
                try:
                    sheet.cell(number, column).value = cell
                except (ValueError, TypeError, IllegalCharacterError):
                    continue
    book.save(path)
