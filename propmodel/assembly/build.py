"""The assembled craft: record of craft, motor, propeller, controller and pack."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from propmodel.base.arrays import ArrayOrFloat
from propmodel.base.checks import check_in, keep_arrays, quoted
from propmodel.base.constants import STANDARD_GRAVITY
from propmodel.base.ranges import allowed, check_fields
from propmodel.components import battery, motor, propeller
from propmodel.components.air import STANDARD, Air, changed
from propmodel.components.controller import Controller, duty_cap, with_rule_exponent
from propmodel.components.craft import TOP_TO_FRONT_DRAG, Craft, default_drag_area

__all__ = [
    "COAXIAL_THRUST",
    "Build",
    "drag_areas",
    "field_paths",
    "scatter_back",
    "shape_of",
    "take",
    "value_at",
    "with_axis",
    "with_fields",
]

_KINDS = {
    "craft": Craft,
    "motor": motor.Motor,
    "propeller": propeller.Propeller,
    "controller": Controller,
    "pack": battery.Pack,
    "air": Air,
}
COAXIAL_THRUST = 0.87
"""Thrust of a coaxial pair over that of two rotors apart at the same shaft power: induced power 1.22 times
higher for the same thrust (Leishman, from memory), (1 / 1.22)^(2/3)."""


@dataclass(frozen=True)
class Build:
    """A complete craft; any numeric field of any part may be an array, and all broadcast together.

    Parameters
    ----------
    craft : Craft
    motor : propmodel.motor.Motor
    propeller : propmodel.propeller.Propeller
    controller : Controller
    pack : propmodel.battery.Pack
    rotors : array_like
        Number of motors. [-] A coaxial craft counts both of each pair.
    air : Air
    command_cap : array_like
        Largest command the flight controller may give; `duty_cap` is the duty it allows. [-] It lowers the average
        voltage only: it never makes a motor or controller fit for a voltage above its label.
    coaxial : bool
        True where rotors sit in pairs one above the other.
    name : str

    Examples
    --------
    >>> import propmodel
    >>> build = propmodel.demo("scree")
    >>> bool(0.5 < build.mass < 0.9)
    True
    """

    craft: Craft
    motor: motor.Motor
    propeller: propeller.Propeller
    controller: Controller
    pack: battery.Pack
    rotors: ArrayOrFloat = field(default=4, metadata=allowed(1.0, 16.0))
    air: Air = STANDARD
    command_cap: ArrayOrFloat = field(default=1.0, metadata=allowed(0.0, 1.0, above=True))
    coaxial: bool = False
    name: str = ""

    def __post_init__(self) -> None:
        for name, kind in _KINDS.items():
            if not isinstance(getattr(self, name), kind):
                raise ValueError(f"{name} must be a {kind.__name__}, got {type(getattr(self, name)).__name__}")
        check_fields(self)
        if not isinstance(self.coaxial, bool | np.bool_):
            raise ValueError(f"coaxial must be True or False, got {quoted(self.coaxial)}")
        if self.coaxial and np.any(np.asarray(self.rotors) % 2):
            raise ValueError(f"rotors must be an even number when they come in pairs, got {self.rotors}")
        keep_arrays(self)
        named = self.propeller.diameter, self.motor.kv
        # a tuple raises an error where it is used
        if not any(isinstance(value, tuple) for value in (*named, self.pack.cells)):
            volts = battery.nominal_voltage(self.pack)
            esc = with_rule_exponent(self.controller, *named, volts if volts.ndim else float(volts))
            if esc is not self.controller:
                object.__setattr__(self, "controller", esc)

    @cached_property
    def _hash(self) -> int:
        return hash(tuple(getattr(self, f.name) for f in fields(self)))

    def __hash__(self) -> int:  # parts within parts: worked out once
        return self._hash

    def __getstate__(self) -> dict[str, Any]:
        # another process hashes text in another way
        return {name: value for name, value in vars(self).items() if name != "_hash"}

    @property
    def duty_cap(self) -> NDArray:
        """Largest duty under the command cap. [-]"""
        return duty_cap(self.controller, self.command_cap)

    @property
    def mass(self) -> NDArray:
        """All-up mass. [kg]"""
        each = motor.motor_mass(self.motor) + propeller.mass(self.propeller)
        if self.controller.mass is not None:
            each = each + np.asarray(self.controller.mass)
        dry = np.asarray(self.craft.frame_mass) + self.craft.payload_mass
        return dry + np.asarray(self.rotors) * each + battery.mass(self.pack)

    @property
    def weight(self) -> NDArray:
        """All-up weight. [N]"""
        return self.mass * STANDARD_GRAVITY

    @property
    def disc_area(self) -> NDArray:
        """Disc of one rotor. [m^2]"""
        return np.pi / 4.0 * np.asarray(self.propeller.diameter, dtype=np.float64) ** 2

    @property
    def total_disc_area(self) -> NDArray:
        """Discs seen from above, coaxial pairs counted once. [m^2]"""
        return self.disc_area * np.asarray(self.rotors) / (2.0 if self.coaxial else 1.0)


def drag_areas(build: Build) -> tuple[NDArray, NDArray]:
    """Front and top drag areas, with defaults from the propeller's size.

    Parameters
    ----------
    build : Build

    Returns
    -------
    front, top : ndarray
        [m^2]
    """
    front = build.craft.drag_area_front
    front = default_drag_area(build.propeller.diameter) if front is None else np.array(front, dtype=np.float64)
    top = build.craft.drag_area_top
    return front, TOP_TO_FRONT_DRAG * front if top is None else np.array(top, dtype=np.float64)


_PLAIN = (float, int, str, bool, type(None))


def _shapes(part: Any) -> Iterator[tuple[int, ...]]:
    """Shapes of the arrays inside a part; plain numbers are skipped."""
    for value in vars(part).values():
        kind = type(value)
        if kind in _PLAIN:
            continue
        if kind is np.ndarray:
            if value.ndim:
                yield value.shape
        elif hasattr(kind, "__dataclass_fields__"):
            yield from _shapes(value)
        elif kind is tuple:
            yield from (np.shape(item) for item in value)
        elif np.ndim(value):
            yield np.shape(value)


def shape_of(build: Build) -> tuple[int, ...]:
    """Shape that all fields of a build broadcast to.

    Parameters
    ----------
    build : Build

    Returns
    -------
    tuple of int
        ``()`` for a build of plain numbers.

    Raises
    ------
    ValueError
        If the fields do not broadcast together.
    """
    if not isinstance(build, Build):
        raise ValueError(f"a Build is wanted, got {type(build).__name__}")
    return np.broadcast_shapes(*_shapes(build))


def with_fields(build: Build, changes: dict[str, Any]) -> Build:
    """Copy a build with some fields replaced, named by dotted path.

    Parameters
    ----------
    build : Build
    changes : dict
        ``{"motor.kv": ..., "pack.cells": ..., "rotors": ...}``. A change of label makes another part of the same
        make, as a buyer would get: with ``motor.kv`` or the stator, resistance, loss torque and mass follow; with
        ``pack.cells``, ``pack.capacity_ah`` or ``pack.parallel``, mass, label currents and cell resistance; with the
        propeller's size, its mass (and a measured propeller falls back to its label); with ``propeller.blade_width``
        a measured chord goes, as it would win. With ``air.temperature`` or
        ``air.pressure``, density, viscosity and speed of sound follow. A value that is also in ``changes`` is kept.

    Returns
    -------
    Build

    Raises
    ------
    ValueError
        If a path is not a field; the message lists the nearest ones.
    """
    grouped: dict[str, dict[str, Any]] = {}
    top: dict[str, Any] = {}
    if not isinstance(changes, Mapping):
        raise ValueError(f"changes must be a mapping of fields to values, got {quoted(changes)}")
    for path, value in changes.items():
        check_in("field", path, field_paths(build))
        part, _, name = path.partition(".")
        if name:
            grouped.setdefault(part, {})[name] = value
        else:
            top[path] = value
    for part, values in grouped.items():
        old = getattr(build, part)
        top[part] = _RELABEL.get(part, replace)(old, **values)
    return replace(build, **top)


def _other_pack(old: battery.Pack, **values: Any) -> battery.Pack:
    """Another pack of the same make: mass, label currents and cell resistance follow cells and capacity."""
    new = replace(old, **values)
    known = old.label_c is not None or old.max_continuous_current is not None
    if known and "chemistry" in values and not {"label_c", "max_continuous_current"} & set(values):
        # a LiPo's C rating says nothing about Li-ion, nor the other way round
        rated = battery.of_chemistry(old, "label_exponent") > 0.0
        label = np.where(rated, battery.label_c(old), battery.of_chemistry(new, "typical_label"))
        new = replace(new, label_c=label[()])
    if not {"cells", "capacity_ah", "parallel"} & set(values):
        return new
    charge = np.asarray(new.capacity_ah, dtype=np.float64) / old.capacity_ah
    strings = np.asarray(new.parallel, dtype=np.float64) / old.parallel
    changes: dict[str, Any] = {}
    if old.mass is not None:
        # the leads and the wrapping stay, the cells scale
        estimate = battery.mass(replace(new, mass=None)) / battery.mass(replace(old, mass=None))
        changes["mass"] = np.asarray(old.mass) * estimate
    if old.cell_resistance is not None:
        changes["cell_resistance"] = np.asarray(old.cell_resistance) / charge
    for rating in ("max_continuous_current", "max_burst_current"):
        if getattr(old, rating) is not None:
            changes[rating] = np.asarray(getattr(old, rating)) * charge * strings
    return replace(new, **{k: v for k, v in changes.items() if k not in values})


def _other_propeller(old: propeller.Propeller, **values: Any) -> propeller.Propeller:
    """Another propeller of the same kind: a given mass scales with size and blades, a measured fit is dropped."""
    new = replace(old, **values)
    if "blade_width" in values:
        new = replace(new, **{"chord_ratio": None, "own_fit": None} | values)
    if not {"diameter", "pitch", "blades"} & set(values):
        return new
    changes: dict[str, Any] = {}
    if old.mass is not None:
        changes["mass"] = np.asarray(old.mass) * (
            propeller.mass(replace(new, mass=None)) / propeller.mass(replace(old, mass=None))
        )
    if old.own_fit is not None:
        changes["own_fit"] = None
    return replace(new, **{k: v for k, v in changes.items() if k not in values})


def _other_motor(old: motor.Motor, **values: Any) -> motor.Motor:
    """Another motor of the same make: K_m and loss torque follow the stator, resistance follows K_m and KV.

    The resistance keeps its ratio to the rule of `motor.from_stator`: the part outside the winding is unchanged.
    """
    new = replace(old, **{k: v for k, v in values.items() if k in ("kv", "stator_diameter", "stator_height")})
    if not {"kv", "stator_diameter", "stator_height"} & set(values):
        return replace(old, **values)
    constant: ArrayOrFloat = 1.0
    volume: ArrayOrFloat = 1.0
    before, after = motor.stator_of(old), motor.stator_of(new)
    if before is not None and after is not None:
        constant = motor.motor_constant(*after) / motor.motor_constant(*before)
        volume = (np.asarray(after[0]) ** 2 * np.asarray(after[1])) / (
            np.asarray(before[0]) ** 2 * np.asarray(before[1])
        )
    turns = (np.asarray(old.kv, dtype=np.float64) / new.kv / constant) ** 2
    changes: dict[str, Any] = {"resistance": motor.resistance_of_other(old, new, turns)}
    if old.winding_resistance is not None:
        changes["winding_resistance"] = np.asarray(old.winding_resistance) * turns
    changes["no_load_current"] = _no_load_current(old, new, changes["resistance"], volume)
    if old.mass is not None:
        changes["mass"] = np.asarray(old.mass) * volume
    return replace(new, **(changes | values))


_RELABEL: dict[str, Any] = {
    "motor": _other_motor,
    "pack": _other_pack,
    "propeller": _other_propeller,
    "air": changed,
}


def _no_load_current(old: motor.Motor, new: motor.Motor, resistance: NDArray, volume: ArrayOrFloat) -> NDArray:
    """Current at the old test voltage that keeps the loss torque per speed, scaled with stator volume. [A]"""
    slope = old.iron_torque_slope * volume
    return motor.current_without_load(slope, new.torque_constant, resistance=resistance, voltage=new.no_load_voltage)


def value_at(build: Build, path: str) -> Any:
    """Value of a field by its dotted name.

    Parameters
    ----------
    build : Build
    path : str
        One of `field_paths`: ``"pack.cells"``, ``"rotors"``.

    Returns
    -------
    float, ndarray, str or None
        Value in the part; for a throttle exponent that was not given, the value of the rule.

    Examples
    --------
    >>> from propmodel.assembly.demo import demo
    >>> value_at(demo("scree"), "pack.cells")
    6
    """
    if path == "controller.throttle_exponent":
        return build.controller.exponent
    part, _, name = path.partition(".")
    return getattr(getattr(build, part), name) if name else getattr(build, part)


def field_paths(build: Build) -> list[str]:
    """Dotted names of all fields of a build.

    Parameters
    ----------
    build : Build

    Returns
    -------
    list of str
    """
    paths: list[str] = []
    for each in fields(build):
        value = getattr(build, each.name)
        if is_dataclass(value):
            # a field that the build computes itself cannot be set
            inside = (inner for inner in fields(value) if "worked_out" not in inner.metadata)
            paths += [f"{each.name}.{inner.name}" for inner in inside]
        else:
            paths.append(each.name)
    return paths


def with_axis(build: Build, axes: int = 1) -> Build:
    """Append trailing axes of length one to every array field, so that a curve may run along them.

    Parameters
    ----------
    build : Build
    axes : int
        Number of axes.

    Returns
    -------
    Build
        The same object where it holds plain numbers only.
    """
    if shape_of(build) == ():
        return build
    return _expand(build, axes, len(shape_of(build)))


def _expand(part: Any, axes: int, rank: int) -> Any:
    changes = {}
    for each in fields(part):
        value = getattr(part, each.name)
        if is_dataclass(value):
            changes[each.name] = _expand(value, axes, rank)
        elif isinstance(value, tuple):
            changes[each.name] = tuple(np.asarray(v)[(...,) + (None,) * axes] if np.ndim(v) else v for v in value)
        elif np.ndim(value) > 0:
            changes[each.name] = np.asarray(value)[(...,) + (None,) * axes]
    return replace(part, **changes) if changes else part


def take(part: Any, keep: NDArray | slice, shape: tuple[int, ...]) -> Any:
    """Pick some elements of every array inside a part, a drive or a build.

    Parameters
    ----------
    part : dataclass
        Its arrays broadcast to ``shape``.
    keep : ndarray of bool, of int, or slice
        Which elements: a mask of ``shape``, or flat indices or a slice of its C-order elements.
    shape : tuple of int

    Returns
    -------
    dataclass
        Plain numbers stay; arrays become one-dimensional.
    """
    places: list[tuple[NDArray, ...]] = []  # computed once, if there is an array

    def taken(whole: NDArray) -> NDArray:
        if not isinstance(keep, np.ndarray):
            return whole.reshape(-1)[keep]
        if not places:
            flat = np.flatnonzero(keep) if keep.dtype == np.bool_ else keep.ravel()
            places.append(np.unravel_index(flat, shape))
        return whole[places[0]]

    def pick(value: Any) -> Any:
        if is_dataclass(value) and not isinstance(value, type):
            changes = {f.name: pick(getattr(value, f.name)) for f in fields(value)}
            # the values were checked when the part was made: skip __post_init__
            new = object.__new__(type(value))
            for name, item in changes.items():
                object.__setattr__(new, name, item)
            return new
        if isinstance(value, tuple):
            return tuple(pick(v) for v in value)
        if isinstance(value, np.ndarray) and value.ndim:
            return taken(np.broadcast_to(value, shape))
        return value

    return pick(part)


def scatter_back(whole: NDArray, some: NDArray, values: NDArray) -> NDArray:
    """Copy an array with some elements replaced: the way back from `take`.

    Parameters
    ----------
    whole : ndarray
        Broadcasts to the shape of ``some``.
    some : ndarray of bool
        Which elements.
    values : ndarray
        One for each of them.

    Returns
    -------
    ndarray
        Of the shape of ``some``.

    Examples
    --------
    >>> scatter_back(np.asarray(1.0), np.array([False, True]), np.array([2.0]))
    array([1., 2.])
    """
    out = np.array(np.broadcast_to(whole, some.shape))
    out[some] = values
    return out
