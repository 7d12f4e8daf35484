"""Seeded mutations of sound files: the same number gives the same files, on every machine."""

from __future__ import annotations

import json
import random
import re
import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from tests.hostile.files import (
    BY_FILE,
    DAY,
    FOODS,
    MENU,
    PAGE,
    PEOPLE,
    RECIPE,
    SMALL,
    WEEK,
    WRITTEN,
    Rows,
    as_book,
    as_csv,
)

NUMBERS = ["0", "-0.0", "-1", "1e-300", "5e-324", "1e-12", "1e-7", "1e-6", "0.1", "1e6", "1000001", "1e9", "1e300",
           "1e308", "1e309", "nan", "inf", "-inf", "0x10", "1_000", "١٢", "1,5", "1.500,5", "2:1", "1" * 20, "9" * 400,
           "9" * 5000, "0." + "3" * 400, "0.1000000000000000055511151231257827", "2**3", "1e", "", "true", "[1]", "{}",
           "3.0000001", "999999.999999", "0.000001"]
TEXTS = ["", " ", "=1+1", "+SUM(A1)", "@x", "-2+3", "salt [/y]", "[bold]x", "\x1b[1A\x1b[2K", "a\nb", "a\r\nb", "a\tb",
         "\u202etxt", "\u2028", "\ufeff", "\0", "’", "ａ＝１", "<b>x</b>", "{{ 7 * 7 }}", "$\\frac{", "%s%n", "../../x",
         "NaN", "None", "batch", "x" * 300, "x" * 40_000, "y" * 200_000, "é" * 50, "a,b;c", '"', '""', "'", "\\", "#",
         "food", "recipe", "soup", "celeriac, raw", "ndb:11141", "0" * 50, "\U0001f600", "\u0301" * 20]
KEYS = ["grams", "min", "max", "food", "label", "step", "piece", "yield", "keep", "ratio", "servings", "targets",
        "part", "net_carbs", "title", "fat_g", "id", "recipe", "file", "energy_kcal", "carb_basis", "x", "fat_g_low"]
DEEP = ["servings" + ".a" * 3000 + " = 1", "x = " + "[" * 3000, "note = '''" + "z" * 100_000 + "'''",
        "[targets]\nratio = 1", "[[ingredients]]", "ingredients = 3", "parts = []", "[parts.'a\\u001b[1A']\nmin = 1"]

AMOUNTS = ["1/0", "0/0", "½½", "1 1 1 1", "1-", "-3 g", "3-1 kg", "1 (", "1 (14 oz", "2 x", "x 2", "1e5 cups", "a",
           "half", "1,000,000 g", "juice of", "for the", "For the:", "Method", "Serves", "Serves 0", "Serves 1000000",
           "(((((", "– –", "1 kg (2 lb) (35 oz)", "zwei", "1 cup plus 1 cup plus 1 cup", "salt and salt and salt",
           "or or or", "&frac12;", "1 " * 500, "eggs, " * 300, "½" * 50, "1/2/3/4", "٣ eggs", "1\u00a0kg",
           "2\u2009x\u2009400\u202fg"]
PAGES = ["[" * 2000, '{"@graph": ' * 500, "</script>", "<script>", "<!--", "-->", "]]>", "&#0;", "&#x110000;", "null",
         "{}", "&amp;" * 200, '"@type": "Recipe"', "[]", "\\ud800", "\\u0000", "1e999", "NaN", "<![CDATA["]

KINDS = ("recipe", "foods", "long menu", "by-file menu", "workbook", "written recipe", "saved page", "day", "week")


def write_mutated(kind: str, seed: int, folder: Path) -> Path:
    """Write sound files with the mutated one among them; that one's path."""
    rng = random.Random(f"{kind} {seed}")
    (folder / "mash.toml").write_text(RECIPE, encoding="utf-8")
    (folder / "soup.toml").write_text(SMALL, encoding="utf-8")
    if kind == "recipe":
        return _written(folder / "mutated.toml", mutated_text(rng, rng.choice([RECIPE, RECIPE, SMALL])))
    if kind == "day":
        return _written(folder / "mutated.toml", mutated_text(rng, DAY))
    if kind == "week":
        (folder / "people.toml").write_text(PEOPLE, encoding="utf-8")
        return _written(folder / "week.csv", _mutated_table(rng, WEEK))
    if kind == "foods":
        return _written(folder / "foods.csv", _mutated_table(rng, FOODS))
    if kind == "long menu":
        return _written(folder / "menu.csv", _mutated_table(rng, MENU))
    if kind == "written recipe":
        return _written(folder / "written.txt", _mutated_with(rng, WRITTEN, AMOUNTS))
    if kind == "saved page":
        if rng.random() < 0.4:
            return _written(folder / "page.html", _mutated_with(rng, PAGE, AMOUNTS + PAGES + PAGES))
        return _written(folder / "page.html", _page_that_says(rng).encode("utf-8"))
    if kind == "by-file menu":
        menu = folder / "menu.csv"
        if rng.random() < 0.6:
            name, text = rng.choice([("mash.toml", RECIPE), ("soup.toml", SMALL)])
            _written(folder / name, mutated_text(rng, text))
            return _written(menu, as_csv(BY_FILE))
        return _written(menu, _mutated_table(rng, BY_FILE))
    return _mutated_book(rng, folder / "menu.xlsx", MENU if rng.random() < 0.8 else BY_FILE)


def _written(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


def mutated_text(rng: random.Random, text: str) -> bytes:
    """A text with one to three things done to it, the last perhaps to its bytes."""
    for _ in range(rng.choice([1, 1, 1, 2, 3])):
        text = rng.choice(_OF_TEXT)(rng, text)
    data = text.encode("utf-8", "surrogatepass")
    return rng.choice(_OF_BYTES)(rng, data) if rng.random() < 0.25 else data


def _mutated_with(rng: random.Random, text: str, own: Sequence[str]) -> bytes:
    """A text with what is odd in its own kind put in, mostly, and mutated as any other."""
    for _ in range(rng.choice([0, 1, 1, 2, 4])):
        place = rng.choice([match.start() for match in re.finditer(r"\b", text)] or [0])
        text = text[:place] + rng.choice(own) + text[place + rng.choice([0, 0, 3, 12]):]
    return mutated_text(rng, text) if rng.random() < 0.7 else text.encode("utf-8", "surrogatepass")


def _page_that_says(rng: random.Random) -> str:
    """The page whole, with texts in it that are odd."""
    page = PAGE
    for _ in range(rng.choice([1, 1, 2, 4])):
        word = rng.choice(["celeriac", "milk", "eggs", "butter", "Boil", "bowls", "top"])
        said = json.dumps(f"{word} {rng.choice(AMOUNTS + TEXTS + NUMBERS)}")[1:-1].replace("</", "<\\/")
        page = page.replace(word, said if rng.random() < 0.5 else f"{said[len(word):]} {word}", 1)
    return page


def _number(rng: random.Random, text: str) -> str:
    return _replaced(rng, text, r"-?\d+(?:\.\d+)?", rng.choice(NUMBERS))


def _quoted(rng: random.Random, text: str) -> str:
    written = rng.choice(TEXTS).replace("\\", "\\\\").replace('"', '\\"')
    return _replaced(rng, text, r'(?<=")[^"\n]*(?=")', written.replace("\n", "\\n").replace("\x1b", "\\u001b"))


def _word(rng: random.Random, text: str) -> str:
    return _replaced(rng, text, r"[a-z_]{3,}", rng.choice(KEYS + TEXTS))


def _replaced(rng: random.Random, text: str, pattern: str, by: str) -> str:
    found = list(re.finditer(pattern, text))
    if not found:
        return text
    match = rng.choice(found)
    return text[:match.start()] + by + text[match.end():]


def _lines(rng: random.Random, text: str) -> str:
    lines = text.split("\n")
    here, there = rng.randrange(len(lines)), rng.randrange(len(lines))
    how = rng.randrange(4)
    if how == 0:
        del lines[here]
    elif how == 1:
        lines.insert(there, lines[here])
    elif how == 2:
        lines[here], lines[there] = lines[there], lines[here]
    else:
        lines[here:here] = lines[min(here, there):max(here, there)]
    return "\n".join(lines)


def _inserted(rng: random.Random, text: str) -> str:
    place = rng.randrange(len(text) + 1)
    return text[:place] + rng.choice(TEXTS + NUMBERS) + text[place:]


def _deep(rng: random.Random, text: str) -> str:
    lines = text.split("\n")
    lines.insert(rng.randrange(len(lines)), rng.choice(DEEP))
    return "\n".join(lines)


def _cut(rng: random.Random, text: str) -> str:
    here, there = sorted((rng.randrange(len(text) + 1), rng.randrange(len(text) + 1)))
    return text[:here] + text[there:] if rng.random() < 0.5 else text[:there]


_OF_TEXT: list[Callable[[random.Random, str], str]] = [_number, _number, _number, _quoted, _quoted, _word, _lines,
                                                       _inserted, _deep, _cut]


def _flipped(rng: random.Random, data: bytes) -> bytes:
    changed = bytearray(data or b" ")
    for _ in range(rng.randint(1, 5)):
        changed[rng.randrange(len(changed))] = rng.randrange(256)
    return bytes(changed)


def _recoded(rng: random.Random, data: bytes) -> bytes:
    text = data.decode("utf-8", "replace")
    return rng.choice([text.encode("utf-16"), b"\xef\xbb\xbf" + data, text.encode("latin-1", "replace"),
                       data.replace(b"\n", b"\r\n"), data.replace(b"\n", b"\r"), b"", b"\0" * 100, data * 3])


_OF_BYTES: list[Callable[[random.Random, bytes], bytes]] = [_flipped, _flipped, _recoded]


def mutated_rows(rng: random.Random, rows: Sequence[Sequence[Any]]) -> Rows:
    """A table with one to three cells, rows or columns changed."""
    table = [list(row) for row in rows]
    for _ in range(rng.choice([1, 1, 2, 3])):
        row, column = rng.randrange(len(table)), rng.randrange(len(table[0]))
        how = rng.random()
        if how < 0.45:
            table[row][column] = rng.choice(NUMBERS)
        elif how < 0.75:
            table[row][column] = rng.choice(TEXTS)
        elif how < 0.8:
            table[0][column] = rng.choice([*KEYS, "", "protein_max", "fat_min", "=1+1_g", "\x1b[1A_mg"])
        elif how < 0.85:
            table[row].append(rng.choice(TEXTS))
        elif how < 0.9:
            table.insert(row, list(table[rng.randrange(len(table))]))
        elif how < 0.95 and len(table) > 2:
            del table[row]
        else:
            table[row:row] = [[""] * len(table[0])] * rng.choice([1, 3, 2000])
        table[0] += [""] * (max(map(len, table)) - len(table[0]) if rng.random() < 0.1 else 0)
        for other in table:
            other += [""] * (len(table[0]) - len(other))
    return table


def _mutated_table(rng: random.Random, rows: Sequence[Sequence[Any]]) -> bytes:
    delimiter = rng.choice(",,,;")
    if rng.random() < 0.65:
        return as_csv(mutated_rows(rng, rows), delimiter)
    return mutated_text(rng, as_csv(rows, delimiter).decode("utf-8"))


def _mutated_book(rng: random.Random, path: Path, rows: Sequence[Sequence[Any]]) -> Path:
    table = mutated_rows(rng, rows) if rng.random() < 0.6 else [list(row) for row in rows]
    as_book(path, [[_as_number(cell) if rng.random() < 0.7 else cell for cell in row] for row in table])
    if rng.random() < 0.5:
        with zipfile.ZipFile(path) as book:
            parts = {part.filename: book.read(part) for part in book.infolist()}
        name = "xl/worksheets/sheet1.xml" if rng.random() < 0.8 else rng.choice(sorted(parts))
        parts[name] = _mutated_part(rng, parts[name])
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as book:
            for part, data in parts.items():
                if rng.random() > 0.01:
                    book.writestr(part, data)
    if rng.random() < 0.1:
        path.write_bytes(rng.choice(_OF_BYTES)(rng, path.read_bytes()))
    return path


def _as_number(cell: Any) -> Any:
    try:
        return float(cell) if isinstance(cell, str) and len(cell) < 30 else cell
    except ValueError:
        return cell


def _mutated_part(rng: random.Random, data: bytes) -> bytes:
    text = data.decode("utf-8")
    how = rng.randrange(6)
    if how == 0:
        stale = rng.choice(["A1:B2", "A1", "B3:ZZ4", "A1:XFD1048576"])
        text = re.sub(r'<dimension ref="[^"]*"', f'<dimension ref="{stale}"', text)
    elif how == 1:
        text = _replaced(rng, text, r'(?<=<row r=")\d+', rng.choice(["2000000000", "1", "1048577", "x", "-1", "50000"]))
    elif how == 2:
        text = _replaced(rng, text, r'(?<=<c r=")[A-Z]+\d+', rng.choice(["XFD2", "ZZZZ9", "A2000000000", "", "A0"]))
    elif how == 3:
        absurd = rng.choice(["9" * 5000, "9" * 70_000, "abc", "1e400", "nan", "-1", ""])
        text = _replaced(rng, text, r"(?<=<v>)[^<]*", absurd)
    elif how == 4:
        text = _cut(rng, text)
    else:
        text = _replaced(rng, text, r'(?<= t=")[a-z]+', rng.choice(["s", "n", "b", "e", "str", "inlineStr", "d", "?"]))
    return text.encode("utf-8")
