"""Budgets as one inline value of a score block, and back: enough to work the budget out again by hand."""

from __future__ import annotations

import math

from benchcheck.errors import Fault, MetrologyError, RecordError
from benchcheck.metrology import Budget, Contribution, Correlation, Distribution
from benchcheck.record.fields import Fields

__all__ = ["budget_fields", "decode_budget"]


def budget_fields(budget: Budget) -> dict[str, object]:
    """Return the inline table of a budget; what is the usual case is left out."""
    return {
        "value": budget.value,
        "quantity_unit": budget.quantity_unit,
        "contributions": [_contribution_fields(contribution) for contribution in budget.contributions],
        "correlations": [
            {"first": first, "second": second, "coefficient": coefficient}
            for first, second, coefficient in budget.correlations
        ]
        or None,
    }


def decode_budget(fields: Fields) -> Budget:
    """Return the budget of an inline table; raises RecordError for figures that make none."""
    try:
        return Budget(
            _number(fields, "value"),
            fields.text("quantity_unit"),
            tuple(map(_decode_contribution, fields.tables("contributions"))),
            tuple(
                Correlation(one.needed("first"), one.needed("second"), _number(one, "coefficient"))
                for one in fields.tables("correlations")
            ),
        )
    except MetrologyError as error:
        raise RecordError(Fault(fields.where, "", str(error))) from error


def _contribution_fields(one: Contribution) -> dict[str, object]:
    normal = one.distribution is Distribution.NORMAL
    return {
        "id": one.id,
        "label": one.label or None,
        "standard_uncertainty": one.standard_uncertainty,
        "distribution": None if normal else str(one.distribution),
        "half_width": one.half_width,
        "divisor": one.divisor,
        "sensitivity": None if one.sensitivity == 1.0 else one.sensitivity,
        "degrees_of_freedom": None if one.degrees_of_freedom == math.inf else one.degrees_of_freedom,
        "origin": one.origin or None,
    }


def _decode_contribution(fields: Fields) -> Contribution:
    sensitivity, freedom = fields.number("sensitivity"), fields.number("degrees_of_freedom")
    known = "distribution" in fields.values
    return Contribution(
        id=fields.needed("id"),
        label=fields.text("label"),
        standard_uncertainty=_number(fields, "standard_uncertainty"),
        distribution=fields.word("distribution", Distribution) if known else Distribution.NORMAL,
        half_width=fields.number("half_width"),
        sensitivity=1.0 if sensitivity is None else sensitivity,
        degrees_of_freedom=math.inf if freedom is None else freedom,
        divisor=fields.number("divisor") or 0.0,
        origin=fields.text("origin"),
    )


def _number(fields: Fields, key: str) -> float:
    value = fields.number(key)
    if value is None:
        raise RecordError(Fault(fields.where, key, "is missing"))
    return value
