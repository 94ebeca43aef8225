"""Discharge of a pack at constant power."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base.checks import check_positive, check_range
from propmodel.base.status import Status
from propmodel.components.battery.cell_resistance import label_c, resistance
from propmodel.components.battery.chemistry import KNOTS
from propmodel.components.battery.pack import Pack, capacity, cutoff_voltage, open_circuit_voltage, terminal_voltage

__all__ = [
    "Discharge",
    "discharge",
]


@dataclass(frozen=True)
class Discharge:
    """A constant-power discharge.

    Parameters
    ----------
    time : ndarray
        Time to the cut-off or the reserve, whichever is first. [s]
    energy : ndarray
        Energy delivered at the terminals. [J]
    charge : ndarray
        Charge drawn. [A h]
    stored_energy : ndarray
        Energy taken from the cells: delivered energy plus loss. [J]
    loss : ndarray
        Heat in cells and leads. [J]
    end_state_of_charge : ndarray
        State of charge at the end. [-]
    end_voltage : ndarray
        Loaded pack voltage at the end. [V]
    stopped_by_voltage : ndarray of bool
        True where the voltage, not the reserve, ended the discharge.
    status : ndarray of int8
        Code of :class:`propmodel.base.status.Status`.
    curve_state_of_charge, curve_time, curve_voltage, curve_current : ndarray
        History, with a leading axis of 21 nodes (knots of the table, clipped to the discharge). [-, s, V, A]
    """

    time: NDArray
    energy: NDArray
    charge: NDArray
    stored_energy: NDArray
    loss: NDArray
    end_state_of_charge: NDArray
    end_voltage: NDArray
    stopped_by_voltage: NDArray
    status: NDArray
    curve_state_of_charge: NDArray
    curve_time: NDArray
    curve_voltage: NDArray
    curve_current: NDArray


def discharge(
    pack: Pack,
    power: ArrayLike,
    *,
    cutoff_voltage_per_cell: ArrayLike | None = None,
    temperature: ArrayLike | None = None,
    state_of_charge: ArrayLike = 1.0,
    reserve: ArrayLike = 0.0,
) -> Discharge:
    """Discharge a pack at constant power.

    Parameters
    ----------
    pack : Pack
        The pack.
    power : array_like
        Constant power at the terminals. [W]
    cutoff_voltage_per_cell : array_like or None
        Loaded cell voltage at the end; None means that of the pack. [V]
    temperature : array_like or None
        Constant temperature of the cells, as in a climate chamber; `propmodel.flight.endurance` models a pack that
        warms up. None means that of the pack. [K]
    state_of_charge : array_like
        Initial state of charge. [-]
    reserve : array_like
        State of charge at the end; with 0 only the voltage ends the discharge. [-]

    Returns
    -------
    Discharge
        Of the broadcast shape of the arguments.

    Raises
    ------
    ValueError
        If power is not above zero, or a state of charge is outside 0 to 1.

    Notes
    -----
    Trapezoidal rule in charge on the 5 % knots of the cell table; the cut-off is located within its segment. Time,
    charge, energy and loss use the same nodes and weights, so stored energy = delivered energy + loss up to rounding.

    Examples
    --------
    >>> run = discharge(Pack("lipo", 6, 1.3), 150.0, reserve=0.2)
    >>> round(float(run.time) / 60, 1)
    8.9
    """
    check_positive("power", power, "W")
    check_range("state_of_charge", state_of_charge, 0.0, 1.0)
    check_range("reserve", reserve, 0.0, 1.0)
    if temperature is not None:
        pack = replace(pack, temperature=temperature)  # type: ignore[arg-type]
    cut = check_range(
        "cutoff_voltage_per_cell",
        cutoff_voltage(pack) if cutoff_voltage_per_cell is None else cutoff_voltage_per_cell,
        0.5,
        5.0,
        "V",
    )
    start = np.asarray(state_of_charge, dtype=np.float64)
    shape = np.broadcast_shapes(np.shape(power), np.shape(cut), np.shape(start), np.shape(reserve), shape_of(pack))
    nodes = knots_below(np.broadcast_to(start, shape))
    emf, r = node_tables(pack, nodes)
    return run_down(
        pack, np.broadcast_to(np.asarray(power, float), nodes.shape), nodes, emf, r, cut=cut, reserve=reserve
    )


def shape_of(pack: Pack) -> tuple[int, ...]:
    """Return the broadcast shape of the fields of a pack."""
    return np.broadcast_shapes(
        *(
            np.shape(v)
            for v in (
                pack.chemistry,
                pack.cells,
                pack.capacity_ah,
                pack.cell_resistance if pack.cell_resistance is not None else 0.0,
                label_c(pack) if pack.cell_resistance is None else 0.0,
                pack.usable_share if pack.usable_share is not None else 0.0,
                pack.parallel,
                pack.temperature,
                pack.cycles,
                pack.lead_resistance,
            )
        )
    )


def knots_below(start: NDArray) -> NDArray:
    """Return the states of charge from ``start`` over the knots of the table to 0, with a leading axis of 21."""
    knots = np.linspace(1.0, 0.0, KNOTS).reshape((KNOTS,) + (1,) * np.ndim(start))
    return np.minimum(knots, start)


def node_tables(pack: Pack, nodes: NDArray) -> tuple[NDArray, NDArray]:
    """Open-circuit voltage [V] and sustained resistance [ohm] of the pack at every node."""
    return open_circuit_voltage(pack, nodes), resistance(pack, nodes, sustained=True)


def run_down(
    pack: Pack,
    power: NDArray,
    nodes: NDArray,
    emf: NDArray,
    r: NDArray,
    *,
    cut: ArrayLike,
    reserve: ArrayLike,
) -> Discharge:
    """Quadrature of :func:`discharge` on given nodes (leading axis, falling); power may differ from node to node.

    Parameters
    ----------
    pack : Pack
        The pack, for its capacity and cells.
    power : ndarray
        Power at each node. [W]
    nodes, emf, r : ndarray
        States of charge [-], open-circuit voltages [V] and resistances [ohm] at the nodes.
    cut, reserve : array_like
        Loaded cell voltage [V] and state of charge [-] at the end.

    Returns
    -------
    Discharge
        As :func:`discharge`.
    """
    limit = np.asarray(cut) * np.asarray(pack.cells)
    # above the cut-off where E - (P / V_cut) R - V_cut > 0 (upper branch, V_cut above half of E)
    head = emf - power / limit * r - limit
    alive = np.logical_and.accumulate(head >= 0.0, axis=0)
    first_dead = np.sum(alive, axis=0)  # index of the first node below the cut-off; 21 where none is
    top = nodes[0]
    k = np.clip(first_dead, 1, KNOTS - 1)[None]
    upper, lower = np.take_along_axis(nodes, k - 1, 0)[0], np.take_along_axis(nodes, k, 0)[0]
    head_upper, head_lower = np.take_along_axis(head, k - 1, 0)[0], np.take_along_axis(head, k, 0)[0]
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = lower + (upper - lower) * np.where(head_lower < 0.0, -head_lower / (head_upper - head_lower), 0.0)
    by_voltage = first_dead < KNOTS
    end = np.where(first_dead == 0, top, np.where(by_voltage, crossing, 0.0))
    floor = np.minimum(np.asarray(reserve, dtype=np.float64), top)
    stopped_by_voltage = by_voltage & (end >= floor)
    end = np.maximum(end, floor)

    clipped = np.maximum(nodes, end)
    # values at the clipped nodes: interpolate the tables at the end point
    end_emf, end_r = open_circuit_voltage(pack, end), resistance(pack, end, sustained=True)
    at_end = nodes <= end
    end_power = _power_at(power, nodes, end)
    node_emf = np.where(at_end, end_emf, emf)
    node_r = np.where(at_end, end_r, r)
    node_power = np.where(at_end, end_power, power)
    voltage = terminal_voltage(node_emf, node_r, node_power)
    current = node_power / voltage
    width = np.diff(clipped, axis=0) * -capacity(pack)  # charge of each segment [A h]
    per_amp, per_watt = 1.0 / current, node_power / current
    hours = np.cumsum(0.5 * (per_amp[1:] + per_amp[:-1]) * width, axis=0)
    time = hours[-1] * 3600.0
    energy = np.sum(0.5 * (per_watt[1:] + per_watt[:-1]) * width, axis=0) * 3600.0
    stored = np.sum(0.5 * (node_emf[1:] + node_emf[:-1]) * width, axis=0) * 3600.0
    drop = current * node_r
    loss = np.sum(0.5 * (drop[1:] + drop[:-1]) * width, axis=0) * 3600.0
    charge = np.sum(width, axis=0)
    status = np.where(first_dead == 0, Status.BELOW_CUTOFF_AT_ONCE, Status.OK).astype(np.int8)
    zero = np.zeros_like(hours[:1])
    return Discharge(
        time=time,
        energy=energy,
        charge=charge,
        stored_energy=stored,
        loss=loss,
        end_state_of_charge=end,
        end_voltage=terminal_voltage(end_emf, end_r, end_power),
        stopped_by_voltage=stopped_by_voltage,
        status=status,
        curve_state_of_charge=clipped,
        curve_time=np.concatenate([zero, hours]) * 3600.0,
        curve_voltage=voltage,
        curve_current=current,
    )


def _power_at(power: NDArray, nodes: NDArray, end: NDArray) -> NDArray:
    """Power at the end of the discharge, by linear interpolation between the nodes. [W]"""
    k = np.clip(np.sum(nodes > end, axis=0), 1, KNOTS - 1)[None]
    high, low = np.take_along_axis(nodes, k - 1, 0)[0], np.take_along_axis(nodes, k, 0)[0]
    p_high, p_low = np.take_along_axis(power, k - 1, 0)[0], np.take_along_axis(power, k, 0)[0]
    width = high - low
    share = np.where(width > 0.0, (high - end) / np.where(width > 0.0, width, 1.0), 0.0)
    return p_high + (p_low - p_high) * share
