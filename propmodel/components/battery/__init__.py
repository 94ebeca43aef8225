"""Battery packs: chemistries, capacity, resistance, voltage, and discharge at constant power."""

from propmodel.components.battery.cell_resistance import (
    LABEL_RANGE,
    PIECES,
    PIECES_PER_KELVIN,
    SUSTAINED_COLD,
    SUSTAINED_FACTOR,
    SUSTAINED_TIME,
    believable_rate,
    cell_resistance_new,
    cell_tables,
    cold_root,
    label_c,
    resistance,
    temperature_factor,
    ten_second_resistance,
)
from propmodel.components.battery.chemistry import (
    CAPACITY_EXPONENT,
    CHEMISTRIES,
    KNOTS,
    LABEL_EXPONENT,
    POUCH_CAPACITY,
    POUCH_LABEL_C,
    RATE_RANGE,
    REFERENCE_RATE,
    Chemistry,
    chemistry_index,
)
from propmodel.components.battery.chemistry import (
    resistance_laws as resistance_laws,
)
from propmodel.components.battery.discharging import (
    Discharge,
    discharge,
    run_down,
)
from propmodel.components.battery.discharging import (
    knots_below as knots_below,
)
from propmodel.components.battery.discharging import (
    node_tables as node_tables,
)
from propmodel.components.battery.discharging import (
    shape_of as shape_of,
)
from propmodel.components.battery.pack import (
    LEAST_TEMPERATURE,
    MOST_CAPACITY,
    MOST_TEMPERATURE,
    REFERENCE_TEMPERATURE,
    USABLE_RANGE,
    Pack,
    capacity,
    cutoff_voltage,
    mass,
    nominal_voltage,
    open_circuit_voltage,
    terminal_voltage,
)
from propmodel.components.battery.pack import (
    capacity_left as capacity_left,
)
from propmodel.components.battery.pack import (
    of_chemistry as of_chemistry,
)
from propmodel.components.battery.pack import (
    usable_share_new as usable_share_new,
)

__all__ = [
    "CAPACITY_EXPONENT",
    "CHEMISTRIES",
    "KNOTS",
    "LABEL_EXPONENT",
    "LABEL_RANGE",
    "LEAST_TEMPERATURE",
    "MOST_CAPACITY",
    "MOST_TEMPERATURE",
    "PIECES",
    "PIECES_PER_KELVIN",
    "POUCH_CAPACITY",
    "POUCH_LABEL_C",
    "RATE_RANGE",
    "REFERENCE_RATE",
    "REFERENCE_TEMPERATURE",
    "SUSTAINED_COLD",
    "SUSTAINED_FACTOR",
    "SUSTAINED_TIME",
    "USABLE_RANGE",
    "Chemistry",
    "Discharge",
    "Pack",
    "believable_rate",
    "capacity",
    "cell_resistance_new",
    "cell_tables",
    "chemistry_index",
    "cold_root",
    "cutoff_voltage",
    "discharge",
    "label_c",
    "mass",
    "nominal_voltage",
    "open_circuit_voltage",
    "resistance",
    "run_down",
    "temperature_factor",
    "ten_second_resistance",
    "terminal_voltage",
]
