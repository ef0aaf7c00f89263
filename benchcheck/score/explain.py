"""A score laid open: the budget as a table to recompute with a pencil, then limits, guard band and verdict."""

from __future__ import annotations

import math
import textwrap

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Check
from benchcheck.metrology import BudgetRow, DecisionRule
from benchcheck.quantity import format_value
from benchcheck.score.model import Outcome, Score
from benchcheck.score.words import limits_words, shown

__all__ = ["explain"]

_ROW = "{:<26} {:>9} {:<11} {:>6} {:>9} {:>6} {:>5} {:>4}"
_WIDTH = 84
_HEAD = ("contribution", "figure", "shape", "by", "std. unc.", "sens.", "share", "dof")


def explain(score: Score, check: Check, rule: DecisionRule) -> tuple[str, ...]:
    """Return a score as lines of at most 84 characters, ASCII.

    figure / by = standard uncertainty; times sensitivity, squared and summed, it makes the square of the
    combined one; `dof` are degrees of freedom. What a derived check is computed from may be in other units:
    its figures are plain SI numbers.
    """
    return (
        *_head(score, check),
        *(_budget(score, check, rule) if score.budget is not None else ()),
        *_decision(score, check, rule),
        *_said("because", score.because),
        *_said("what would change it", score.change),
    )


def _head(score: Score, check: Check) -> tuple[str, ...]:
    what = f"{check.id}: {check.measurand.replace('_', ' ')}, {check.function}"
    meter = f" on {score.meter}" if score.meter else ""
    if score.outcome is not Outcome.MEASURED:
        return (what, f"  {score.outcome}")
    return (what, f"  shown: {score.display}{meter}")


def _budget(score: Score, check: Check, rule: DecisionRule) -> tuple[str, ...]:
    budget = score.budget
    assert budget is not None
    lines = [f"  value: {shown(check, budget.value, 6)}", "", _ROW.format(*_HEAD).rstrip()]
    lines += [_row(row, check) for row in budget.rows()]
    lines += dict.fromkeys(line for row in budget.rows() if row.origin for line in _note(row))
    lines.append("")
    lines.append(f"  combined standard uncertainty: {shown(check, budget.combined_standard_uncertainty, 4)}")
    if score.expanded_uncertainty is not None and score.coverage_factor is not None:
        expanded = (
            f"  expanded uncertainty: {shown(check, score.expanded_uncertainty, 4)} "
            f"(k = {score.coverage_factor:.4g} for {100 * rule.coverage:g} %, {budget.distribution.method})"
        )
        lines += textwrap.wrap(expanded, _WIDTH, subsequent_indent="    ")
    return tuple(lines)


def _row(row: BudgetRow, check: Check) -> str:
    unit = "1" if check.function is Function.DERIVED else check.quantity_unit
    dof = "inf" if math.isinf(row.degrees_of_freedom) else f"{row.degrees_of_freedom:.0f}"
    figures = (
        _figure(row.figure, unit),
        row.distribution,
        f"{row.divisor:.4g}",
        _figure(row.standard_uncertainty, unit),
    )
    name = textwrap.shorten(row.contribution, 26, placeholder="...")
    return _ROW.format(name, *figures, f"{row.sensitivity:.3g}", f"{100 * row.share:.0f}%", dof)


def _figure(value: float, unit: str) -> str:
    """Return a figure of the budget in its unit, a plain number for unit 1."""
    return f"{value:.4g}" if unit == "1" else format_value(float(f"{value:.4g}"), unit, ascii=True).replace(" ", "")


def _note(row: BudgetRow) -> list[str]:
    return textwrap.wrap(f"    {row.contribution}: {row.origin}", _WIDTH, subsequent_indent="      ")


def _decision(score: Score, check: Check, rule: DecisionRule) -> tuple[str, ...]:
    lines = [f"  limits: {limits_words(check)} ({check.limits.origin})"]
    if score.guard_band is not None:
        lines.append(f"  decision rule: {rule}")
        lines.append(f"  guard band: {shown(check, score.guard_band, 4)}; accepted: {_accepted(score, check)}")
    if score.conformance_probability is not None:
        lines.append(f"  probability that it lies within the limits: {100 * score.conformance_probability:.3g} %")
    if score.verdict is not None:
        lines.append(f"  verdict: {score.verdict}{f' ({score.code})' if score.code else ''}")
    return tuple(part for line in lines for part in textwrap.wrap(line, _WIDTH, subsequent_indent="    "))


def _accepted(score: Score, check: Check) -> str:
    band = score.guard_band or 0.0
    lower = None if score.lower is None else score.lower + band
    upper = None if score.upper is None else score.upper - band
    if lower is not None and upper is not None:
        return f"{shown(check, lower, 5)} to {shown(check, upper, 5)}" if lower < upper else "nothing"
    if lower is not None:
        return f"above {shown(check, lower, 5)}"
    return f"below {shown(check, upper, 5)}" if upper is not None else "anything"


def _said(title: str, words: str) -> tuple[str, ...]:
    return tuple(textwrap.wrap(f"  {title}: {words}", _WIDTH, subsequent_indent="    ")) if words else ()
