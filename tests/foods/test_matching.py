"""What a cook's own words for a food mean: the foods that a careful dietitian would take for them, by hand.

The answers are from knowledge of kitchens in Britain, America, Australia, India, Germany and France, not from the
table: each line has the rows that would do.
"""

from __future__ import annotations

import csv
import subprocess
import sys
from pathlib import Path

import pytest

from ratio_solver import FoodTable, load_foods
from ratio_solver.foods.matching import SURE
from ratio_solver.foods.table import match
from ratio_solver.foods.words import folded
from tests.kitchen import food, table

DATA = Path(__file__).resolve().parents[2] / "data"
FOODS = load_foods()

WRITTEN = {
    "large free-range eggs, lightly beaten": "egg, whole, raw", "egg yolks, at room temperature": "egg yolk, raw",
    "hard-boiled eggs, quartered": "egg, hard-boiled", "unsalted butter, chilled and diced": "butter, unsalted",
    "butter, plus extra for greasing": "butter, unsalted", "full-fat milk, warmed": "milk, whole",
    "double cream, lightly whipped": "double cream (48 % fat)", "single cream, to serve": "single cream (18 % fat)",
    "tub soured cream": "sour cream", "half-fat crème fraîche": "creme fraiche, light (15 % fat)",
    "thick Greek yoghurt": "yogurt, greek, plain, whole milk", "mature cheddar, coarsely grated": "cheddar",
    "Parmigiano Reggiano, finely grated": "parmesan, hard",
    "buffalo mozzarella, torn": "mozzarella, fresh (20 % fat)", "feta, crumbled": "feta",
    "ricotta, drained": "ricotta, whole milk", "block paneer, cubed": "paneer",
    "minced beef 15 % fat": "beef, ground, 15 % fat, raw", "ground beef (80/20)": "beef, ground, 20 % fat, raw",
    "lean minced beef (5% fat)": "beef, ground, 5 % fat, raw", "ground beef, 93% lean": "beef, ground, 5 % fat, raw",
    "braising steak, cut into large chunks": "beef chuck, blade roast, raw",
    "smoked streaky bacon rashers, chopped": "bacon, raw", "gammon joint": "ham, whole, unheated",
    "skinless, boneless chicken thighs, diced": "chicken thigh, skinless, raw",
    "boneless skinless chicken breasts, cut into 1-inch cubes": "chicken breast, skinless, raw",
    "leg of lamb, trimmed of fat": "lamb leg, raw", "pork belly, skin scored": "pork belly, raw",
    "raw tiger prawns, peeled and deveined": "shrimp (prawns), raw",
    "cooked peeled prawns": "shrimp (prawns), cooked", "cod fillets, skinned": "cod, raw",
    "smoked haddock fillet": "haddock, smoked", "salmon fillets": "salmon, farmed, raw",
    "tin tuna in spring water, drained": "tuna, canned in water, drained", "smoked salmon, sliced": "salmon, smoked",
    "aubergines, cut into 2 cm cubes": "eggplant (aubergine), raw",
    "courgettes, coarsely grated": "zucchini (courgette), raw",
    "tinned chopped tomatoes, drained": "tomatoes, canned", "plump garlic cloves, crushed": "garlic, raw",
    "red onions, thinly sliced": "onion, raw", "bunch spring onions, sliced": "spring onions (scallions), raw",
    "potatoes, peeled and quartered": "potato, with skin, raw", "floury potatoes": "potato, with skin, raw",
    "celery sticks, finely chopped": "celery, raw", "head of cauliflower, in florets": "cauliflower, raw",
    "swede, peeled and diced": "rutabaga (swede), raw", "frozen peas, defrosted": "peas, green, frozen",
    "mangetout, halved": "mangetout (edible-podded peas), raw", "rocket leaves": "arugula (rocket), raw",
    "red pepper, deseeded and sliced": "bell pepper, red, raw",
    "green chillies, finely chopped": "chili pepper, green, raw",
    "thumb-sized piece of ginger, grated": "ginger root, raw", "button mushrooms, wiped": "mushrooms, white, raw",
    "sun-dried tomatoes in oil, drained": "tomatoes, sun-dried, in oil, drained",
    "tin cannellini beans, rinsed and drained": "white beans, canned",
    "can black beans, rinsed": "black beans, canned", "chickpeas, drained": "chickpeas, canned, drained",
    "dried chickpeas, soaked": "chickpeas, dried", "split red lentils, rinsed": "lentils, red, dried",
    "juice of 1 lemon": "lemon juice, raw", "lemon, zested": "lemon peel, raw",
    "Bramley apples, cored": "apple, without skin, raw", "sultanas": "raisins, golden",
    "stoned dates, chopped": "dates, deglet noor|dates, medjool",
    "ground almonds": "almond flour, blanched|almond meal, unblanched",
    "flaked almonds, toasted": "almonds, blanched", "walnut halves, roughly broken": "walnuts",
    "desiccated coconut": "coconut, desiccated, unsweetened", "tin coconut milk": "coconut milk, canned",
    "plain flour, sifted, plus extra": "wheat flour, white, all purpose",
    "all-purpose flour": "wheat flour, white, all purpose", "strong white bread flour": "wheat flour, bread",
    "wholemeal flour": "wheat flour, whole grain", "cornflour": "cornstarch", "gram flour": "chickpea flour",
    "golden caster sugar": "sugar, white", "icing sugar, for dusting": "sugar, powdered",
    "confectioners’ sugar": "sugar, powdered", "light muscovado sugar": "sugar, brown", "black treacle": "molasses",
    "bicarbonate of soda": "baking soda", "fast-action dried yeast": "yeast, active dry",
    "freshly ground black pepper": "pepper, black", "flaky sea salt": "salt", "ground cumin": "cumin seed",
    "ground coriander": "coriander seed", "fresh coriander, chopped": "coriander leaves (cilantro), raw",
    "cilantro, chopped": "coriander leaves (cilantro), raw", "dried thyme": "thyme, dried",
    "sprigs of thyme": "thyme, fresh", "flat-leaf parsley": "parsley, fresh", "bay leaves": "bay leaf, dried",
    "sweet smoked paprika": "paprika", "freshly grated nutmeg": "nutmeg, ground", "haldi": "turmeric, ground",
    "dark chocolate (70% cocoa solids), broken up": "chocolate, dark, 70-85 % cacao",
    "cocoa powder, sifted": "cocoa powder", "extra-virgin olive oil": "olive oil",
    "vegetable oil, for frying": "canola (rapeseed) oil", "red wine vinegar": "vinegar, red wine",
    "dark soy sauce": "soy sauce (shoyu)", "hot chicken stock": "chicken broth, ready to serve",
    "dry white wine": "wine, white", "gelatine leaves": "gelatin, powder, unsweetened",
    "puff pastry, thawed": "puff pastry, frozen", "cooked basmati rice": "rice, white, long grain, cooked",
    "basmati rice, rinsed": "rice, basmati, raw", "dried penne": "pasta, dry", "porridge oats": "oats, rolled, dry",
    "panko breadcrumbs": "breadcrumbs, dry", "boiling water": "water, tap",
    "half-and-half": "cream, half and half (10 % fat)", "heavy cream": "cream, heavy (36 % fat)",
    "capsicum, sliced": "bell pepper, red, raw", "bhindi": "okra, raw",
    "scallions, chopped": "spring onions (scallions), raw", "kosher salt": "salt",
    "graham cracker crumbs": "graham crackers",
    "skinless salmon fillets, pin-boned": "salmon, farmed, raw", "skinned cod loins": "cod, raw",
    # German and French
    "Schlagsahne": "cream, light whipping (30 % fat)", "Butter, weich": "butter, unsalted",
    "Eier (Größe M)": "egg, whole, raw", "Zwiebeln, fein gewürfelt": "onion, raw", "Knoblauchzehen": "garlic, raw",
    "Mehl (Type 405)": "wheat flour, white, all purpose", "Aubergine": "eggplant (aubergine), raw",
    "Petersilie, gehackt": "parsley, fresh", "Kartoffeln, geschält": "potato, with skin, raw|potato, peeled, raw",
    "Puderzucker": "sugar, powdered", "crème fraîche épaisse": "creme fraiche (30 % fat)",
    "beurre doux": "butter, unsalted", "œufs": "egg, whole, raw", "gousses d'ail": "garlic, raw",
    "poireaux émincés": "leek, raw", "farine de blé": "wheat flour, white, all purpose",
    "sucre glace": "sugar, powdered", "huile d’olive": "olive oil", "levure chimique": "baking powder",
    # misspelt
    "brocolli": "broccoli, raw", "parmasan": "parmesan, hard", "zuchini, sliced": "zucchini (courgette), raw",
    "mozarella": "mozzarella, whole milk|mozzarella, fresh (20 % fat)", "tumeric": "turmeric, ground",
    "cinammon": "cinnamon, ground", "mayonaise": "mayonnaise", "avacado": "avocado, raw",
    "asparagas": "asparagus, raw", "chedder cheese": "cheddar", "rasberries": "raspberries, raw",
    "vinager": "vinegar, distilled",
}
"""What is written to the names of the rows that would do, parted by |."""


def test_the_list_is_long_and_its_answers_are_in_the_table() -> None:
    assert len(WRITTEN) >= 140
    assert [name for names in WRITTEN.values() for name in names.split("|") if FOODS.get(name) is None] == []


def test_nearly_all_are_what_a_dietitian_would_take() -> None:
    """At least 98 of 100, and what is called sure is never another food."""
    found = {words: match(FOODS, words) for words in WRITTEN}
    wrong = {words: (one.food and one.food.name, one.grade) for words, one in found.items()
             if one.food is None or one.food.name not in WRITTEN[words].split("|")}
    assert len(wrong) <= len(WRITTEN) * 0.02, wrong
    assert not [words for words in wrong if found[words].sure], wrong


@pytest.mark.parametrize("words", ["", "  ", ",", "1", "For the sauce", "Method", "fish fingers", "the doorbell",
                                   "xyzzy", "serve at once", "To decorate:", "a" * 3000, "%", "((("])
def test_what_is_no_food_is_none(words: str) -> None:
    assert match(FOODS, words).grade in ("none", "guess") and (match(FOODS, words).food is None) == (
        match(FOODS, words).grade == "none")


@pytest.mark.parametrize(("words", "nearest"), [
    ("golden syrup", "corn syrup, light"), ("garam masala", "curry powder"), ("cream", "cream, heavy (36 % fat)"),
    ("dried porcini", "mushrooms, shiitake, dried"), ("rice vinegar", "vinegar, distilled"),
    ("mirin", "wine, dessert, sweet"),
    ("duck breast", "duck, meat and skin, raw"), ("Hackfleisch gemischt", "pork, ground, raw"),
    ("minced beef 50 % fat", "beef, ground, 30 % fat, raw"), ("smoked tofu", "tofu, firm"),
])
def test_what_the_table_lacks_is_a_guess_at_most(words: str, nearest: str) -> None:
    one = match(FOODS, words)
    assert (one.food and one.food.name, one.grade) == (nearest, "guess")


@pytest.mark.parametrize(("words", "grade"), [
    ("Feta", "exact"), ("raw celeriac", "exact"), ("ndb:11141", "exact"), ("eggs", "other name"), ("zuchini", "close"),
    ("butter milk", "close"), ("cheese", "guess"), ("skinless salmon fillets, pin-boned", "other name"),
    ("skinless, boneless chicken thighs, diced", "other name"),
])
def test_grades(words: str, grade: str) -> None:
    assert match(FOODS, words).grade == grade


def test_the_share_of_fat_that_is_asked_for_decides() -> None:
    """Double cream 48 %, single 18 %, Schlagsahne 30 % (rules for the names, from memory); whole milk 3.25 %."""
    for words, low, high in (("double cream", 44, 50), ("single cream", 17, 20), ("Schlagsahne", 28, 33),
                             ("soured cream", 16, 22), ("crème fraîche", 28, 33), ("milk 3.5 % fat", 3, 4),
                             ("minced beef (10 % fat)", 9, 11), ("Greek yogurt 10 % fat", 8, 11),
                             ("half and half", 9, 13), ("clotted cream", 55, 65)):
        one = match(FOODS, words)
        assert one.food is not None and low <= one.food.amounts["fat_g"] <= high, words


def test_a_food_is_meant_raw_unless_the_words_say_otherwise(tmp_path: Path) -> None:
    """Also where the row of the cooked one has fewer words, and so is nearer by its name."""
    own = table(tmp_path, food("black kale, boiled"), food("black curly kale, raw"), food("black kale, canned"),
                food("leek"), food("onion"))
    asked = {"black kale": "black curly kale, raw", "boiled black kale": "black kale, boiled",
             "tinned kale, black": "black kale, canned"}
    found = {words: match(own, words).food for words in asked}
    assert {words: one and one.name for words, one in found.items()} == asked


def test_others_are_other_foods_the_likeliest_first() -> None:
    one = match(FOODS, "cheese", 4)
    assert one.food is not None and len(one.others) == 3
    assert len({one.food.id, *(other.id for other in one.others)}) == 4
    assert match(FOODS, "celeriac", 2).others[0].name == "celeriac, boiled"
    assert match(FOODS, "eggs", 1).others == ()


def test_no_name_is_that_of_two_foods() -> None:
    """In each table: else the order of the rows would decide what a cook means. A guess is not the food's own name."""
    for name in ("foods.csv", "europe.csv"):
        with (DATA / name).open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        owners: dict[str, str] = {}
        for row in rows:
            for also in {folded(one.strip().rstrip("?")) for one in row["also"].split(";") if one.strip()}:
                assert owners.setdefault(also, row["food"]) == row["food"], also
        names = {folded(row["food"]) for row in rows}
        assert not names & owners.keys()


def test_a_table_of_ones_own_keeps_the_other_names(tmp_path: Path) -> None:
    """Of the rows that it replaces, unless it has its own; and its own foods are found by theirs."""
    stock = table(tmp_path, food("guesthouse stock", 1, 2, 3, also="Hausbrühe; house broth"))
    own = FoodTable((*FOODS.foods, *stock.foods))
    assert match(own, "Hausbrühe").food == own.get("guesthouse stock")
    path = tmp_path / "own.csv"
    path.write_text("food,id,carb_basis,fat_g,protein_g,carbs_g,fibre_g\n"
                    "\"butter, unsalted\",own:b,available,82,1,1,0\n", encoding="utf-8")
    one = match(load_foods(path), "beurre doux")
    assert one.food is not None and one.food.id == "own:b"


@pytest.mark.parametrize("words", ["celeriac", "eggs", "minced beef", "butter milk", "11141", "cheese raw", "choc",
                                   "zzz"])
def test_a_search_among_foods_that_are_not_read_is_that_among_all_of_them(words: str) -> None:
    assert load_foods().search(words) == FoodTable(tuple(FOODS)).search(words)


def test_what_spells_words_is_loaded_only_for_words_that_no_name_has() -> None:
    code = ("import sys\nfrom ratio_solver import load_foods\nfrom ratio_solver.foods.table import match\n"
            "foods = load_foods()\n"
            "for words in ('large eggs', 'tinned tomatoes', 'minced beef 15 % fat', 'Schlagsahne'):\n"
            "    assert match(foods, words).sure, words\nassert 'rapidfuzz' not in sys.modules\n"
            "assert match(foods, 'zuchini').food and 'rapidfuzz' in sys.modules\n")
    subprocess.run([sys.executable, "-c", code], check=True)


def test_grades_that_are_sure() -> None:
    assert SURE == ("exact", "other name") and match(FOODS, "feta").sure and not match(FOODS, "cheese").sure


def test_a_search_has_the_food_first_that_the_words_name_then_the_nearest(tmp_path: Path) -> None:
    """What is one of it (pineapple) before what only has some in its name; what begins so, and is short, first."""
    named = ("cake with apple", "apple, canned in syrup", "pineapple", "apple juice", "apple", "pear")
    foods = table(tmp_path, *(food(name, 0, 0, 10) for name in named))
    assert [one.name for one in foods.search("apple")] == [
        "apple", "apple juice", "apple, canned in syrup", "pineapple", "cake with apple"]
    assert [one.name for one in foods.search("apple cake")] == ["cake with apple"]
