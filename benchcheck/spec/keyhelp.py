"""One line on every key of a spec, for the schema: editors show it where the key is typed."""

from __future__ import annotations

__all__ = ["key_help"]

_HELP = {
    "ac_voltage": "AC voltage it carries, rms; only the scope of safety looks at it.",
    "ambient": "The temperature the board is measured at; 23 degC unless given.",
    "as": "How ripple is counted.",
    "bandwidth": "The bandwidth the limit holds in.",
    "bipolar": "true for a part without polarity.",
    "capacitance": "The capacitance across the rail; it counts for the inrush.",
    "cell": "The chemistry of one cell.",
    "cells": "How many cells in series.",
    "channel": "N or P.",
    "clamps": 'What each pin clamps to where it is not both: { fb = ["ground"], en = [] }.',
    "colour": "The colour it shines in; it decides the forward drop.",
    "complete": "true when every path on this net is in the file: only then can a reading convict in circuit.",
    "current_limit": "The most the bench supply may give. Without it, no power.",
    "currents": "The two load currents the on-resistance is taken at.",
    "fitted": "What was put in on this visit, to be seen with the eyes; true when nothing is known of it.",
    "fixed": "true for a battery that cannot come out; a fixed lithium cell gets no power.",
    "frequency": "Kept for the record: a meter cannot check it.",
    "gate_drive": "The least gate-source voltage the limit holds at.",
    "hazards": "What is dangerous on this board, from a closed list; [] for nothing. Without the key, no power.",
    "hold_current": "The current it holds for ever; it gives the usual resistance.",
    "input_capacitance": "What the bench supply has to charge. Without it, no power.",
    "joint": "The limit for the joints of this part.",
    "joints": "true to check the joint of every lead, from the lead to the next part on its net.",
    "kind": "What kind of part it is; it decides which checks it gives.",
    "load": "The current it is loaded with when its voltage is read.",
    "loads": "The load currents the rail is read at.",
    "loss_tangent": "The loss tangent its data sheet gives; it sets the limit for ESR.",
    "lot": "The lot it came from.",
    "maker": "Who made it.",
    "max": "The upper limit.",
    "max_probe_voltage": "Functions whose compliance exceeds this are not offered on the net.",
    "min": "The lower limit.",
    "model": "Maker and model of the board.",
    "neighbour": "true for a part that shapes readings and is not itself checked.",
    "nets": "Which net each pin is on.",
    "note": "Anything worth keeping.",
    "peak_voltage": "Peak voltage it carries; only the scope of safety looks at it.",
    "polarity": "NPN or PNP.",
    "priors": "How likely each fault of this part is thought to be, from 0 to 1: { reversed = 0.02 }.",
    "rated_current": "The current printed on it; it gives the usual resistance.",
    "rated_voltage": "The voltage printed on it.",
    "reason": "Why this limit is set.",
    "rest": "The position it has while parts are measured.",
    "revision": "Which revision of the board.",
    "series": "The series in its maker's catalogue.",
    "start_current": "The limit for the first power-up; twice the largest idle current unless given.",
    "supply": "The supply that feeds this rail; needed only where there are several.",
    "switches": "The positions switches have for this check: { S1 = \"closed\" }.",
    "technology": "What it is made of; it decides the usual limits.",
    "temperature_coefficient": "How its value moves with temperature; 100 ppm/K unless given.",
    "tolerance": "How far it may lie from its value.",
    "topology": "What kind of regulator it is.",
    "value": "Its nominal value.",
    "voltage": "The DC voltage under power.",
    "voltages": "Further supply voltages by name, such as fresh and end_of_life; rails are read at each.",
}  # fmt: skip


def key_help(key: str, *, limit: bool) -> str:
    """Return the line on a key; `limit` says that the key is the limit for the check of its name."""
    if limit and key != "joint":
        return f"The limit for the check {key}; without it the kind supplies one, or leaves the check out."
    return _HELP.get(key, "")
