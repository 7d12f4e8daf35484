"""A day from its file to its tables: examples, what equals what, faults."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from ratio_solver import BadInput, FoodTable, load_foods, read_days, read_recipe, solve, solve_day
from ratio_solver.cli import main
from ratio_solver.day import compute
from ratio_solver.day.result import Days
from ratio_solver.day.shopping.compute import shopping_of_days
from ratio_solver.day.tables import outcome_counts
from ratio_solver.solving.result import Diagnosis, Proposal

EXAMPLES = Path(__file__).resolve().parent.parent.parent / "examples"
ONE = """title = "one"
[[people]]
name = "A"
[[meals]]
name = "dinner"
dishes = ["{file}"]
"""


@pytest.fixture(scope="module")
def foods() -> FoodTable:
    return load_foods()


def own_day(folder: Path, foods: str, dish: str, grams: int, day: str) -> list[str]:
    """Write a table of one's own, a dish of one of its foods and a day of one person; the words of the command."""
    header = "food,id,carb_basis,fat_g,protein_g,carbs_g,fibre_g,energy_kcal\n"
    (folder / "own.csv").write_text(header + foods, encoding="utf-8")
    (folder / "dish.toml").write_text(
        f'title = "{dish}"\nservings = 1\n[[ingredients]]\nfood = "{dish}"\ngrams = {grams}\n', encoding="utf-8")
    (folder / "day.toml").write_text(f'title = "one"\n{day}', encoding="utf-8")
    return ["day", str(folder / "day.toml"), "--foods", str(folder / "own.csv")]


def one_day(folder: Path, text: str, foods: FoodTable):
    (folder / "day.toml").write_text(text, encoding="utf-8")
    [day] = read_days(folder / "day.toml", foods)
    return day


@pytest.mark.parametrize("together", [False, True])
@pytest.mark.parametrize("exact", [False, True])
@pytest.mark.parametrize("name", ["moussaka", "celeriac-gratin", "salmon-soup", "lamb-pie"])
def test_one_dish_one_person_and_no_limits_of_the_day_is_solve(tmp_path: Path, foods: FoodTable, together: bool,
                                                               exact: bool, name: str) -> None:
    recipe = read_recipe(EXAMPLES / f"{name}.toml", foods)
    alone = solve(recipe, exact=exact)
    answer = solve_day(one_day(tmp_path, ONE.format(file=EXAMPLES / f"{name}.toml"), foods), together=together,
                       exact=exact)
    [pot] = answer.pots
    assert pot.weights == alone.grams_of_each
    [had] = answer.had
    serving = pot.grams / recipe.servings
    assert abs(had.grams - serving) <= Fraction(1, 2)  # to the step of the scale
    if together:
        assert answer.moved == alone.objective.value


def test_people_to_whom_the_same_is_prescribed_have_the_same(tmp_path: Path, foods: FoodTable) -> None:
    person = '[[people]]\nname = "{}"\nenergy = 1500\nratio = 2.5\nprotein = 30\n'
    text = f"""title = "two"
{person.format("A")}{person.format("B")}
[[people]]
name = "C"
energy = 1900
ratio = 2
[[meals]]
name = "lunch"
dishes = [{{file = "{EXAMPLES}/salmon-soup.toml", batches = 1}}]
beside = [{{food = "butter, unsalted", max = 60}}]
[[meals]]
name = "dinner"
dishes = ["{EXAMPLES}/moussaka.toml"]
beside = [{{food = "olive oil", max = 60}}]
[stock]
"olive oil" = 400
"""
    answer = solve_day(one_day(tmp_path, text, foods))
    assert answer.outcome == "solved"
    had = {person: [(one.meal, one.course, one.grams) for one in answer.had if one.person == person]
           for person in (0, 1)}
    assert had[0] == had[1] and had[0]


POT = """title = "Stew"
servings = 2
finished_grams = 600
[[ingredients]]
food = "cream, heavy (36 % fat)"
grams = 700
"""


def test_a_pot_is_shared_by_all_to_whom_the_same_is_prescribed(tmp_path: Path, foods: FoodTable) -> None:
    """600 g for three who would have 400 g each: 200 g each; with no number given, two batches and nothing moved."""
    (tmp_path / "stew.toml").write_text(POT, encoding="utf-8")
    people = "".join(f'[[people]]\nname = "{name}"\n' for name in "ABC")
    text = f"""title = "three"
{people}
[[meals]]
name = "dinner"
dishes = [{{file = "stew.toml", as_written = true, portion = 400, batches = 1}}]
"""
    answer = solve_day(one_day(tmp_path, text, foods))
    assert [had.grams for had in answer.had] == [200, 200, 200]
    assert (answer.pots[0].left, answer.moved) == (0, 600)
    answer = solve_day(one_day(tmp_path, text.replace(", batches = 1", ""), foods))
    assert (answer.pots[0].batches, answer.pots[0].left, answer.moved) == (2, 0, 0)
    [cream] = shopping_of_days(Days((answer,)), foods=foods).purchases
    assert cream.bought == 1400


def test_the_example_keeps_what_is_prescribed_in_exact_arithmetic(foods: FoodTable) -> None:
    [day] = read_days(EXAMPLES / "day" / "tuesday.toml", foods)
    answer = solve_day(day)
    assert answer.outcome == "solved" and answer.proven
    for one in answer.eaten:
        person = day.people[one.person]
        assert one.facts.ratio >= person.ratio
        share = 1 if one.meal is None else day.share(one.person, one.meal)
        energy = one.facts.amounts["energy_kcal"]
        off = Fraction(repr(person.within))
        assert (1 - off) * share <= energy / Fraction(person.energy) <= (1 + off) * share
        least = person.protein * (1 if one.meal is None else share * (1 - off))
        assert one.facts.amounts["protein_g"] >= least
    for pot in answer.pots:
        assert 0 <= pot.served <= pot.batches * pot.grams and pot.left == pot.batches * pot.grams - pot.served
    assert sum(had.grams for had in answer.had if not had.beside) == sum(pot.served for pot in answer.pots)


def test_the_week_that_was_by_hand_is_one_file_and_one_command(tmp_path: Path) -> None:
    ran = CliRunner().invoke(main, ["day", str(EXAMPLES / "day" / "week.csv"), "--people",
                                    str(EXAMPLES / "day" / "guests.toml"), "-o", str(tmp_path / "week")])
    assert ran.exit_code == 0, ran.stderr
    assert "5 days, 3 people, 15 dishes: 5 solved, 0 impossible" in ran.stderr
    with open(tmp_path / "week" / "portions.csv", encoding="utf-8", newline="") as file:
        portions = list(csv.DictReader(file))
    assert {row["person"] for row in portions} == {"Room 2", "Room 5", "Room 7"}
    assert len({row["day"] for row in portions}) == 5
    assert all("made by those who prescribe" in row["caution"] for row in portions)
    told = json.loads((tmp_path / "week" / "day.json").read_text(encoding="utf-8"))
    assert [day["outcome"] for day in told["days"]] == ["solved"] * 5
    with open(tmp_path / "week" / "totals.csv", encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            assert not row["slack"] or float(row["slack"]) >= 0, row
    assert "At 3:1 and above" in (tmp_path / "week" / "day.txt").read_text(encoding="utf-8")


def test_a_day_that_is_undecided_is_not_counted_as_impossible(foods: FoodTable) -> None:
    [day] = read_days(EXAMPLES / "day" / "tuesday.toml", foods)
    answer = solve_day(day)
    [block, _] = answer.answers[0]
    undecided = replace(answer, answers=((block, Diagnosis((), undecided=True)), *answer.answers[1:]))
    assert undecided.outcome == "undecided"
    assert outcome_counts(Days((answer, undecided))).endswith("1 solved, 0 impossible, 1 undecided")


def test_a_dish_whose_weights_were_cut_short_is_named(tmp_path: Path, foods: FoodTable,
                                                      monkeypatch: pytest.MonkeyPatch) -> None:
    day = one_day(tmp_path, ONE.format(file=EXAMPLES / "salmon-soup.toml"), foods)
    words = "Not proven in the time (--time-limit) to be as close to the start as the limits allow: the weights of"
    assert words not in " ".join(solve_day(day).report().split())

    def cut_short(*given: Any, **asked: Any) -> Proposal:
        found = solve(*given, **asked)
        assert isinstance(found, Proposal)
        return replace(found, objective=replace(found.objective, proven=False))

    monkeypatch.setattr(compute, "solve", cut_short)
    found = solve_day(day)
    assert words in " ".join(found.report().split())
    assert [pot["proven"] for pot in found.to_dict()["days"][0]["pots"] if "proven" in pot] == [False]


def test_changes_that_were_not_looked_for_to_the_end_are_named(foods: FoodTable) -> None:
    """Where the time was up, that no change is offered does not read as if none would do."""
    [day] = read_days(EXAMPLES / "day" / "one-pot.toml", foods)
    answer = solve_day(day)
    [(block, found)] = answer.answers
    assert isinstance(found, Diagnosis) and "The time was up" not in answer.report()
    cut = replace(found, repairs=(), left_out=found.conflict[:1],
                  left_out_also=("a change of several limits together",))
    short = replace(answer, answers=((block, cut),))
    assert ("were looked at to the end: changes of a ratio of at least 3:1 at dinner for Room 7; a change of several "
            "limits together.") in " ".join(short.report().split())
    assert [row["words"] for row in short.to_dict()["days"][0]["problems"] if row["what"] == "left out"] == [
        "a ratio of at least 3:1 at dinner for Room 7", "a change of several limits together"]


def test_all_faults_of_the_people_of_days_in_csv_are_told_at_once(tmp_path: Path) -> None:
    (tmp_path / "people.toml").write_text('[policy]\nnet_carb = 3\n[[people]]\nname = "A"\nratio = "x"\n')
    (tmp_path / "days.csv").write_text(f"day,meal,dish,person\nMonday,lunch,{EXAMPLES}/moussaka.toml,A\n")
    ran = CliRunner().invoke(main, ["day", str(tmp_path / "days.csv"), "--people", str(tmp_path / "people.toml")])
    assert ran.exit_code == 1
    assert "people.toml:2: policy.net_carb" in ran.stderr and "people.toml:5: people[1].ratio" in ran.stderr


def test_a_folder_of_something_else_is_not_replaced(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    ran = CliRunner().invoke(main, ["day", str(EXAMPLES / "day" / "tuesday.toml"), "-o", str(tmp_path)])
    assert ran.exit_code == 1 and "notes.txt" in ran.stderr
    assert [item.name for item in tmp_path.iterdir()] == ["notes.txt"]


def test_faults_of_a_day_are_told_at_once_with_their_lines(tmp_path: Path, foods: FoodTable) -> None:
    text = f"""title = "faults"
[[people]]
name = "A"
energy = 1500
meals = {{lunhc = 1}}
[[meals]]
name = "lunch"
dishes = ["absent.toml", {{file = "{EXAMPLES}/moussaka.toml", bathces = 2}}]
beside = [{{food = "olive oyl", max = 30}}, {{food = "salt", min = 5, max = 2}}]
people = ["B"]
[[meals]]
name = "lunch"
dishes = []
[stock]
"cream, heavy (36 % fat)" = -1
"""
    with pytest.raises(BadInput) as bad:
        one_day(tmp_path, text, foods)
    told = [str(fault) for fault in bad.value.faults]
    for line, words in ((5, "people[1].meals: got 'lunhc'"), (8, "bathces"), (9, "olive oyl"), (9, "min: got 5"),
                        (10, "people: got 'B'"), (12, "expected each meal once"), (15, "stock.cream")):
        assert any(f"day.toml:{line}: " in one and words in one for one in told), (line, words, told)
    assert any("day.toml:8: " in one and "there is no file" in one for one in told)


def test_a_decimal_comma_in_a_day_is_named(tmp_path: Path, foods: FoodTable) -> None:
    with pytest.raises(BadInput, match=r"is not TOML: .*; decimals take a point: 18\.5"):
        one_day(tmp_path, 'title = "x"\n[[people]]\nname = "A"\nprotein = 18,5\n', foods)


def test_faults_of_a_week_name_the_line_and_the_column(tmp_path: Path) -> None:
    (tmp_path / "week.csv").write_text(
        "day,meal,dish,person,food,max\n"
        f"Monday,breakfast,{EXAMPLES}/moussaka.toml,,,\n"
        "Monday,breakfast,absent.toml,Room 9,,\n"
        "Monday,,,,olive oil,20\n"
        "Monday,lunch,,,olive oil,much\n", encoding="utf-8")
    people = ["--people", str(EXAMPLES / "day" / "guests.toml")]
    ran = CliRunner().invoke(main, ["day", str(tmp_path / "week.csv"), *people])
    assert ran.exit_code == 1
    assert "line 4, meal" in ran.stderr and "line 5, max: got 'much'" in ran.stderr
    (tmp_path / "week.csv").write_text(
        "day,meal,dish,person\n"
        f"Monday,breakfast,{EXAMPLES}/moussaka.toml,Room 9\n", encoding="utf-8")
    ran = CliRunner().invoke(main, ["day", str(tmp_path / "week.csv"), *people])
    assert ran.exit_code == 1 and "week.csv: line 2, person: got 'Room 9'" in ran.stderr


def test_a_share_of_the_energy_is_kept_at_every_meal_and_its_factors_are_told(tmp_path: Path) -> None:
    """9 (8 s + 100 o) = 0.6 (240 s + 900 o) by the figures of the table, s and o in 100 g: the soup stays at 3."""
    asked = own_day(
        tmp_path, "soup,own:soup,available,8,10,32,0,240\noil,own:oil,available,100,0,0,0,900\n", "soup", 300,
        '[[people]]\nname = "A"\nfat = {min = "60 % of energy"}\n[[meals]]\nname = "dinner"\n'
        'dishes = [{file = "dish.toml", as_written = true}]\nbeside = [{food = "oil", max = 90}]\n')
    result = CliRunner().invoke(main, [*asked, "-o", str(tmp_path / "out"), "--exact"])
    assert result.exit_code == 0, result.output
    rows = list(csv.DictReader((tmp_path / "out" / "portions.csv").read_text(encoding="utf-8").splitlines()))
    soup, oil = (float(row["grams"]) / 100 for row in rows)
    assert soup == 3 and oil == pytest.approx((0.6 * 240 - 72) * 3 / (900 - 0.6 * 900), abs=1e-6)
    said = " ".join((tmp_path / "out" / "day.txt").read_text(encoding="utf-8").split())
    assert "at least 60 % of energy from fat" in said and "energy from fat at 9 kcal/g (Annex XIV" in said


def test_a_formula_of_ones_own_and_what_is_weighed_raw_are_told(tmp_path: Path, foods: FoodTable) -> None:
    """One who is held to total carbs beside one who is not: each ratio with its formula, from the grams beside it."""
    for name, finished in (("raw.toml", ""), ("cooked.toml", "finished_grams = 900\n")):
        (tmp_path / name).write_text(f"""title = "{name[:-5]} dish"
servings = 4
{finished}[[ingredients]]
food = "cream, heavy (36 % fat)"
grams = 800
[[ingredients]]
food = "raspberries, raw"
grams = 200
""", encoding="utf-8")
    answer = solve_day(one_day(tmp_path, """title = "two formulas"
[[people]]
name = "N"
ratio = 2
[[people]]
name = "T"
ratio = 2
ratio_formula = "total"
[[meals]]
name = "lunch"
dishes = [{file = "raw.toml", as_written = true, portion = 100}]
[[meals]]
name = "dinner"
dishes = [{file = "cooked.toml", as_written = true, portion = 90}]
""", foods))
    told = answer.report()
    assert "\nN\n" in told and "\nT  (ratio = fat : (protein + total carbs))\n" in told
    assert "Weighed as it goes in: raw dish. No finished weight" in told
    # 80 g of cream (fat 36.08, protein 2.84, carbs 2.74) and 20 g of raspberries (0.65, 1.20, 11.94, fibre 6.5), NDB
    # 01053 and 09302: 28.994 g of fat over 2.512 + 4.58, less 1.3 g of fibre where carbs are net
    days = answer.to_dict()["days"][0]
    ratios = {row["person"]: row for row in days["totals"] if row["figure"] == "ratio" and row["meal"] == "lunch"}
    assert ratios["N"]["reckoned"].endswith("net carbs)") and ratios["T"]["reckoned"].endswith("total carbs)")
    assert ratios["N"]["actual"] == pytest.approx(28.994 / (2.512 + 4.58 - 1.3))
    assert ratios["T"]["actual"] == pytest.approx(28.994 / (2.512 + 4.58))
    assert [pot["weighed"] for pot in days["pots"] if "weighed" in pot] == ["as it goes in", "cooked"]


def test_a_food_of_a_dish_and_beside_it_is_named_once_where_it_is_too_much(tmp_path: Path, foods: FoodTable) -> None:
    (tmp_path / "dish.toml").write_text("""title = "cream"
servings = 1
[[ingredients]]
food = "MCT oil"
grams = 20
[[ingredients]]
food = "egg, whole, raw"
grams = 100
""", encoding="utf-8")
    answer = solve_day(one_day(tmp_path, """title = "much"
[[people]]
name = "A"
[[meals]]
name = "lunch"
dishes = [{file = "dish.toml", as_written = true, portion = 120}]
beside = [{food = "MCT oil", grams = 30, min = 30, max = 40}]
""", foods))
    assert "this day holds 50 g of MCT oil, where 30 g is the most" in " ".join(answer.report().split())


def test_nothing_is_proven_of_a_day_that_nobody_has(foods: FoodTable) -> None:
    [day] = read_days(EXAMPLES / "day" / "one-pot.toml", foods)
    [found] = solve_day(day).to_dict()["days"]
    assert found["outcome"] == "impossible" and found["objective"] is None


def test_it_is_told_that_the_energy_is_not_that_of_the_prescription_s_arithmetic(foods: FoodTable, tmp_path: Path
                                                                                  ) -> None:
    """A prescription is reckoned at 9, 4 and 4 kcal; cream has 340 kcal in the release, and 347 by these factors."""
    for energy, told in (("", True), ('[policy]\nenergy = "9/4/4"\n', False)):
        answer = solve_day(one_day(tmp_path, f"""title = "cream"
{energy}[[people]]
name = "A"
[[meals]]
name = "lunch"
beside = [{{food = "cream, heavy (36 % fat)", grams = 100, min = 100, max = 100}}]
""", foods))
        assert ("energy is the tables' own, not 9/4/4" in " ".join(answer.report().split())) is told
        assert round(float(answer.eaten[-1].facts.amounts["energy_kcal"])) == (340 if told else 347)


def test_beside_a_band_that_the_steps_cannot_meet_stand_the_nearest(tmp_path: Path) -> None:
    """Every amount on the steps is gone through here by itself: meat has 20 g of protein in 100 g, oil 100 g of fat."""
    asked = own_day(
        tmp_path, "meat,own:meat,available,0,20,0,0,80\noil,own:oil,available,100,0,0,0,900\n", "meat", 300,
        '[[people]]\nname = "A"\nenergy = 900\nwithin = 0.1\nratio = {min = 2.13, max = 2.13}\n'
        '[[meals]]\nname = "dinner"\ndishes = [{file = "dish.toml", as_written = true, step = 25}]\n'
        'beside = [{food = "oil", max = 200, step = 10}]\n')
    ratios = {Fraction(oil, 1) / (Fraction(meat) / 5) for meat in range(25, 3001, 25) for oil in range(0, 201, 10)
              if 810 <= Fraction(80, 100) * meat + 9 * oil <= 990}
    below, above = (end(ratio for ratio in ratios if side * ratio > side * Fraction("2.13"))
                    for end, side in ((max, -1), (min, 1)))
    result = CliRunner().invoke(main, [*asked, "--format", "json"])
    found = {row["what"]: row for row in json.loads(result.output)["days"][0]["problems"]}
    assert [found[what]["to"] for what in ("nearest below", "nearest above")] == [float(below), float(above)]
    assert found["nearest below"]["proven"] is True
    shown = CliRunner().invoke(main, asked).output
    assert "Nearest on the steps, every other limit kept" in shown


def test_energy_is_at_least_what_is_told_where_fibre_is_unknown(tmp_path: Path) -> None:
    """100 g of a soup whose fibre no table has: 9 x 5 + 4 x (3 + 3) kcal by 9/4/4 and 2 kcal for each g of fibre."""
    asked = own_day(
        tmp_path, "soup,own:soup,available,5,3,3,,\n", "soup", 100,
        '[policy]\nenergy = "annex-xiv"\n[[people]]\nname = "A"\n[[meals]]\nname = "dinner"\n'
        'dishes = [{file = "dish.toml", as_written = true, portion = 100}]\n')
    assert "at least 69" in CliRunner().invoke(main, asked).output
    totals = json.loads(CliRunner().invoke(main, [*asked, "--format", "json"]).output)["days"][0]["totals"]
    told = {row["figure"]: row["at_least"] for row in totals if row["meal"] == "day" and row["figure"] != "ratio"}
    assert told["energy_kcal"] and not told["fat_g"] and not told["net_carbs_g"]
