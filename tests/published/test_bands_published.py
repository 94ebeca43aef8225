"""How often measured rows lie inside the stated 80 % band, at half and at full throttle.

Sources: makers' and sellers' bench sheets and github.com/StrawsonDesign/motor_propeller_testing (commit 70314183, MIT),
each named in data/bench/SOURCE.md; a few rows of each are in data/bench/pairs.csv. These rows are **in the fit**, so
what they show is that the bands hold the rows they were made from, and are not far too wide. How the bands hold rows
whose motor and propeller were left out of the fit stands in data/motors/errors.csv, which is checked here too.

Rows of one sheet or stand share its throttle map, so a sheet counts once: of independent sheets eight in ten should lie
inside. One of seven (source "sheet 9", exponent 0.80 of the rule) carries nearly all misses at half throttle.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import propmodel
from propmodel.base.units import GRAM_FORCE, INCH, MM
from propmodel.components import motor
from propmodel.components.air import atmosphere
from propmodel.components.controller import Controller, default_throttle_exponent
from propmodel.components.propeller import Propeller
from propmodel.powertrain.throttle_curve import bench_curve
from propmodel.studies import spread

AIR = replace(atmosphere(), density=1.20)
"""Nobody recorded the air of the stands: assumed, as in the fit."""
DRAWS = 256
HALF, FULL = (45.0, 56.0), (94.0, 100.0)
QUANTITIES = ("thrust", "current")


@pytest.fixture(scope="module")
def rows(root) -> pd.DataFrame:
    """Usable rows of known stator and voltage; True or False where thrust and current lie inside the 80 % band."""
    t = pd.read_csv(root / "data" / "bench" / "pairs.csv")
    known = t["stator_diameter [mm]"].notna() & t["voltage [V]"].notna()
    t = t[(t["usable"] == "yes") & known].reset_index(drop=True)
    d, h, kv, diameter, pitch, blades, throttle, volts = (
        t[name].to_numpy(float)
        for name in (
            "stator_diameter [mm]", "stator_height [mm]", "kv [rpm/V]", "diameter [in]", "pitch [in]", "blades [-]",
            "throttle [%]", "voltage [V]",
        )
    )  # fmt: skip
    build = replace(
        propmodel.demo("scree"),
        motor=motor.from_stator(d * MM, h * MM, kv),
        propeller=Propeller(diameter * INCH, pitch * INCH, blades, multirotor=1.0),
        # the rule at the volts of each table, with the spread between stands
        controller=Controller(throttle_exponent=default_throttle_exponent(diameter * INCH, kv, volts)),
        command_cap=1.0,
    )
    many = spread.draw(build, draws=DRAWS).build
    curve = bench_curve(
        many.motor, many.propeller, volts[:, None], throttle[:, None] / 100.0, air=AIR, speed_controller=many.controller
    )
    for name, drawn, measured in (
        ("thrust", curve.thrust / GRAM_FORCE, t["thrust [g]"].to_numpy(float)),
        ("current", curve.supply_current, t["current [A]"].to_numpy(float)),
    ):
        rank = np.mean(drawn < measured[:, None], axis=1)
        t[name] = np.where(np.isnan(measured), np.nan, (rank > 0.1) & (rank < 0.9))
    return t


def by_source(rows: pd.DataFrame, throttle: tuple[float, float], quantity: str) -> pd.Series:
    some = rows[rows["throttle [%]"].between(*throttle)]
    return some.groupby("source")[quantity].mean().dropna()


@pytest.mark.parametrize("throttle", [HALF, FULL], ids=["half", "full"])
@pytest.mark.parametrize("quantity", QUANTITIES)
def test_makers_sheets_lie_in_the_stated_band(rows, throttle, quantity):
    # found: half throttle thrust 0.93, current 0.90; full 0.94, 0.93 (in the fit, hence the wide upper end)
    share = by_source(rows, throttle, quantity)
    sheets = share[~share.index.str.startswith("stand")]
    assert len(sheets) >= 7
    assert 0.70 <= sheets.mean() <= 0.97, sheets.round(2).to_dict()
    # row by row, with the ten or so rows of two sheets counting in full: 0.87, 0.83, 0.94, 0.94
    some = rows[rows["throttle [%]"].between(*throttle) & ~rows["source"].str.startswith("stand")]
    assert some[quantity].mean() >= 0.75


@pytest.mark.parametrize("throttle", [HALF, (85.0, 100.0)], ids=["half", "last before the supply gave out"])
@pytest.mark.parametrize("quantity", QUANTITIES)
def test_an_old_private_stand_lies_in_the_stated_band(rows, throttle, quantity):
    # Eight motors and eight propellers, but one throttle map: inside or outside nearly as one, so no upper end.
    # Found: half 0.90, 0.94; from 85 % up 0.85, 0.72. At 100 % alone 0.62 of the currents, for only motors that draw
    # less than forecast are left there: the supply gave out before with the others.
    share = by_source(rows, throttle, quantity)
    assert share["stand 1"] >= 0.70


@pytest.mark.parametrize("throttle", ["40 to 60 %", "100 %"])
@pytest.mark.parametrize("quantity", QUANTITIES)
def test_the_band_holds_motors_and_propellers_left_out_of_the_fit(root, throttle, quantity):
    # found: half throttle thrust 0.88, current 0.83; full 0.89, 0.90
    t = pd.read_csv(root / "data" / "motors" / "errors.csv")
    t = t[(t["how"] == "both left out") & (t["throttle"] == throttle) & t["tables"].str.startswith("makers")]
    assert t["number"].sum() >= 20
    assert 0.70 <= np.average(t[f"{quantity} inside"], weights=t["number"]) <= 0.92


def test_bands_are_no_wider_than_the_misses_ask_for(rows):
    # a band that held every row would be no news: some lie outside in either quantity at either throttle
    for quantity in QUANTITIES:
        for throttle in (HALF, FULL):
            some = rows[rows["throttle [%]"].between(*throttle) & ~rows["source"].str.startswith("stand")]
            assert some[quantity].mean() < 1.0
