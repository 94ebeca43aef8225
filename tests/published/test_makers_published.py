"""Forecasts from sizes alone against rows of makers' own bench sheets, inside the stated 80 % band.

Sources, beside each row below; the sheets state no licence, so only these rows are typed in. Air was not recorded:
1.20 kg/m3 is assumed. Sheets are of a cold motor in a short run, one sample. Of independent rows eight in ten should
lie inside; rows of one sheet go together, hence the wide allowance.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import propmodel
from propmodel.assembly.build import with_axis
from propmodel.base.units import GRAM_FORCE, INCH, RPM
from propmodel.components import motor
from propmodel.components.air import atmosphere
from propmodel.components.controller import Controller
from propmodel.components.propeller import Propeller
from propmodel.powertrain.throttle_curve import bench_curve
from propmodel.studies import spread

AIR = replace(atmosphere(), density=1.20)
NAN = float("nan")

# stator mm, KV, propeller in, blades, then rows of throttle, V, A, rpm, g
SHEETS = {
    # maker's sheet (ligpower.com/product/v2306_5-v2-fpv-motor.html), kept in github.com/GlassOnTin/darter
    "2306.5 1950": (
        (23.0, 6.5, 1950, 5.1, 4.3, 3),
        [(0.50, 25.05, 7.51, 20195, 653.8), (0.75, 24.84, 20.1, 26791, 1182.4), (1.0, 24.51, 35.7, 30991, 1591.5)],
    ),
    # maker's test image in github.com/Delta-Robotics-Inc/OpenUHD library/parts; three blades assumed
    "2207 1950": (
        (22.0, 7.0, 1950, 5.1, 4.5, 3),
        [(0.50, 24.9, 10.4, 20457, 763.0), (0.70, 24.7, 21.5, 25704, 1233.0), (1.0, 24.1, 43.0, 30342, 1699.0)],
    ),
    # seller's test (blog.unmanned.tech), in github.com/SakalioLabs/FPV-Dronecraft docs
    "2207 1850": ((22.0, 7.0, 1850, 5.1, 4.65, 3), [(1.0, 23.72, 35.74, 30129, 1400.5)]),
    # maker's sheet in a student design document; no rpm printed
    "2806.5 1300": ((28.0, 6.5, 1300, 7.0, 4.0, 3), [(0.50, 24.2, 8.83, NAN, 948.0), (1.0, 24.2, 45.1, NAN, 2361.0)]),
    # maker's sheet (shop.emaxmodel.com) in open course material
    "3210 900": (
        (32.0, 10.0, 900, 9.0, 4.5, 3),
        [(0.50, 24.9, 9.77, 9312, 1138.0), (0.70, 24.8, 22.64, 12290, 1992.0), (1.0, 24.5, 54.9, 15925, 3408.0)],
    ),
}
DRAWS = 256


def ranks(label, rows) -> dict[str, np.ndarray]:
    """Share of the drawn motors, propellers and controllers below each measured value, row by row."""
    d, h, kv, diameter, pitch, blades = label
    build = replace(
        propmodel.demo("scree"),
        motor=motor.from_stator(1e-3 * d, 1e-3 * h, kv),
        propeller=Propeller(diameter * INCH, pitch * INCH, blades),
        controller=Controller(),
        command_cap=1.0,
    )
    drawn = with_axis(spread.draw(build, draws=DRAWS).build)
    table = np.array(rows)
    curve = bench_curve(
        drawn.motor, drawn.propeller, table[:, 1], table[:, 0], air=AIR, speed_controller=drawn.controller
    )
    forecast = {
        "thrust": (curve.thrust / GRAM_FORCE, table[:, 4]),
        "current": (curve.supply_current, table[:, 2]),
        "rpm": (curve.rev_per_s / RPM, table[:, 3]),
    }
    return {
        name: np.where(np.isnan(measured), np.nan, np.mean(many < measured, axis=0))
        for name, (many, measured) in forecast.items()
    }


@pytest.fixture(scope="module")
def found() -> dict[str, np.ndarray]:
    every = [ranks(*sheet) for sheet in SHEETS.values()]
    return {name: np.concatenate([one[name] for one in every]) for name in every[0]}


@pytest.mark.parametrize("quantity", ["thrust", "current", "rpm"])
def test_makers_rows_lie_in_the_stated_band(found, quantity):
    # eight in ten are meant to; with twelve rows of five sheets 60 % would be rare if the band were true
    rank = found[quantity][np.isfinite(found[quantity])]
    assert rank.size >= 10
    inside = np.mean((rank > 0.1) & (rank < 0.9))
    assert inside >= 0.6, f"{quantity}: {inside:.0%} of the rows inside, ranks {np.round(rank, 2)}"


@pytest.mark.parametrize("quantity", ["thrust", "current"])
def test_the_band_is_not_all_above_or_below_the_sheets(found, quantity):
    rank = found[quantity][np.isfinite(found[quantity])]
    assert 0.1 < np.median(rank) < 0.9


# ---- with the raw tables beside the checkout


def test_typed_rows_are_those_of_the_raw_tables(shared_data):
    raw = pd.read_csv(shared_data / "makers" / "tables.csv")
    columns = raw[["kv", "prop_d_in", "throttle_pct", "voltage_V", "current_A", "rpm", "thrust_g"]].to_numpy(float)
    for label, rows in SHEETS.values():
        for throttle, *values in rows:
            typed = np.array([label[2], label[3], 100.0 * throttle, *values])
            assert np.isclose(columns, typed, rtol=1e-4, equal_nan=True).all(axis=1).any(), typed
