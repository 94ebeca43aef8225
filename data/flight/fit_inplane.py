"""Fit the in-plane force of a rotor, and compare tilt and body force with what was measured.

Run ``python data/flight/fit_inplane.py [folder of the raw tables]``. Writes ``inplane.csv``, ``body.csv`` and
``tilt.csv`` and prints k and c of H = k T mu/(1 + c mu), which ``propmodel/components/inplane.py`` carries.
"""

from __future__ import annotations

import os
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.optimize import least_squares

import propmodel
from propmodel.components.craft import TOP_TO_FRONT_DRAG

HERE = Path(__file__).resolve().parent
INCH = 0.0254
SPEEDS = (5.0, 10.0, 15.0)
# in the order of the raw table: mass where the source states none [kg], pitch [inch], source
FLOWN = (
    (0.60, 4.3, "github.com/tudelft/optimal_quad_control_RL"),
    (np.nan, 3.0, "arXiv 2304.13460"),
    (np.nan, 4.5, "github.com/uzh-rpg/rpg_quadrotor_control"),
)


def form(advance: np.ndarray, k: float, c: float) -> np.ndarray:
    """H/(T mu)."""
    return k / (1.0 + c * advance)


def fit(folder: Path) -> tuple[float, float]:
    """Gain and fade, least squares of the logarithm; writes the rows beside the fit."""
    rows = pd.read_csv(folder / "rotor_inplane_force.csv")
    mu, ratio = rows["mu"].to_numpy(), rows["H_over_T_mu"].to_numpy()
    k, c = least_squares(lambda p: np.log(form(mu, *p) / ratio), (2.0, 8.0)).x
    pd.DataFrame({"mu [-]": mu, "measured [-]": ratio, "fit [-]": form(mu, k, c).round(3)}).to_csv(
        HERE / "inplane.csv", index=False
    )
    return float(k), float(c)


def body(folder: Path) -> None:
    """Force of the air on a frame along and across its plate, against front x cos and top x sin."""
    rows = pd.read_csv(folder / "octocopter_frame_drag_area.csv")
    angle = np.radians(rows["alpha_deg"].to_numpy())
    front, top = rows["body_x_area_m2"].iloc[0], rows["body_z_area_m2"].iloc[-1]
    pd.DataFrame(
        {
            "tilt [deg]": rows["alpha_deg"],
            "along the plate [m^2]": rows["body_x_area_m2"],
            "forecast along [m^2]": (front * np.cos(angle)).round(4),
            "across the plate [m^2]": rows["body_z_area_m2"],
            "forecast across [m^2]": (top * np.sin(angle)).round(4),
        }
    ).to_csv(HERE / "body.csv", index=False)
    print(f"frame: top over front {top / front:.2f}, the project takes {TOP_TO_FRONT_DRAG}")


def craft(mass: float, diameter: float, pitch: float, blades: int) -> propmodel.Build:
    """A craft of this mass and propeller with the default drag areas; its motors and pack do not enter the tilt."""
    base = propmodel.with_fields(
        propmodel.demo("tarn"),
        {
            "propeller.diameter": diameter * INCH,
            "propeller.pitch": pitch * INCH,
            "propeller.blades": blades,
        },
    )
    frame = float(base.craft.frame_mass) + mass - float(base.mass)
    return replace(
        base,
        craft=replace(base.craft, frame_mass=frame, drag_area_front=None, drag_area_top=None),
        air=propmodel.air.STANDARD,
    )


def tilts(folder: Path) -> None:
    """Forecast of the tilt of the flown craft, beside what was identified along and across them."""
    table = pd.read_csv(folder / "inplane_drag_flown.csv")
    out = []
    for (_, row), (mass, pitch, source) in zip(table.iterrows(), FLOWN, strict=True):
        kilograms = row["mass_kg"] if np.isnan(mass) else mass
        flight = propmodel.level_flight(
            craft(kilograms, row["propeller_in"], pitch, int(row["blades"])), np.array(SPEEDS)
        )
        for speed, tilt in zip(SPEEDS, np.degrees(flight.tilt), strict=True):
            flown = [np.degrees(np.arctan(row[d] * speed / 9.80665)) for d in ("d_x_per_s", "d_y_per_s")]
            out.append(
                {
                    "mass [kg]": kilograms,
                    "diameter [inch]": row["propeller_in"],
                    "pitch [inch]": pitch,
                    "blades [-]": int(row["blades"]),
                    "speed [m/s]": speed,
                    "flown forward [deg]": round(flown[0], 1),
                    "flown sideways [deg]": round(flown[1], 1),
                    "forecast [deg]": round(float(tilt), 1),
                    "source": source,
                }
            )
    pd.DataFrame(out).to_csv(HERE / "tilt.csv", index=False)


def main() -> None:
    default = Path(os.environ.get("PROPMODEL_SHARED", HERE.parents[2] / "shared")) / "data" / "flight"
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else default
    if not folder.is_dir():
        sys.exit(f"no raw tables at {folder}: name their folder, see SOURCE.md")
    k, c = fit(folder)
    print(f"k = {k:.3f}, c = {c:.3f}")
    body(folder)
    tilts(folder)


if __name__ == "__main__":
    main()
