"""What an ingredient is called changes no figure: limits, variables and groups are known by place, never by name."""

from __future__ import annotations

import csv
import html
import json
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from ratio_solver import Impossible, Recipe, add_fat, adjust, load_foods, recipe_from, recipe_text, solve
from ratio_solver.cli import main
from tests.tools.test_card import STRUCTURED

ROOT = Path(__file__).resolve().parent.parent
OWN = ROOT / "examples" / "own-foods.csv"
EXAMPLES = sorted((ROOT / "examples").glob("*.toml"))

HOSTILE = (
    ("oil used", "oil", "ratio", "net carbs", "butter max", "butter", "butter max max", "batch move", "batch up",
     "batch down", "x min", "largest move", "choose oil, butter", "protein", "energy", "nothing", "short",
     "ratio short", "oil used used", "oil only if used", "slices weight", "move", "cost"),
    ("batch move", "ratio", "protein", "energy", "net carbs", "ratio max", "ratio min", "oil", "oil used",
     "oil used used", "ratio max min", "butter", "butter max", "oil down", "oil move", "x in batch", "x", "x in",
     "slices", "ratio weight", "short", "up", "weight"),
)
"""Words that stand in the names of variables, rows and limits, as labels."""

COMMANDS = (
    ("solve",), ("solve", "--exact", "--prefer", "even"), ("solve", "--ratio", "4"), ("check",), ("add-fat",),
    ("curve", "--of", "both"), ("portions",), ("shopping",), ("adjust", "--weighed", "LABEL=GRAMS"),
    ("swap", "LABEL", "lard"), ("card",),
)


BY_LABEL = ("weights", "weighed", "added", "plan")
"""Keys of the data whose own keys are labels."""


def relabelled(written: Mapping[str, Any], words: tuple[str, ...]) -> dict[str, Any]:
    """The recipe with other labels; every group that names one names it anew."""
    labels = {item.get("label", item["food"]): words[place] for place, item in enumerate(written["ingredients"])}

    def named(names: Any) -> Any:
        return [labels.get(name, name) for name in names] if isinstance(names, list) else labels.get(names, names)

    found = dict(written)
    found["ingredients"] = [{**item, "label": labels[item.get("label", item["food"])]}
                            for item in written["ingredients"]]
    found["proportions"] = [{**share, "of": named(share["of"]), "to": named(share["to"])}
                            for share in written.get("proportions", [])]
    found["choose"] = [{**choose, "from": named(choose["from"])} for choose in written.get("choose", [])]
    return found


def figures(value: Any) -> Any:
    """The numbers of an answer's data, how it came out, and how long each list is, without any name."""
    if isinstance(value, dict):
        return {key: inner if key in ("outcome", "kind", "sense", "at") else figures(
                    list(inner.values()) if key in BY_LABEL and isinstance(inner, dict) else inner)
                for key, inner in value.items() if key not in ("unknown", "warnings", "cautions")}
    if isinstance(value, list):
        return [figures(inner) for inner in value]
    return None if isinstance(value, str) else value


def numbers(page: str, recipe: Recipe) -> list[str]:
    """The numbers of a page, in order, but for those in what its ingredients are called."""
    text = html.unescape(STRUCTURED.sub("", page))
    for item in recipe.ingredients:
        text = text.replace(item.food.name, "").replace(item.food.name.partition(", ")[2] or "\0", "")
    return re.findall(r"[\d.,]*\d", text)


def outcome(arguments: list[str], folder: Path, recipe: Recipe) -> Any:
    """Exit code and figures of a command."""
    form = ["-o", str(folder / "page.html")] if arguments[0] == "card" else ["--format", "json"]
    result = CliRunner().invoke(main, [*arguments, *form, "--foods", str(OWN)])
    assert result.exit_code in (0, 3), result.output
    if arguments[0] == "card" and not result.exit_code:
        return numbers((folder / "page.html").read_text("utf-8"), recipe)
    return result.exit_code, figures(json.loads(result.stdout)) if result.stdout.startswith("{") else result.stdout


@pytest.mark.parametrize("words", [
    pytest.param(HOSTILE[0], id="one"), pytest.param(HOSTILE[1], id="other", marks=pytest.mark.slow)])
@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_hostile_labels_give_the_same_figures(path: Path, words: tuple[str, ...], tmp_path: Path) -> None:
    foods = load_foods(OWN)
    written = tomllib.loads(path.read_text(encoding="utf-8"))
    recipes = [recipe_from(one, foods, path.name) for one in (written, relabelled(written, words))]
    place = next(place for place, item in enumerate(recipes[0].ingredients) if item.maximum)
    for command in COMMANDS:
        found = []
        for recipe in recipes:
            file, item = tmp_path / "dish.toml", recipe.ingredients[place]
            file.write_text(recipe_text(recipe), encoding="utf-8")
            given = [text.replace("LABEL", item.label).replace("GRAMS", f"{1.2 * (item.maximum or 0):g}")
                     for text in command[1:]]
            found.append(outcome([command[0], str(file), *given], tmp_path, recipe))
        assert found[1] == found[0], command


def test_a_menu_by_file_gives_the_same_figures(tmp_path: Path) -> None:
    foods, tables = load_foods(OWN), []
    for words in (None, HOSTILE[0]):
        folder = tmp_path / ("plain" if words is None else "hostile")
        folder.mkdir()
        for path in EXAMPLES:
            written = tomllib.loads(path.read_text(encoding="utf-8"))
            recipe = recipe_from(written if words is None else relabelled(written, words), foods, path.name)
            (folder / path.name).write_text(recipe_text(recipe), encoding="utf-8")
        (folder / "menu.csv").write_text("\n".join(["file", *(path.name for path in EXAMPLES)]), encoding="utf-8")
        result = CliRunner().invoke(main, ["menu", str(folder / "menu.csv"), "--foods", str(OWN), "--workers", "1",
                                           "-o", str(folder / "out")])
        assert result.exit_code == 3, result.output  # one of them has no answer
        tables.append({name: [[cell for cell in row if re.fullmatch(r"-?[\d.]+|solved|impossible|[<>]=|min|max", cell)]
                              for row in csv.reader((folder / "out" / f"{name}.csv").open(encoding="utf-8"))]
                       for name in ("weights", "servings", "limits")})
    assert tables[1] == tables[0]
    assert len(tables[0]["weights"]) > 100


PLAIN, CLASHING = ("dill", "cress", "mint", "chervil"), ("a in b", "c", "a", "b in c")
"""Four labels, and four that make "a in b" in "c" and "a" in "b in c" read alike."""


def herbs(labels: tuple[str, ...], **more: Any) -> Recipe:
    """Herbs in butter: the first to the second, and the third to the fourth, at other shares."""
    one, two, three, four = labels
    foods = ("celeriac, raw", "kohlrabi, raw", "cream, heavy (36 % fat)", "gruyere")
    items = [{"food": food, "label": label, "grams": grams, "min": 0, "max": 100}
             for food, label, grams in zip(foods, labels, (90, 60, 50, 40), strict=True)]
    items.append({"food": "butter, salted", "label": "butter", "grams": 20, "min": 0, "max": 200})
    shares = [{"of": [one], "to": [two], "min": 1.1}, {"of": [three], "to": [four], "min": 1.4}]
    return recipe_from({"title": "Herbs", "servings": 2, "targets": {"ratio": 1.5}, "ingredients": items,
                        "proportions": shares} | more, load_foods())


def test_shares_that_read_alike_are_two() -> None:
    plain, clashing = (herbs(labels) for labels in (PLAIN, CLASHING))
    before, after = (figures(solve(recipe).to_dict()) for recipe in (plain, clashing))
    assert after == before
    weighed = [adjust(recipe, {recipe.ingredients[place].label: grams for place, grams in enumerate((30, 60, 30))})
               for recipe in (plain, clashing)]
    ways = [[(way.servings, [(limit.bound, value) for limit, value in way.eased],
              [weight.grams for weight in way.proposal.weights]) for way in found.remedies] for found in weighed]
    assert isinstance(weighed[0].answer, Impossible)
    assert any(eased for _, eased, _ in ways[0])
    assert ways[1] == ways[0]


def test_groups_whose_names_read_alike_are_two() -> None:
    """Of the label "a + b", and of a and b together."""
    for labels in (PLAIN, ("a", "b", "a + b", "c")):
        recipe = herbs(labels, proportions=[{"of": [labels[2]], "to": "batch", "max": 0.1},
                                            {"of": list(labels[:2]), "to": "batch", "max": 0.9}])
        assert [share.maximum for share in recipe.proportions] == [0.1, 0.9]
        assert [share.of for share in recipe.proportions] == [labels[2:3], labels[:2]]


def test_a_label_with_the_batch_in_it_is_not_the_batch() -> None:
    found = []
    for labels in (PLAIN, ("oil + batch", "cress", "mint", "chervil")):
        least = herbs(labels, targets={"ratio": 6, "protein": {"min": 10}},
                      proportions=[{"of": "butter", "to": labels[0], "max": 0.6}])
        answer = solve(least, foods=load_foods())
        assert isinstance(answer, Impossible)
        assert answer.diagnosis.fats
        dry = recipe_from({"title": "Herbs", "servings": 2, "targets": {"ratio": 4},
                           "ingredients": [{"food": item.food.name, "label": item.label, "grams": item.start}
                                           for item in least.ingredients],
                           "proportions": [{"of": "mint", "to": labels[0], "max": 0.5}]}, load_foods())
        candidates = add_fat(dry, load_foods()).candidates
        found.append(([(one.food.name, one.grams) for one in answer.diagnosis.fats],
                      [(one.name, one.outcome, one.weighed and one.weighed.grams) for one in candidates]))
    assert found[1] == found[0]


def test_an_oil_called_used_in_a_choice() -> None:
    """Oil, lard and "oil used": at a ratio that takes more fat than one of them may give, use up to 2 of them."""
    def item(name: str, label: str, most: float) -> dict[str, Any]:
        return {"food": name, "label": label, "grams": 0, "min": 0, "max": most}

    repairs = []
    for third in ("butter", "oil used"):
        recipe = recipe_from({
            "title": "Choice", "servings": 1, "targets": {"ratio": 3.0},
            "ingredients": [{"food": "chicken breast, skinless, raw", "label": "meat", "grams": 200},
                            item("olive oil", "oil", 80), item("lard", "lard", 80),
                            item("butter, unsalted", third, 80)],
            "choose": [{"from": ["oil", "lard", third], "at_most": 1}]}, load_foods())
        answer = solve(recipe)
        assert isinstance(answer, Impossible)
        repairs.append([(one.limit.kind, one.to) for one in answer.diagnosis.repairs])
    assert ("choose", 2) in repairs[0]
    assert repairs[1] == repairs[0]
