"""Limits of one build in words, the worst first, each with its smallest remedy.

Longer than others because the reason, the remedy and the question of each limit are in one place.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from propmodel.assembly.build import Build, shape_of, value_at, with_fields
from propmodel.assess import margins
from propmodel.assess.assessment import Assessment
from propmodel.base.arrays import number
from propmodel.base.checks import check_in, check_number, check_positive
from propmodel.base.units import CELSIUS_ZERO, GRAM, INCH
from propmodel.components import battery
from propmodel.components.propeller.prepared import MACH_KNEE, MACH_MEASURED, MACH_RISE

__all__ = ["TIGHT", "Limit", "hold_text", "kv_too_high", "limits"]

TIGHT = 0.85
"""Used share of an allowance from which the limit is "tight". [-]"""

State = Literal["clear", "tight", "over", "unknown"]

TOO_LITTLE_THRUST = ("pull", "hover_high")
"""Limits of a craft with too little thrust for its mass."""


@dataclass(frozen=True)
class Limit:
    """One limit of one build.

    Parameters
    ----------
    key : str
        Name in `assess.margins.SHARES` or `FITS`.
    name, part : str
        Names of the limit and of the part, for display.
    kind : {"fits", "share"}
        "fits" for a yes-or-no limit, which is not drawn as a bar.
    share : float
        Used share of the allowance; 0 or 2 for a fit; NaN where the rating is not given. [-]
    hold : float
        Duration of the load; infinity for continuous load; NaN where it does not matter. [s]
    state : {"clear", "tight", "over", "unknown"}
        Rating of the share.
    basis : str
        Origin of the limit: label, standard, common practice, physics or estimate.
    reason : str
        Quantity and value, in one clause without full stop.
    more : str
        Further sentences; often empty.
    fix : str
        Smallest change that satisfies the limit, in one sentence; empty if none is needed.
    fix_note : str
        Remark on that change; often empty.
    ask : str
        What the user should find out, if the rating is not given; else empty.
    usual : bool
        True if the limit is exceeded by an amount that is usual for ten seconds of full throttle, see
        `assess.margins.Usual`.
    """

    key: str
    name: str
    part: str
    kind: Literal["fits", "share"]
    share: float
    hold: float
    state: State
    basis: str
    reason: str
    more: str = ""
    fix: str = ""
    fix_note: str = ""
    ask: str = ""
    usual: bool = False

    @property
    def sentence(self) -> str:
        """Reason and further sentences."""
        return f"{self.reason}. {self.more}".strip()

    @property
    def remedy(self) -> str:
        """The smallest change with its remark, or what to find out; empty if nothing is needed."""
        return f"{self.fix} {self.fix_note}".strip() or self.ask


def hold_text(hold: float) -> str:
    """Return the text of a duration.

    Parameters
    ----------
    hold : float
        Duration of the load; infinity for continuous load. [s]

    Returns
    -------
    str
        Such as "for 10 s".

    Examples
    --------
    >>> hold_text(10.0), hold_text(float("inf"))
    ('for 10 s', 'for good')
    """
    return "for good" if np.isinf(hold) else f"for {hold:.0f} s"


def kv_too_high(found: Sequence[Limit]) -> Limit | None:
    """Return the exceeded limit which says that the KV is too high for the number of cells, else None.

    This limit is the common cause of other limits.

    Parameters
    ----------
    found : sequence of Limit
        Result of `limits`.

    Returns
    -------
    Limit or None
        The limit of the free tip speed, if it is exceeded.

    Examples
    --------
    >>> import propmodel
    >>> kv_too_high(propmodel.limits(propmodel.demo("scree"))) is None
    True
    """
    return next((one for one in found if one.key == "free_tip" and one.state == "over"), None)


def limits(build: Build, *, hold: float = 10.0, remedies: Literal["all", "worst"] = "all") -> list[Limit]:
    """Return all limits of one build, the worst first.

    Parameters
    ----------
    build : Build
        A single build; for arrays use `assess.margins.evaluate`.
    hold : float
        Duration of full throttle; infinity for continuous load. [s]
    remedies : {"all", "worst"}
        Limits for which the change that brings them within their limit (``fix``) is searched: all; or only the worst
        one if it is exceeded by more than usual, and too little thrust. The search for all takes two thirds of the
        time.

    Returns
    -------
    list of Limit
        In the order over, over by a usual amount, tight, clear (each by used share), unknown.

    Raises
    ------
    ValueError
        If the build holds arrays, hold is not above zero, or ``remedies`` is not one of the two.

    Examples
    --------
    >>> import propmodel
    >>> worst = limits(propmodel.demo("scree"))[0]
    >>> worst.state in ("clear", "tight", "over")
    True
    """
    if shape_of(build) != ():
        raise ValueError(
            "limits needs one build of plain numbers; for arrays of builds use propmodel.assess.margins.evaluate"
        )
    if not (isinstance(hold, float) and hold == np.inf):
        check_positive("hold", check_number("hold", hold, "s"), "s")
    check_in("remedies", remedies, ("all", "worst"))
    a = Assessment(build)
    values = {k: float(v) for k, v in margins.evaluate(a, hold=hold).items()}
    found: list[Limit] = []
    clearing = _Clearing(build, hold, values)
    for key, share in margins.SHARES.items():
        used = values[key]
        if np.isnan(used) and key == "motor_lost":
            continue
        state = _state(used)
        found.append(
            Limit(
                key,
                share.name,
                share.part,
                "share",
                used,
                hold if share.held else np.nan,
                state,
                share.basis,
                _reason(key, a, used, hold),
                _more(key, a, used, hold),
                "",
                ask=_ask(key) if state == "unknown" else "",
                usual=state == "over"
                and hold <= margins.BURST_SECONDS
                and bool(margins.is_usual(share.usual, used, number(a.thrust_to_weight))),
            )
        )
    for key, fit in margins.FITS.items():
        used = values[key]
        state = _state(used)
        found.append(
            Limit(
                key,
                fit.name,
                fit.part,
                "fits",
                used,
                np.nan,
                state,
                fit.basis,
                _fit_reason(key, a, state),
                "What the number means is for your local rules."
                if key == "mass_threshold" and state != "unknown"
                else "",
                _fit_fix(key, a) if state == "over" else "",
                _fit_note(key) if state == "over" else "",
                _ask(key) if state == "unknown" else "",
            )
        )
    order = {"over": 0, "tight": 1, "clear": 2, "unknown": 3}
    found.sort(key=lambda x: (order[x.state], x.usual, x.kind != "fits", -np.nan_to_num(x.share, posinf=1e9)))

    def searched(place: int, one: Limit) -> bool:
        if one.kind == "fits" or one.state not in ("over", "tight"):
            return False
        first = place == 0 and one.state == "over" and not one.usual
        return remedies == "all" or first or one.key in TOO_LITTLE_THRUST

    return [replace(one, fix=clearing.words(one.key)) if searched(k, one) else one for k, one in enumerate(found)]


def _state(share: float) -> State:
    if np.isnan(share):
        return "unknown"
    return "over" if share > 1.0 else "tight" if share >= TIGHT else "clear"


def _celsius(kelvin: NDArray | float) -> str:
    value = float(kelvin)
    return f"{value - CELSIUS_ZERO:.0f} C" if np.isfinite(value) and value < 473.15 else "above 200 C"


def _near(temperature: str) -> str:
    return temperature if temperature.startswith("above") else f"near {temperature}"


def _more(key: str, a: Assessment, used: float, hold: float) -> str:
    """Further sentences about a share; empty for most."""
    pack = a.build.pack
    if key == "pack_label" and used == used:
        return "Labels of different makers do not compare: the pack's resistance and the heat it makes count more."
    if key == "pack_heat" and (start := number(pack.temperature)) > _HOT:
        return f"It begins at {_celsius(start)}; {_celsius(margins.PACK_LIMIT)} is the most."
    if key in ("sag_fresh", "sag_low") and pack.cell_resistance is None:
        return "The pack's resistance is an estimate; a charger's reading narrows it."
    if key == "connector" and hold <= margins.BURST_SECONDS:
        return "For ten seconds at most it bears half as much again as its rating."
    if key == "tip_speed":
        mach = float(a.fresh_burst.prop.tip_mach(a.full_throttle.rev_per_s))
        more = MACH_RISE * max(mach - MACH_KNEE, 0.0) ** 2
        if more < 0.005:
            return "So slow they cost no extra power."
        if mach <= MACH_MEASURED:
            return f"That takes {_percent(more)} more power than slow tips (fitted to {MACH_MEASURED:.2f})."
        return (
            f"By the fit that takes {_percent(more)} more power than slow tips; it was measured only up to "
            f"{MACH_MEASURED:.2f}."
        )
    return ""


def _reason(key: str, a: Assessment, used: float, hold: float) -> str:
    """Quantity and value of a share, in one clause."""
    b, full = a.build, a.full_throttle
    amps, motor = float(full.pack_current), float(full.motor_current)
    held = hold_text(hold)
    cells = float(b.pack.cells)
    if key == "pack_label":
        limit = amps / used if used == used and used > 0 else np.nan
        return (
            f"Flat out it draws {amps:.0f} A; the label allows {limit:.0f} A {held}"
            if limit == limit
            else f"Flat out it draws {amps:.0f} A; the pack's label is not told"
        )
    if key == "pack_heat":
        seconds = float(margins.pack_seconds(a, hold))
        rise = float(margins.pack_rise(a, hold))
        hover = float(margins.hover_pack_rise(a))
        if hover > rise:
            return f"A hover down to the reserve warms the pack by about {hover:.0f} C"
        return f"{amps:.0f} A held {seconds:.0f} s warms the pack by about {rise:.0f} C"
    if key in ("sag_fresh", "sag_low"):
        point = a.full_throttle_at_reserve if key == "sag_low" else full
        when = "at the end of the flight" if key == "sag_low" else "on a fresh pack"
        return f"A punch {when} pulls each cell down to {float(point.bus_voltage) / cells:.2f} V"
    if key == "controller_current":
        rating = (
            "burst rating" if hold <= margins.BURST_SECONDS and b.controller.burst_current is not None else "rating"
        )
        return f"Each ESC passes {motor:.0f} A flat out, held {held}: {_percent(used)} of its {rating}"
    if key == "motor_current":
        return f"Each motor takes {motor:.0f} A flat out: {_percent(used)} of its label"
    if key in ("winding_heat", "magnet_heat"):
        winding, body = margins.motor_temperatures(a, hold)
        what = winding if key == "winding_heat" else body
        thing = "windings" if key == "winding_heat" else "magnets"
        if np.isinf(float(what)):
            seconds = float(a.full_throttle_seconds)
            return (
                f"Flat out for good the {thing} never settle; from warm, the winding limit comes after {seconds:.0f} s"
            )
        return f"Flat out {held} from a warm motor, the {thing} reach {_near(_celsius(what)).replace('near', 'about')}"
    if key == "hover_heat":
        heat_flow = float(a.winding_heat(a.hover) + a.hover.iron_loss)
        return (
            f"Hovering makes {heat_flow:.1f} W of heat in each motor; its winding settles "
            f"{_near(_celsius(a.hover_heat.winding))}"
        )
    if key == "main_leads":
        return f"{amps:.0f} A through the pack leads {held}"
    if key == "motor_leads":
        return f"{motor:.0f} A through each motor's leads {held}"
    if key == "connector":
        return f"{amps:.0f} A {held}"
    if key == "brownout":
        low = float(a.full_throttle_at_reserve.bus_voltage)
        need = number(b.craft.electronics_min_voltage)
        return f"A punch at the end of the flight pulls the bus to {low:.1f} V; the electronics need {need:.1f} V"
    if key == "tip_speed":
        mach = float(a.fresh_burst.prop.tip_mach(full.rev_per_s))
        speed = mach * number(b.air.speed_of_sound)
        return f"Blade tips run at {speed:.0f} m/s, {mach:.2f} of the speed of sound"
    if key == "motor_volts":
        return (
            f"Flat out {_percent(used * 0.5)} of the volts are lost inside motor and ESC; at half, more load only "
            "makes heat"
        )
    if key == "free_tip":
        rpm = float(margins.free_speed(a)) * 60.0
        return (
            f"Unloaded the motor would turn {rpm / 1000:.0f},000 rpm on this pack, tips at {used:.2f} of the speed "
            "of sound at 15 C; a propeller that slows it makes it draw more current"
        )
    if key == "pull":
        ratio = float(a.thrust_to_weight_at_reserve)
        return f"At the end of the flight the thrust is {ratio:.1f} times the weight; below 2 it cannot catch a gust"
    if key == "hover_high":
        if not bool(a.can_hover):
            return "It cannot hover"
        command = float(np.minimum(a.hover_command_at_reserve, 9.99))
        light, heavy = number(a.mass) <= margins.LIGHT_CRAFT_MASS, number(a.mass) >= margins.LIFTER_MASS
        such = "; 40 to 60 % is usual for so light a craft" if light else ""
        such = "; up to 60 % is usual for a craft built to lift" if heavy else such
        return f"At the end of the flight a hover takes {_percent(command)} of the motors' command, idle included{such}"
    if key == "hover_low":
        command = float(a.hover_command)
        return f"On a fresh pack a hover takes {_percent(command)} of the motors' command, idle included"
    if key == "motor_lost":
        return f"With one motor and its opposite out, the thrust is {1.0 / used:.1f} times the weight"
    raise KeyError(key)


def _percent(share: float) -> str:
    return "an unknown share" if share != share else f"{100.0 * share:.0f} %"


def _ask(key: str) -> str:
    return {
        "pack_label": "Type the C figure of the label, or better a resistance reading.",
        "controller_current": "Type the ESC's amps for each motor: a four-in-one's figure is per motor.",
        "motor_current": "Type the motor's largest current, if its page gives one.",
        "main_leads": "Type the gauge of the pack leads.",
        "motor_leads": "Type the gauge of the motor leads.",
        "connector": "Type the connector's rating.",
        "motor_cells": "Type the cells the motor is sold for.",
        "controller_cells": "Type the cells the ESC is sold for.",
        "video_voltage": "Look up the maximum voltage of the video transmitter: one cell too many is a common loss.",
        "camera_voltage": "Look up the maximum voltage of the camera, or feed it from a regulator.",
        "regulator_voltage": "Look up the maximum voltage of the regulator.",
        "receiver_voltage": "Receivers usually run from 5 V: type its maximum voltage only if the pack feeds it.",
        "capacitor_voltage": "Read the capacitor's rating on its sleeve.",
        "frame_clearance": "Type the propeller size the frame is sold for.",
        "mass_threshold": "Set a mass your local rules care about, if any.",
    }.get(key, "")


def _cells(count: float) -> str:
    return f"{count:.0f} cell{'' if count == 1.0 else 's'}"


def _fit_reason(key: str, a: Assessment, state: State) -> str:
    b = a.build
    cells = float(b.pack.cells)
    volts = float(battery.open_circuit_voltage(b.pack, 1.0))
    yes = state == "clear"
    if state == "unknown":
        return "Not told"
    if key == "motor_cells":
        limit = number(b.motor.max_cells)
        return f"The motor is sold for up to {_cells(limit)}; the pack has {cells:.0f}"
    if key == "controller_cells":
        c = b.controller
        low = "" if c.min_cells is None else f"{number(c.min_cells):.0f} to "
        high = "" if c.max_cells is None else _cells(number(c.max_cells))
        if not high and c.max_voltage is not None:
            high = f"{number(c.max_voltage):.1f} V"
        return f"The ESC is sold for {low}{high}; the pack has {_cells(cells)}, {volts:.1f} V full"
    if key == "capacitor_voltage":
        rating = number(b.craft.capacitor_voltage)
        return (
            f"{rating:.0f} V on a {volts:.1f} V pack: {'room' if yes else 'too little room'} for braking and "
            "plug-in ringing"
        )
    if key == "frame_clearance":
        size = number(b.propeller.diameter) / INCH
        room = number(b.craft.frame_propeller_diameter) / INCH
        article = "An" if int(size) in (8, 11, 18) else "A"
        return f"{article} {size:.1f} in propeller in a frame sold for {room:.1f} in"
    if key == "mass_threshold":
        limit = number(b.craft.mass_threshold) / GRAM
        return f"{float(a.mass) / GRAM:.0f} g against {limit:.0f} g"
    part = margins.FITS[key].part
    limit = number(getattr(b.craft, key.replace("_voltage", "_max_voltage")))
    return f"The {part} is rated for {limit:.1f} V; a full pack gives {volts:.1f} V"


def _fit_fix(key: str, a: Assessment) -> str:
    if key in ("motor_cells", "controller_cells"):
        part = "a motor" if key == "motor_cells" else "an ESC"
        return f"Take fewer cells or {part} sold for this many."
    if key == "capacitor_voltage":
        need = margins.CAPACITOR_MARGIN * float(battery.open_circuit_voltage(a.build.pack, 1.0))
        return f"Fit one rated {_next_up(need, (10, 16, 25, 35, 50, 63, 80, 100)):.0f} V or more."
    if key == "frame_clearance":
        return "Take the propeller the frame is sold for: blades that touch break at once."
    if key == "mass_threshold":
        return f"Leave {(float(a.mass) - number(a.build.craft.mass_threshold)) / GRAM:.0f} g at home."
    if key == "regulator_voltage":
        return "Take a flight controller whose regulator is rated for a full pack, or put a regulator before it."
    return "Feed it from a regulator, or take one rated for the pack."


def _fit_note(key: str) -> str:
    if key in ("motor_cells", "controller_cells"):
        return (
            "A throttle cap does not help: it lowers the average voltage only, while switching, ripple and braking "
            "still see the whole pack."
        )
    if key.endswith("_voltage") and key != "capacitor_voltage":
        return "This kind of loss comes at first power-up."
    return ""


def _next_up(value: float, steps: tuple[float, ...]) -> float:
    return next((s for s in steps if s >= value), steps[-1])


class _Change(NamedTuple):
    """A field that a remedy may change: its description, and the range of trial values."""

    path: str
    words: str
    end: float
    """Last trial value, relative to the present one; with ``absolute`` in ``unit``."""
    step: float
    unit: str
    factor: float
    absolute: bool = False
    offset: float = 0.0
    """Offset of the unit's zero. [SI]"""
    plural: bool = False


_CHANGES = {
    "cap": _Change("command_cap", "a throttle cap of", 0.5, 1.0, "%", 0.01),
    "uncap": _Change("command_cap", "raising the throttle cap to", 100.0, 1.0, "%", 0.01, absolute=True),
    "capacity": _Change("pack.capacity_ah", "a pack of", 4.0, 50.0, "mAh", 1e-3),
    "pitch": _Change("propeller.pitch", "a pitch of", 0.5, 0.1, "in", INCH),
    "smaller": _Change("propeller.diameter", "a propeller of", 0.6, 0.1, "in", INCH),
    "larger": _Change("propeller.diameter", "a propeller of", 1.8, 0.1, "in", INCH),
    "slower": _Change("motor.kv", "motors of", 0.5, 50.0, "KV", 1.0, plural=True),
    "landing": _Change("pack.reserve", "landing with a charge left of", 40.0, 1.0, "%", 0.01, absolute=True),
    "warmer": _Change("pack.temperature", "a pack warmed to", 25.0, 1.0, "C", 1.0, absolute=True, offset=CELSIUS_ZERO),
    "cooler": _Change("pack.temperature", "a pack cooled to", 15.0, 1.0, "C", 1.0, absolute=True, offset=CELSIUS_ZERO),
}
_MOST_TRIED = 80  # largest number of trial values; for more the step is increased
_SURE = 0.998  # required share, below 1 because quick results are used
_REMEDIES: dict[str, tuple[str, ...]] = {
    "pack_label": ("cap", "capacity", "pitch"),
    "pack_heat": ("cooler", "cap", "capacity", "pitch"),
    "sag_fresh": ("warmer", "capacity", "cap", "pitch"),
    "sag_low": ("warmer", "landing", "capacity", "cap", "pitch"),
    "controller_current": ("cap", "pitch", "smaller", "slower"),
    "motor_current": ("cap", "pitch", "smaller", "slower"),
    "winding_heat": ("cap", "pitch", "smaller", "slower"),
    "magnet_heat": ("cap", "pitch", "smaller", "slower"),
    "hover_heat": ("larger", "slower"),
    "main_leads": ("cap",),
    "motor_leads": ("cap",),
    "connector": ("cap",),
    "brownout": ("warmer", "landing", "capacity", "cap"),
    "tip_speed": ("slower", "cap"),
    "motor_volts": ("pitch", "smaller"),
    "free_tip": ("slower", "smaller"),
    "pull": ("uncap", "larger", "capacity"),
    "hover_high": ("uncap", "larger", "capacity"),
    "hover_low": ("cap", "slower"),
    "motor_lost": ("uncap", "larger", "capacity"),
}
_COLD, _HOT = 283.15, 313.15  # [K] outside this range the pack temperature is the first remedy
_LITTLE_LEFT = 0.10  # reserve below which an earlier landing is a remedy
_CURRENT = ("pack_label", "pack_heat", "sag_fresh", "sag_low", "controller_current", "motor_current", "winding_heat")
_WEAK_WHEN_COLD = ("sag_fresh", "sag_low", "brownout", "pull", "hover_high", "motor_lost")
_OTHER_PARTS = "No single small change brings it within its limit: other parts are needed."
_TOO_MANY_VOLTS = tuple(key for key in margins.FITS if key.endswith(("_cells", "_voltage")))


def _is_sold(inches: NDArray) -> NDArray[np.bool_]:
    """Propellers from 2.5 in are sold in half inches, and 5.1 and 5.2 in (common practice, from memory)."""
    halves = np.abs(2.0 * inches - np.round(2.0 * inches)) < 1e-6
    return (inches < 2.45) | halves | ((inches > 5.05) & (inches < 5.25))


class _Clearing:
    """Search for the smallest change of a single field that brings a share below 1."""

    def __init__(self, build: Build, hold: float, now: Mapping[str, float]) -> None:
        self.build = build
        self.hold = hold
        self.now = now
        self._curves: dict[_Change, tuple[NDArray, dict[str, NDArray]]] = {}

    def _curve(self, change: _Change) -> tuple[NDArray, dict[str, NDArray]]:
        """Return the trial values, rounded for display and preceded by the present value, and the shares at each."""
        if change not in self._curves:
            now = (number(value_at(self.build, change.path)) - change.offset) / change.factor
            end = change.end if change.absolute else change.end * now
            step = change.step * max(1.0, np.ceil(abs(end - now) / change.step / _MOST_TRIED))
            away = np.floor(now / step + 1e-6) if end > now else np.ceil(now / step - 1e-6)
            count = int(abs(end / step - away) + 1e-6)
            beyond = (away + np.sign(end - now) * np.arange(1, count + 1)) * step
            numbers = np.concatenate([[now], beyond])
            if change.path == "propeller.diameter":
                numbers = numbers[_is_sold(numbers) | (np.arange(numbers.size) == 0)]
            if change.unit == "mAh":
                numbers = numbers[numbers * change.factor <= battery.MOST_CAPACITY]
            build = with_fields(self.build, {change.path: numbers * change.factor + change.offset})
            self._curves[change] = numbers, margins.evaluate(Assessment(build, quick=True), hold=self.hold)
        return self._curves[change]

    def _ways(self, key: str) -> list[_Change]:
        """Return the changes to try, the most likely first."""
        pack = self.build.pack
        temperature, reserve = number(pack.temperature), number(pack.reserve)
        idle = {
            "warmer": temperature >= _COLD,
            "cooler": temperature <= _HOT,
            "landing": reserve >= _LITTLE_LEFT,
            "uncap": number(self.build.command_cap) >= 1.0,
        }
        names = [name for name in _REMEDIES.get(key, ()) if not idle.get(name)]
        if key in _CURRENT and self.now["free_tip"] > 1.0:  # too much KV for the cells is behind it
            names = ["slower", *(name for name in names if name != "slower")]
        return [_CHANGES[name] for name in names]

    def words(self, key: str) -> str:
        """Describe the first change that satisfies a limit and violates no other."""
        if any(self.now[fit] > 1.0 for fit in _TOO_MANY_VOLTS):
            return "First put right the parts that are not rated for so many cells."
        found = self._single(key)
        cold = number(self.build.pack.temperature) < _COLD and key in _WEAK_WHEN_COLD
        if not cold or "warmed" in found:
            return found
        return "Warm the pack first." if found == _OTHER_PARTS else f"Warm the pack first. {found}"

    def _single(self, key: str) -> str:
        second = ""
        for change in self._ways(key):
            numbers, shares = self._curve(change)
            good = shares[key] <= _SURE * (1.0 if shares[key][0] > 1.0 else TIGHT)
            if good[0] or not good.any():
                continue
            others = {k: v for k, v in shares.items() if k != key and np.ndim(v)}
            # no other limit may become exceeded, and no exceeded limit may get worse
            spoilt = {k: (v > np.maximum(1.0, 1.001 * v[0])) & good for k, v in others.items()}
            fine = good & ~np.any(list(spoilt.values()), axis=0)
            index = int(np.argmax(fine if fine.any() else good))
            amount = f"{numbers[index]:.{1 if change.unit == 'in' else 0}f} {change.unit}"
            s, over = "" if change.plural else "s", shares[key][0] > 1.0
            helps = f"bring{s} it within its limit" if over else f"leave{s} it more room"
            text = f"{change.words[0].upper()}{change.words[1:]} {amount} {helps}"
            if change.path == "command_cap" and numbers[index] > numbers[0]:
                text = f"The throttle cap of {numbers[0]:.0f} % holds it back: raising it to {amount} {helps}"
            if fine.any():
                return f"{text}."
            if not second:
                worst = max((k for k in spoilt if spoilt[k][index]), key=lambda k: float(others[k][index]))
                name = (margins.SHARES.get(worst) or margins.FITS[worst]).name
                second = f"{text}, but then there is another limit: {name[0].lower()}{name[1:]}."
        return second or _OTHER_PARTS
