"""The whole caution where there is room for it, two lines on every screen, and the same words in the README."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

import ratio_solver
from ratio_solver.cli import main
from ratio_solver.dish.cautions import BY_GRAMS, COMMAND, SCREEN, STRONG_CAUTION, STRONG_SCREEN, WHOLE
from tests.kitchen import food, table_file

ROOT = Path(__file__).resolve().parents[2]
GRATIN, SLICE = (str(ROOT / "examples" / name) for name in ("celeriac-gratin.toml", "mascarpone-slice.toml"))

# Contraindications as they stand in Kossoff et al., Epilepsia Open 2018;3:175-192 (read on a hospital's page that cites
# it), and what else is to be told (from memory).
CONTRAINDICATIONS = (
    "primary carnitine deficiency", "carnitine palmitoyltransferase (CPT) I or II deficiency",
    "carnitine translocase deficiency", "beta-oxidation defects", "pyruvate carboxylase deficiency", "porphyria",
    "Kossoff", "2018;3:175",
)
OTHERS = ("SGLT2", "insulin", "sulfonylureas", "pregnant", "breastfeeding", "children", "kidney stones", "topiramate",
          "zonisamide", "acetazolamide", "liver", "pancreas", "gallbladder", "eating disorder", "from memory")


def run(*arguments: str, code: int | None = 0) -> str:
    result = CliRunner().invoke(main, list(arguments))
    assert code is None or result.exit_code == code, result.output
    return result.stdout


def plain(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("word", [*CONTRAINDICATIONS, *OTHERS, "no medical advice", "physician and dietitian"])
def test_the_whole_names_it(word: str) -> None:
    assert word in " ".join(WHOLE)


def test_the_command_has_the_whole() -> None:
    text, data = run("cautions"), json.loads(run("cautions", "--format", "json"))
    assert all(caution in plain(text) for caution in (*WHOLE, STRONG_CAUTION))
    assert max(map(len, text.splitlines())) <= 80
    assert data == {"cautions": list(WHOLE), "at_3_to_1_and_above": STRONG_CAUTION}
    assert ratio_solver.cautions() == (*WHOLE, STRONG_CAUTION)
    assert COMMAND == "ratio-solver cautions"


def test_the_command_writes_a_file(tmp_path: Path) -> None:
    assert run("cautions", "-o", str(tmp_path / "told.txt")) == ""
    assert WHOLE[1] in plain((tmp_path / "told.txt").read_text(encoding="utf-8"))


def test_the_readme_has_the_whole() -> None:
    text = plain((ROOT / "examples" / "README.md").read_text(encoding="utf-8").replace("\n> ", " "))
    assert all(caution in text for caution in (*WHOLE, STRONG_CAUTION))


@pytest.mark.parametrize("command", [
    ["solve", GRATIN], ["check", GRATIN], ["solve", GRATIN, "--what-if", "ratio=2.1"], ["portions", GRATIN],
    ["curve", GRATIN, "--of", "net-carbs"], ["swap", GRATIN, "butter", "olive oil"], ["solve", GRATIN, "--ratio", "9"],
    ["swap", GRATIN, "butter", "--try-all", "dairy", "--most", "2"], ["adjust", GRATIN, "--weighed", "butter=30"],
    ["add-fat", str(ROOT / "examples" / "drafts" / "herb-soup.toml"), "--with", "olive oil"],
], ids=lambda command: " ".join(word.rpartition("/")[2] for word in command))
def test_every_screen_has_two_lines_and_from_three_to_one_a_third(command: list[str]) -> None:
    lines = run(*command, code=None).splitlines()
    place = next(k for k, line in enumerate(lines) if line.startswith("Caution: "))
    first, second, *more = lines[place:]
    assert plain(f"{first} {second}") == SCREEN and second.endswith(COMMAND)
    assert more == ([STRONG_SCREEN[STRONG_CAUTION]] if "9" in command else [])
    assert max(map(len, lines)) <= 80


def test_cards_and_json_have_the_whole() -> None:
    for dish, strong in ((GRATIN, False), (SLICE, True)):
        page, data = run("card", dish), json.loads(run("solve", dish, "--format", "json"))
        assert data["cautions"] == [*WHOLE, *([STRONG_CAUTION] if strong else [])]
        assert all(f"<p>{caution}</p>" in page for caution in WHOLE)
        assert (f'<p class="strong">{STRONG_CAUTION}</p>' in page) == strong == (STRONG_CAUTION in page)


@pytest.mark.parametrize("command", [
    ["solve", GRATIN], ["check", GRATIN], ["portions", GRATIN], ["curve", GRATIN],
    ["swap", GRATIN, "butter", "olive oil"],
    ["swap", GRATIN, "butter", "--try-all", "fat"], ["adjust", GRATIN, "--weighed", "butter=30"],
    ["add-fat", str(ROOT / "examples" / "drafts" / "herb-soup.toml")], ["solve", GRATIN, "--what-if", "ratio=2.1"],
], ids=lambda command: " ".join(word.rpartition("/")[2] for word in command))
def test_energy_reckoned_another_way_is_told_everywhere(command: list[str]) -> None:
    asked = [*command, "--energy", "9/4/4"]
    assert "energy = 9 fat + 4 protein + 4 net carbs" in plain(run(*asked, code=None))
    assert "energy =" not in plain(run(*command, code=None))
    assert '"energy": "9/4/4"' in run(*asked, "--format", "json", code=None)


def test_a_short_line_tells_which_ratio_is_meant(tmp_path: Path) -> None:
    """2:1 by total carbs, 3.4:1 by net: 40 : 10 + 10, of which 8 are fibre."""
    foods = table_file(tmp_path, food("bake", 40, 10, 10, 8.3, allergens="none"))
    recipe = tmp_path / "bake.toml"
    recipe.write_text('title = "Bake"\nservings = 1\npolicy = {ratio_formula = "total"}\n'
                      'ingredients = [{food = "bake", grams = 100}]\n', encoding="utf-8")
    text = run("check", str(recipe), "--foods", str(foods))
    assert text.endswith(f"{STRONG_SCREEN[BY_GRAMS]}\n") and "ratio  2.00:1" in text
    assert all(len(line) <= 80 for line in STRONG_SCREEN.values())
