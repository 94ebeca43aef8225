"""The first power-up, step by step, and the transients that go with it."""

from propmodel.power_up.facts_to_know import Fact, facts
from propmodel.power_up.judging import DOUBTFUL, FINE, STOP, judge, rows
from propmodel.power_up.step import Step
from propmodel.power_up.steps import (
    CAUTIONS,
    FAULTS,
    FIRST_CAUTION,
    STOP_AT_ONCE,
    STOP_AT_ONCE_SHORT,
    Fault,
    PowerUp,
    bare_motor,
    from_build,
    power_up_steps,
    supply_limit,
)

__all__ = [
    "CAUTIONS",
    "DOUBTFUL",
    "FAULTS",
    "FINE",
    "FIRST_CAUTION",
    "STOP",
    "STOP_AT_ONCE",
    "STOP_AT_ONCE_SHORT",
    "Fact",
    "Fault",
    "PowerUp",
    "Step",
    "bare_motor",
    "facts",
    "from_build",
    "judge",
    "power_up_steps",
    "rows",
    "supply_limit",
]
