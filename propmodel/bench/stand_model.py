"""Model of a rotor on a stand for calibration, explicit in the speed of each row.

At a given speed n the propeller torque and thrust, motor current, motor voltage, duty and supply current follow
without a root finder. The speeds are unknowns of the fit too, so the speed reading may be noisy like the others.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from propmodel.base.arrays import FloatArray, number
from propmodel.components.air import Air
from propmodel.components.controller import Controller, ripple_power
from propmodel.components.motor import Motor, current_without_load
from propmodel.components.propeller import PreparedPropeller, Propeller, prepare

__all__ = ["NAMES", "PRIOR_SD", "Stand", "controller_from", "motor_from", "stand_rows"]

NAMES = (
    "log_kv",
    "log_resistance",
    "log_iron",
    "log_c_t",
    "merit",
    "log_ripple",
    "log_standby",
    "idle_duty",
    "log_exponent",
)
"""Unknowns common to all rows. ``idle_duty`` is the duty at zero throttle and ``log_exponent`` ln of the exponent of
the throttle map; the others are changes from the labelled part. [-]"""
PRIOR_SD = {
    "log_iron": float(np.log(1.6)),
    "log_ripple": 0.7,
    "log_standby": 0.7,
    "idle_duty": 0.06,
    "log_exponent": 0.15,
}
"""Prior standard deviation of the unknowns that no label states: iron loss, ripple, standby power and throttle map
(data/motors/SOURCE.md). That of the map is slightly wider than the scatter between the stands there. [-]"""
IDLE_MIDDLE = 0.0
MODEL_SD_EXPONENT = 0.02
"""Standard deviation of ln exponent between stand and craft with the same controller. [-] Estimate."""


@dataclass(frozen=True)
class Stand:
    """One table of one stand: parts before calibration, air, and the supply voltage of each row.

    Parameters
    ----------
    motor, propeller, controller : Motor, Propeller, Controller
        Parts before calibration.
    air : Air
        Air at the stand.
    voltage : ndarray, shape (rows,)
        Supply voltage of each row. [V]
    prepared : PreparedPropeller
        The propeller in this air.
    """

    motor: Motor
    propeller: Propeller
    controller: Controller
    air: Air
    voltage: FloatArray
    prepared: PreparedPropeller

    @classmethod
    def of(cls, motor: Motor, propeller: Propeller, controller: Controller, air: Air, voltage: FloatArray) -> Stand:
        """Return a `Stand` with the propeller prepared for this air; parameters as in the class."""
        return cls(motor, propeller, controller, air, voltage, prepare(propeller, air))


def stand_rows(stand: Stand, unknowns: FloatArray, rev_per_s: FloatArray) -> dict[str, FloatArray]:
    """Readings of a stand at given speeds.

    Parameters
    ----------
    stand : Stand
        The table.
    unknowns : ndarray, shape (unknowns,)
        Common unknowns in the order of `NAMES`. [-]
    rev_per_s : ndarray, shape (rows,)
        Speed of each row. [1/s]

    Returns
    -------
    dict of str to ndarray, shape (rows,)
        ``thrust`` [N], ``torque`` [N m], ``current`` at the supply [A], ``duty`` [-], ``motor_current`` [A].
    """
    k, r, iron, t, m, ripple, standby, _, _ = unknowns
    prepared = replace(
        stand.prepared,
        c_t_multiplier=stand.prepared.c_t_multiplier * np.exp(t),
        fm_odds_ratio=stand.prepared.fm_odds_ratio * np.exp(m),
        has_offsets=True,
    )
    c_t, c_p = prepared.static(rev_per_s)
    density, diameter = np.asarray(stand.air.density), np.asarray(stand.propeller.diameter)
    head = density * rev_per_s**2 * diameter**4
    torque = c_p * head * diameter / (2.0 * np.pi)
    k_t = float(stand.motor.torque_constant) * np.exp(-k)
    slope = float(stand.motor.iron_torque_slope) * np.exp(iron)
    current = (torque + slope * rev_per_s) / k_t
    resistance = (float(stand.motor.resistance) + number(stand.controller.resistance)) * np.exp(r)
    volts = 2.0 * np.pi * k_t * rev_per_s + resistance * current
    duty = volts / stand.voltage
    loss = number(stand.controller.standby_power) * np.exp(standby)
    k = number(stand.controller.ripple_coefficient) * np.exp(ripple)
    loss = loss + ripple_power(k, stand.voltage, np.clip(duty, 0.0, 1.0))
    supply = duty * current + loss / stand.voltage
    return {"thrust": c_t * head, "torque": torque, "current": supply, "duty": duty, "motor_current": current}


def throttle_duty(unknowns: FloatArray, throttle: FloatArray) -> FloatArray:
    """Duty of the throttle map: idle + (1 - idle) throttle^exponent."""
    idle, exponent = unknowns[7], np.exp(unknowns[8])
    return idle + (1.0 - idle) * np.maximum(throttle, 1e-6) ** exponent


def motor_from(motor: Motor, unknowns: FloatArray, sd: dict[str, float]) -> Motor:
    """Return the motor with calibrated KV (as it is under load), resistance and no-load current.

    Parameters
    ----------
    motor : Motor
        Before calibration.
    unknowns : ndarray
        In the order of `NAMES`.
    sd : dict
        Standard error of ``log_kv`` and ``log_resistance``. [-]
    """
    resistance = float(motor.resistance) * float(np.exp(unknowns[1]))
    kv = float(motor.kv) * number(motor.loaded_kv_ratio) * float(np.exp(unknowns[0]))
    k_t = 60.0 / (2.0 * np.pi * kv)
    slope = float(motor.iron_torque_slope) * float(np.exp(unknowns[2]))
    volts = float(motor.no_load_voltage)
    winding = motor.winding_resistance
    changes: dict[str, Any] = {
        "kv": kv,
        "loaded_kv_ratio": 1.0,
        "resistance": resistance,
        "no_load_current": number(current_without_load(slope, k_t, resistance=resistance, voltage=volts)),
        "winding_resistance": None if winding is None else min(float(winding), resistance),
        "log_sd_kv": sd["log_kv"],
        "log_sd_resistance": sd["log_resistance"],
    }
    return replace(motor, **changes)


def controller_from(controller: Controller, unknowns: FloatArray, sd: dict[str, float]) -> Controller:
    """Return the controller with calibrated resistance, ripple, standby power and throttle map.

    Parameters
    ----------
    controller : Controller
        Before calibration.
    unknowns : ndarray
        In the order of `NAMES`.
    sd : dict
        Standard error of ``log_exponent``. [-]
    """
    return replace(
        controller,
        resistance=float(np.asarray(controller.resistance) * np.exp(unknowns[1])),
        ripple_coefficient=float(np.asarray(controller.ripple_coefficient) * np.exp(unknowns[5])),
        standby_power=float(np.asarray(controller.standby_power) * np.exp(unknowns[6])),
        idle_duty=float(np.clip(unknowns[7], 0.0, 0.5)),
        throttle_exponent=float(np.exp(unknowns[8])),
        log_sd_throttle_exponent=float(np.hypot(sd["log_exponent"], MODEL_SD_EXPONENT)),
    )
