"""What a limit of time cuts short: never an error, never called proven, and said in plain words."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import scipy.optimize
from click.testing import CliRunner

from ratio_solver import (
    Diagnosis,
    Impossible,
    Proposal,
    adjust,
    load_foods,
    read_recipe,
    recipe_from,
    solve,
    swap,
    try_all,
    what_if,
)
from ratio_solver.cli import main
from ratio_solver.dish.constraints import limits_of
from ratio_solver.errors import NotProven
from ratio_solver.lp import clock, enumeration, highs, whole
from ratio_solver.lp.clock import limited, out_of_time, share, time_left, within
from ratio_solver.recipe.model import Recipe, Target
from ratio_solver.solving import sensitivity
from ratio_solver.solving.infeasible import conflict
from ratio_solver.solving.infeasible.without_weights import without_weights
from ratio_solver.solving.solve import best_weights
from ratio_solver.tools.adjust import remedies
from ratio_solver.tools.swap import compute as swap_of_two
from ratio_solver.tools.swap import try_all as trials
from ratio_solver.tools.what_if import compute as scenarios
from tests.kitchen import table

sizes = pytest.importorskip("tests.bench.sizes")

MOUSSAKA, DUMPLINGS = Path("examples/moussaka.toml"), Path("examples/impossible-dumplings.toml")


def moussaka(*targets: Target) -> Recipe:
    return read_recipe(MOUSSAKA, load_foods("examples/own-foods.csv")).with_targets(*targets)


def test_limits_nest_and_the_first_to_end_holds() -> None:
    with within(100):
        assert 90 < time_left() <= 100 and not out_of_time()
        with within(1000):
            assert time_left() <= 100
        with limited(None):
            assert time_left() > 90
        with limited(20):
            assert time_left() <= 20
        with share(4):
            assert 20 < time_left() <= 25
        with within(0):
            assert out_of_time() and time_left() == 0
        assert not out_of_time()


def test_without_another_the_limit_is_five_seconds(monkeypatch: pytest.MonkeyPatch) -> None:
    assert clock.TIME_LIMIT == 5
    monkeypatch.setattr(clock, "_end", type(clock._end)("end", default=float("inf")))
    with limited(None):
        assert 4 < time_left() <= 5


def test_the_best_found_is_given_as_not_proven(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of "exactly 1:1" one point in ten thousand is left: the best found, with how far from the best it can be."""
    def ended(*_: Any, **__: Any) -> None:
        raise NotProven(highs.OUT_OF_TIME)

    monkeypatch.setattr(whole, "minimum", ended)
    recipe = read_recipe("examples/salmon-soup.toml", load_foods()).with_targets(Target("ratio", 1, 1))
    answer = solve(recipe)
    assert isinstance(answer, Proposal) and not answer.objective.proven
    objective = answer.objective
    assert all(limit.margin(answer.grams_of_each) >= 0 for limit in limits_of(recipe))
    gap = objective.value - objective.bound
    assert 0 < gap < 20 and f"at most {float(gap):.2f} g above the least, not proven" in answer.report()
    data: Any = answer.to_dict()["objective"]
    assert data["proven"] is False and data["bound"] < data["value"]


def test_a_search_without_an_end_leaves_what_was_found_along_good_ways(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where few ways are gone through and the search gives up, weights that keep every limit are still found."""
    def ended(*_: Any, **__: Any) -> None:
        raise NotProven(highs.OUT_OF_TIME)

    recipe = read_recipe("examples/celeriac-gratin.toml", load_foods())
    best = solve(recipe)
    monkeypatch.setattr(whole, "minimum", ended)
    monkeypatch.setattr(enumeration, "MOST_NUMBERS", 60)
    answer = solve(recipe)
    assert isinstance(best, Proposal) and isinstance(answer, Proposal)
    assert all(limit.margin(answer.grams_of_each) >= 0 for limit in limits_of(recipe))
    assert answer.objective.bound <= best.objective.value <= answer.objective.value


@pytest.mark.parametrize("prefer", ["closest", "lightest"])
def test_a_choice_of_which_no_search_ends_leaves_what_rounding_finds(
        prefer: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Weights that keep every limit are still given, as not proven."""
    def ended(*_: Any, **__: Any) -> None:
        raise NotProven(highs.OUT_OF_TIME)

    written, rows = sizes.a_choice(4, 12)
    recipe = recipe_from(written, table(tmp_path, *rows))
    best = solve(recipe, prefer)
    monkeypatch.setattr(whole, "minimum", ended)
    monkeypatch.setattr(whole, "_promising", lambda asked: None)
    monkeypatch.setattr(whole, "enumerated", lambda *_, **__: enumeration.Enumerated(None, 0.0, complete=False))
    answer = solve(recipe, prefer)
    assert isinstance(best, Proposal) and isinstance(answer, Proposal) and not answer.objective.proven
    assert all(limit.margin(answer.grams_of_each) >= 0 for limit in limits_of(recipe))
    assert answer.objective.bound <= best.objective.value <= answer.objective.value


def test_no_time_at_all_says_that_it_is_open() -> None:
    """Weights between the steps are there; on them none is found in no time."""
    recipe = moussaka(Target("ratio", 1.25, 1.25))
    answer = solve(recipe, time_limit=0)
    assert isinstance(answer, Impossible) and answer.outcome == "undecided"
    assert answer.diagnosis.undecided and not answer.diagnosis.conflict
    weights = answer.diagnosis.between
    assert all(abs(limit.margin(weights)) < 1e-6 or limit.margin(weights) >= 0 for limit in limits_of(recipe))
    text = " ".join(answer.report().split())
    assert "whether there are any stays open" in text and "Between the steps these keep every limit" in text
    assert "HiGHS" not in text and "Traceback" not in text
    data: Any = answer.to_dict()
    assert data["outcome"] == "undecided" and data["weights"] == []
    assert len(data["diagnosis"]["between_the_steps"]) == len(recipe.ingredients)
    assert [row["kind"] for row in answer.rows()] == ["undecided"]


def test_prices_have_a_part_of_the_time_and_it_is_said_where_it_is_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a thousand ingredients the prices of their bounds would take all that is left for weights on the steps."""
    recipe = read_recipe("examples/celeriac-gratin.toml", load_foods())
    whole_answer = solve(recipe)
    monkeypatch.setattr(sensitivity, "out_of_time", lambda: True)
    answer = solve(recipe)
    assert isinstance(answer, Proposal) and isinstance(whole_answer, Proposal)
    assert answer.grams_of_each == whole_answer.grams_of_each and answer.objective == whole_answer.objective
    assert any(state.price for state in whole_answer.limits) and not any(state.price for state in answer.limits)
    said = "The time for savings was up (--time-limit) before every limit had one"
    assert [said in " ".join(one.report().split()) for one in (answer, whole_answer)] == [True, False]
    data: Any = [one.to_dict()["prices"] for one in (answer, whole_answer)]
    assert data == [f"linear programme. {said}", "linear programme"]


def test_no_value_is_tried_after_the_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """The nearest value of a limit is one of some hundred, each a dish of its own."""
    recipe = read_recipe(DUMPLINGS, load_foods())
    limit = next(limit for limit in limits_of(recipe) if limit.nutrient == "ratio")
    monkeypatch.setattr(remedies, "reachable", lambda *_: limit.bound / 2)
    with within(0), pytest.raises(NotProven):
        remedies.nearest_value(recipe, limit)


def test_a_question_of_several_dishes_has_one_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    """Before and after, or a dish and its scenarios, each have an equal part of the time that is left."""
    left: list[float] = []

    def noted(*given: Any, **more: Any) -> Any:
        left.append(time_left())
        return solve(*given, **more)

    recipe, foods = read_recipe("examples/celeriac-gratin.toml", load_foods()), load_foods()
    monkeypatch.setattr(swap_of_two, "solve", noted)
    monkeypatch.setattr(scenarios, "solve", noted)
    swap(recipe, foods, [("butter", "ghee (butter oil, anhydrous)")], time_limit=400)
    assert len(left) == 2 and left[0] <= 200 and left[1] <= 400
    what_if(recipe, foods, ["ratio=1.5", "servings=5"], time_limit=300)
    assert len(left) == 5 and left[2] <= 100 and left[3] <= 150 and left[4] <= 300


def hurried(recipe: Recipe, **_: Any) -> Proposal:
    """Weights that are not proven to be the best."""
    found = solve(recipe, ranges=False)
    assert isinstance(found, Proposal)
    return replace(found, objective=replace(found.objective, proven=False))


def test_side_by_side_it_is_said_what_is_not_proven_and_what_is_open(monkeypatch: pytest.MonkeyPatch) -> None:
    """A column with more moved may be one that was cut short; nothing is said to be in the way where that is open."""
    recipe, foods = read_recipe("examples/celeriac-gratin.toml", load_foods()), load_foods()
    assert "proven" not in what_if(recipe, foods, ["servings=5"]).report()
    answers = iter((hurried(recipe), without_weights(recipe, "closest", Diagnosis((), undecided=True)),
                    without_weights(recipe, "closest", Diagnosis((), empty=True))))
    monkeypatch.setattr(scenarios, "solve", lambda *_, **__: next(answers))
    found = what_if(recipe, foods, ["servings=5", "servings=4"])
    said = " ".join(found.report().split())
    assert said.count("not proven") == 1 and "cannot be kept" not in said
    assert "servings=5: no weights that keep all the limits were found in the time; whether there are any" in said
    assert "servings=4: the best weights are those of an empty dish" in said
    [proven] = [row for row in found.rows() if row["what"] == "proven"]
    assert [proven[name] for name in ("base", "servings=5", "servings=4")] == [False, None, None]


def test_of_foods_of_a_role_it_is_said_which_have_not_their_best_weights(monkeypatch: pytest.MonkeyPatch) -> None:
    recipe, foods = read_recipe("examples/celeriac-gratin.toml", load_foods()), load_foods()
    usual = try_all(recipe, foods, "milk", "egg", most=2)
    assert "proven" not in usual.report()
    monkeypatch.setattr(trials, "best_weights", lambda asked, _: hurried(asked.domain.recipe))
    found = try_all(recipe, foods, "milk", "egg", most=2)
    names = "; ".join(trial.food.name for trial in found.trials if trial.side)
    assert f"not proven the best, with: {names}" in " ".join(found.report().split())
    assert {row["proven"] for row in found.rows() if row["outcome"] == "solved"} == {False}
    assert {row["proven"] for row in usual.rows() if row["outcome"] == "solved"} == {True}


def test_every_food_of_a_role_is_tried_within_one_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is not tried by then is said; each food has a part of what is left."""
    left: list[float] = []

    def noted(*given: Any) -> Any:
        left.append(time_left())
        return best_weights(*given)

    recipe, foods = read_recipe("examples/celeriac-gratin.toml", load_foods()), load_foods()
    monkeypatch.setattr(trials, "best_weights", noted)
    found = try_all(recipe, foods, "milk", "egg", time_limit=400)
    assert found.outcome == "solved" and left and max(left) <= 50
    left.clear()
    found = try_all(recipe, foods, "milk", "egg", time_limit=0)
    assert not left and {trial.outcome for trial in found.trials} <= {"cannot be tried", "impossible"}
    said = " ".join(found.report().split())
    left_open = sum(trial.outcome == "cannot be tried" for trial in found.trials)
    assert found.outcome == "undecided" and f"0 of {len(found.trials)} would do, {left_open} not known" in said
    assert said.count("was not found in the time (--time-limit)") == 1, "a reason of many foods is said once"


def test_a_diagnosis_says_what_it_leaves_out() -> None:
    recipe = read_recipe(DUMPLINGS, load_foods())
    whole_answer, cut = solve(recipe, foods=load_foods()), solve(recipe, foods=load_foods(), time_limit=0)
    assert isinstance(whole_answer, Impossible) and isinstance(cut, Impossible)
    assert not whole_answer.diagnosis.left_out and not whole_answer.diagnosis.left_out_also
    assert cut.outcome == "impossible"  # between the steps it is proven at once, whatever the time
    found = {repair.limit.identity for repair in whole_answer.diagnosis.repairs}
    left = {limit.identity for limit in cut.diagnosis.left_out} | {one.limit.identity for one in cut.diagnosis.repairs}
    assert found <= left
    assert not {limit.identity for limit in cut.diagnosis.stuck} & found  # what was not looked at is not called stuck
    if cut.diagnosis.left_out:
        assert "The time was up (--time-limit)" in cut.report()
        data: Any = cut.to_dict()["diagnosis"]
        assert cut.diagnosis.left_out[0].name in data["left_out"]


def test_a_change_that_had_too_little_time_is_looked_for_once_more(monkeypatch: pytest.MonkeyPatch) -> None:
    """With what the others left of it: the same changes, and nothing left out."""
    changed, tried = conflict._changed, list[str]()

    def late_at_first(domain: Any, limits: Any, limit: Any, diagnosis: Any) -> Any:
        tried.append(limit.name)
        if tried.count(limit.name) == 1 and limit.nutrient:
            raise NotProven(highs.OUT_OF_TIME)
        return changed(domain, limits, limit, diagnosis)

    recipe = read_recipe(DUMPLINGS, load_foods())
    known = solve(recipe)
    monkeypatch.setattr(conflict, "_changed", late_at_first)
    answer = solve(recipe)
    assert isinstance(known, Impossible) and isinstance(answer, Impossible)
    assert answer.diagnosis == known.diagnosis and known.diagnosis.repairs and max(map(tried.count, tried)) == 2
    monkeypatch.setattr(conflict, "out_of_time", lambda: True)
    tried.clear()
    assert solve(recipe).diagnosis.left_out and max(map(tried.count, tried)) == 1  # type: ignore[union-attr]


def test_of_very_many_ingredients_no_try_begins_when_the_time_is_up(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """That no weights keep the limits is proven by these, and nothing long is begun after that."""
    written, rows = sizes.a_recipe(60)
    recipe = recipe_from(written | {"targets": {"ratio": 9, "net_carbs": 0.2}}, table(tmp_path, *rows))
    assert len(limits_of(recipe)) > 100
    for long in ("reachable", "added_fats", "joint_change"):
        monkeypatch.setattr(conflict, long, lambda *_: pytest.fail("begun without time"))
    answer = solve(recipe, foods=load_foods(), time_limit=0)
    assert isinstance(answer, Impossible) and answer.outcome == "impossible" and not answer.diagnosis.minimal
    assert answer.diagnosis.left_out and not answer.diagnosis.repairs


def test_a_bowl_without_time_says_that_there_may_be_other_ways() -> None:
    recipe = read_recipe("examples/celeriac-gratin.toml", load_foods())
    found = adjust(recipe, {"cream": 200, "butter": 20, "potato": 900}, time_limit=0)
    assert found.outcome in ("impossible", "undecided") and found.unfinished
    assert "there may be others" in " ".join(found.report().split())
    assert found.to_dict()["unfinished"] is True


def test_a_bowl_of_which_nothing_was_found_in_the_time_is_not_called_impossible() -> None:
    """Whether the moussaka of exactly 1.25:1 has weights on the steps stays open, and so it is said."""
    found = adjust(moussaka(Target("ratio", 1.25, 1.25)), {}, time_limit=0)
    text = " ".join(found.report().split())
    assert found.outcome == "undecided" and "undecided with this bowl" in text
    assert "whether there are any stays open" in text and "no answer to the recipe as written was found" in text.lower()
    assert not any(words in text for words in ("impossible", "cannot be kept", "has no answer", "--exact"))


@pytest.mark.parametrize("form", ["text", "json", "csv"])
def test_the_command_ends_with_the_code_of_no_weights(form: str, tmp_path: Path) -> None:
    path = tmp_path / "dish.toml"
    path.write_text(MOUSSAKA.read_text().replace("[targets]", "[targets]\n# held\n"))
    arguments = ["solve", str(path), "--ratio", "1.25", "--target", "ratio<=1.25", "--foods", "examples/own-foods.csv",
                 "--time-limit", "0.001", "--format", form]
    ended = CliRunner().invoke(main, arguments)
    assert ended.exit_code in (0, 3), ended.output
    if ended.exit_code == 3:
        assert "undecided" in ended.output
    assert "Traceback" not in ended.output and "HiGHS" not in ended.output


def test_a_solver_s_own_words_never_reach_a_cook(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever the solver says when it gives up, the words are ours."""
    class GivenUp:
        status, message, x, fun, mip_dual_bound = 4, "HiGHS Status 4: Solve error", None, None, None

    monkeypatch.setattr(scipy.optimize, "milp", lambda *_, **__: GivenUp())
    recipe = moussaka(Target("ratio", 1.25, 1.25))
    answer = solve(recipe)
    assert "HiGHS" not in answer.report() and "Status" not in answer.report()
