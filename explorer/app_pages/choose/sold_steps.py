"""Steps from a build to the next size of one part that is sold. Pure."""

from __future__ import annotations

from explorer.app_pages.choose.ranges import CELLS_SOLD, RANGES, STATORS_SOLD, stator_text
from explorer.inputs import Inputs
from propmodel.base.units import GRAM, INCH, MAH, MM
from propmodel.studies.sensitivity import InputStep

__all__ = [
    "next_sold",
]

_NEXT = {
    # field of the build, its range, SI of one typed unit, least relative step, words
    "motor.kv": ("kv", 1.0, 0.04, "{:g} KV"),
    "propeller.diameter": ("diameter_in", INCH, 0.015, "{:g} in propellers"),
    "propeller.pitch": ("pitch_in", INCH, 0.06, "{:g} in pitch"),
    "pack.capacity_ah": ("capacity_mah", MAH, 0.05, "a {:g} mAh pack"),
}


def next_sold(inputs: Inputs) -> tuple[InputStep, ...]:
    """Steps to the next size that is sold, up and down, and three that cost nothing.

    Parameters
    ----------
    inputs : Inputs

    Returns
    -------
    tuple of InputStep

    Examples
    --------
    >>> [step.words for step in next_sold(Inputs())][:4]
    ['2050 KV', '1850 KV', '5.2 in propellers', '5 in propellers']
    """
    found: list[InputStep] = []
    for path, (name, scale, least, words) in _NEXT.items():
        now = float(getattr(inputs, name))
        sold = RANGES[name].sold
        up = next((v for v in sold if v >= now * (1.0 + least)), None)
        down = next((v for v in reversed(sold) if v <= now * (1.0 - least)), None)
        found += [InputStep(path, (v - now) * scale, words.format(v)) for v in (up, down) if v is not None]
    for count in (inputs.blades + 1, inputs.blades - 1):
        found.append(InputStep("propeller.blades", float(count - inputs.blades), f"{count} blades"))
    wide, tall = inputs.stator_d_mm, inputs.stator_h_mm
    heights = sorted(h for d, h in STATORS_SOLD if d == wide)
    taller, flatter = [h for h in heights if h > tall][:1], [h for h in heights if h < tall][-1:]
    for height in taller + flatter:
        found.append(InputStep("motor.stator_height", (height - tall) * MM, f"{stator_text((wide, height))} motors"))
    sold_cells = sorted({inputs.cells, *CELLS_SOLD})
    at = sold_cells.index(inputs.cells)
    for cells in sold_cells[at + 1 : at + 2] + sold_cells[max(at - 1, 0) : at]:
        found.append(InputStep("pack.cells", float(cells - inputs.cells), f"{cells} cells"))
    return (
        *found,
        InputStep("craft.payload_mass", 50.0 * GRAM, "50 g more to carry"),
        InputStep("craft.frame_mass", -50.0 * GRAM, "50 g off the frame"),
        InputStep("command_cap", -0.10, "a throttle cap 10 points lower"),
    )
