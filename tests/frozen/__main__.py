"""Record what the commands print and write, or compare a record with what they do now, byte for byte.

    python -m tests.frozen record FOLDER
    python -m tests.frozen compare FOLDER       # names every run that differs, exit code 1 where one does

Run it in the checkout: record before a change that a user must not see, compare after each step. A record is stdout,
stderr, exit code and the files written, of each command x form x example, and the tables of 2,000 menu recipes of
the kinds that the tests draw, exact and on the steps. Records are made on one machine and one release of the solver
and are not part of the repository.
"""

from __future__ import annotations

import difflib
import os
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from click.testing import CliRunner

from ratio_solver.cli import main
from tests.bench.menus import dishes
from tests.hostile.files import PAGE, WRITTEN
from tests.menu.drawing import drawn_menu, menu_of_dishes
from tests.oracle.recipes import random_table, write_table

ROOT = Path(__file__).resolve().parents[2]
OWN_TABLES = {"stuffed-peppers": ("--foods", "examples/own-foods.csv")}
FORMS = ("text", "json", "csv")
MENU_RECIPES = {"benchmark": 1000, "plain": 300, "mixed": 300, "choose": 200, "whole": 200}


def runs() -> Iterator[tuple[str, list[str]]]:
    """Name and arguments of every run; OUT stands for a folder of its own."""
    for path in sorted((ROOT / "examples").glob("**/*.toml")):
        name, recipe = path.stem, str(path.relative_to(ROOT))
        own = list(OWN_TABLES.get(name, ()))
        for form in FORMS:
            for command in ("solve", "check", "add-fat", "curve", "portions", "shopping"):
                yield f"{command}-{name}-{form}", [command, recipe, *own, "--format", form]
            yield f"exact-{name}-{form}", ["solve", recipe, *own, "--exact", "--format", form]
            yield f"high-{name}-{form}", ["solve", recipe, *own, "--ratio", "4:1", "--format", form]
            yield f"if-{name}-{form}", ["solve", recipe, *own, "--what-if", "ratio=1.5", "--what-if", "net_carbs=5",
                                        "--format", form]
        yield f"even-{name}", ["solve", recipe, *own, "--prefer", "even"]
        yield f"lowest-{name}", ["solve", recipe, *own, "--prefer", "lowest-carb", "--exact"]
        yield f"guaranteed-{name}", ["solve", recipe, *own, "--guaranteed", "--scale-error", "oiml", "--measures"]
        yield f"write-{name}", ["solve", recipe, *own, "--write", "OUT/written.toml"]
        yield f"card-{name}", ["card", recipe, *own, "--label", "eu", "-o", "OUT/card.html"]
        yield f"card-us-{name}", ["card", recipe, *own, "--label", "us", "--as-written", "-o", "OUT/card.html"]
        for form in ("md", "json", "jsonld"):
            yield f"card-{name}-{form}", ["card", recipe, *own, "--format", form, "--measures"]
    gratin, soup = "examples/celeriac-gratin.toml", "examples/salmon-soup.toml"
    for form in FORMS:
        yield f"swap-{form}", ["swap", gratin, "butter", "ghee (butter oil, anhydrous)", "--by", "fat",
                               "--format", form]
        yield f"try-{form}", ["swap", gratin, "butter", "--try-all", "fat", "--format", form]
        yield f"adjust-{form}", ["adjust", gratin, "--weighed", "cream=480", "--format", form]
        yield f"added-{form}", ["adjust", soup, "--weighed", "butter=90", "--take", "2", "--format", form]
        yield f"both-{form}", ["curve", soup, "--of", "both", "--format", form]
        yield f"foods-{form}", ["foods", "celeriac", "--format", form]
        yield f"food-{form}", ["foods", "show", "celeriac, raw", "--format", form]
        for day in ("tuesday.toml", "one-pot.toml"):
            for together in ([], ["--together"], ["--exact"]):
                yield f"{day}-{form}{''.join(together)}", ["day", f"examples/day/{day}", *together, "--format", form,
                                                           "--time-limit", "60"]
            yield f"prescription-{day}-{form}", ["prescription", f"examples/day/{day}", "--format", form]
            yield f"shopping-{day}-{form}", ["shopping", f"examples/day/{day}", "--format", form]
        yield f"shopping-menu-{form}", ["shopping", "examples/week-by-file.csv", "--format", form]
        yield f"cautions-{form}", ["cautions", "--format", form]
        yield f"show-europe-{form}", ["foods", "--foods", "europe", "show", "celeriac, raw", "--format", form]
    yield "week", ["day", "examples/day/week.csv", "--people", "examples/day/guests.toml", "-o", "OUT/week",
                   "--time-limit", "60"]
    yield "book", ["book", "examples", "--foods", "examples/own-foods.csv", "--label", "eu", "-o", "OUT/book"]
    yield "menu-cards", ["menu", "examples/week-by-file.csv", "--cards", "OUT/cards", "-o", "OUT/week"]
    for source in sorted((ROOT / "examples" / "drafts").glob("*.txt")):
        written = str(source.relative_to(ROOT))
        yield f"draft-{source.stem}", ["draft", written]
        yield f"draft-bounds-{source.stem}", ["draft", written, "--bounds", "30", "--ratio", "2", "--measures", "us",
                                              "-o", "OUT/dish.toml"]
    yield "draft-hostile", ["draft", "MENUS/written.txt", "--bounds", "30", "-o", "OUT/dish.toml"]
    yield "draft-page", ["draft", "MENUS/page.html", "--net-carbs", "9", "-o", "OUT/dish.toml"]
    for label in ("us", "eu"):
        yield f"add-{label}", ["foods", "add", "paste", "--label", label, "--per", "30", "--fat", "15", "--carbs", "6",
                               "--fibre", "3", "--protein", "6", "--to", "OUT/own.csv"]
    for mode in ([], ["--exact"]):
        for menu in ("week-menu.csv", "week-by-file.csv"):
            yield f"{menu}{''.join(mode)}", ["menu", f"examples/{menu}", *mode, "--workers", "1", "-o", "OUT/week"]
        for kind in MENU_RECIPES:
            own = [] if kind == "benchmark" else ["--foods", "MENUS/foods.csv"]
            yield f"menu-{kind}{''.join(mode)}", ["menu", f"MENUS/{kind}.csv", *own, *mode, "--workers", "2",
                                                  "-o", "OUT/menu"]


def draw_menus(folder: Path) -> None:
    """The menus of the record, the same every time."""
    (folder / "written.txt").write_text(WRITTEN, encoding="utf-8")
    (folder / "page.html").write_text(PAGE, encoding="utf-8")
    rows = random_table(7, 24)
    write_table(folder / "foods.csv", rows)
    for kind, count in MENU_RECIPES.items():
        frame = menu_of_dishes(list(dishes(count, 5, ROOT / "data" / "foods.csv"))) if kind == "benchmark" else \
            drawn_menu(11, count, rows, (kind,))
        frame.to_csv(folder / f"{kind}.csv", index=False, lineterminator="\n")


def recorded(arguments: list[str], menus: Path) -> dict[str, bytes]:
    """Streams, exit code and files of one run."""
    with tempfile.TemporaryDirectory() as out:
        given = [part.replace("OUT", out).replace("MENUS", str(menus)) for part in arguments]
        result = CliRunner().invoke(main, given)
        found = {"stdout": result.stdout_bytes, "stderr": result.stderr_bytes,
                 "code": f"{result.exit_code} {result.exception!r}".encode()}
        found |= {f"file {path.relative_to(out)}": path.read_bytes()
                  for path in sorted(Path(out).rglob("*")) if path.is_file()}
        return {key: text.replace(out.encode(), b"OUT").replace(str(menus).encode(), b"MENUS")
                for key, text in found.items()}


def shown(name: str, key: str, before: bytes, after: bytes) -> str:
    """The first lines of a difference."""
    lines = difflib.unified_diff(before.decode("utf-8", "replace").splitlines(),
                                 after.decode("utf-8", "replace").splitlines(), "before", "after", lineterm="", n=0)
    return "\n".join([f"--- {name}: {key}", *list(lines)[2:10]])


def run(verb: str, folder: Path) -> int:
    """Record or compare; the exit code."""
    os.chdir(ROOT)
    os.environ["COLUMNS"] = "80"
    different = total = new = 0
    with tempfile.TemporaryDirectory() as temporary:
        menus = Path(temporary)
        draw_menus(menus)
        for name, arguments in runs():
            total += 1
            place = folder / name.replace("/", "-")
            found = recorded(arguments, menus)
            if verb == "record":
                place.mkdir(parents=True, exist_ok=True)
                for key, text in found.items():
                    (place / key.replace("/", "%")).write_bytes(text)
                continue
            if not place.is_dir():
                new += 1
                continue
            known = {path.name.replace("%", "/"): path.read_bytes() for path in place.iterdir()}
            wrong = [key for key in {**known, **found} if known.get(key) != found.get(key)]
            different += bool(wrong)
            for key in wrong:
                print(shown(name, key, known.get(key, b""), found.get(key, b"")))
    print(f"{total} runs" + ("" if verb == "record" else f", {different} differ, {new} not in the record"))
    return 1 if different else 0


if __name__ == "__main__":
    if len(sys.argv) != 3 or sys.argv[1] not in ("record", "compare"):
        sys.exit(__doc__)
    sys.exit(run(sys.argv[1], Path(sys.argv[2])))
