"""Targets that divide by something of the dish: shares of the energy, and one that the tests invent."""

from __future__ import annotations

import itertools
import json
import random
import tomllib
from fractions import Fraction
from pathlib import Path
from statistics import NormalDist
from typing import Any

import pytest
from click.testing import CliRunner, Result

from ratio_solver import (
    BadInput,
    Impossible,
    MenuOptions,
    Proposal,
    Recipe,
    check,
    load_foods,
    recipe_from,
    recipe_text,
    solve,
    solve_frame,
    what_if,
)
from ratio_solver.cli import main
from ratio_solver.foods.content import content, energy_by_factors
from ratio_solver.foods.quantities import REGISTERED, SHARE, SHARES, Quantity
from ratio_solver.recipe.targets import override
from tests.kitchen import dish, drawn, food, table, table_file
from tests.menu.drawing import framed, long_rows
from tests.solving.rewriting import lesser, moved

second_opinion = pytest.importorskip("tests.oracle.second_opinion")

SOUP = food("soup", 8, 10, 32, energy_kcal=240, saturated_g=6, mct_g=0, sodium_mg=400)
BUTTER = food("butter", 80, 0, 0, energy_kcal=720, saturated_g=50, mct_g=5, sodium_mg=10)
OIL = food("oil", 100, 0, 0, energy_kcal=900, saturated_g=10, mct_g=0, sodium_mg=0, role="fat")
INVENTED = Quantity("saturated_in_fat", "saturated part of the fat", {"saturated_g": "1"}, {"fat_g": "1"}, SHARE, 1.0,
                    "a share of the fat", "no fat", "the saturated part of the fat by weight")


def two(targets: Any, **more: Any) -> dict[str, Any]:
    """100 g of soup, and butter to add."""
    lines = [{"food": "soup", "grams": 100}, {"food": "butter", "grams": 90, "min": 0, "max": 200}]
    return dish(lines, targets=targets, **more)


def read(folder: Path, written: Any) -> Recipe:
    return recipe_from(written, table(folder, SOUP, BUTTER, OIL))


def solved(folder: Path, targets: Any, **how: Any) -> Proposal:
    answer = solve(read(folder, two(targets)), exact=True, **how)
    assert isinstance(answer, Proposal), answer.report()
    return answer


def butter(answer: Any) -> float:
    return float(answer.weights[1].grams)


@pytest.mark.parametrize("target, per_gram, of_soup, bound", [
    ({"saturated": {"max": "35 % of energy"}}, 9 * 0.5, 9 * 6, 0.35),
    ({"fat": {"max": "60 % of energy"}}, 9 * 0.8, 9 * 8, 0.6),
    ({"carbs": {"min": "30% energy"}}, 0, 4 * 32, 0.3),
    ({"net_carbs": {"min": "30 % of the energy"}}, 0, 4 * 32, 0.3),
    ({"protein": {"min": "10.0 % of energy"}}, 0, 4 * 10, 0.1),
    ({"mct": {"max": "2.5 % of energy"}}, 9 * 0.05, 0, 0.025),
])
def test_a_share_binds_where_the_figures_say(target: Any, per_gram: float, of_soup: float, bound: float,
                                             tmp_path: Path) -> None:
    """of_soup + per_gram x = bound (240 + 7.2 x), in kcal: 90 g of butter is too much, and x the most there may be."""
    grams = (bound * 240 - of_soup) / (per_gram - bound * 7.2)
    answer = solved(tmp_path, target)
    assert 0 < grams < 90 and butter(answer) == pytest.approx(grams, abs=1e-6)
    [state] = [state for state in answer.limits if state.limit.kind == "target"]
    assert state.binding and state.limit.unit == "share" and state.limit.bound == Fraction(str(bound))


def test_the_shares_of_a_food_add_up_to_its_energy() -> None:
    """By Annex XIV energy is that of fat, protein, carbohydrate with its fibre, and alcohol, and of nothing else."""
    policy = read_policy(energy="annex-xiv")
    whole = [SHARES[column] for column in ("fat_g", "protein_g", "carbs_g", "alcohol_g")]
    seen = 0
    for item in load_foods():
        parts = (Fraction(kcal) * (content(item, column, policy) or 0)
                 for share in whole for column, kcal in share.above.items())
        energy = energy_by_factors(item, policy=policy)
        assert sum(parts, Fraction(0)) == energy or not energy, item.name
        seen += 1
    assert seen > 1000


def read_policy(**keys: Any) -> Any:
    return recipe_from(dish([{"food": "butter, salted", "grams": 1}], policy=keys, targets={"ratio": 1}),
                       load_foods()).policy


def test_medium_chain_fat_has_the_energy_of_the_policy_above_and_below(tmp_path: Path) -> None:
    """Pure medium-chain fat brings all of its energy, at 8.3 as at 9; without the policy's word it would be 108 %."""
    rows = table(tmp_path, food("mct oil", 100, 0, 0, mct_g=100, saturated_g=100), food("starch", 0, 0, 100, mct_g=0))
    lines = [{"food": "mct oil", "grams": 50}, {"food": "starch", "grams": 10, "min": 0, "max": 99}]
    targets = {"mct": {"min": "10 % of energy"}, "fat": {"min": "10 % of energy"}, "saturated": {"min": "10%energy"}}
    for kcal in (None, 8.3):
        policy = {"energy": "annex-xiv"} | ({} if kcal is None else {"mct_energy": kcal})
        facts = check(recipe_from(dish(lines, targets=targets, policy=policy), rows)).facts.amounts
        share = Fraction(str(kcal or 9)) * 50 / (Fraction(str(kcal or 9)) * 50 + 40)
        assert facts["energy_from_mct"] == facts["energy_from_fat"] == facts["energy_from_saturated"] == share


def test_grams_and_a_share_of_one_nutrient_stand_side_by_side(tmp_path: Path) -> None:
    recipe = read(tmp_path, two({"saturated": {"min": 10, "max": "35 % of energy"}}))
    assert [(target.nutrient, target.minimum, target.maximum) for target in recipe.targets] == [
        ("saturated_g", 10.0, None), ("energy_from_saturated", None, 0.35)]
    text = recipe_text(recipe)
    assert read(tmp_path, tomllib.loads(text)).targets == recipe.targets


def test_medium_chain_fat_in_grams_counts_its_acids(tmp_path: Path) -> None:
    """8:0 and 10:0 where the table has no figure of its own; where it has neither, a most counts all of the fat."""
    rows = [food("coco", 90, 0, 5, caprylic_g=7, capric_g=6, mct_g=""), food("oil", 100, 0, 0),
            food("c8", 100, 0, 0, mct_g=100)]
    lines = [{"food": "coco", "grams": 50}, {"food": "oil", "grams": 10, "min": 0, "max": 50}]
    found = check(recipe_from(dish(lines[:1], targets={"mct": {"min": 5}}), table(tmp_path, *rows)))
    assert found.limits[0].actual == Fraction("6.5")
    most = check(recipe_from(dish(lines, targets={"mct": {"max": 5}}), table(tmp_path, *rows)))
    assert most.limits[0].actual == Fraction("16.5") and any("oil" in told for told in most.warnings)


@pytest.mark.parametrize("targets, expected", [
    ({"sodium": {"max": "5 % of energy"}}, "no energy is known of sodium"),
    ({"fat": {"max": "20 %"}}, "a share as '20 % of energy'"),
    ({"fat": {"max": "120 % of energy"}}, "0 to 1"), ({"fat": "20 % of energy"}, "{max = ...}"),
    ({"energy_from_fat": {"max": 20}}, "0.2 or '20 %' for a fifth, 0 to 1"),
    ({"fat": {"min": "30 % of energy", "max": "20 % of energy"}}, "at most the max"),
    ({"fat": {"max": "20 % of energy"}, "energy_from_fat": {"max": 0.3}}, "expected one target"),
    ({"ratio": {"max": "20 % of energy"}}, "a ratio as a number"),
    ({"fat": {"max": f"{'9' * 5000} % of energy"}}, "0 to 1"),
    ({"fat": {"max": "0.00001 % energy"}}, "smallest number"),
    ({"weight": {"max": "20 % of energy"}}, "no energy is known of weight"),
])
def test_what_is_wrong_with_a_share_is_said(targets: Any, expected: str, tmp_path: Path) -> None:
    with pytest.raises(BadInput) as bad:
        read(tmp_path, two(targets))
    assert expected in str(bad.value)


@pytest.mark.parametrize("text", ["saturated<=35%energy", "saturated <= 35 % of energy", "energy_from_saturated<=0.35",
                                  "energy from saturated<=35 %"])
def test_the_option_takes_each_spelling(text: str, tmp_path: Path) -> None:
    recipe = override(read(tmp_path, two({"saturated": {"min": 3}})), ["saturated_g"], targets=[text])
    assert [(t.nutrient, t.minimum, t.maximum) for t in recipe.targets] == [
        ("saturated_g", 3, None), ("energy_from_saturated", None, 0.35)]


@pytest.mark.parametrize("text", ["sodium<=5%energy", "saturated<=120%energy", "saturated<=35%", "energy_from_fat<=20",
                                  f"fat<={'9' * 5000}%energy", "fat<=0.00001%energy"])
def test_the_option_refuses_what_is_no_share(text: str, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="--target"):
        override(read(tmp_path, two({"ratio": 1})), ["saturated_g", "sodium_mg"], targets=[text])


def test_a_dish_without_energy_keeps_a_most_and_says_so(tmp_path: Path) -> None:
    rows = table(tmp_path, food("water", 0, 0, 0, saturated_g=0, energy_kcal=0))
    written = dish([{"food": "water", "grams": 100}], targets={"saturated": {"max": "20%energy"}})
    found = check(recipe_from(written, rows))
    assert found.outcome == "kept" and found.limits[0].actual is None and "no energy" in found.report()


def test_guaranteed_holds_at_every_corner_of_the_intervals(tmp_path: Path) -> None:
    wide = BUTTER | {"saturated_g_low": "47", "saturated_g_high": "53", "energy_kcal_low": "700",
                     "energy_kcal_high": "740"}
    recipe = recipe_from(two({"saturated": {"max": "35 % of energy"}}), table(tmp_path, SOUP, wide))
    grams = butter(solve(recipe, exact=True, guaranteed=True)) / 100
    shares = [9 * (6 + grams * fat) / (240 + grams * kcal) for fat, kcal in itertools.product((47, 53), (700, 740))]
    assert max(shares) == pytest.approx(0.35, abs=1e-9)


@pytest.mark.parametrize("ends, deviation", [
    ({"saturated_g_low": "47", "saturated_g_high": "53"}, 9 * 0.03 / 1.96),
    ({"energy_kcal_low": "700", "energy_kcal_high": "740"}, 0.35 * 0.2 / 1.96),
])
def test_a_probability_holds_by_its_formula(ends: dict[str, str], deviation: float, tmp_path: Path) -> None:
    """One figure has an error, above or below: 9 (6 + 0.5 x) + z deviation x = 0.35 (240 + 7.2 x)."""
    recipe = recipe_from(two({"saturated": {"max": "35 % of energy"}}), table(tmp_path, SOUP, BUTTER | ends))
    per_gram = 9 * 0.5 + NormalDist().inv_cdf(0.95) * deviation - 0.35 * 7.2
    assert butter(solve(recipe, exact=True, confidence=0.95)) == pytest.approx((0.35 * 240 - 54) / per_gram, abs=1e-6)


def test_no_change_beyond_the_whole_of_the_energy_is_named(tmp_path: Path) -> None:
    """A food that says it has more energy from saturated fat than it has energy: no share up to 1 is kept."""
    odd = food("odd", 60, 0, 0, energy_kcal=300, saturated_g=50)
    written = dish([{"food": "odd", "grams": 100}], targets={"saturated": {"max": "20 % of energy"}})
    answer = solve(recipe_from(written, table(tmp_path, odd)), exact=True)
    assert isinstance(answer, Impossible) and answer.diagnosis.repairs == ()


def test_an_unknown_figure_counts_as_the_most_that_it_can_be(tmp_path: Path) -> None:
    """Saturated fat is no more than the fat: 10 g of 9 kcal in 130 are 69 % of the energy."""
    blank = food("blank", 10, 5, 5, energy_kcal=130, saturated_g="")
    written = dish([{"food": "blank", "grams": 100}], targets={"saturated": {"max": "90 % of energy"}})
    bounded = check(recipe_from(written, table(tmp_path, blank, OIL)))
    assert bounded.limits[0].actual == Fraction(90, 130) and any("blank" in told for told in bounded.warnings)
    found = check(recipe_from(written | {"policy": {"unknown_as_zero": ["saturated"]}}, table(tmp_path, blank, OIL)))
    assert "saturated fat is unknown for blank and counts as none" in found.warnings


# --- the second opinion --------------------------------------------------------------------------------


def test_drawn_shares_are_those_of_the_second_opinion(tmp_path: Path) -> None:
    shares = binding = impossible = 0
    for seed in range(40):
        written, rows, recipe = drawn(seed, tmp_path, "share")
        answer, theirs = solve(recipe, exact=True), second_opinion.solve_closest(written, rows)
        assert (answer.outcome == "solved") == (theirs.status == "optimal"), seed
        if not isinstance(answer, Proposal):
            impossible += 1
            for repair in answer.diagnosis.repairs if isinstance(answer, Impossible) else ():
                for to, status in ((repair.to, "optimal"), (lesser(repair), "infeasible")):
                    changed = moved(written, recipe, [(repair.limit, to)])
                    assert second_opinion.solve_closest(changed, rows).status == status, (seed, repair)
            continue
        assert float(answer.objective.value) == pytest.approx(theirs.objective, rel=1e-6, abs=1e-6), seed
        states = [state for state in answer.limits if state.limit.nutrient in REGISTERED]
        shares, binding = shares + len(states), binding + sum(state.binding for state in states)
    assert shares > 25 and binding > 8 and impossible > 4


# --- one that is invented here, in every command -------------------------------------------------------


@pytest.fixture
def pot(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a recipe that holds the invented share, its table, and menus of it."""
    monkeypatch.setitem(REGISTERED, INVENTED.key, INVENTED)
    monkeypatch.setitem(second_opinion.QUOTIENTS, INVENTED.key, ({"saturated": "1"}, {"fat": "1"}))
    written = two({"ratio": 1.1, INVENTED.key: {"max": 0.62}}, servings=2)
    written["ingredients"].append({"food": "oil", "grams": 0, "min": 0, "max": 40})
    text = recipe_text(read(tmp_path, written))
    assert f"{INVENTED.key} = {{max = 0.62}}" in text
    (tmp_path / "pot.toml").write_text(text, encoding="utf-8")
    table_file(tmp_path, SOUP, BUTTER | {"saturated_g_low": "48", "saturated_g_high": "52"}, OIL)
    framed(long_rows("pot", written)).to_csv(tmp_path / "menu.csv", index=False)
    (tmp_path / "files.csv").write_text("file,saturated_in_fat_max\npot.toml,60 %\n", encoding="utf-8")
    return tmp_path


def run(folder: Path, command: str, *more: str) -> Result:
    name = {"menu": "menu.csv", "files": "files.csv"}.get(command, "pot.toml")
    return CliRunner().invoke(main, ["menu" if command == "files" else command, str(folder / name), *more, "--foods",
                                     str(folder / "own.csv")])


SAYS = "saturated part of the fat"


@pytest.mark.parametrize("command, more, code, says", [
    ("solve", (), 0, "at most 62 %"), ("solve", ("--exact", "--measures"), 0, "at most 62 %"),
    ("solve", ("--guaranteed", "food"), 0, "at most 62 %"), ("solve", ("--confidence", "0.9"), 0, "at most 62 %"),
    ("solve", ("--confidence", "0.9", "--target", "saturated in fat<=5%"), 3, "5 %"),
    ("solve", ("--scale-error", "oiml"), 0, "at most 62 %"), ("solve", ("--prefer", "even"), 0, "at most 62 %"),
    ("solve", ("--target", "saturated in fat<=1%"), 3, "at most 1 % of saturated part of the fat"),
    ("solve", ("--what-if", "saturated_in_fat_max=0.4,ratio=1.2", "--what-if", "saturated in fat<=30 %"), 0, SAYS),
    ("check", (), 3, "at most 62 %"), ("check", ("--guaranteed",), 3, "at most 62 %"),
    ("add-fat", (), 0, "oil"), ("swap", ("butter", "oil"), 0, SAYS),
    ("swap", ("butter", "--try-all", "fat"), 0, "oil"), ("curve", (), 0, "net"),
    ("adjust", ("--weighed", "butter=95"), 0, SAYS), ("portions", (), 0, "serving"), ("shopping", (), 0, "butter"),
    ("solve", ("--format", "csv"), 0, "butter"), ("check", ("--format", "json"), 3, '"unit": "share"'),
])
def test_every_command_takes_an_invented_share(command: str, more: tuple[str, ...], code: int, says: str,
                                               pot: Path) -> None:
    result = run(pot, command, *more)
    assert result.exit_code == code, result.output
    assert says in " ".join(result.stdout.split()), result.stdout


def test_its_json_its_card_and_its_curve(pot: Path) -> None:
    told = json.loads(run(pot, "solve", "--format", "json").stdout)
    [limit] = [limit for limit in told["limits"] if limit["name"] == SAYS]
    assert (limit["kind"], limit["sense"], limit["limit"], limit["unit"]) == ("target", "<=", 0.62, "share")
    assert told["per_serving"][INVENTED.key] == pytest.approx(limit["actual"])
    assert "the saturated part of the fat by weight" in told["policy"]["described"]
    assert run(pot, "card", "-o", str(pot / "card.html")).exit_code == 0
    card = (pot / "card.html").read_text(encoding="utf-8")
    assert "saturated part of the fat at most 62 %" in " ".join(card.split())
    free, held = (json.loads(run(pot, "curve", "--format", "json", *more).stdout)
                  for more in (("--target", "saturated in fat<=100%"), ()))
    assert free != held


@pytest.mark.parametrize("how", ["menu", "files"])
@pytest.mark.parametrize("exact", [True, False])
def test_its_menus_say_what_solve_says(how: str, exact: bool, pot: Path) -> None:
    options = ("--exact",) if exact else ()
    asked = ("--target", "saturated in fat<=60%") if how == "menu" else ()
    assert run(pot, how, "-o", str(pot / "out"), *options, *asked).exit_code == 0
    alone = json.loads(run(pot, "solve", "--format", "json", "--target", "saturated in fat<=60%", *options).stdout)
    limits = [line for line in (pot / "out" / "limits.csv").read_text().splitlines() if SAYS in line]
    assert len(limits) == 1 and ",share," in limits[0]
    weights = [float(line.split(",")[4]) for line in (pot / "out" / "weights.csv").read_text().splitlines()[1:]]
    assert weights == pytest.approx([weight["grams"] for weight in alone["weights"]], abs=1e-6)
    assert "the saturated part of the fat by weight" in (pot / "out" / "servings.csv").read_text()


def test_drawn_menus_with_shares_are_those_of_solve(tmp_path: Path) -> None:
    """Arrays, and the per-recipe solver where they do not do, against each recipe by itself."""
    from tests.oracle.recipes import random_recipe, random_table

    rows, rng = random_table(5, 24), random.Random(5)
    foods = table(tmp_path, *rows)
    written = {f"dish {k}": random_recipe(rng, rows, kind="share") for k in range(30)}
    found = solve_frame(framed([row for name, each in written.items() for row in long_rows(name, each)]), foods,
                        MenuOptions(exact=True))
    compared = 0
    for name, each in written.items():
        plain = {key: each[key] for key in ("title", "servings", "ingredients", "targets")}
        answer = solve(recipe_from(plain, foods), exact=True)
        mine = found[(found["recipe"] == name) & (found["outcome"] == "solved")]["grams"].tolist()
        assert mine == pytest.approx([float(w.grams) for w in answer.weights] if answer.outcome == "solved" else [])
        compared += len(mine) > 0
    assert compared > 10


def test_a_cell_of_a_menu_may_say_of_what_it_is_a_share(tmp_path: Path) -> None:
    foods = table(tmp_path, SOUP, BUTTER, OIL)
    rows = long_rows("pot", two({"saturated": {"max": "35 % of energy"}}))
    found = solve_frame(framed(rows), foods, MenuOptions(exact=True))
    assert found["grams"].tolist()[1] == pytest.approx(30 / 1.98, abs=1e-6)


def test_what_if_takes_a_share_beside_an_amount(tmp_path: Path) -> None:
    found = what_if(read(tmp_path, two({"ratio": 0.2})), table(tmp_path, SOUP, BUTTER, OIL),
                    ["saturated<=35 % of energy,saturated>=3"], exact=True)
    assert butter(found.scenarios[0].answer) == pytest.approx(30 / 1.98, abs=1e-6)
    assert "energy from saturated fat" in found.report()
