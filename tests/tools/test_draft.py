"""From written lines to a recipe file: which food, how many grams, and what is said of it."""

from __future__ import annotations

import csv
import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ratio_solver import BadInput, FoodTable, check, draft, load_foods, read_recipe, solve
from ratio_solver.cli import main
from ratio_solver.output.options import say
from ratio_solver.recipe.units import RELEASE
from ratio_solver.recipe.weighing import KITCHEN, weigh
from ratio_solver.recipe.written_text import line_kind_of
from ratio_solver.tools.draft.compute import Question, measures_of
from ratio_solver.tools.draft.report import sources_of
from ratio_solver.tools.draft.text import comment

ROOT = Path(__file__).resolve().parents[2]
TRADITIONAL = sorted((ROOT / "tests" / "tools" / "traditional").glob("*.txt"))
WRITTEN = list(
    csv.DictReader((ROOT / "tests" / "recipe" / "written_lines.csv").read_text(encoding="utf-8").splitlines())
)
NO_FOOD = ("heading", "junk")


@pytest.fixture(scope="module")
def foods() -> FoodTable:
    return load_foods()


def run(*arguments: str, text: str | None = None) -> Result:
    return CliRunner().invoke(main, ["draft", *arguments], input=text)


def test_written_lines_give_the_right_food_and_grams(foods: FoodTable) -> None:
    """A list of our own, with the foods and the ranges of grams that a dietitian would accept, set down before."""
    lines = [row for row in WRITTEN if row["kind"] not in NO_FOOD]
    wrong_food, wrong_grams = [], []
    for row in lines:
        found = draft(row["line"], foods, measures="us" if row["kind"] == "us" else None).lines[0].foods
        if not found or found[0].food.name not in row["foods"].split("|"):
            wrong_food.append((row["line"], found and found[0].food.name))
        elif not float(row["low"]) <= found[0].grams <= float(row["high"]):
            wrong_grams.append((row["line"], found[0].grams))
    print(f"{len(lines)} lines: food {1 - len(wrong_food) / len(lines):.1%}, "
          f"grams {1 - len(wrong_grams) / (len(lines) - len(wrong_food)):.1%}")
    assert len(wrong_food) <= 0.05 * len(lines), wrong_food
    assert len(wrong_grams) <= 0.05 * (len(lines) - len(wrong_food)), wrong_grams


DANGEROUS = list(
    csv.DictReader((ROOT / "tests" / "recipe" / "dangerous_lines.csv").read_text(encoding="utf-8").splitlines())
)


@pytest.mark.parametrize("row", DANGEROUS, ids=lambda row: row["line"])
def test_no_wrong_food_or_weight_is_silent(row: dict[str, str], foods: FoodTable) -> None:
    """Choices, claims, what is done after the comma, weights in brackets, trailing nouns, trade names; by hand.

    `foods` are those that would do, "none" where the line may be left out and told, "*" where any does if it is marked.
    `marked` says of what the cook must be told: "food" that another may be meant, "weight" that one was assumed.
    """
    american = bool(re.search(r"\b(?:cups?|oz|lb)\b", row["line"]))
    found = draft(row["line"], foods, measures="us" if american else None).lines[0]
    names, right = row["foods"].split("|"), found.foods[0] if found.foods else None
    if right is None:
        assert "*" in names or "none" in names, found.unread
        return
    of_food = right.grade not in ("exact", "other name") or bool(right.doubt)
    assert of_food or row["marked"] != "food"
    assert right.check or not row["marked"]
    assert "*" in names or (right.food.name in names and float(row["low"]) <= right.grams <= float(row["high"]))


@pytest.mark.parametrize("line", [row["line"] for row in WRITTEN if row["kind"] in NO_FOOD])
def test_no_heading_is_taken_for_a_food(line: str) -> None:
    assert line_kind_of(line) != "item"


@pytest.mark.parametrize("path", TRADITIONAL, ids=lambda path: path.stem)
def test_traditional_recipes_go_through_check_and_solve(path: Path, foods: FoodTable, tmp_path: Path) -> None:
    """As a cook would write them; the weights of the examples, typed by hand, are the answer not made by this code."""
    example = tomllib.loads((ROOT / "examples" / f"{path.stem}.toml").read_text(encoding="utf-8"))
    done = run(str(path), "-o", str(tmp_path / "dish.toml"), "--bounds", "30", "--ratio", "1.5", "--net-carbs", "10")
    assert done.exit_code == 0, done.stderr
    recipe = read_recipe(tmp_path / "dish.toml", foods)
    lines = [
        line for line in path.read_text(encoding="utf-8").partition("\nMethod\n")[0].splitlines() if line[:1].isdigit()
    ]
    assert len(recipe.ingredients) >= len(lines)
    assert recipe.servings == example["servings"]
    total = sum(item.get("grams", 0) for item in example["ingredients"])
    assert sum(recipe.starts) == pytest.approx(total, rel=0.03)
    assert check(recipe).facts.ratio is not None
    answer = solve(recipe, foods=foods)
    assert answer.outcome == "solved" or answer.diagnosis.conflict


BAKE = """Herb bake
Serves 2

For the base:
200 g plain flour
1 stick butter
2 large eggs
1/2 tsp salt
100 g sugar
300 g potatoes
250 g cream cheese
a spoonful of stardust
Print
"""


def test_bounds_are_those_of_each_kind() -> None:
    text = draft(BAKE, bounds=30, ratio=2, net_carbs=8).text
    read = tomllib.loads(text)
    assert read["targets"] == {"ratio": 2, "net_carbs": 8}
    ends = {item.get("label", item["food"]): (item.get("min"), item.get("max")) for item in read["ingredients"]}
    assert ends == {"plain flour": (0, 200), "butter": (0, 226), "eggs": (60, 180), "salt": (None, None),
                    "sugar": (0, 100), "potatoes": (0, 300), "cream cheese": (175, 325)}
    assert {item["part"] for item in read["ingredients"]} == {"base"}
    eggs = next(item for item in read["ingredients"] if item["food"].startswith("egg"))
    assert eggs["piece"] == 60  # a large one in Europe, where nothing else is said
    assert "# a spoonful of stardust\n# check:" in text and "# Not taken for ingredients:\n# Print" in text
    assert "# sweetness with fewer net carbs (in 100 g): erythritol (0 g), allulose (0 g)" in text
    assert re.search(r"# crust with fewer net carbs \(in 100 g\): hazelnut flour \([\d.]+ g\)", text)


@pytest.mark.parametrize(("line", "use"), [
    ("10 g cornflour", "thickener"), ("400 g plain flour", "crust"), ("50 g sugar", "sweetness"),
    ("400 g potatoes", "bulk"), ("200 g long grain rice", "grains"), ("200 g dried pasta", "noodles"),
    ("50 g dry breadcrumbs", "crumbs"), ("200 g dried lentils", "pulses"), ("200 g shortcrust pastry", "crust"),
])
def test_a_source_of_carbohydrate_names_foods_of_the_same_use(line: str, use: str, foods: FoodTable) -> None:
    """Each of the eight uses has a food in the table; those named carry less, the least first."""
    text = draft(f"Dish\n\n{line}\n500 g cream", bounds=30).text
    told = re.search(rf"^# {use} with fewer net carbs \(in 100 g\): (.+)$", text, re.M)
    assert told, text
    figures = [float(grams) for grams in re.findall(r"\(([\d.]+) g\)", told[1])]
    assert 1 <= len(figures) <= 3 and figures == sorted(figures)
    assert use in {of for food in foods for of in food.use}


def test_a_food_of_one_s_own_is_named_for_its_use(tmp_path: Path) -> None:
    """A gum of one's own with its use, and a use given to a row of the table by an amending one."""
    own, more = tmp_path / "own.csv", tmp_path / "more.csv"
    own.write_text("food,id,carb_basis,fat_g,protein_g,carbs_g,fibre_g,use\nhouse gum,,available,0,0,0,80,Thickener\n",
                   encoding="utf-8")
    more.write_text("food,use\n\"agar powder\",thickener; jelly\n", encoding="utf-8")
    table = load_foods(own, more)
    assert table.get("agar powder").use == ("thickener", "jelly")
    text = draft("Soup\n\n10 g cornflour\n500 g cream", table, bounds=30).text
    assert "# thickener with fewer net carbs (in 100 g): guar gum (seed gum) (0 g), house gum (0 g), " in text


def test_no_part_of_a_dish_may_go() -> None:
    """A pie keeps three fifths of its filling and of its top, a dish without parts three fifths of itself."""
    pie = draft("Pie\n\nFilling\n300 g cod\n200 g leeks\n\nTop\n500 g potatoes\n50 g butter\n", bounds=30)
    assert tomllib.loads(pie.text)["parts"] == {"Filling": {"min": 300}, "Top": {"min": 330}}
    alone = draft("300 g potatoes\n100 g butter\n", bounds=30)
    assert tomllib.loads(alone.text)["parts"] == {"batch": {"min": 240}}
    assert alone.recipe is not None and sum(solve(alone.recipe).grams_of_each) >= 240
    assert "parts" not in tomllib.loads(draft("300 g potatoes\n100 g butter\n").text)


def test_a_file_is_written_over_only_where_that_is_said(tmp_path: Path) -> None:
    dish = tmp_path / "dish.toml"
    dish.write_text("mine", encoding="utf-8")
    done = run("-", "-o", str(dish), text=BAKE)
    assert done.exit_code == 1 and "--replace" in done.stderr and dish.read_text(encoding="utf-8") == "mine"
    assert run("-", "-o", str(dish), "--replace", text=BAKE).exit_code == 0
    assert read_recipe(dish, load_foods()).servings == 2


@pytest.mark.parametrize(("line", "measures", "food"), [
    ("2 tbsp tomato purée", "uk", "tomato paste"), ("1 tsp tomato puree", "metric", "tomato paste"),
    ("2 tbsp tomato puree", "us", "tomato puree"), ("400 g tomato purée", "uk", "tomato puree"),
    ("50 g parmesan, grated", "uk", "parmesan, hard"), ("50 g grated Parmesan", "metric", "parmesan, hard"),
    ("50 g dried grated parmesan", "uk", "parmesan, grated"),
    ("1/2 cup grated parmesan cheese", "us", "parmesan, grated"),
    ("1 pepper, chopped", "uk", "bell pepper, red, raw"), ("2 peppers", "metric", "bell pepper, red, raw"),
    ("1 tsp pepper", "uk", "pepper, black"), ("pepper", "uk", "pepper, black"),
])
def test_words_that_mean_another_food_in_a_cook_s_line(line: str, measures: str, food: str) -> None:
    """Common practice: British tomato puree by the spoon is a paste, a counted pepper no spice."""
    [drafted] = draft(f"Dish\n\n{line}\n", measures=measures).lines[0].foods
    assert drafted.food.name == food


@pytest.mark.parametrize(("line", "meant", "sure"), [
    ("300 ml single cream", "single cream (18 % fat)", True),
    ("300 ml double cream", "double cream (48 % fat)", True),
    ("1 tbsp black treacle", "molasses", True), ("100 g pudding rice", "rice, white, short grain, raw", True),
    ("500 g gammon", "ham, whole, unheated", False), ("1 swede", "rutabaga (swede), raw", True),
    ("500 g mince", "beef, ground, 20 % fat, raw", True), ("50 g rocket", "arugula (rocket), raw", True),
    ("1 stock cube", "chicken stock cube", True), ("250 g Quark", "quark, 20 % fat in dry matter", True),
    ("20 cl crème épaisse", "creme fraiche (30 % fat)", True), ("150 g lardons", "lardons, raw", True),
    ("2 tbsp golden syrup", "corn syrup, light", False), ("2 tbsp custard powder", "cornstarch", False),
    ("1 tbsp rice vinegar", "vinegar, distilled", False), ("2 duck breasts", "duck, meat and skin, raw", False),
    ("200 g Schmand", "sour cream", False), ("200 g crème double", "creme fraiche (30 % fat)", False),
])
def test_words_of_british_german_and_french_kitchens(line: str, meant: str, sure: bool) -> None:
    """What the table lacks is a guess, and is marked as one."""
    [drafted] = draft(f"Dish\n\n{line}\n").lines[0].foods
    assert drafted.food.name == meant and (drafted.grade != "guess") == sure
    assert sure or "meant?" in drafted.check


def test_without_bounds_all_stay() -> None:
    assert not any("min" in item for item in tomllib.loads(draft(BAKE).text)["ingredients"])


def test_every_written_line_is_in_the_file() -> None:
    lines = [line for line in BAKE.splitlines()[4:] if line]
    assert all(f"# {line}" in draft(BAKE).text.splitlines() for line in lines)


@pytest.mark.parametrize(("measures", "grams"), [("us", 125), ("metric", 132), ("uk", 150)])
def test_cups_are_those_asked_for(measures: str, grams: float) -> None:
    """125 g in a cup of 236.588 ml (USDA SR28, NDB 20081)."""
    assert draft("1 cup plain flour", measures=measures).lines[0].foods[0].grams == pytest.approx(grams, abs=0.6)


def test_whose_cups_they_are_is_read_from_the_words() -> None:
    assert measures_of(["2 cups all-purpose flour", "1 stick butter"]) == "us"
    assert measures_of(["250 g flour", "1 cup milk", "200 ml cream"]) == "metric"


def test_a_volume_is_weighed_by_the_foods_own_measure_else_marked(foods: FoodTable) -> None:
    own = draft("2 tbsp butter", foods, measures="us").lines[0].foods[0]
    assert own.grams == 28.4 and not own.weighed.note      # tablespoon 14.2 g: USDA SR28, NDB 01145
    of_kind = draft("1/2 cup coconut flour", foods, measures="us").lines[0].foods[0]
    assert of_kind.weighed.note and "# check: " in draft("1/2 cup coconut flour", foods).text


def test_a_cook_is_asked_only_of_guesses(foods: FoodTable) -> None:
    asked: list[Question] = []

    def second(question: Question) -> object:
        asked.append(question)
        return question.candidates[-1]

    found = draft("200 g butter\n100 g garam masala\n", foods, ask=second)
    assert [question.line for question in asked] == ["100 g garam masala"]
    assert found.lines[1].foods[0].food == asked[0].candidates[-1]
    assert "is " not in " ".join(found.look_at)
    none = draft("200 g butter\n100 g garam masala\n", foods, ask=lambda _: None)
    assert not none.lines[1].foods and "# 100 g garam masala" in none.text


def test_net_carbs_are_told_by_source_the_largest_first(foods: FoodTable) -> None:
    recipe = draft(BAKE, foods).recipe
    assert recipe is not None
    sources = sources_of(recipe)
    assert [name for name, _ in sources[:2]] == ["plain flour", "sugar"] and "salt" not in dict(sources)
    assert float(sum(grams for _, grams in sources)) == pytest.approx(float(check(recipe).facts.amounts["net_carbs_g"]))


def test_the_command_is_the_library(tmp_path: Path) -> None:
    source, dish = tmp_path / "bake.txt", tmp_path / "dish.toml"
    source.write_text(BAKE, encoding="utf-8")
    done = run(str(source), "-o", str(dish), "--bounds", "30", "--ratio", "2:1")
    assert done.exit_code == 0 and dish.read_text(encoding="utf-8") == draft(BAKE, bounds=30, ratio=2.0).text
    assert "Net carbs of a serving come from" in done.stdout and "no medical advice" in done.stdout
    assert "check: a spoonful of stardust" in done.stderr
    piped = run("-", "--bounds", "30", "--ratio", "2", text=BAKE)
    assert tomllib.loads(piped.stdout) == tomllib.loads(dish.read_text(encoding="utf-8"))
    assert "no medical advice" in piped.stderr


@pytest.mark.parametrize(
    ("arguments", "told", "code"),
    [
        (["-", "--ratio", "much"], "--ratio", 1),
        (["-", "--bounds", "130"], "--bounds", 2),
        (["-", "--measures", "eu"], "us", 2),
        (["missing.txt"], "cannot be read", 1),
        (["-", "--servings", "0"], "--servings", 2),
    ],
)
def test_faults(arguments: list[str], told: str, code: int) -> None:
    done = run(*arguments, text="2 eggs\n")
    assert done.exit_code == code and told in done.stderr and not done.stdout


def test_the_tables_of_the_command_are_those_of_the_recipe(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    done = run("-", "--foods", "europe", "--foods", "examples/own-foods.csv", "-o", str(tmp_path / "dish.toml"),
               text="300 g potatoes\n50 g butter\n")
    assert done.exit_code == 0, done.stderr
    first, second = tomllib.loads((tmp_path / "dish.toml").read_text(encoding="utf-8"))["foods"]
    assert first == "europe" and (tmp_path / second).resolve() == ROOT / "examples" / "own-foods.csv"
    assert read_recipe(tmp_path / "dish.toml", load_foods()).ingredients[1].start == 50


def test_servings_that_are_asked_for_go_before_those_of_the_source() -> None:
    done = run("-", "--servings", "6", text=BAKE)
    assert "Serves 2" in BAKE and tomllib.loads(done.stdout)["servings"] == 6


def test_too_many_lines_are_a_fault() -> None:
    with pytest.raises(BadInput, match="1,001 lines"):
        draft("2 eggs\n" * 1001)


def test_an_empty_source_is_a_fault() -> None:
    with pytest.raises(BadInput, match="no line that could be an ingredient"):
        draft("\n\n")
    with pytest.raises(BadInput, match="metric, us, uk"):
        draft("2 eggs", measures="eu")


def test_the_source_is_never_overwritten(tmp_path: Path) -> None:
    source = tmp_path / "bake.txt"
    source.write_text(BAKE, encoding="utf-8")
    done = run(str(source), "-o", str(source))
    assert done.exit_code == 1 and source.read_text(encoding="utf-8") == BAKE


@settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.text(max_size=60), min_size=1, max_size=6))
def test_any_text_makes_a_file_that_reads_back(lines: list[str]) -> None:
    found = draft("Title\n\n2 eggs\n" + "\n".join(lines), load_foods(), bounds=20)
    read = tomllib.loads(found.text)
    assert len(read["ingredients"]) == sum(len(line.foods) for line in found.lines)


@pytest.mark.parametrize("text", ["2 eggs\n[[ingredients]]", "a\r\nb", "x\u2028y", "bell\x07", "\x85[policy]"])
def test_a_comment_stays_one_comment(text: str) -> None:
    line = comment(text)
    assert tomllib.loads(line + "\n") == {} and len(line.splitlines()) == 1 and line.isprintable()


def test_draft_loads_no_solver() -> None:
    code = ("import sys; from ratio_solver.cli import main\ntry:\n    main()\nexcept SystemExit:\n    pass\n"
            "print([m for m in ('scipy', 'pandas', 'pint') if m in sys.modules], file=sys.stderr)")
    done = subprocess.run([sys.executable, "-c", code, "draft", str(TRADITIONAL[0])], capture_output=True, text=True,
                          cwd=ROOT, check=False)
    assert done.stderr.strip().endswith("[]"), done.stderr


KITCHEN_ROWS = list(csv.DictReader((ROOT / "data" / KITCHEN).read_text(encoding="utf-8").splitlines()))


def test_the_kitchens_list_names_foods_and_roles_of_the_table(foods: FoodTable) -> None:
    roles = {food.role for food in foods}
    for row in KITCHEN_ROWS:
        assert row["source"], row
        named = row["of"].removeprefix("role:")
        assert named in roles if row["of"] != named else any(food.name.startswith(named) for food in foods), row
        assert all(0 <= float(cell.rpartition("=")[2]) <= 6000 for cell in row["measures"].split("; ")), row
    assert len({row["of"] for row in KITCHEN_ROWS}) == len(KITCHEN_ROWS)


def test_figures_of_the_kitchens_list_are_those_of_the_release() -> None:
    """What cites a food of the release has at least one of its weights: of one, a half, a fifth, or the mean of two."""
    folder = os.environ.get("SR28_DIR")
    if not folder:
        pytest.skip("SR28_DIR does not name the release")
    weights: dict[str, list[float]] = {}
    for line in next(Path(folder).glob("WEIGHT*")).read_text(encoding="latin-1").splitlines():
        number, _, amount, _, grams, *_ = (cell.strip("~") for cell in line.split("^"))
        weights.setdefault(number, []).append(float(grams) / float(amount))
        weights[number].append(float(grams))
    for row in KITCHEN_ROWS:
        told = [float(cell.rpartition("=")[2]) for cell in row["measures"].split("; ")]
        told += [float(number) for number in re.findall(r"([\d.]+) g\b", row["source"])]
        for number in re.findall(r"SR28, NDB (\d{5})", row["source"]):
            assert any(abs(grams - value) <= 0.06 * value for grams in weights[number] for value in told if value), row


def test_every_food_that_is_bought_by_the_spoon_can_be_weighed_by_it(foods: FoodTable) -> None:
    from ratio_solver.recipe.amounts import amount_at

    for unit in ("1 cup x", "2 tbsp x", "3 tsp x", "100 ml x"):
        amount = amount_at(unit)
        assert amount is not None
        for food in foods:
            found = weigh(food, amount[0], "", "metric")
            assert found is not None, (food.name, unit)
            ml = {"cup": 250, "tbsp": 30, "tsp": 15, "ml": 100}[amount[0].unit]
            assert 0.02 < float(found.grams) / ml < 2.2, (food.name, unit, float(found.grams))
    assert RELEASE["cup"] > 236


def test_a_stock_cube_is_that_of_the_kitchen() -> None:
    """10 g in Europe (common practice, no source), 4.8 g in the US (USDA SR28, NDB 06081, a cube)."""
    of = {measures: draft("2 chicken stock cubes", measures=measures).lines[0].foods[0] for measures in ("uk", "us")}
    assert (of["uk"].grams, of["us"].grams) == (20, 9.6) and "as in Europe" in of["uk"].check


def test_a_file_on_a_terminal_of_few_characters_reads_back() -> None:
    """What Latin-1 lacks is written as TOML writes it: of a sign beyond 16 bits no halves, as JSON has them."""
    title = "Crème à la Ő \N{SHALLOW PAN OF FOOD}"
    done = subprocess.run([sys.executable, "-m", "ratio_solver", "draft", "-"], cwd=ROOT, capture_output=True,
                          input=f"{title}\n\n200 g crème fraîche \N{SHALLOW PAN OF FOOD}\n".encode(), check=True,
                          env={**os.environ, "PYTHONIOENCODING": "latin-1"})
    shown = done.stdout.decode("latin-1")
    assert "\\ud83" not in shown and r"Crème à la \u0150 \U0001F958" in shown
    assert tomllib.loads(shown)["title"] == title


@pytest.mark.parametrize("line", [
    "200 ml creme fraiche", "284 ml double cream", "1 cup cherry tomatoes", "2 tbsp redcurrant jelly",
])
def test_the_density_told_gives_the_grams_told(line: str, foods: FoodTable) -> None:
    """Millilitres of the line (a metric cup has 250, a spoon 15) times the density, rounded, are the grams."""
    count, unit = line.split()[:2]
    note = draft(line, foods, measures="metric").lines[0].foods[0].check
    told = re.search(r"(\d+) g by .*: ([\d.]+) g/ml", note)
    assert told, note
    ml = int(count) * {"ml": 1, "cup": 250, "tbsp": 15}[unit]
    assert abs(ml * float(told[2]) - int(told[1])) <= 0.5


def test_a_figure_and_its_unit_are_never_on_two_lines(capsys: pytest.CaptureFixture[str]) -> None:
    """Wherever the line is broken: the words before the figure push it over every place of the break."""
    for more in range(60, 90):
        say(f"{'a' * more} 203 g at 1.014 g/ml")
    told = capsys.readouterr().err
    assert "1.014 g/ml" in told and not re.search(r"\d\n", told.replace("ml\n", ""))
