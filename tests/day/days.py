"""Seeded random days: people, meals, dishes, foods beside and a stock, all invented.

The same seed gives the same day. Some three in five are drawn around portions that keep everything; of the others some
are possible too.
"""

from __future__ import annotations

import copy
import os
import random
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.oracle.recipes import random_recipe, random_table, to_toml, write_table
from tests.oracle.second_opinion import per_100g

SPLIT = ("energy", "protein", "net_carbs", "fat")


def all_seeds() -> range:
    """The seeds of the slow sweeps: 200, or as the variable DAYS says, a number or a share of them, `100:120`."""
    first, _, last = os.environ.get("DAYS", "200").rpartition(":")
    return range(int(first or 0), int(last))


@dataclass
class Drawn:
    """A day as it is written, the recipes that it names, and the table's rows."""

    day: dict[str, Any]
    recipes: dict[str, dict[str, Any]]
    rows: list[dict[str, str]]
    possible: bool
    people: int = 0
    tags: list[str] = field(default_factory=list)

    def written_to(self, folder: Path) -> tuple[Path, Path]:
        """The day file and the table, as files."""
        for name, recipe in self.recipes.items():
            (folder / name).write_text(to_toml(recipe), encoding="utf-8")
        write_table(folder / "own.csv", self.rows)
        (folder / "day.toml").write_text(to_toml(self.day), encoding="utf-8")
        return folder / "day.toml", folder / "own.csv"


def drawn_day(seed: int, *, together: bool = False, most: tuple[int, int, int] = (6, 5, 8), hard: bool = False
              ) -> Drawn:
    """A day of at most so many people, meals and dishes; a `hard` one rarely has an answer."""
    rng = random.Random(f"day {seed} {together}")
    rows = random_table(seed, 24)
    possible = rng.random() < 0.6 and not hard
    n_people, n_meals, n_dishes = (rng.randint(1, top) for top in most)
    recipes: dict[str, dict[str, Any]] = {}
    for number in range(n_dishes):
        recipe = random_recipe(rng, rows, kind="plain" if together else rng.choice(("plain", "mixed")))
        recipe.pop("policy", None)
        if not together and sum(float(entry["grams"]) for entry in recipe["ingredients"]) < 50:
            recipe["ingredients"][0]["grams"] = 60
        if rng.random() < 0.4 or together:
            recipe["finished_grams"] = rng.randint(400, 2500)
        recipes[f"dish-{number}.toml"] = recipe
    meals = []
    for number in range(n_meals):
        dishes = [{"file": name} for name in rng.sample(list(recipes), rng.randint(1, min(3, n_dishes)))]
        beside = [{"food": row["food"], "max": rng.randint(10, 120)} for row in rng.sample(rows, rng.randint(0, 2))]
        for one in beside:
            if rng.random() < 0.3:
                one["step"] = rng.choice((5, 0.5, 2))
        for one in dishes:
            if not together:
                one["as_written"] = True
            if rng.random() < 0.3 or together:
                one["portion"] = rng.randint(60, 400)
            if rng.random() < 0.3:
                one["max"] = rng.randint(300, 800)
        meals.append({"name": f"meal {number + 1}", "dishes": dishes, "beside": beside})
    day: dict[str, Any] = {"title": f"day {seed}", "people": [], "meals": meals}
    totals, used = _people(rng, day, recipes, rows, n_people, possible, hard)
    names = [person["name"] for person in day["people"]]
    if n_people > 1 and rng.random() < 0.3:
        meals[-1]["people"] = rng.sample(names, rng.randint(1, n_people))
    tags = _pots(rng, day, recipes, totals, possible, together) if rng.random() < 0.5 else []
    if rng.random() < 0.5:
        tags += _stock(rng, day, used, possible)
    return Drawn(day, recipes, rows, possible, n_people, tags)


def _people(rng: random.Random, day: dict[str, Any], recipes: Mapping[str, Any], rows: list[dict[str, str]], count: int,
            possible: bool, hard: bool) -> tuple[dict[str, float], dict[str, float]]:
    """Put people into the day, each around portions that are drawn; g of each dish and of each food that these take."""
    by_name = {row["id"]: row for row in rows} | {row["food"]: row for row in rows}
    totals: dict[str, float] = {}
    used: dict[str, float] = {}
    for number in range(count):
        if number and rng.random() < 0.35:
            day["people"].append({**copy.deepcopy(day["people"][-1]), "name": f"person {number + 1}"})
            for amounts in (totals, used):
                for key in list(amounts):
                    amounts[key] *= (number + 1) / number
            continue
        eaten = []
        for meal in day["meals"]:
            amounts = dict.fromkeys(("fat", "protein", "net_carbs", "energy"), 0.0)
            for one in meal["dishes"]:
                grams = one.get("portion", rng.randint(80, 350)) * rng.uniform(0.8, 1.2)
                totals[one["file"]] = totals.get(one["file"], 0) + grams
                recipe = recipes[one["file"]]
                whole = sum(float(entry["grams"]) for entry in recipe["ingredients"]) or 1.0
                for entry in recipe["ingredients"]:
                    share = float(entry["grams"]) / recipe.get("finished_grams", whole) * grams
                    food = by_name[entry["food"]]["food"]
                    used[food] = used.get(food, 0) + share / float(entry.get("yield", 1))
                    for key in amounts:
                        amounts[key] += share / float(entry.get("yield", 1)) * float(
                            per_100g(by_name[entry["food"]], key)) / 100
            for one in meal["beside"]:
                grams = rng.choice((0, rng.uniform(0, one["max"])))
                used[one["food"]] = used.get(one["food"], 0) + grams
                for key in amounts:
                    amounts[key] += grams * float(per_100g(by_name[one["food"]], key)) / 100
            eaten.append(amounts)
        day["people"].append(_person(rng, day, eaten, f"person {number + 1}", possible, hard))
    return totals, used


def _person(rng: random.Random, day: Mapping[str, Any], eaten: list[dict[str, float]], name: str, possible: bool,
            hard: bool) -> dict[str, Any]:
    total = {key: sum(amounts[key] for amounts in eaten) for key in eaten[0]}
    ratios = [amounts["fat"] / max(amounts["protein"] + amounts["net_carbs"], 0.01) for amounts in eaten]
    easy = 1.0 if possible else rng.uniform(1.1, 2.0) if hard else rng.uniform(0.9, 1.4)
    if "portion" in day["meals"][0]["dishes"][0] and "as_written" not in day["meals"][0]["dishes"][0]:
        easy *= rng.uniform(0.3, 1.0)  # the dishes move as well, and have limits of their own
    person: dict[str, Any] = {"name": name, "energy": max(1, round(total["energy"]))}
    person["ratio"] = max(0.05, round(min(ratios) * rng.uniform(0.6, 0.98) * easy, 2))
    if rng.random() < 0.6:
        person["protein"] = max(0.1, round(total["protein"] * rng.uniform(0.5, 0.95) * easy, 1))
    if rng.random() < 0.5:
        person["net_carbs"] = round(total["net_carbs"] * rng.uniform(1.05, 1.6) / easy, 1)
    if rng.random() < 0.3:
        person["sodium"] = {"max": round(5000 * rng.uniform(0.5, 2))}
    if rng.random() < 0.2:
        person["fat"] = {"min": round(total["fat"] * 0.7), "max": round(total["fat"] * 1.5)}
    if rng.random() < 0.7 or easy < 0.9:
        person["within"] = rng.choice((0.3, 0.4, 0.5) if easy < 0.9 else (0.05, 0.1, 0.2, 0.3))
    if rng.random() < 0.8:
        person["meals"] = {meal["name"]: max(1, round(amounts["energy"])) for meal, amounts in
                           zip(day["meals"], eaten, strict=True)}
    return person


def _pots(rng: random.Random, day: dict[str, Any], recipes: Mapping[str, Any], totals: Mapping[str, float],
          possible: bool, together: bool) -> list[str]:
    """Say of some dishes how many batches are cooked: about what the portions drawn take."""
    seen = set()
    for meal in day["meals"]:
        for one in meal["dishes"]:
            name = one["file"]
            if name in seen or rng.random() < 0.5:
                seen.add(name)
                continue
            seen.add(name)
            recipe = recipes[name]
            whole = recipe.get("finished_grams") or sum(float(entry["grams"]) for entry in recipe["ingredients"])
            wanted = totals.get(name, 0) * (1.2 if possible or together else rng.uniform(0.6, 1.2)) / whole
            one["batches"] = min(1000, max(1, -int(-wanted // 1) if possible or together else int(wanted)))
    return ["pots"] if any("batches" in one for meal in day["meals"] for one in meal["dishes"]) else []


def _stock(rng: random.Random, day: dict[str, Any], used: Mapping[str, float], possible: bool) -> list[str]:
    foods = [food for food, grams in used.items() if grams > 1]
    if foods:
        day["stock"] = {food: round(used[food] * (rng.uniform(2, 8) if possible else rng.uniform(0.5, 2)) + 1)
                        for food in rng.sample(foods, min(len(foods), rng.randint(1, 2)))}
    return ["stock"] if "stock" in day else []
