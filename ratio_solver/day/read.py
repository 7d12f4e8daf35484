"""The day file (TOML), of one day or several: read whole, every fault kept, nothing repaired silently."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

from ratio_solver.day.model import MOST_PORTION, PORTION_STEP, Course, Day, Meal, Pot
from ratio_solver.day.people import Person, read_people
from ratio_solver.day.week import at_lines, week_table
from ratio_solver.errors import BadInput, Fault, collected, one_line, shown
from ratio_solver.foods.csv_file import read_text
from ratio_solver.foods.food import Food
from ratio_solver.foods.policy import Policy
from ratio_solver.foods.sizes import RECIPE_BYTES
from ratio_solver.foods.table import FoodTable, suggestion
from ratio_solver.recipe.model import Recipe
from ratio_solver.recipe.read import read_policy, read_recipe, read_tables, toml_tables
from ratio_solver.recipe.reader import HEAVIEST, Reader, lines_told

DAY_KEYS = ("title", "meals", "stock", "note")
FILE_KEYS = (*DAY_KEYS, "people", "policy", "foods", "days")
DISH_KEYS = ("file", "as_written", "batches", "portion", "min", "max", "step", "people")
BESIDE_KEYS = ("food", "grams", "min", "max", "step", "people")
MOST_BATCHES, MOST_DAYS, MOST_MEALS, MOST_COURSES = 1000, 366, 20, 100


@dataclass
class RecipeFiles:
    """The recipes that a file names, each read once, and what can be wrong with them.

    Attributes
    ----------
    foods : FoodTable
    folder : path
        From which the paths of recipes start.
    faults : list of Fault
        Shared with the reader of the file.
    """

    foods: FoodTable
    folder: Path
    faults: list[Fault]
    recipes: dict[Path, Recipe | None] = field(default_factory=dict)

    def recipe(self, name: str) -> Recipe | None:
        """The recipe of a file; None where it has a fault, which is kept once."""
        path = self.folder / name
        key = path.resolve()
        if key not in self.recipes:
            try:
                self.recipes[key] = read_recipe(path, self.foods)
            except BadInput as bad:
                self.faults.extend(bad.faults)
                self.recipes[key] = None
        return self.recipes[key]


def people_of(path: str | Path, foods: FoodTable) -> tuple[Person, ...]:
    """The people of a file of people, or of a day file; what else a day file has is not looked at.

    Parameters
    ----------
    path : path
        A TOML file, UTF-8.
    foods : FoodTable
        Whose nutrients may be prescribed.

    Returns
    -------
    tuple of Person

    Raises
    ------
    BadInput
        With every fault of the people, each with its place, the value and what was expected.

    Examples
    --------
    >>> from ratio_solver import load_foods, people_of
    >>> [person.name for person in people_of("examples/day/tuesday.toml", load_foods())]
    ['Room 2', 'Room 5', 'Room 7']
    """
    with _opened(path, foods) as top:
        collected(top.reader.faults)
        return top.people


@dataclass(frozen=True)
class _Top:
    """What stands at the top of a file of people or of days; `foods` has the `tables` too that the file names."""

    reader: Reader
    foods: FoodTable
    tables: tuple[str, ...]
    policy: Policy
    people: tuple[Person, ...]


@contextmanager
def _opened(path: str | Path, foods: FoodTable) -> Iterator[_Top]:
    """A file of people or of days; faults that are raised within have its lines."""
    text = read_text(path, RECIPE_BYTES)
    table = toml_tables(text, str(path))
    with lines_told(path, text, table):
        reader = Reader(str(path), [], "", table)
        reader.known_keys(FILE_KEYS)
        tables, foods = read_tables(reader, foods, Path(path).parent)
        policy = read_policy(reader.inner("policy"), foods.columns)
        yield _Top(reader, foods, tables, policy, _people(reader, foods, Path(path).parent, policy))


def read_days(path: str | Path, foods: FoodTable, *, people: str | Path | None = None) -> tuple[Day, ...]:
    """The days of a day file: one, or as many as it has `[[days]]`, or as a CSV file has in its column `day`.

    Parameters
    ----------
    path : path
        A TOML file, UTF-8, or a CSV file (day, meal, dish, person). Paths of recipes start from its folder.
    foods : FoodTable
    people : path, optional
        A file with the people of a CSV file.

    Returns
    -------
    tuple of Day

    Raises
    ------
    BadInput
        With every fault of the file and of the recipes it names, each with its place, the value and what was expected.

    Examples
    --------
    >>> from ratio_solver import load_foods, read_days
    >>> [day] = read_days("examples/day/tuesday.toml", load_foods())
    >>> [meal.name for meal in day.meals]
    ['breakfast', 'lunch', 'dinner']
    """
    if Path(path).suffix.lower() == ".csv":
        return _days_of_csv(path, foods, people)
    if people is not None:
        raise BadInput([Fault("--people", str(people), "", f"expected with a CSV file alone: {path} has its own")])
    with _opened(path, foods) as top:
        return _days(top, top.reader, Path(path).parent)


def _days_of_csv(path: str | Path, foods: FoodTable, people: str | Path | None) -> tuple[Day, ...]:
    if people is None:
        raise BadInput([Fault(str(path), "", "", "expected --people FILE, a file with the [[people]] of these days")])
    table, lines = week_table(path)
    with _opened(people, foods) as top:
        collected(top.reader.faults)
    try:
        return _days(top, Reader(str(path), [], "", table), Path(path).parent)
    except BadInput as bad:
        raise at_lines(bad, str(path), lines) from bad


def _days(top: _Top, reader: Reader, folder: Path) -> tuple[Day, ...]:
    """The days of a file: that with the people, or another."""
    files = RecipeFiles(top.foods, folder, reader.faults)
    reader.required("title", "expected the title of the day, or of the days")
    title = reader.text("title") or ""
    if "days" not in reader.table:
        days: tuple[Day, ...] = (_day(reader, title, top, files),)
    else:
        for key in ("meals", "stock"):
            if key in reader.table:
                reader.fault(key, None, f"expected in [[days]], one for each day: [[days.{key}]]" if key == "meals"
                          else "expected in [[days]], one for each day: [days.stock]")
        days = tuple(_day(inner, "", top, files) for inner in _tables_of(reader, "days", MOST_DAYS))
    _known_shares(reader, top.people, days)
    collected(dict.fromkeys(reader.faults))
    return days


def _people(top: Reader, foods: FoodTable, folder: Path, policy: Policy) -> tuple[Person, ...]:
    """The people of the file, or of the file that it names."""
    named = top.table.get("people")
    if not isinstance(named, str):
        return read_people(top, foods.columns, policy)
    path = folder / one_line(named)
    if not path.is_file():
        top.fault("people", named, f"expected [[people]], or the path of a file that has them; there is no file {path}")
        return ()
    try:
        return people_of(path, foods)
    except BadInput as bad:
        top.faults.extend(bad.faults)
        return ()


def _tables_of(reader: Reader, key: str, most: int) -> list[Reader]:
    """The tables of a list of at least one and at most so many."""
    found = list(reader.each(key))
    if len(found) > most:
        reader.fault(key, f"{len(found):,} of them", f"expected at most {most:,}")
        return []
    if not found and key not in reader.table:
        reader.fault(key, None, f"expected at least one [[{reader.at(key)}]]")
    return found


def _day(reader: Reader, title: str, top: _Top, files: RecipeFiles) -> Day:
    if reader.place:
        reader.known_keys(DAY_KEYS)
        reader.required("title", "expected the title of the day")
        title = reader.text("title") or reader.place
    pots: dict[str, Pot] = {}
    meals: dict[str, Meal] = {}
    for inner in _tables_of(reader, "meals", MOST_MEALS):
        meal = _meal(inner, top.people, files, pots)
        if meal.name in meals:
            inner.fault("name", meal.name, "expected each meal once a day")
        meals[meal.name] = meal
    return Day(title, top.people, tuple(pots.values()), tuple(meals.values()), _stock(reader, files), top.policy,
               reader.source, top.tables, top.foods.files)


def _meal(reader: Reader, people: Sequence[Person], files: RecipeFiles, pots: dict[str, Pot]) -> Meal:
    reader.known_keys(("name", "dishes", "beside", "people"))
    reader.required("name", "expected the name of the meal")
    name = reader.text("name") or reader.place
    eaters = _people_named(reader, people) if "people" in reader.table else tuple(range(len(people)))
    courses: list[Course] = []
    skipped: dict[int, frozenset[int]] = {}
    for key, make in (("dishes", _dish_course), ("beside", _food_course)):
        for inner in _names_and_tables(reader, key, "file" if key == "dishes" else "food"):
            course = make(inner, files, pots)
            if course is not None:
                if "people" in inner.table:
                    skipped[len(courses)] = frozenset(eaters) - frozenset(_people_named(inner, people))
                courses.append(course)
    if not courses and not reader.faults:
        reader.fault("dishes", None, "expected at least one dish, or a food beside")
    _once_each(reader, courses)
    return Meal(name, tuple(courses), eaters, skipped)


def _once_each(reader: Reader, courses: Sequence[Course]) -> None:
    """Nothing stands twice in a meal: portions of one dish are one portion."""
    seen: set[object] = set()
    for course in courses:
        key = course.pot if course.food is None else course.food.id
        if key in seen:
            reader.fault("dishes" if course.food is None else "beside", course.food.name if course.food else None,
                         "expected each dish and each food once in a meal")
        seen.add(key)


def _people_named(reader: Reader, people: Sequence[Person]) -> tuple[int, ...]:
    """Places of the people that a list names."""
    known = {person.name.lower(): place for place, person in enumerate(people)}
    found = []
    for name in reader.texts("people"):
        place = known.get(name.lower())
        if place is None:
            reader.fault("people", name, "expected names of the file's people"
                         + suggestion(name, [person.name for person in people]))
        else:
            found.append(place)
    return tuple(dict.fromkeys(found))


def _names_and_tables(reader: Reader, key: str, name: str) -> list[Reader]:
    """What stands in a list of names and of tables, each as a table."""
    value = reader.table.get(key, ())
    if not isinstance(value, list | tuple):
        reader.fault(key, value, f"expected a list of names and of tables, {key} = [\"...\", {{{name} = \"...\"}}]")
        return []
    if len(value) > MOST_COURSES:
        reader.fault(key, f"{len(value):,} of them", f"expected at most {MOST_COURSES}")
        return []
    found = []
    for number, item in enumerate(value, 1):
        place = f"{reader.at(key)}[{number}]"
        if isinstance(item, str | Mapping):
            table = {name: item} if isinstance(item, str) else item
            found.append(Reader(reader.source, reader.faults, place, table))
        else:
            reader.faults.append(Fault(reader.source, place, shown(item), f"expected a name or a table with {name}"))
    return found


def _dish_course(reader: Reader, files: RecipeFiles, pots: dict[str, Pot]) -> Course | None:
    reader.known_keys(DISH_KEYS)
    reader.required("file", "expected the path of a recipe file")
    name = reader.text("file")
    recipe = files.recipe(name) if name and _is_there(reader, files.folder, name) else None
    as_written = reader.table.get("as_written", False)
    if not isinstance(as_written, bool):
        reader.fault("as_written", as_written, "expected true or false")
    batches = reader.whole("batches", 1, MOST_BATCHES, "the number of batches that are cooked")
    bounds = _portion_bounds(reader, "portion", MOST_PORTION)
    if name is None or recipe is None:
        return None
    key = str((files.folder / name).resolve())
    pot = Pot(recipe, name, as_written is True, batches)
    known = pots.setdefault(key, pot)
    for told in ("as_written", "batches"):
        if told in reader.table and getattr(known, told) != getattr(pot, told):
            reader.fault(told, reader.table[told], "expected the same wherever the day has this dish: it is one pot; "
                                                   "say it where the dish first stands")
    return replace(bounds, pot=list(pots).index(key))


def _is_there(reader: Reader, folder: Path, name: str) -> bool:
    """Whether there is a file of a name; where there is none that is a fault of what names it."""
    path = folder / name
    try:
        found = path.is_file()
    except OSError:
        found = False
    if not found:
        reader.fault("file", name, f"expected the path of a recipe file; there is no file {path}")
    return found


def _food_course(reader: Reader, files: RecipeFiles, pots: dict[str, Pot]) -> Course | None:
    reader.known_keys(BESIDE_KEYS)
    reader.required("food", "expected a food of the composition table")
    reader.required("max", "expected the most g of it that a person may have")
    food = _known_food(reader, "food", reader.text("food"), files.foods)
    bounds = _portion_bounds(reader, "grams", HEAVIEST)
    return None if food is None else replace(bounds, food=food)


def _known_food(reader: Reader, key: str, name: str | None, foods: FoodTable) -> Food | None:
    food = foods.get(name) if name else None
    if name and food is None:
        reader.fault(key, name, foods.unknown(name))
    return food


def _portion_bounds(reader: Reader, start: str, most: float) -> Course:
    """Start, bounds and step of a portion."""
    usual = reader.number(start, what="a portion in g")
    low = reader.number("min", what="the least a person may have, g")
    high = reader.number("max", what="the most a person may have, g")
    step = reader.number("step", 0.0, 10_000.0, "a step in g", above=True)
    if low is not None and high is not None and low > high:
        reader.fault("min", low, f"expected at most the max, {high:g} g")
    return Course(None, None, usual, low or 0.0, most if high is None else high, PORTION_STEP if step is None else step)


def _stock(reader: Reader, files: RecipeFiles) -> dict[str, tuple[Food, float]]:
    inner = reader.inner("stock")
    found: dict[str, tuple[Food, float]] = {}
    for name in inner.table if inner is not None else ():
        assert inner is not None
        food = _known_food(inner, name, name, files.foods)
        grams = inner.number(name, what="the weight in g that the day may use")
        if food is not None and food.id in found:
            inner.fault(name, None, "expected each food once")
        if food is not None and grams is not None:
            found[food.id] = food, grams
    return found


def _known_shares(top: Reader, people: Sequence[Person], days: Sequence[Day]) -> None:
    """Every meal that a person has a share of is one of some day."""
    names = list(dict.fromkeys(meal.name for day in days for meal in day.meals))
    for number, person in enumerate(people, 1):
        for meal in person.shares:
            if meal not in names:
                top.faults.append(Fault(top.source, f"people[{number}].meals", shown(meal), "is no meal of the file"
                                        + (suggestion(meal, names) or f"; it has {', '.join(names)}")))
    for day in days:
        for place, person in enumerate(people):
            for meal in (day.meals[at].name for at in day.meals_of(place)):
                if person.shares and not person.shares.get(meal):
                    top.faults.append(Fault(top.source, f"people[{place + 1}].meals", "", f"expected a share for {meal}"
                                            f", which {person.name} eats ({day.title})"))
