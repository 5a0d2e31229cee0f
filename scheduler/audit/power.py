"""Rules about current and about when nothing may be heating."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

from scheduler.audit.breach import Breach
from scheduler.audit.case import Case, Fired
from scheduler.audit.sweep import Stretch, excesses, sweep
from shared.calendar import kiln_outages, power_outages
from shared.clock import Minute
from shared.kilns import Leg
from shared.texts import say

AMPS_TOLERANCE = 1e-6
"""Rounding of sums of currents [A]."""


@dataclass(frozen=True, slots=True)
class PeakLoad:
    """The highest load of one leg of one circuit.

    Attributes
    ----------
    amps
        Sum of the nameplate currents of the kilns that may draw power at once [A].
    usable_amps
        What the circuit may carry on each leg for long [A].
    at
        When the load is first that high [min]; None on a leg that carries nothing.
    firing_ids
        The firings that heat then.
    """

    amps: float
    usable_amps: float
    at: Minute | None
    firing_ids: tuple[str, ...]


def circuit_amps(case: Case) -> Iterator[Breach]:
    """No leg of any circuit carries more than it may: ``sum of amps <= breaker_amps x continuous_share``, always.

    A kiln loads its legs with its plate's current from ``start_at`` to ``hot_until``, on its own circuit and on every
    circuit that feeds that one.
    """
    for (circuit_id, leg), on_leg in _on_legs(case).items():
        usable = case.studio.circuit_by_id[circuit_id].usable_amps
        heating = sweep([fired.heating for fired in on_leg])
        for run in excesses(heating, partial(_excess, on_leg, usable)):
            at_once = [on_leg[number] for number in run.worst.active]
            last = max(at_once, key=lambda fired: (fired.firing.start_at, fired.number))
            names = ", ".join(sorted(fired.firing.id for fired in at_once))
            text = say(
                "audit.circuit_leg_usable",
                circuit=circuit_id,
                leg=leg,
                amps=usable + run.by,
                usable=usable,
                end=case.when(run.end),
                names=names,
            )
            yield Breach("circuit_amps", last.firing.id, None, run.worst.begin, text, run.by)


def peak_loads(case: Case) -> dict[tuple[str, Leg], PeakLoad]:
    """The highest load of every leg of every circuit."""
    peaks: dict[tuple[str, Leg], PeakLoad] = {
        (circuit.id, leg): PeakLoad(0.0, circuit.usable_amps, None, ())
        for circuit in case.studio.circuits
        for leg in circuit.leg_names
    }
    for (circuit_id, leg), on_leg in _on_legs(case).items():
        usable = case.studio.circuit_by_id[circuit_id].usable_amps
        best = PeakLoad(0.0, usable, None, ())
        for stretch in sweep([(fired.firing.start_at, fired.firing.hot_until) for fired in on_leg]):
            amps = sum(on_leg[number].kiln.amps for number in stretch.active)
            if amps > best.amps + AMPS_TOLERANCE:
                firing_ids = tuple(sorted(on_leg[number].firing.id for number in stretch.active))
                best = PeakLoad(amps, usable, stretch.begin, firing_ids)
        peaks[circuit_id, leg] = best
    return peaks


def _on_legs(case: Case) -> dict[tuple[str, Leg], list[Fired]]:
    """The firings that load each leg of each circuit."""
    found: dict[tuple[str, Leg], list[Fired]] = {}
    for fired in case.fired:
        for circuit in case.studio.feeders(fired.kiln.circuit):
            for leg in case.studio.legs_of(fired.kiln):
                found.setdefault((circuit.id, leg), []).append(fired)
    return found


def _excess(on_leg: list[Fired], usable: float, stretch: Stretch) -> float:
    excess = sum(on_leg[number].kiln.amps for number in stretch.active) - usable
    return excess if excess > AMPS_TOLERANCE else 0.0


def outages(case: Case) -> Iterator[Breach]:
    """Nothing is planned into an outage: a kiln's own from ``load_at`` to ``free_at``, a circuit's while it heats."""
    for fired in case.fired:
        firing = fired.firing
        begin, end = fired.judged(firing.load_at, firing.free_at)
        for out in kiln_outages(case.studio, fired.kiln.id, begin, end):
            text = say("audit.kiln_out_use", kiln=fired.kiln.id, end=case.when(out.end))
            yield Breach("outages", firing.id, None, out.begin, text, float(out.end - out.begin))
        begin, end = fired.heating
        for out in power_outages(case.studio, fired.kiln.id, begin, end):
            text = say("audit.kiln_no_supply", kiln=fired.kiln.id, end=case.when(out.end))
            yield Breach("outages", firing.id, None, out.begin, text, float(out.end - out.begin))


def quiet(case: Case) -> Iterator[Breach]:
    """Nothing heats, from ``start_at`` to ``hot_until``, in a quiet time that names its work or names none."""
    for fired in case.fired:
        begin, end = fired.heating
        for span in case.quiet:
            if span.work is not None and fired.profile.work not in span.work:
                continue
            first, last = max(begin, span.begin), min(end, span.end)
            if first < last:
                text = say("audit.heating_quiet_time", work=fired.profile.work, end=case.when(span.end))
                yield Breach("quiet", fired.firing.id, None, first, text, float(last - first))
