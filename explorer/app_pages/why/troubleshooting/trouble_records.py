"""Records of troubleshooting: an entry, and the craft of its answer. Pure functions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from propmodel.assembly.build import Build
from propmodel.assess.assessment import Assessment
from propmodel.base.arrays import number
from propmodel.components import battery
from propmodel.components.controller import throttle_from_duty
from propmodel.flight.endurance import Profile
from propmodel.studies.spread import draw

__all__ = ["CraftAnswers", "Trouble"]


@dataclass(frozen=True)
class Trouble:
    """One troubleshooting entry.

    Parameters
    ----------
    key, ask : str
        Key; the question in the words of users.
    say : callable
        Returns the answer in words for a craft.
    page : str
        Page for further reading.
    also : str
        Other search words.
    """

    key: str
    ask: str
    say: Callable[[CraftAnswers], str]
    page: str
    also: str = ""


class CraftAnswers:
    """A scalar build with values that several answers use; each is computed once.

    Parameters
    ----------
    build : Build
        The build.
    way : Profile
        Way of flying.
    """

    def __init__(self, build: Build, way: Profile) -> None:
        self.build, self.way = build, way
        self.whole = Assessment(build)

    @cached_property
    def hovers(self) -> bool:
        """Whether full throttle carries the weight for minutes."""
        return bool(self.whole.can_hover)

    @cached_property
    def stick_in_hover(self) -> tuple[float, float]:
        """Hover throttle above idle, on a full pack and at the end of the flight, for a firmware setting. [-]"""
        return self._throttle(self.whole.hover.duty), self._throttle(self.whole.hover_at_reserve.duty)

    @cached_property
    def hover_command(self) -> tuple[float, float]:
        """Hover command including idle, on a full pack and at the end of the flight. [-]"""
        return number(self.whole.hover_command), number(self.whole.hover_command_at_reserve)

    def _throttle(self, duty: ArrayLike) -> float:
        return number(throttle_from_duty(self.build.controller, duty, command_cap=self.build.command_cap))

    @cached_property
    def motor_amps(self) -> tuple[float, float, float]:
        """Current in one motor at full throttle: low end of the 80 % interval, forecast, high end. [A]"""
        many = Assessment(draw(self.build, draws=128).build, quick=True).full_throttle.motor_current
        low, high = np.quantile(np.asarray(many), (0.1, 0.9))
        return float(low), number(self.whole.full_throttle.motor_current), float(high)

    @cached_property
    def full_volts(self) -> float:
        """Voltage of the full pack without load. [V]"""
        return number(battery.open_circuit_voltage(self.build.pack, 1.0))
