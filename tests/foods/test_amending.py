"""Tables of one's own that amend: prices without a word of composition, and rows that say what they replace."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from ratio_solver import FoodTable, check, load_foods, read_recipe, recipe_from
from ratio_solver.cli import main
from ratio_solver.errors import BadInput
from tests.kitchen import dish, food, table_file

PLAIN = load_foods()


def written(folder: Path, text: str, name: str = "own.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def run(*arguments: str, **environment: str) -> Result:
    return CliRunner().invoke(main, arguments, env=environment)


def test_a_table_of_prices_leaves_all_else_as_it_was(tmp_path: Path) -> None:
    """Composition, intervals, allergens, measures, refuse and the most of a serving, of every food."""
    foods = load_foods(written(tmp_path, "food,price_per_kg\n\"egg, whole, raw\",4.5\nndb:01145,9\n"))
    assert [one.name for one in foods] == [one.name for one in PLAIN]
    priced = {one.id: one.price for one in foods if one.price is not None}
    assert priced == {"ndb:01123": 4.5, "ndb:01145": 9}
    for now, before in zip(foods, PLAIN, strict=True):
        for part in ("amounts", "low", "high", "lowest", "highest", "allergens", "allergens_complete", "measures",
                     "refuse", "role", "most", "most_because", "also", "source", "basis", "id"):
            assert getattr(now, part) == getattr(before, part), (now.name, part)


def test_it_amends_the_tables_before_it_in_order(tmp_path: Path) -> None:
    own = table_file(tmp_path, food("broth", 1, 2, 3, allergens="celery"))
    prices = written(tmp_path, "food,price_per_kg,allergens\nbroth,3,milk\n", "prices.csv")
    broth = load_foods(own, prices).get("broth")
    assert broth is not None and (broth.price, broth.allergens, broth.amounts["fat_g"]) == (3, ("celery", "milk"), 1)
    with pytest.raises(BadInput, match=r"prices\.csv: line 2, food: got 'broth'; expected a food of the tables before"):
        load_foods(prices, own)


@pytest.mark.parametrize(("before", "cell", "allergens", "complete"), [
    ("milk", "", ("milk",), True), ("milk", "none", ("milk",), True), ("milk", "nuts", ("milk", "nuts"), True),
    ("milk", "unknown", ("milk",), False), ("", "nuts", ("nuts",), True), ("", "", None, False),
    ("milk;unknown", "", ("milk",), False), ("none", "nuts;unknown", ("nuts",), False),
])
def test_allergens_never_vanish(before: str, cell: str, allergens: tuple[str, ...] | None, complete: bool,
                                tmp_path: Path) -> None:
    own = table_file(tmp_path, food("broth", 1, 2, 3, allergens=before))
    held = load_foods(own, written(tmp_path, f"food,price_per_kg,allergens\nbroth,1,{cell}\n", "more.csv")).get("broth")
    assert held is not None and held.allergens == allergens
    assert held.allergens_unknown != complete


def test_measures_names_and_a_nutrient_are_amended(tmp_path: Path) -> None:
    """A nutrient takes its interval with it: it was that of another figure."""
    more = written(tmp_path, "id,measures,also,sodium_mg,iodine_ug\nndb:01001,curl=8,Frühstücksbutter,500,12\n")
    foods = load_foods(more)
    now, before = foods.get("butter, salted"), PLAIN.get("butter, salted")
    assert now is not None and before is not None
    assert now.measures == {**before.measures, "curl": 8} and "Frühstücksbutter" in now.also
    assert now.amounts["iodine_ug"] == 12 and now.amounts["sodium_mg"] == 500 and "sodium_mg" not in now.high
    assert foods.names.match(["fruehstücksbutter", "Frühstücksbutter"][1]).food == now


@pytest.mark.parametrize(("text", "said"), [
    ("food,price_per_kg\nbuter salted,3\n", "line 2, food: got 'buter salted'; expected a food of the tables before"),
    ("food,price_per_kg\n,3\n", "line 2, food: got ''; expected a name or an id"),
    ("food,price_per_kg\n\"butter, salted\",lots\n", "line 2, price_per_kg: got 'lots'"),
    ("food,remark\n\"butter, salted\",good\n", "or beside food one that amends the table before"),
    ("name,price\nbutter,3\n", "expected the columns food, id, carb_basis"),
    ("food,fat_g\nbutter,80\n", "expected the columns id, carb_basis, protein_g"),
])
def test_what_cannot_be_amended_is_a_fault(text: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(BadInput) as bad:
        load_foods(written(tmp_path, text))
    assert said in str(bad.value)


def test_a_full_row_says_what_it_replaces(tmp_path: Path) -> None:
    own = table_file(tmp_path, food("butter, salted", 82, 1, 1, allergens="none"))
    held = load_foods(own).get("butter, salted")
    assert held is not None and held.dropped == ("milk",)
    assert held.replaces == ("butter, salted (ndb:01001; USDA SR28, NDB 01001)",)
    shown = " ".join(run("foods", "show", "butter, salted", "--foods", str(own)).stdout.split())
    assert "replaces butter, salted (ndb:01001; USDA SR28, NDB 01001)" in shown
    assert "has milk, this one says not" in shown
    told = check(recipe_from(dish([{"food": "butter, salted", "grams": 10}]), load_foods(own))).warnings
    assert any(text.startswith("milk: the row for butter, salted says that it has none") for text in told)
    plain = check(recipe_from(dish([{"food": "butter, salted", "grams": 10}]), PLAIN)).warnings
    assert not any("replaces" in text for text in plain)


def test_the_environment_names_tables_and_the_others_win(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Bundled, then those of the environment, then the recipe's, then --foods."""
    for name, fat in (("kept", 10), ("recipe", 20), ("own", 30)):
        made = table_file(tmp_path, food("butter, salted", fat, 1, 1), food(f"only {name}", 1))
        made.rename(tmp_path / f"{name}.csv")
    text = 'title = "x"\nservings = 1\n%s[[ingredients]]\nfood = "butter, salted"\ngrams = 100\n'
    monkeypatch.setenv("RATIO_SOLVER_FOODS", str(tmp_path / "kept.csv"))
    plain = written(tmp_path, text % "", "a.toml")
    named = written(tmp_path, text % 'foods = ["recipe.csv"]\n', "b.toml")
    own = str(tmp_path / "own.csv")

    def fat(recipe: Path, foods: FoodTable) -> float:
        return read_recipe(recipe, foods).ingredients[0].food.amounts["fat_g"]

    assert fat(plain, load_foods()) == 10 and fat(named, load_foods()) == 20
    assert fat(plain, load_foods(own)) == 30 and fat(named, load_foods(own)) == 30
    assert load_foods().get("only kept") is not None and load_foods(own, bundled=False).get("only kept") is None
    assert "only kept" in run("foods", "only", "kept").stdout


def test_a_table_of_the_environment_that_is_not_there_is_a_fault(tmp_path: Path) -> None:
    done = run("foods", "butter", RATIO_SOLVER_FOODS=str(tmp_path / "gone.csv"))
    assert done.exit_code == 1 and "gone.csv" in done.stderr


def test_a_recipe_may_name_a_table_of_prices(tmp_path: Path) -> None:
    written(tmp_path, "food,price_per_kg\n\"butter, salted\",9\n", "prices.csv")
    recipe = written(tmp_path, 'title = "x"\nservings = 1\nfoods = ["europe", "prices.csv"]\n[[ingredients]]\n'
                     'food = "butter, salted"\ngrams = 100\n', "a.toml")
    held = read_recipe(recipe, PLAIN).ingredients[0].food
    assert (held.price, held.allergens, held.id) == (9, ("milk",), "ciqual:16403")
