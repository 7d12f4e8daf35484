"""Small invented dishes for the tests of proposals, as recipe files, and the way to read them."""

from __future__ import annotations

import tomllib
from typing import Any

from ratio_solver import FoodTable, Recipe, load_foods, recipe_from

GRATIN = """
title = "Celeriac gratin of the mill guesthouse"
servings = 6

[targets]
ratio = 2.0
net_carbs = 8.0
protein = {min = 9}
energy = {max = 650}

[[ingredients]]
food = "celeriac, raw"
grams = 900
min = 450
max = 900

[[ingredients]]
food = "cream, heavy (36 % fat)"
label = "cream"
grams = 400
min = 200
max = 600

[[ingredients]]
food = "gruyere"
grams = 180
min = 100
max = 220
part = "topping"

[[ingredients]]
food = "butter, salted"
grams = 30
min = 0
max = 150
part = "topping"

[[ingredients]]
food = "olive oil"
grams = 0
min = 0
max = 60

[[ingredients]]
food = "egg, whole, raw"
label = "egg"
grams = 100

[parts.topping]
min = 180
max = 330

[[proportions]]
of = ["olive oil"]
to = "batch"
max = 0.05
"""

FIXED = """
title = "Herb soup of the cooking school"
servings = 4

[targets]
ratio = 2.0
net_carbs = 9
energy = {max = 500}
saturated = {max = 22}

[[ingredients]]
food = "celeriac, raw"
grams = 300

[[ingredients]]
food = "chicken breast, skinless, roasted"
label = "chicken"
grams = 160

[[ingredients]]
food = "olive oil"
grams = 20
"""

FOODS = load_foods()


def dish(text: str, foods: FoodTable = FOODS, **changed: Any) -> Recipe:
    """The recipe of a file's text, some of its top keys replaced."""
    return recipe_from(tomllib.loads(text) | changed, foods)
