"""What an answer to a trouble is, and the craft that it is given for. Pure."""

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
    """One thing that goes wrong.

    Parameters
    ----------
    key, ask : str
        Name; the question as people put it.
    say : callable
        Answer in plain words, of a craft.
    page : str
        Where to go on.
    also : str
        Further words that find it.
    """

    key: str
    ask: str
    say: Callable[[CraftAnswers], str]
    page: str
    also: str = ""


class CraftAnswers:
    """A build of plain numbers with what the answers share, each found once.

    Parameters
    ----------
    build : Build
    way : Profile
        How it is flown.
    """

    def __init__(self, build: Build, way: Profile) -> None:
        self.build, self.way = build, way
        self.whole = Assessment(build)

    @cached_property
    def hovers(self) -> bool:
        """Whether full throttle holds it up for minutes."""
        return bool(self.whole.can_hover)

    @cached_property
    def stick_in_hover(self) -> tuple[float, float]:
        """Throttle above idle that hovers, fresh pack and end of flight: what firmware asks for. [-]"""
        return self._throttle(self.whole.hover.duty), self._throttle(self.whole.hover_at_reserve.duty)

    @cached_property
    def hover_command(self) -> tuple[float, float]:
        """Hover command, idle included, fresh pack and end of flight. [-]"""
        return number(self.whole.hover_command), number(self.whole.hover_command_at_reserve)

    def _throttle(self, duty: ArrayLike) -> float:
        return number(throttle_from_duty(self.build.controller, duty, command_cap=self.build.command_cap))

    @cached_property
    def motor_amps(self) -> tuple[float, float, float]:
        """Current in one motor flat out: 8 in 10 and the forecast between. [A]"""
        many = Assessment(draw(self.build, draws=128).build, quick=True).full_throttle.motor_current
        low, high = np.quantile(np.asarray(many), (0.1, 0.9))
        return float(low), number(self.whole.full_throttle.motor_current), float(high)

    @cached_property
    def full_volts(self) -> float:
        """Pack full, no load. [V]"""
        return number(battery.open_circuit_voltage(self.build.pack, 1.0))
