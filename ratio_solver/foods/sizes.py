"""How large and how small what comes from a file may be: the numbers in it and the file itself, in one place.

The numbers keep every sum of a dish within what doubles and exact rationals hold well; the sizes keep the memory that
any input can take within a few hundred MB. A fault names the size that it refuses.
"""

from __future__ import annotations

from ratio_solver.errors import BadInput, Fault

SMALLEST, LARGEST = 1e-6, 1e6
"""Smallest number taken beside 0, and largest, in the unit of each; a key may take less."""

IN_100_G = {"g": 100.0, "mg": 100_000.0, "ug": 100_000_000.0, "kcal": 1_000.0}
"""Most of a nutrient that 100 g of food can hold, by its unit; pure fat has 900 kcal (Regulation (EU) 1169/2011)."""

RECIPE_BYTES, TABLE_BYTES, SHEET_BYTES, BOOK_BYTES = 1 << 20, 1 << 24, 1 << 27, 1 << 25
"""Largest recipe file, CSV file that is held as a whole, worksheet, and rest of a workbook, these two unpacked."""

CELL = 32_767
"""Most characters of a cell, as in a worksheet (common practice, no source)."""

SHEET_ROWS, SHEET_COLUMNS = 1_048_576, 16_384
"""Rows and columns that a worksheet can hold (common practice, no source)."""

MOST_COLUMNS, MOST_ROWS = 1_000, 200_000
"""Most columns of a table, and most rows of one that is held as a whole."""

MOST_FAULTS = 1_000
"""Most faults of a table that are told: more say nothing more."""

MOST_INGREDIENTS, MOST_SERVINGS = 1_000, 100_000
"""Most ingredients of a recipe, and most servings."""

TOO_SMALL = f"; {SMALLEST:f} is the smallest number taken"
"""What to add to a fault where a number is too small."""


def sensible(value: float) -> bool:
    """Whether a number is 0 or large enough to mean something.

    >>> sensible(0.0), sensible(0.001), sensible(1e-300)
    (True, True, False)
    """
    return value == 0 or abs(value) >= SMALLEST


def size_words(size: int) -> str:
    """Bytes as a person reads them.

    >>> size_words(1 << 20), size_words(1_500_000), size_words(3 * 10**9)
    ('1.0 MB', '1.4 MB', '2,861.0 MB')
    """
    return f"{size / (1 << 20):,.1f} MB" if size >= 100_000 else f"{size:,} bytes"


def refuse_larger(source: str, size: int, most: int) -> None:
    """Refuse a file that is larger than its kind may be.

    Raises
    ------
    BadInput
        With both sizes.
    """
    if size > most:
        raise BadInput([Fault(source, "", size_words(size), f"expected a file of at most {size_words(most)}")])
