"""The main job against answers not made by our own code: another solver, closed forms, plain reasoning."""

from __future__ import annotations

import itertools
import math
import random
from fractions import Fraction
from pathlib import Path

import pytest

from ratio_solver import Impossible, Proposal, recipe_from, solve
from ratio_solver.solving.formulation import PREFERENCES, roots
from tests.kitchen import dish, drawn, food, table
from tests.oracle.recipes import random_recipe, random_table, with_intervals

second_opinion = pytest.importorskip("tests.oracle.second_opinion")

BATCHES = [range(start, start + 50) for start in range(0, 500, 50)]


@pytest.mark.parametrize("seeds", BATCHES, ids=lambda seeds: f"{seeds.start}-{seeds.stop - 1}")
def test_same_optimum_as_another_solver(seeds: range, tmp_path: Path) -> None:
    """Random recipes against GLOP (OR-Tools), formulated by code that shares nothing with ours."""
    for seed in seeds:
        written, rows, recipe = drawn(seed, tmp_path, kind="choose" if seed % 5 == 4 else "mixed")
        answer = solve(recipe, exact=True)
        opinion = second_opinion.solve_closest(written, rows)
        assert isinstance(answer, Proposal) == (opinion.status == "optimal"), seed
        if isinstance(answer, Proposal):
            assert float(answer.objective.value) == pytest.approx(opinion.objective, rel=1e-6, abs=1e-6), seed
            assert answer.certificate.holds(), seed
            weights = {weight.ingredient: weight.grams for weight in answer.weights}
            assert not second_opinion.faults_of(written, rows, weights, tolerance=1e-6), seed


@pytest.mark.parametrize("kind", ["mean", "food"])
def test_guaranteed_against_another_solver(kind: str, tmp_path: Path) -> None:
    """Random recipes whose figures have intervals: the other tries every corner of them. Energy is left out, whose ends
    may be wider than its corners, and so is a highest ratio, for which carbohydrate may be taken as lying freely."""
    solved = stricter = 0
    for seed in range(700, 740):
        rows = with_intervals(seed, random_table(seed, 24))
        written = random_recipe(random.Random(seed), rows)
        targets = {name: held for name, held in written["targets"].items() if name != "energy"}
        if isinstance(targets.get("ratio"), dict):
            targets["ratio"] = targets["ratio"].get("min", 1.5)
        written |= {"targets": targets}
        recipe = recipe_from(written, table(tmp_path, *rows))
        answer, plainly = solve(recipe, guaranteed=kind, exact=True), solve(recipe, exact=True)
        opinion = second_opinion.solve_closest(written, rows, guaranteed=kind)
        assert isinstance(answer, Proposal) == (opinion.status == "optimal"), seed
        if isinstance(answer, Proposal):
            assert float(answer.objective.value) == pytest.approx(opinion.objective, rel=1e-6, abs=1e-6), seed
            solved += 1
            stricter += isinstance(plainly, Proposal) and answer.objective.value > plainly.objective.value
    assert solved > 8 and stricter > 6


@pytest.mark.parametrize("prefer", PREFERENCES)
def test_every_preference_against_another_solver(prefer: str, tmp_path: Path) -> None:
    for seed in range(600, 640):
        written, rows, recipe = drawn(seed, tmp_path)
        answer = solve(recipe, prefer, exact=True)
        opinion = second_opinion.solve_objective(written, rows, prefer, tie_break=True)
        assert isinstance(answer, Proposal) == (opinion.status == "optimal"), seed
        if isinstance(answer, Proposal):
            assert float(answer.objective.value) == pytest.approx(opinion.objective, rel=1e-6, abs=1e-6), seed
            moved = sum(i.keep * float(abs(w.change)) for i, w in zip(recipe.ingredients, answer.weights, strict=True))
            # the opinion's own tie-break lets its objective be 1e-9 worse, which frees up to 0.01 g
            assert moved <= opinion.moved + 0.01, seed


@pytest.mark.parametrize("ratio", [1.5, 2.0, 3.0, 4.0])
@pytest.mark.parametrize("fat", [(100, 0, 0), (81.11, 0.85, 0.06)])
def test_one_fat_alone_has_a_closed_form(ratio: float, fat: tuple[float, float, float], tmp_path: Path) -> None:
    """(R (P + N) - F) / (f - R (p + n)), by solving the ratio's equation for the grams by hand."""
    foods = table(tmp_path, food("base", 5.3, 7.1, 9.4, 2.6), food("meat", 16.5, 23.5, 0), food("fat", *fat))
    answer = solve(recipe_from(dish(
        [{"food": "base", "grams": 310}, {"food": "meat", "grams": 120},
         {"food": "fat", "grams": 0, "min": 0, "max": 900}],
        targets={"ratio": ratio}), foods), exact=True)
    base_fat, rest = 3.1 * 5.3 + 1.2 * 16.5, 3.1 * (7.1 + 9.4 - 2.6) + 1.2 * 23.5
    f, p, n = (value / 100 for value in fat)
    assert isinstance(answer, Proposal)
    assert float(answer.grams("fat")) == pytest.approx((ratio * rest - base_fat) / (f - ratio * (p + n)), abs=1e-6)


@pytest.mark.parametrize("order", list(itertools.permutations(["veg", "oil A", "oil B", "cream"])))
def test_of_two_identical_oils_the_first_listed_moves(order: tuple[str, ...], tmp_path: Path) -> None:
    foods = table(tmp_path, food("veg", 0.3, 1.5, 9.2, 1.8), food("oil A", 100), food("oil B", 100),
                  food("cream", 36, 2, 3))
    entries = {name: {"food": name, "grams": 0, "min": 0, "max": 500} for name in order}
    entries["veg"] = {"food": "veg", "grams": 400}
    answer = solve(recipe_from(dish([entries[name] for name in order], targets={"ratio": 2}), foods), exact=True)
    first, second = (name for name in order if name.startswith("oil"))
    assert isinstance(answer, Proposal)
    assert answer.grams(first) > 50
    assert answer.grams(second) == 0


def test_ties_are_weighed_by_what_no_rational_relates() -> None:
    """Roots of different primes: 1, 2, 3 would weigh a gram of the third as one of the first and one of the second."""
    found = roots(6)
    assert [round(float(root) ** 2, 9) for root in found] == [2, 3, 5, 7, 11, 13]
    assert all(root == Fraction(math.sqrt(prime)) for root, prime in zip(found, (2, 3, 5, 7, 11, 13), strict=True))


def test_a_nutrient_column_of_ones_own_can_be_targeted(tmp_path: Path) -> None:
    foods = table(tmp_path, food("liver", 4, 20, 2, iron_mg=17.5), food("oil", 100, iron_mg=0),
                  food("leek", 0.3, 1.5, 14, 1.8, iron_mg=""))
    answer = solve(recipe_from(dish(
        [{"food": "liver", "grams": 50, "min": 0, "max": 400}, {"food": "oil", "grams": 20, "min": 0, "max": 400},
         {"food": "leek", "grams": 30}],
        targets={"ratio": 2, "iron": {"min": 21}}), foods), exact=True)
    assert isinstance(answer, Proposal)
    assert float(answer.grams("liver")) == pytest.approx(120, abs=1e-6)  # 21 mg / 0.175 mg per g
    assert any("iron is unknown for leek" in warning for warning in answer.warnings)


def test_the_carbohydrate_basis_changes_nothing(tmp_path: Path) -> None:
    """The same foods tabled by difference (fibre inside) and as available carbohydrate (fibre outside)."""
    def foods(basis: str, folder: Path) -> object:
        folder.mkdir()
        inside = 1 if basis == "by_difference" else 0
        return table(folder, *(
            food(name, fat, protein, available + inside * fibre + 0, fibre, basis, **more)
            for name, fat, protein, available, fibre, more in [
                ("nuts", 50, 21, 9, 12.5, {}), ("bran", 4, 10, 20, 40, {}), ("cream", 36, 2, 3, 0, {}),
                ("sweet", 0, 0, 95, 5, {"polyols_g": 80, "erythritol_g": 60, "allulose_g": 10})]))

    written = dish([{"food": "nuts", "grams": 100, "min": 20, "max": 200}, {"food": "bran", "grams": 60},
                    {"food": "cream", "grams": 50, "min": 0, "max": 600}, {"food": "sweet", "grams": 30}],
                   targets={"ratio": 1.8, "net_carbs": 40, "fibre": {"min": 30}, "carbs": {"max": 120},
                            "energy": {"max": 5000}})
    answers = [solve(recipe_from(written, foods(basis, tmp_path / basis)), exact=True)
               for basis in ("by_difference", "available")]
    first, second = answers
    assert isinstance(first, Proposal) and isinstance(second, Proposal)
    assert [w.grams for w in first.weights] == [w.grams for w in second.weights]
    assert first.facts == second.facts
    assert [(s.limit, s.actual, s.price) for s in first.limits] == [(s.limit, s.actual, s.price) for s in second.limits]


def test_fibre_cannot_be_subtracted_twice(tmp_path: Path) -> None:
    from ratio_solver.foods.content import content
    from ratio_solver.foods.policy import Policy

    [bran] = table(tmp_path, food("bran", 4, 10, 20, 40, "available"))
    assert content(bran, "net_carbs_g", Policy()) == 20
    assert content(bran, "carbs_g", Policy()) == 60


def test_only_fat_has_no_finite_ratio_and_keeps_any(tmp_path: Path) -> None:
    foods = table(tmp_path, food("oil", 100), food("lard", 100))
    answer = solve(recipe_from(dish([{"food": "oil", "grams": 10}, {"food": "lard", "grams": 5, "min": 0, "max": 9}],
                                    targets={"ratio": 4}), foods), exact=True)
    assert isinstance(answer, Proposal)
    assert answer.facts.ratio is None
    assert answer.limits[0].actual is None


def test_a_recipe_with_nothing_to_adjust(tmp_path: Path) -> None:
    foods = table(tmp_path, food("cream", 36, 2, 3))
    kept = solve(recipe_from(dish([{"food": "cream", "grams": 100}], targets={"ratio": 7}), foods), exact=True)
    missed = solve(recipe_from(dish([{"food": "cream", "grams": 100}], targets={"ratio": 7.3}), foods), exact=True)
    assert isinstance(kept, Proposal) and kept.objective.value == 0
    assert isinstance(missed, Impossible)
    assert [limit.name for limit in missed.diagnosis.conflict] == ["ratio"]


def test_total_carbohydrate_in_place_of_net(tmp_path: Path) -> None:
    foods = table(tmp_path, food("nuts", 50, 20, 22, 12), food("oil", 100))
    entries = [{"food": "nuts", "grams": 100}, {"food": "oil", "grams": 0, "min": 0, "max": 300}]
    recipe = recipe_from(dish(entries, targets={"ratio": 2}, policy={"ratio_formula": "total"}), foods)
    answer = solve(recipe, exact=True)
    assert isinstance(answer, Proposal)
    assert float(answer.grams("oil")) == pytest.approx(2 * (20 + 22) - 50, abs=1e-6)


def test_what_is_left_out_of_net_carbs_is_the_policys(tmp_path: Path) -> None:
    foods = table(tmp_path, food("sweet", 0, 0, 100, 0, polyols_g=90, erythritol_g=50, allulose_g=5))
    shares = [({}, 100 - 50 - 5), ({"polyols": 0.5}, 100 - 50 - 0.5 * 40 - 5), ({"erythritol": 0, "allulose": 0}, 100)]
    for left_out, net in shares:
        recipe = recipe_from(dish([{"food": "sweet", "grams": 100}], policy={"left_out": left_out}), foods)
        answer = solve(recipe, exact=True)
        assert isinstance(answer, Proposal)
        assert answer.facts.amounts["net_carbs_g"] == Fraction(net)


def test_guaranteed_holds_at_every_corner_of_the_intervals(tmp_path: Path) -> None:
    """The ratio and ceiling are recomputed at every combination of ends of the intervals, by hand."""
    foods = table(
        tmp_path,
        food("veg", 0.3, 1.5, 9.2, 1.8, protein_g_low=1.2, protein_g_high=1.9, fibre_g_low=1.2, fibre_g_high=2.2,
             carbs_g_low=8.6, carbs_g_high=9.9),
        food("butter", 81, 0.9, 0.1, 0, fat_g_low=79, fat_g_high=83, carbs_g_low=0.1, carbs_g_high=0.1))
    written = dish([{"food": "veg", "grams": 700, "min": 100, "max": 900},
                    {"food": "butter", "grams": 60, "min": 0, "max": 400}],
                   servings=4, targets={"ratio": 2, "net_carbs": 9})
    answer = solve(recipe_from(written, foods), guaranteed=True, exact=True)
    assert isinstance(answer, Proposal)
    veg, butter = (float(weight.grams) / 100 for weight in answer.weights)
    worst_ratio, worst_net = 99.0, 0.0
    for fat, protein, carbs, fibre in itertools.product((79, 83), (1.2, 1.9), (8.6, 9.9), (1.2, 2.2)):
        net = veg * (carbs - fibre) + butter * 0.1
        worst_ratio = min(worst_ratio, (veg * 0.3 + butter * fat) / (veg * protein + butter * 0.9 + net))
        worst_net = max(worst_net, net / 4)
    assert worst_ratio == pytest.approx(2, abs=1e-6) or worst_net == pytest.approx(9, abs=1e-6)
    assert worst_ratio >= 2 - 1e-6 and worst_net <= 9 + 1e-6


def test_cheapest_counts_refuse_and_yield(tmp_path: Path) -> None:
    """1 kg of A at 4 with half refuse costs 8 as eaten; B costs 2.5 per kg, 5 at a yield of one half."""
    foods = table(tmp_path, food("A", 100, price_per_kg=4, refuse_percent=50), food("B", 50, price_per_kg=2.5),
                  food("veg", 0, 2, 8, price_per_kg=1))
    entries = [{"food": "veg", "grams": 500}, {"food": "B", "grams": 0, "min": 0, "max": 300, "yield": 0.5},
               {"food": "A", "grams": 0, "min": 0, "max": 300}]
    answer = solve(recipe_from(dish(entries, targets={"fat": {"min": 100}}), foods), "cheapest", exact=True)
    # per gram of fat: A 8/1000, B (2.5/1000/0.5) for 1 g of fat = 5/1000, so B comes first, up to its maximum
    assert isinstance(answer, Proposal)
    assert float(answer.grams("B")) == pytest.approx(100, abs=1e-6)
    assert float(answer.objective.value) == pytest.approx(0.5 + 100 / 0.5 * 2.5 / 1000, abs=1e-9)


def test_a_conflict_is_named(tmp_path: Path) -> None:
    foods = table(tmp_path, food("rice", 0.3, 2.7, 28, 0.4), food("butter", 81, 0.9, 0.1))
    answer = solve(recipe_from(dish(
        [{"food": "rice", "grams": 200, "min": 150, "max": 300}, {"food": "butter", "grams": 0, "min": 0, "max": 50}],
        targets={"ratio": 1, "net_carbs": 60, "energy": {"min": 10}}), foods), exact=True)
    assert isinstance(answer, Impossible)
    assert {limit.name for limit in answer.diagnosis.conflict} == {"ratio", "rice min", "butter max"}
