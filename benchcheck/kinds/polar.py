"""The checks of capacitors that have a polarity: charge, which way round, leakage, value, ESR, bias.

Neither capacitance nor ESR shows a reversed part. What does: before power, the marked lead joins its own net
while the other lead does not; under power, the sign of the volts across it.
"""

from __future__ import annotations

from benchcheck.bench.functions import Function
from benchcheck.kinds import phrases
from benchcheck.kinds.build import check, chosen, merged_switches, part_check, probe
from benchcheck.kinds.capacitor import capacitance_check, tolerance_origin
from benchcheck.kinds.check import Check, Evidence, Limits, Phase
from benchcheck.kinds.electrolytic import Electrolytic, PolarCapacitor, leakage_a
from benchcheck.kinds.esr import esr_limits
from benchcheck.kinds.fields import Window
from benchcheck.kinds.part import Kind, Surroundings
from benchcheck.kinds.paths import alone, reference, voltage_across
from benchcheck.kinds.tantalum import Tantalum
from benchcheck.quantity import format_value

__all__ = ["checks"]

_PINS = ("plus", "minus")
_CHARGE_FROM_FARAD, _CHARGE_FROM_VOLT = 10e-6, 50.0
_JOINED_OHM = 1.0  # common practice: "short" after the leads are nulled
_POLYMER_LEAK = 0.2  # from memory: what polymer data sheets allow, in ampere per farad volt
_SCREEN_ORIGIN = "common practice, no source: on the board only a short can be told from the circuit around it"
#: common practice: what a reversed part cannot be, for a capacitor whose bias the spec does not know.
_UNKNOWN_BIAS_V = {"electrolytic": -1.0, "tantalum": -0.5}


def checks(part: PolarCapacitor, around: Surroundings) -> tuple[Check, ...]:
    """Return `residual_voltage` of a large part, `polarity`, `leakage_screen`, `capacitance`, `esr`, `bias`.

    A bipolar part has no `polarity`, no `leakage_screen` that a data sheet would vouch for, and no `bias`.
    """
    large = (part.rated_voltage or 0.0) >= _CHARGE_FROM_VOLT or part.value >= _CHARGE_FROM_FARAD
    charge = (_residual(part),) if large else ()
    value = (_capacitance(part, around), _esr(part, around))
    if part.bipolar:
        return (*charge, *value)
    return (*charge, *_polarity(part, around), _leakage(part, around), *value, _bias(part, around))


def _residual(part: PolarCapacitor) -> Check:
    edge = phrases.REST_CHARGE_V
    return part_check(
        part,
        "residual_voltage",
        Function.DC_VOLTAGE,
        _PINS,
        Limits(-edge, edge, "common practice, no source: 50 mV or less before ohms"),
        given=part.residual_voltage,
        phase=Phase.RESIDUAL_VOLTAGE,
        expected=0.0,
        first_step="take every cell and the supply out",
        why=phrases.CHARGED,
        workaround=phrases.DISCHARGE,
    )


def _polarity(part: PolarCapacitor, around: Surroundings) -> tuple[Check, Check]:
    """Marked lead to its net, and the other lead to the same point of that net."""
    where = part.net(part.marked) or "its net"
    mark = "The stripe marks the minus of an aluminium part" if part.marked == "minus" else "The bar marks the plus"
    given = part.polarity or Window()
    marked = Limits(None, _JOINED_OHM, "common practice, no source: joined reads below 1 ohm with the leads nulled")
    other = Limits(_JOINED_OHM, None, "common practice, no source: near zero, below 1 ohm, would be joined")
    why = f"{mark}: that lead must join {where}. Reversed, it reads open or the load there."
    why_other = f"Near zero to {where} here too means a reversed part or a short; climbing from zero is only charge."
    marked, other = (
        chosen(Window(max=given.max, reason=given.reason), marked),
        chosen(Window(min=given.min, reason=given.reason), other),
    )
    return (
        _polarity_check(part, around, part.marked, "marked", marked, why),
        _polarity_check(part, around, part.other, "other", other, why_other),
    )


def _polarity_check(
    part: PolarCapacitor, around: Surroundings, pin: str, bracket: str, limits: Limits, why: str
) -> Check:
    """The meter's own volts stay the right way round across the part: red on the plus side."""
    lead, point = probe(part, pin), reference(part, part.net(part.marked), around)
    other = bracket == "other"
    backwards = other and pin == "minus"
    return check(
        part.designator,
        "polarity",
        Function.OHMS,
        Phase.POLARITY,
        limits,
        point if backwards else lead,
        lead if backwards else point,
        bracket=bracket,
        first_step="wait until the reading has stopped moving" if other else phrases.NULL_LEADS,
        why=why,
        workaround="Look at the print against the photo taken before the old part came out.",
        settle=other,
        switches=merged_switches(part.polarity),
    )


def _leakage(part: PolarCapacitor, around: Surroundings) -> Check:
    single, sheet = alone(part, _PINS, around), _leakage_limits(part)
    board = "" if single else "On the board the circuit around it hides a leak. "
    return part_check(
        part,
        "leakage_screen",
        Function.OHMS,
        _PINS,
        sheet if single else Limits(_JOINED_OHM, None, _SCREEN_ORIGIN),
        given=part.leakage_screen,
        evidence=Evidence.SCREEN,
        first_step="wait until it has stopped climbing; on a large one take a lower range",
        why=f"{board}A meter has a volt or so: a low plateau rejects, a high one proves nothing at working voltage.",
        workaround=_leakage_off_the_board(part, sheet),
        settle=True,
    )


def _leakage_off_the_board(part: PolarCapacitor, sheet: Limits) -> str:
    if part.rated_voltage is None or sheet.lower is None:
        return "Lift a lead, apply the working voltage through a resistor and see the current fall for two minutes."
    plateau = format_value(sheet.lower, "ohm", digits=2, ascii=True)
    current = format_value(part.rated_voltage / sheet.lower, "A", digits=2, ascii=True)
    return (
        f"Lift a lead: on ohms it settles above {plateau}, and at rated voltage through a resistor it passes at most "
        f"{current} after two minutes."
    )


def _leakage_limits(part: PolarCapacitor) -> Limits:
    rated = part.rated_voltage
    if rated is None:
        return Limits(_JOINED_OHM, None, "common practice, no source: without a rated voltage only a short rejects")
    if part.technology == "polymer":
        leak, words = _POLYMER_LEAK * part.value * rated, "common practice, from memory: 0.2 C V, polymer"
    elif isinstance(part, Tantalum):
        leak, words = leakage_a(part.value, rated), "common practice, from memory: 0.01 C V or 3 uA, tantalum"
    else:
        leak, words = leakage_a(part.value, rated), "computed: leakage of data sheets (Lelon RGA, Rubycon ZL)"
    return Limits(rated / leak, None, f"{words}; rated voltage over it")


def _capacitance(part: PolarCapacitor, around: Surroundings) -> Check:
    usual = "data sheets: 20 % either way (letter M; Lelon RGA, Rubycon ZL)"
    if isinstance(part, Tantalum):
        usual = "common practice, no source: 20 % either way (letter M)"
    origin = tolerance_origin(part.tolerance, usual)
    return capacitance_check(part, _PINS, around, part.value, part.spread, origin, part.capacitance, phrases.COOL)


def _esr(part: PolarCapacitor, around: Surroundings) -> Check:
    single, given = alone(part, _PINS, around), part.esr is not None
    tantalum = isinstance(part, Tantalum)
    supplied = esr_limits(part.value, part.loss_tangent, part.technology, part.rated_voltage, tantalum=tantalum)
    evidence = Evidence.SCREEN
    if given:
        evidence = Evidence.DIRECT if single else Evidence.LOWERED
    parallel = "" if single else " Others in parallel lower it: a good neighbour hides a bad part."
    return part_check(
        part,
        "esr",
        Function.ESR,
        _PINS,
        supplied,
        given=part.esr,
        evidence=evidence,
        first_step=phrases.NULL_LEADS,
        why=f"A dried-out part keeps its capacitance and its ESR rises; a shorted one looks excellent.{parallel}",
        workaround="Compare with a new part of the same value, or step the load by dI and read dV: ESR is dV/dI.",
        method=""
        if given
        else "the limit is a maximum at 120 Hz; an ESR meter works near 100 kHz, where a good part reads lower",
    )


def _bias(part: PolarCapacitor, around: Surroundings) -> Check:
    expected = voltage_across(part, _PINS, around)
    rated = part.rated_voltage
    upper = " up to the rated voltage" if rated is not None else ""
    if expected is not None and expected > 0:
        limits = Limits(0.0, rated, f"computed: the plus lead is the positive one,{upper or ' as the plan says'}")
    else:
        limits = Limits(
            _UNKNOWN_BIAS_V[part.kind], rated, f"common practice: hardly reversed,{upper or ' in any state'}"
        )
    return part_check(
        part,
        "bias",
        Function.DC_VOLTAGE,
        _PINS,
        limits,
        given=part.bias,
        phase=Phase.POWERED_PARTS,
        expected=expected,
        why="Volts of the wrong sign mean a reversed part: switch off at once, it heats and shorts later.",
        workaround="Read again with red and black exchanged: the size stays, the sign changes.",
    )


_SUMMARY = "charge, polarity, leakage, capacitance, ESR, bias"
KINDS = (
    Kind("electrolytic", Electrolytic, _PINS, checks, _SUMMARY),
    Kind("tantalum", Tantalum, _PINS, checks, _SUMMARY),
)
