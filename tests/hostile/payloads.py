"""Texts that try to be something else, the fields that they may stand in, and the commands that show these."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from rich.cells import cell_len

from ratio_solver.errors import one_line

PAYLOADS = (
    "salt [/y]", "[bold red]x[/]", "[link=file:///x]y", ":egg: egg", "a\x1b[1A\x1b[2Kb", "a\x1b]0;t\x07b", "a\x9b31mb",
    "a\nratio 9:1", "a\r\nb", "a\tb", "a\x08\x08\x08b", "\u202eabc\u202c", "a\u2028b", "a\u200bb\ufeff", "=1+1", "+1+1",
    "-1+cmd", "@SUM(A1)", "\t=1+1", "a;=1+1", 'a;"=1+1"', "\uff1d1+1", "<script>alert(1)</script>", '"><img src=x>',
    "{{ 7 * 7 }}", "{% raw %}", "$\\frac{a", "%s %(x)s", "a\\u001bb", "'; drop", "&amp;<!--", "]]>",
)

NARROW, WIDE = "\u0436", "\u6728"
"""Letters that stand for a text of one and of two columns, and nowhere else in what the commands print."""

FIELDS = ("title", "note", "method", "label", "part", "food", "id", "allergens", "role", "measure", "source", "column",
          "name", "scenario", "package", "brand")

ARGUMENTS = ("scenario", "package", "brand")
"""Fields that are an argument of the command of this name, and stand in no file."""


def plain(payload: str) -> str:
    """A text without meaning that takes as much room as a payload does where it is shown, blanks at the same places."""
    return "".join(sign if sign.isspace() else WIDE if cell_len(sign) == 2 else NARROW * cell_len(one_line(sign))
                   for sign in payload)


def allowed(field: str, text: str) -> str:
    """A payload without the signs that part the entries of a cell, where its field has such; no measure is a number."""
    left = text.translate({ord(sign): None for sign in {"measure": ";=", "allergens": ";"}.get(field, "")})
    return f"m{left.strip()}" if field == "measure" else left


def quoted(text: str) -> str:
    """A text as a string of TOML."""
    return '"' + "".join(f"\\u{ord(sign):04x}" if sign < " " or sign in '"\\' or "\x7f" <= sign <= "\x9f" else sign
                         for sign in text) + '"'


def cell(text: str) -> str:
    """A text as a cell of CSV."""
    return '"' + text.replace('"', '""') + '"'


def write_files(folder: Path, field: str, text: str) -> None:
    """A recipe, a table of foods and a menu with a text in one of their fields."""
    said = {"title": "Soup", "note": "Hot.", "method": "Boil.", "label": "root", "part": "base", "food": "celery root",
            "id": "own:1", "allergens": "celery", "role": "vegetable", "measure": "cup", "source": "own",
            "column": "Zinc", "name": "dish"} | {field: text}
    own, food, label, part = one_line(said["column"]), cell(said["food"]), cell(said["label"]), cell(said["part"])
    (folder / "dish.toml").write_text(f"""title = {quoted(said["title"])}
servings = 2
note = {quoted(said["note"])}
method = [{quoted(said["method"])}]
[targets]
ratio = 2
net_carbs = 12
{quoted(own)} = {{max = 900}}
[[ingredients]]
food = {quoted(said["food"])}
label = {quoted(said["label"])}
part = {quoted(said["part"])}
grams = 200
min = 100
max = 300
[[ingredients]]
food = "butter fat"
grams = 60
min = 0
max = 300
[[ingredients]]
food = "hard cheese"
measure = {quoted("1 " + said["measure"])}
[parts.{quoted(said["part"])}]
max = 400
[[proportions]]
of = [{quoted(said["label"])}]
to = {quoted(said["part"])}
max = 1
""", encoding="utf-8")
    header = ["food", "id", "carb_basis", "fat_g", "protein_g", "carbs_g", "fibre_g", f"{said['column']}_mg",
              "allergens", "role", "measures", "source"]
    (folder / "foods.csv").write_text("\n".join([
        ",".join(map(cell, header)),
        ",".join(map(cell, [said["food"], said["id"], "by_difference", "0.3", "1.5", "9.2", "1.8", "20",
                            said["allergens"], said["role"], "", said["source"]])),
        ",".join(map(cell, ["butter fat", "own:2", "available", "99", "0.2", "0", "0", "1", "none", "fat", "", "own"])),
        ",".join(map(cell, ["hard cheese", "own:3", "available", "28", "38", "4", "0", "900", "none", "cheese",
                            f"{said['measure']}=20", "own"])),
    ]) + "\n", encoding="utf-8")
    menu = [f"recipe,servings,ratio,net_carbs,{cell(f'{own}_max')},food,label,part,grams,min,max"]
    for name, ratio in ((said["name"], "2"), (f"{said['name']} again", "900"), (f"{said['name']} odd", "x")):
        menu += [f"{cell(name)},2,{ratio},12,900,{food},{label},{part},200,100,300",
                 f"{cell(name)},,,,,butter fat,,,60,0,300", f"{cell(name)},,,,,hard cheese,,,20,,"]
    (folder / "menu.csv").write_text("\n".join(menu) + "\n", encoding="utf-8")
    page = {"@type": "Recipe", "name": said["title"], "recipeYield": 2, "recipeInstructions": [said["method"]],
            "recipeIngredient": ["200 g celery root", "For the sauce:", "60 g butter fat", "20 g hard cheese"]}
    (folder / "page.json").write_text(json.dumps(page), encoding="utf-8")
    (folder / "week.csv").write_text(f"file,recipe,title\ndish.toml,{cell(said['name'])},{cell(said['title'])}\n",
                                     encoding="utf-8")


Arguments = Sequence[str]

COMMANDS: Mapping[str, Callable[[str], Arguments]] = {
    "solve": lambda text: ["solve", "dish.toml"],
    "solve json": lambda text: ["solve", "dish.toml", "--format", "json"],
    "solve csv": lambda text: ["solve", "dish.toml", "--format", "csv"],
    "solve --write": lambda text: ["solve", "dish.toml", "--write", "out.toml"],
    "solve --measures": lambda text: ["solve", "dish.toml", "--measures", "--scale-error", "2", "-o", "out.txt"],
    "impossible": lambda text: ["solve", "dish.toml", "--ratio", "900"],
    "impossible json": lambda text: ["solve", "dish.toml", "--ratio", "900", "--format", "json"],
    "what-if": lambda text: ["solve", "dish.toml", "--what-if", "ratio=3", "--what-if", "servings=3"],
    "what-if csv": lambda text: ["solve", "dish.toml", "--what-if", "ratio=3", "--format", "csv"],
    "scenario": lambda text: ["solve", "dish.toml", "--what-if", f"root.max=310,{text}"],
    "check": lambda text: ["check", "dish.toml"],
    "check csv": lambda text: ["check", "dish.toml", "--format", "csv"],
    "card": lambda text: ["card", "dish.toml", "-o", "out.html", "--label", "eu"],
    "card as written": lambda text: ["card", "dish.toml", "--as-written"],
    "add-fat": lambda text: ["add-fat", "dish.toml"],
    "add-fat csv": lambda text: ["add-fat", "dish.toml", "--format", "csv"],
    "swap": lambda text: ["swap", "dish.toml", "butter fat", "hard cheese"],
    "try-all": lambda text: ["swap", "dish.toml", "butter fat", "--try-all", "cheese"],
    "curve": lambda text: ["curve", "dish.toml"],
    "curve --plot": lambda text: ["curve", "dish.toml", "--of", "ratio", "--plot", "out.svg"],
    "curve json": lambda text: ["curve", "dish.toml", "--format", "json"],
    "adjust": lambda text: ["adjust", "dish.toml", "--weighed", "butter fat=90"],
    "adjust json": lambda text: ["adjust", "dish.toml", "--weighed", "butter fat=290", "--format", "json"],
    "portions": lambda text: ["portions", "dish.toml"],
    "portions csv": lambda text: ["portions", "dish.toml", "--format", "csv"],
    "shopping": lambda text: ["shopping", "dish.toml"],
    "shopping csv": lambda text: ["shopping", "dish.toml", "--format", "csv"],
    "foods": lambda text: ["foods", "own"],
    "foods show": lambda text: ["foods", "show", "own:1"],
    "draft": lambda text: ["draft", "page.json"],
    "draft -o": lambda text: ["draft", "page.json", "--bounds", "30", "--ratio", "2", "-o", "out.toml"],
    "package": lambda text: ["foods", "add", "--label", "eu", "--per", "100", "--fat", "9", "--carbs", "1", "--protein",
                             "2", "--to", "new.csv", "--", text],
    "brand": lambda text: ["foods", "add", "paste", "--label", "us", "--per", "30", "--fat", "9", "--carbs", "1",
                           "--protein", "2", "--to", "new.csv", f"--brand={text}", f"--source={text}"],
    "foods show id": lambda text: ["foods", "show", "hard cheese", "--format", "json"],
    "menu": lambda text: ["menu", "menu.csv", "-o", "out"],
    "menu xlsx": lambda text: ["menu", "menu.csv", "-o", "out", "--format", "xlsx"],
    "menu by file": lambda text: ["menu", "week.csv", "-o", "out", "--exact"],
}
