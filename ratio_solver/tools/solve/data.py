"""The outcome of `solve` as plain data. Keys are a stable interface: added to, never renamed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ratio_solver.output.json_csv import Data
from ratio_solver.output.numbers import plain
from ratio_solver.tools.solve.impossible_data import remedy_data

if TYPE_CHECKING:
    from ratio_solver.solving.result import Answer, Diagnosis, Proposal
from ratio_solver.output.dish_data import (
    facts_data,
    grams_of,
    limit_data,
    policy_data,
    unknown_allergens,
    unknown_data,
    weight_data,
)


def answer_data(answer: Answer) -> Data:
    """The outcome of `solve` in the keys of its JSON."""
    data: Data = {
        "title": answer.recipe.title,
        "servings": answer.recipe.servings,
        "outcome": answer.outcome,
        "prefer": answer.prefer,
    }
    if answer.outcome == "solved":
        data |= _proposal_data(answer)  # type: ignore[arg-type]
    else:
        data |= {"objective": None, "weights": [], "per_serving": None, "limits": [],
                 "diagnosis": diagnosis_data(answer.diagnosis)}  # type: ignore[union-attr]
    return data | {
        "policy": policy_data(answer.recipe, answer.guaranteed, grams_of(answer), answer.confidence),
        "warnings": list(answer.warnings),
        "cautions": list(answer.cautions),
    }


def _proposal_data(proposal: Proposal) -> Data:
    return {
        "objective": {
            "value": plain(proposal.objective.value),
            "unit": proposal.objective.unit,
            "bound": plain(proposal.objective.bound),
            "proven": proposal.objective.proven,
            "proof": proposal.objective.proof or None,
            "resolution": plain(proposal.objective.resolution),
            "ties_settled": proposal.objective.settled,
        },
        "exact": proposal.exact,
        "prices": "tangents of the confidence" if proposal.confidence else "linear programme",
        "weights": [weight_data(weight) for weight in proposal.weights],
        "per_serving": facts_data(proposal.facts, proposal.limits),
        "unknown": unknown_data(proposal.facts),
        "limits": [limit_data(state) for state in proposal.limits],
        "diagnosis": None,
        "certificate": {
            "shortfall": plain(proposal.certificate.shortfall),
            "gap": plain(proposal.certificate.gap),
        },
        "allergens": list(proposal.allergens),
        "allergens_unknown": unknown_allergens(proposal),
    }


def diagnosis_data(diagnosis: Diagnosis) -> Data:
    """Why there is no answer."""
    return {
        "conflict": [limit.name for limit in diagnosis.conflict],
        "steps": diagnosis.steps,
        "limits": [
            {"name": limit.name, "kind": limit.kind, "sense": limit.sense, "limit": plain(limit.bound),
             "unit": limit.unit}
            for limit in diagnosis.conflict
        ],
        **remedy_data(diagnosis),
    }
