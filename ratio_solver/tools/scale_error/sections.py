"""What --scale-error and --measures add to a dish with weights."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import RenderableType


def bench_data(found: Any, scale_error: str | None) -> dict[str, Any]:
    """What `--scale-error` adds to the JSON of a dish with weights."""
    if scale_error is None:
        return {}
    from ratio_solver.tools.scale_error.compute import scale_error as error_of
    from ratio_solver.tools.scale_error.compute import scale_named
    from ratio_solver.tools.scale_error.data import scale_error_data

    scale = scale_named(scale_error)
    if not getattr(found, "weights", ()):
        return {"scale_error": None}
    weights = tuple(weight.grams for weight in found.weights)
    return {"scale_error": scale_error_data(error_of(found.recipe, weights, scale, guaranteed=found.guaranteed))}


def bench_sections(found: Any, scale_error: str | None, measures: bool) -> list[RenderableType]:
    """What `--scale-error` and `--measures` add to the report of a dish with weights."""
    if scale_error is None and not measures:
        return []
    from ratio_solver.tools.scale_error.compute import scale_error as error_of
    from ratio_solver.tools.scale_error.compute import scale_named
    from ratio_solver.tools.scale_error.report import measures_section, scale_error_section

    scale = None if scale_error is None else scale_named(scale_error)
    if not getattr(found, "weights", ()):
        return []
    weights = tuple(weight.grams for weight in found.weights)
    sections = [measures_section(found.weights)] if measures else []
    if scale is not None:
        sections.append(scale_error_section(error_of(found.recipe, weights, scale, guaranteed=found.guaranteed)))
    return sections
