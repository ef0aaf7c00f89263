"""What every reading at a frequency is under every hypothesis: capacitance and series resistance.

They come from one matrix per fault, with their slopes to the values of passive parts. What junctions pass at rest
moves them too, and is allowed for.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.functions import Function
from benchcheck.circuit.excitation import CapacitanceAtFrequency, CapacitanceByCharging, Esr
from benchcheck.diagnosis.alternating import Alternating
from benchcheck.diagnosis.capacitance import Capacitances, capacitances
from benchcheck.diagnosis.edits import edits_of, switched
from benchcheck.diagnosis.predicted import Positions
from benchcheck.diagnosis.shots import ALTERNATING
from benchcheck.diagnosis.spread import leaking
from benchcheck.diagnosis.tables import Tables
from benchcheck.score.model_circuit import excitation_for

__all__ = ["AtFrequency"]

Floats = NDArray[np.float64]

#: a fault that moves a reading at a frequency by less than this share has the good board's slopes
_SAME = 1e-3
#: of full scale and of the impedance, where series resistance may or may not be shown, and how broad that edge is.
_SERIES_EDGE, _SERIES_BROAD = 0.5, 0.1


class AtFrequency:
    """Capacitance and series resistance, filled into tables."""

    def __init__(self, tables: Tables) -> None:
        """Take the tables that are to be filled in."""
        self._t = tables

    def fill(self) -> None:
        """Fill in capacitance and series resistance."""
        shots, lots = self._t.shots, dict[tuple[Function, Positions], list[int]]()
        for at, shot in enumerate(shots):
            if shot.function in ALTERNATING:
                lots.setdefault((shot.function, shot.switches), []).append(at)
        for (function, switches), every in lots.items():
            netlist = switched(self._t.netlist, switches)
            excitation = excitation_for(self._t.bench, function)
            edits = edits_of(netlist, self._t.hypotheses)
            columns = [at for at in every if {shots[at].red, shots[at].black} <= netlist.pins_on.keys()]
            others = [leaking(netlist, by) for by in (-1.0, 1.0)] if self._t.spread else []
            if isinstance(excitation, Esr):
                by_frequency = Alternating(netlist, edits, excitation.frequency_hz)
                leaky = [Alternating(each, (), excitation.frequency_hz) for each in others]
                for at in columns:
                    self._series_at(by_frequency, at, excitation)
                    ends = self._t.shots[at].red, self._t.shots[at].black
                    self._leak_at(at, [each.series(*ends, excitation.full_scale_ohm)[0] for each in leaky])
            elif isinstance(excitation, CapacitanceAtFrequency | CapacitanceByCharging):
                table, full_scale_f = capacitances(netlist, edits, excitation)
                at_frequency = isinstance(excitation, CapacitanceAtFrequency)
                tables = [capacitances(each, (), excitation)[0] for each in others] if at_frequency else []
                for at in columns:
                    self._capacitance_at(table, at, full_scale_f)
                    ends = self._t.shots[at].red, self._t.shots[at].black
                    self._leak_at(at, [each.capacitance(*ends, full_scale_f)[0] for each in tables])

    def _leak_at(self, at: int, read: Sequence[float]) -> None:
        """Allow for what junctions that pass more or less at rest make of a reading at a frequency."""
        self._allow(at, np.abs(np.nan_to_num(read) - np.nan_to_num(self._t.mean[0, at])).max(initial=0.0))

    def _bend_at(self, table: Alternating, at: int, line: Floats) -> None:
        """Allow for how far capacitance is off its line (strays) with parts at the edges of their tolerances.

        Seen through a resistance it goes as 1/(R^2 C), and may come out twice as far off as a line says.
        """
        shot, off = self._t.shots[at], []
        for by, edge in self._t.at_edges.items():
            strays = [(one.designator, one.strayed) for one in edge]
            off.append(np.abs(table.changed(shot.red, shot.black, strays) - by * line))
        self._allow(at, float(np.nan_to_num(off).max(axis=0).sum()))

    def _allow(self, at: int, off: float) -> None:
        """Allow a reading to be off by so much on the good board, as much less as it is less under a fault."""
        mean = np.nan_to_num(self._t.mean[:, at])
        if off > 0.0:
            share = np.minimum(np.abs(mean / mean[0]), 1.0) if mean[0] else 1.0
            self._t.own[:, at] = np.hypot(self._t.own[:, at], off * share)

    def _capacitance_at(self, table: Capacitances, at: int, full_scale_f: float) -> None:
        shot = self._t.shots[at]
        self._t.mean[:, at] = self._t.latent[:, at] = table.capacitance(shot.red, shot.black, full_scale_f)
        self._t.known[:, at] = table.has_capacitance(shot.red, shot.black)
        if self._t.spread:
            strays = [(one.designator, one.strayed) for one in self._t.reactive]
            moved = np.nan_to_num(table.spread(shot.red, shot.black, strays, esr=False))
            self._lean_reactive(at, moved)
            if isinstance(table, Alternating):
                self._bend_at(table, at, moved[0])

    def _series_at(self, table: Alternating, at: int, excitation: Esr) -> None:
        shot = self._t.shots[at]
        self._t.mean[:, at] = table.series(shot.red, shot.black, excitation.full_scale_ohm)
        size = table.beyond(shot.red, shot.black)
        self._t.latent[:, at] = np.where(np.isnan(self._t.mean[:, at]), size, self._t.mean[:, at])
        edge = (size > _SERIES_EDGE * excitation.full_scale_ohm) & (size < 1e6)
        self._t.own[:, at] = np.where(edge, _SERIES_BROAD * size, 0.0)
        self._t.known[:, at] = table.has_series(shot.red, shot.black)
        if self._t.spread:
            strays = [(one.designator, one.strayed) for one in self._t.reactive]
            self._lean_reactive(at, np.nan_to_num(table.spread(shot.red, shot.black, strays, esr=True)))

    def _lean_reactive(self, at: int, moved: Floats) -> None:
        """Enter slopes at a frequency (rows x reactive strays)."""
        by_stray = np.zeros((len(moved), len(self._t.strays)), np.float32)
        by_stray[:, [one.place for one in self._t.reactive]] = moved
        self._t.enter_good([at], by_stray[:1])
        size = np.abs(by_stray[0]).max() + _SAME * abs(np.nan_to_num(self._t.mean[0, at]))
        other = np.flatnonzero(np.abs(by_stray - by_stray[0]).max(axis=1) > _SAME * size)
        self._t.entry[other, at] = self._t.enter(by_stray[other])
