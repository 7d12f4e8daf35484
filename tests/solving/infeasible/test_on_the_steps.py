"""Where only steps and pieces are in the way: what is said of them, and cures that trying every weight confirms."""

from __future__ import annotations

import itertools
import json
import random
from fractions import Fraction
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from ratio_solver import Diagnosis, FoodTable, Impossible, Proposal, recipe_from, solve
from ratio_solver.cli import main
from ratio_solver.dish.constraints import Limit
from ratio_solver.solving.result import Stepped
from tests.kitchen import dish, food, table
from tests.oracle.recipes import to_toml, write_table

FAR = 20_000
"""Beyond this no weight is tried, g."""

ROWS = [food("egg", 10, 12, 1), food("oil", 100), food("cheese", 30, 20, 2), food("root", 0, 0, 8)]


def diagnosed(written: dict[str, Any], foods: FoodTable) -> Diagnosis | None:
    answer = solve(recipe_from(written, foods))
    return answer.diagnosis if isinstance(answer, Impossible) else None


def test_an_egg_that_comes_whole_is_named_and_cured(tmp_path: Path) -> None:
    """110 to 140 g of 50 g eggs: two eggs are 100 g, three are 150 g."""
    egg = {"food": "egg", "grams": 120, "min": 110, "max": 140, "piece": 50}
    written = dish([egg, {"food": "oil", "grams": 30, "min": 0, "max": 100}], targets={"ratio": 1})
    found = diagnosed(written, table(tmp_path, *ROWS))
    assert found is not None and found.steps and found.stepped == (Stepped("egg", Fraction(50), True),)
    assert {(repair.limit.name, repair.to) for repair in found.repairs} == {("egg max", 150), ("egg min", 100)}
    assert not found.joint_repair and not found.stuck and found.best_ratio is None

    path = tmp_path / "dish.toml"
    path.write_text(to_toml(written), encoding="utf-8")
    asked = ["solve", str(path), "--foods", str(tmp_path / "own.csv")]
    text = CliRunner().invoke(main, asked)
    assert text.exit_code == 3 and max(map(len, text.stdout.splitlines())) <= 80
    said = " ".join(text.stdout.split())
    assert "In whole pieces: egg, 50 g each. Weights between the pieces do (--exact)." in said and "finer" not in said
    assert "raise egg's maximum from 140 g to 150 g" in said and "lower egg's minimum from 110 g to 100 g" in said
    data = json.loads(CliRunner().invoke(main, [*asked, "--format", "json"]).stdout)["diagnosis"]
    assert data["stepped"] == [{"ingredient": "egg", "grams": 50.0, "piece": True}] and len(data["repairs"]) == 2


def test_two_that_come_whole_are_cured_together(tmp_path: Path) -> None:
    """Beside the egg 40 to 50 g of oil by steps of 30 g: 60 g is 20 % more, 30 g a quarter less."""
    written = dish([{"food": "egg", "grams": 120, "min": 110, "max": 140, "piece": 50},
                    {"food": "oil", "grams": 45, "min": 40, "max": 50, "step": 30}])
    found = diagnosed(written, table(tmp_path, *ROWS))
    assert found is not None and found.steps and not found.repairs
    assert [(repair.limit.name, repair.to) for repair in found.joint_repair] == [("egg max", 150), ("oil max", 60)]


def test_what_a_ratio_would_have_to_be_is_said(tmp_path: Path) -> None:
    """40 g of carbs and oil by 50 g: of 2.1 to 2.4:1 there is 1.25:1 or 2.5:1."""
    written = dish([{"food": "root", "grams": 500}, {"food": "oil", "grams": 0, "min": 0, "max": 300, "step": 50}],
                   targets={"ratio": {"min": 2.1, "max": 2.4}})
    found = diagnosed(written, table(tmp_path, *ROWS))
    assert found is not None and found.stepped == (Stepped("oil", Fraction(50), False),)
    assert {(repair.limit.sense, repair.to) for repair in found.repairs} == {("<=", Fraction("2.5")),
                                                                            (">=", Fraction("1.25"))}


def test_single_cures_are_those_of_trying_every_weight(tmp_path: Path) -> None:
    """Random dishes with a narrow band of the ratio: each limit's nearest value that weights on the steps reach."""
    write_table(tmp_path / "own.csv", ROWS)
    foods, cured = table(tmp_path, *ROWS), 0
    for seed in range(60):
        rng = random.Random(seed)
        low = Fraction(rng.randint(100, 300), 100)
        oil = {"min": rng.randint(0, 60), "max": rng.randint(90, 160), "step": rng.choice((20, 25, 40))}
        cheese = {"min": rng.randint(0, 40), "max": rng.randint(60, 130), "piece": rng.choice((30, 45, 70))}
        written = dish([{"food": "root", "grams": rng.randint(200, 500)}, {"food": "oil", "grams": 50, **oil},
                        {"food": "cheese", "grams": 50, **cheese}],
                       targets={"ratio": {"min": float(low), "max": float(low + Fraction(1, 20))}})
        found = diagnosed(written, foods)
        if found is None or not found.steps:
            continue
        root = Fraction(written["ingredients"][0]["grams"])
        values = {"ratio": lambda p, r=root: (p[0] + Fraction(3, 10) * p[1]) /
                  (r * Fraction(8, 100) + Fraction(22, 100) * p[1]),
                  "oil": lambda p: p[0], "cheese": lambda p: p[1]}
        bounds = {("ratio", ">="): low, ("ratio", "<="): low + Fraction(1, 20), ("oil", ">="): Fraction(oil["min"]),
                  ("oil", "<="): Fraction(oil["max"]), ("cheese", ">="): Fraction(cheese["min"]),
                  ("cheese", "<="): Fraction(cheese["max"])}

        def kept(point: tuple[Fraction, Fraction], but: tuple[str, str], values: Any = values,
                 bounds: Any = bounds) -> bool:
            return all(values[key[0]](point) >= bound if key[1] == ">=" else values[key[0]](point) <= bound
                       for key, bound in bounds.items() if key != but)

        for limit in found.conflict:
            key = key_of(limit)
            most = [FAR if key == (name, "<=") else bound["max"] for name, bound in (("oil", oil), ("cheese", cheese))]
            grid = itertools.product(range(0, most[0] + 1, oil["step"]), range(0, most[1] + 1, cheese["piece"]))
            points = [(Fraction(a), Fraction(b)) for a, b in grid]
            reached = [values[key[0]](point) for point in points if kept(point, key)]
            change = next((repair for repair in found.repairs if repair.limit is limit), None)
            assert bool(reached) == (change is not None), (seed, key)
            if change is not None:
                best = max(reached) if limit.sense == ">=" else min(reached)
                beyond = best - change.to if limit.sense == ">=" else change.to - best
                assert 0 <= beyond <= abs(best - limit.bound) / 100, (seed, key)
                cured += 1
        for repair in found.repairs:
            assert isinstance(solve(recipe_from(with_bound(written, repair.limit, repair.to), foods)), Proposal)
    assert cured > 20


def key_of(limit: Limit) -> tuple[str, str]:
    return limit.name.removesuffix(" min").removesuffix(" max"), limit.sense


def with_bound(written: dict[str, Any], limit: Limit, to: Fraction) -> dict[str, Any]:
    """The file with one limit written anew."""
    name, end = key_of(limit)[0], "min" if limit.sense == ">=" else "max"
    if name == "ratio":
        return {**written, "targets": {"ratio": {**written["targets"]["ratio"], end: float(to)}}}
    return {**written, "ingredients": [{**entry, end: float(to)} if entry["food"] == name else entry
                                       for entry in written["ingredients"]]}


def test_a_change_that_misses_by_a_hair_is_not_offered(tmp_path: Path) -> None:
    """199.999999 g of fat to 100 of protein are 1.99999999:1, and 2:1, which is next to it and shorter, is not kept."""
    own = table(tmp_path, food("oil", fat=100), food("lean", protein=100))
    recipe = recipe_from(dish([{"food": "oil", "grams": 100, "min": 50, "max": 199.999999},
                               {"food": "lean", "grams": 100}], targets={"ratio": 3}), own)
    answer = solve(recipe, exact=True)
    assert isinstance(answer, Impossible)
    [to] = [repair.to for repair in answer.diagnosis.repairs if repair.limit.name == "ratio"]
    assert Fraction("1.98") < to <= Fraction("1.99999999")
