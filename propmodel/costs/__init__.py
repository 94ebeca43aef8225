"""Running cost of a session, and spare parts to take along."""

from propmodel.costs.session import (
    PARTS,
    Consumption,
    Prices,
    Session,
    SessionCost,
    consumption,
    pack_wear,
    session_cost,
)
from propmodel.costs.spares import (
    Spare,
    chance_enough,
    chance_enough_propellers,
    chance_in_words,
    spares_list,
    spares_needed,
)

__all__ = [
    "PARTS",
    "Consumption",
    "Prices",
    "Session",
    "SessionCost",
    "Spare",
    "chance_enough",
    "chance_enough_propellers",
    "chance_in_words",
    "consumption",
    "pack_wear",
    "session_cost",
    "spares_list",
    "spares_needed",
]
