"""Several composition tables: which row wins, what is kept of the row it replaces, and where two tables differ."""

from __future__ import annotations

import json
import tomllib
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import ratio_solver.foods.table as module
from ratio_solver import FoodTable, Policy, check, load_foods, read_recipe, recipe_from, solve
from ratio_solver.cli import main
from ratio_solver.errors import BadInput
from ratio_solver.foods.content import content
from ratio_solver.foods.csv_file import read_csv
from ratio_solver.foods.food import Foods
from ratio_solver.foods.table import known_foods
from tests.kitchen import food, table_file

ROOT = Path(__file__).resolve().parents[2]
GRATIN = ROOT / "examples" / "celeriac-gratin.toml"


@pytest.fixture(scope="module")
def american() -> FoodTable:
    return load_foods()


@pytest.fixture(scope="module")
def european() -> FoodTable:
    return load_foods("europe")


def net(foods: FoodTable, name: str) -> Fraction:
    found = foods.get(name)
    assert found is not None, name
    amount = content(found, "net_carbs_g", Policy())
    assert amount is not None
    return amount


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, arguments)


# --- which table wins ------------------------------------------------------------------------------------


def test_the_table_by_name_swaps_the_figures(american: FoodTable, european: FoodTable) -> None:
    """USDA SR28 NDB 11141: 9.20 by difference less 1.8 fibre; Ciqual 2017, 20055: 4.3, fibre left out."""
    assert net(american, "celeriac, raw") == Fraction("7.4")
    assert net(european, "celeriac, raw") == Fraction("4.3")
    assert net(european, "cream, heavy (36 % fat)") == net(american, "cream, heavy (36 % fat)")  # only here
    assert european.get("ndb:11141") is None and american.get("ciqual:20055") is None
    assert len({row.name.lower() for row in european}) == len({row.id.lower() for row in european}) == len(european)


def test_a_later_table_wins_and_order_matters(tmp_path: Path) -> None:
    own = table_file(tmp_path, food("celeriac, raw", 1, 2, 3))
    assert net(load_foods("europe", own), "celeriac, raw") == 3
    assert net(load_foods(own, "europe"), "celeriac, raw") == Fraction("4.3")


def test_a_row_takes_the_place_of_its_name_and_of_its_id(tmp_path: Path) -> None:
    """One row may replace two: one by its name, another by its id."""
    own = table_file(tmp_path, food("celeriac, raw", 1, 2, 3) | {"id": "ndb:11242"})
    foods = load_foods(own)
    assert len(foods) == len(load_foods()) - 1
    assert foods.get("kohlrabi, boiled") is None
    assert foods.get("ndb:11242") == foods.get("celeriac, raw")


def test_the_bundled_name_goes_before_a_file_of_that_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    table_file(tmp_path, food("celeriac, raw", 1, 2, 3)).rename(tmp_path / "europe")
    monkeypatch.chdir(tmp_path)
    assert net(load_foods("europe"), "celeriac, raw") == Fraction("4.3")
    assert net(load_foods("./europe"), "celeriac, raw") == 3
    assert "./europe" in " ".join(run("solve", "--help").output.split())


def test_a_file_that_has_changed_is_read_again(tmp_path: Path) -> None:
    assert net(load_foods(table_file(tmp_path, food("x", 1, 2, 3))), "x") == 3
    assert net(load_foods(table_file(tmp_path, food("x", 1, 2, 3.25))), "x") == Fraction("3.25")


# --- what is kept of a row that is replaced --------------------------------------------------------------


def test_allergens_do_not_vanish_with_a_table_that_does_not_tell_them(tmp_path: Path) -> None:
    own = table_file(tmp_path, food("celeriac, raw", 1, 2, 3, price_per_kg=2.5),
                     food("celery by another name", 1, 2, 3) | {"id": "ndb:11143"}, food("new", 1, 2, 3))
    foods = load_foods(own)
    text = 'title = "t"\nservings = 1\n[[ingredients]]\nfood = "celeriac, raw"\ngrams = 100\n'
    dish = recipe_from(tomllib.loads(text), foods)
    path = tmp_path / "dish.toml"
    path.write_text(text, encoding="utf-8")
    shown = run("check", str(path), "--foods", str(own)).stdout.splitlines()
    said = next(line for line in shown if "Allergens" in line)
    assert "celery" in said and "not known for" in said and "none known" not in said
    assert "celery" in (dish.ingredients[0].food.allergens or ())
    named = foods.get("celery by another name")
    assert named is not None and "celery" in (named.allergens or ())
    plain = foods.get("new")
    assert plain is not None and plain.allergens is None


def test_allergens_that_a_table_tells_are_taken_as_told(tmp_path: Path) -> None:
    foods = load_foods(table_file(tmp_path, food("celeriac, raw", 1, 2, 3, allergens="none"),
                                  food("cheddar", 1, 2, 3, allergens="milk;nuts")))
    assert [row.allergens for row in foods if row.id.startswith("own:")] == [(), ("milk", "nuts")]


def test_what_has_no_allergens_known_stays_unknown(tmp_path: Path) -> None:
    """A row that replaces one said to be free of any says nothing itself: that is unknown, not free."""
    [row] = [row for row in load_foods(table_file(tmp_path, food("olive oil", 1, 2, 3))) if row.id.startswith("own:")]
    assert row.allergens is None


# --- where two tables differ -----------------------------------------------------------------------------


def test_show_says_where_the_tables_differ() -> None:
    there = " ".join(run("foods", "show", "celeriac, raw").stdout.split())
    assert "the European table has 4.3 g net carbs against 7.4 g, 0.2 g fat against 0.3 g (ciqual:20055)" in there
    here = " ".join(run("foods", "show", "celeriac, raw", "--foods", "europe").stdout.split())
    assert "the American table has 7.4 g net carbs against 4.3 g, 0.3 g fat against 0.2 g (ndb:11141)" in here
    data = json.loads(run("foods", "show", "celeriac, raw", "--format", "json").stdout)
    assert data["elsewhere"] == [{"table": "europe", "id": "ciqual:20055", "differ": ["net_carbs_g", "fat_g"],
                                  "net_carbs_g": 4.3, "fat_g": 0.2}]


@pytest.mark.parametrize("name", ["olive oil", "milk, whole", "emmental", "allulose"])
def test_show_is_silent_where_they_agree_or_there_is_no_other(name: str) -> None:
    result = run("foods", "show", name)
    assert result.exit_code == 0 and "elsewhere" not in result.stdout
    assert json.loads(run("foods", "show", name, "--format", "json").stdout)["elsewhere"] == []


def test_all_that_differ_by_more_than_a_fifth_are_told(american: FoodTable) -> None:
    """Against figures reckoned here, from the tables' cells: by difference less fibre, or as it stands."""
    from ratio_solver.tools.foods.compute import differences

    files = {name: {cells["food"]: cells for _, cells in read_csv(ROOT / "data" / name).rows}
             for name in ("foods.csv", "europe.csv")}

    def figures(cells: dict[str, str]) -> tuple[Fraction, Fraction]:
        carbs, fibre = Fraction(cells["carbs_g"]), Fraction(cells["fibre_g"] or 0)
        return (carbs - fibre if cells["carb_basis"] == "by_difference" else carbs), Fraction(cells["fat_g"])

    told = silent = 0
    for name, there in files["europe.csv"].items():
        here = files["foods.csv"].get(name)
        found = american.get(name)
        if here is None or found is None or here["id"] == there["id"] or not there["fibre_g"]:
            continue
        limits = any(there[f"{column}{end}"] for column, end in
                     (("carbs_g", "_low"), ("carbs_g", "_high"), ("fat_g", "_high")))
        apart = [column for column, one, other in
                 zip(("net_carbs_g", "fat_g"), figures(here), figures(there), strict=True)
                 if abs(max(one, Fraction(0)) - other) * 5 > max(one, other)]
        said = [column for difference in differences(found) for column in difference.columns]
        assert said == apart or (limits and set(said) <= set(apart)), name
        told, silent = told + bool(said), silent + (not said)
    assert told >= 100 and silent >= 50


def test_a_figure_below_a_limit_of_detection_differs_from_none_within_it() -> None:
    """Swiss chard: fat < 0.5 g in the one, 0.20 g in the other; cheddar: traces of carbohydrate against 3.09 g."""
    chard = json.loads(run("foods", "show", "swiss chard, raw", "--format", "json").stdout)
    assert chard["elsewhere"][0]["differ"] == ["net_carbs_g"]
    cheddar = json.loads(run("foods", "show", "cheddar", "--format", "json").stdout)
    assert cheddar["elsewhere"][0]["differ"] == ["net_carbs_g"]
    cod = json.loads(run("foods", "show", "salmon, farmed, raw", "--format", "json").stdout)
    assert cod["elsewhere"] == []


def test_what_only_the_european_table_has_is_told_of() -> None:
    assert "The table europe has some: foods maroilles --foods europe" in run("foods", "maroilles").stdout
    fault = run("foods", "show", "maroilles")
    assert fault.exit_code == 1 and "--foods europe" in fault.stderr
    assert "maroilles" in run("foods", "maroilles", "--foods", "europe").stdout
    assert "europe" not in run("foods", "no such food at all").stdout


def test_traps_are_told_apart() -> None:
    """Two rows of agar, back bacon of two countries, two kinds of marrow, and the strict 100 g of an extract."""
    for name, words in (("agar, dried", "counts most of agar's own fibre as carbohydrate"),
                        ("agar powder", "73 g of net carbs"), ("back bacon, UK, raw", "canadian bacon"),
                        ("back bacon, US (canadian), raw", "British back bacon"),
                        ("stevia extract (steviol glycosides)", "the strict reading"),
                        ("marrow (vegetable), raw", "bone marrow")):
        shown = " ".join(run("foods", "show", name).stdout.split())
        assert words in shown, name
        assert words in json.loads(run("foods", "show", name, "--format", "json").stdout)["note"]
    listed = run("foods", "stevia", "extract").stdout
    assert "100.0†" in listed and "there is more to know: foods show NAME" in listed
    assert load_foods().get("back bacon, raw") is None


def test_every_note_is_of_a_food() -> None:
    from ratio_solver.tools.foods.compute import row_notes

    foods = load_foods("europe")
    americans = load_foods()
    assert [key for key in row_notes() if foods.get(key) is None and americans.get(key) is None] == []


def test_a_row_in_place_of_another_keeps_its_most(tmp_path: Path) -> None:
    """One's own row that says nothing of the most of a food has that of the row it replaces, and its reason."""
    foods = load_foods()
    warned = next(food for food in foods if food.most is not None)
    own = load_foods(table_file(tmp_path, food(warned.name, fat=1))).get(warned.name)
    assert own is not None and own.amounts["fat_g"] == 1
    assert (own.most, own.most_because) == (warned.most, warned.most_because)
    told = load_foods(table_file(tmp_path, food(warned.name, fat=1, most_per_serving=3))).get(warned.name)
    assert told is not None and told.most == 3


# --- cost ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", [("foods", "celeriac"), ("check", str(GRATIN)), ("solve", str(GRATIN))])
def test_the_european_table_is_read_only_where_it_is_asked_for(command: tuple[str, ...],
                                                               monkeypatch: pytest.MonkeyPatch) -> None:
    names: list[str] = []

    def remembered(path: Path) -> Foods | None:
        names.append(path.name)
        return known_foods(path)

    module._read_layer.cache_clear()
    monkeypatch.setattr(module, "known_foods", remembered)
    assert run(*command).exit_code in (0, 3)
    assert "foods.csv" in names and "europe.csv" not in names
    module._read_layer.cache_clear()
    run(*command, "--foods", "europe")
    assert "europe.csv" in names


# --- the gratin of the README ----------------------------------------------------------------------------


def test_the_gratin_on_both_tables(american: FoodTable, european: FoodTable, tmp_path: Path) -> None:
    """As the README has it: 2.00:1, the same grams with European celeriac 2.21:1, with all European foods 2.29:1."""
    answer = solve(read_recipe(GRATIN, american))
    assert answer.outcome == "solved"
    grams = {item.food.name: float(weight.grams)
             for item, weight in zip(answer.recipe.ingredients, answer.weights, strict=True)}
    one = table_file(tmp_path, food("celeriac, raw", 0.2, 1.5, 4.3, 3.7, basis="available"))  # Ciqual 2017, 20055
    written = {"title": "gratin", "servings": 6,
               "ingredients": [{"food": name, "grams": weight} for name, weight in grams.items() if weight]}
    ratios = [check(recipe_from(written, foods)).facts.ratio for foods in (american, load_foods(one), european)]
    assert [None if ratio is None else f"{float(ratio):.3f}"[:4] for ratio in ratios] == ["2.00", "2.21", "2.29"]
    readme = (ROOT / "data" / "README.md").read_text(encoding="utf-8")
    assert "2.21:1" in readme and "2.29:1" in readme


# --- sixty foods by name ---------------------------------------------------------------------------------

ASKED_FOR = {
    "single cream": "other:single-cream", "whipping cream": "other:whipping-cream",
    "creme fraiche": "other:creme-fraiche", "labneh": "other:labneh",
    "fromage frais": "ciqual:19649", "petit-suisse": "ciqual:19666",
    "emmental": "ciqual:12115", "stilton": "other:stilton", "gorgonzola": "ciqual:12524",
    "pecorino": "other:pecorino-romano", "roquefort": "ndb:01039", "taleggio": "other:taleggio",
    "reblochon": "ciqual:12045", "camembert": "ndb:01007", "raclette": "ciqual:12749", "grana padano": "ciqual:12123",
    "gruyère": "ndb:01023", "goat cheese fresh": "ciqual:12805", "mozzarella fresh": "ciqual:19590",
    "mackerel smoked": "ciqual:26087", "trout smoked": "ciqual:27029", "herring kippered": "ndb:15042",
    "rollmops": "ciqual:26010", "hake": "ciqual:26044", "plaice": "ciqual:26055", "skate": "ciqual:26052",
    "langoustine": "ciqual:10024", "whelks": "ciqual:10020", "sprat": "ciqual:26173",
    "pancetta": "ciqual:28858", "back bacon UK": "other:uk-back-bacon", "parma ham": "ciqual:28844",
    "serrano": "ciqual:28845", "bresaola": "ciqual:28503", "coppa": "ciqual:28850", "lardons": "ciqual:28501",
    "merguez": "ciqual:30150", "chipolata": "ciqual:30115", "black pudding": "ciqual:8703",
    "rillettes": "ciqual:8000", "duck confit": "ciqual:8109", "lamb shank": "ndb:17228", "oxtail": "ciqual:6310",
    "lamb heart": "ndb:17191", "chicken heart": "ndb:05025", "sweetbread": "ciqual:40304", "quail": "ciqual:36100",
    "marrow vegetable": "other:marrow-vegetable-raw", "bone marrow": "ndb:35021", "samphire": "ciqual:20283",
    "romanesco": "ciqual:20280", "sorrel": "ciqual:20111", "scorzonera": "ciqual:20197", "black radish": "ciqual:20089",
    "porcini": "ciqual:20160", "white asparagus": "ciqual:20282", "gherkins": "ciqual:11004",
    "dijon mustard": "ciqual:11013", "tapenade": "ciqual:11043", "capers vinegar": "ciqual:11040",
    "olives black": "ciqual:13032", "tofu silken": "ndb:16161", "cacao nibs": "other:cacao-nibs",
    "locust bean gum": "other:locust-bean-gum", "macadamia oil": "other:macadamia-oil", "beef suet": "ndb:13335",
    "goose fat": "ndb:04576", "hemp seeds": "ndb:12012", "coconut cream": "ndb:12115", "swede": "ndb:11435",
}
"""What a European, British or Australian kitchen asks for, and the row meant."""


def test_the_list_has_sixty_names() -> None:
    assert len(ASKED_FOR) >= 60 and len(set(ASKED_FOR.values())) == len(ASKED_FOR)


@pytest.mark.parametrize("words", ASKED_FOR)
def test_sixty_foods_are_found_by_name(words: str, american: FoodTable, european: FoodTable) -> None:
    found = american.search(words)
    assert ASKED_FOR[words] in [row.id for row in found]
    meant = american.get(ASKED_FOR[words])
    assert meant is not None and meant.source
    assert american.get(meant.name) == meant
    assert european.get(meant.name) is not None  # by name: there the European row may stand in its place
    assert meant.name in run("foods", *words.split(), "--format", "csv").stdout


def test_a_row_alone_is_read_as_with_all_the_others(european: FoodTable) -> None:
    for name in ("celeriac, raw", "ciqual:12115"):
        assert module.bundled_table("europe.csv").get(name) == european.get(name)
    assert module.bundled_table("europe.csv").get("nothing of the kind") is None


def test_a_broken_table_is_told_with_its_place(tmp_path: Path) -> None:
    path = tmp_path / "own.csv"
    text = "food,id,carb_basis,fat_g,protein_g,carbs_g,fibre_g\nx,own:x,available,a lot,1,2,3\n"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInput, match=r"own\.csv: line 2, fat_g"):
        load_foods("europe", path)


def test_a_row_of_ones_own_keeps_the_uses_of_the_one_that_it_replaces(tmp_path: Path) -> None:
    """As its other names are kept; unless it has its own."""
    before = load_foods().get("almond flour, blanched")
    assert before is not None and before.use
    for own, use in (({}, before.use), ({"use": "icing"}, ("icing",))):
        path = table_file(tmp_path, food(before.name, 50, 21, 20, 10, **own))
        found = load_foods(path).get(before.name)
        assert found is not None and found.id.startswith("own:") and found.use == use
