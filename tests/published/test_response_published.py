"""Rotor time constants against published ones, inside the stated 80 % band.

Sources: TU Delft, github.com/tudelft/optimal_quad_control_RL and arXiv 2504.21586 (5-inch and 3-inch craft,
identified from flights; KV and propeller assumed here); UZH, github.com/uzh-rpg/rpg_quadrotor_control, thrust
transient figure (6x4.5 two-blade, 2208 2000 KV, 12 V: 63 % of a step of 0.30 to 1.53 N). The controller's lag was
taken from the median of the rotors speeding up (data/response/SOURCE.md), so each check is of that one number and of
the band, not of a forecast made blind.
"""

from __future__ import annotations

import numpy as np
import pytest

from propmodel.base.units import INCH
from propmodel.components import motor, propeller
from propmodel.components.air import STANDARD
from propmodel.flight import spin_up

# stator mm, KV, propeller in, thrust N, measured s
ROTORS = {
    "5-inch": (22, 7, 1950, 5.1, 4.3, 3, 1.5, 0.040),
    "3-inch": (14, 4, 3800, 3.0, 2.5, 3, 0.6, 0.040),
    "6-inch": (22, 8, 2000, 6.0, 4.5, 2, 0.8, 0.052),
}
STEP_DOWN = 0.066  # the 6-inch rotor, thrust 1.53 to 0.30 N


def forecast(d, h, kv, diameter, pitch, blades, thrust) -> float:
    wound = motor.from_stator(1e-3 * d, 1e-3 * h, kv)
    turned = propeller.Propeller(diameter * INCH, pitch * INCH, blades)
    ready, size = propeller.prepare(turned, STANDARD), diameter * INCH
    n = 100.0
    for _ in range(60):
        c_t, c_p = (float(c) for c in ready.static(n))
        n = np.sqrt(thrust / (STANDARD.density * c_t * size**4))
    alone = spin_up.speed_time_constant(
        inertia=motor.bell_inertia(wound) + propeller.inertia(turned),
        rev_per_s=n,
        loop_resistance=wound.resistance,
        torque_constant=wound.torque_constant,
        torque_coefficient=STANDARD.density * c_p * size**5 / (2.0 * np.pi),
        iron_torque_slope=wound.iron_torque_slope,
    )
    return float(spin_up.rotor_time_constant(alone))


@pytest.mark.parametrize("name", ROTORS)
def test_published_time_constants_lie_in_the_band(name):
    *label, measured = ROTORS[name]
    assert abs(np.log(measured / forecast(*label))) < 1.2816 * spin_up.LOG_SD_RESPONSE


def test_slowing_down_takes_longer_as_published():
    *label, up = ROTORS["6-inch"]
    assert up * spin_up.SLOWING == pytest.approx(STEP_DOWN, rel=0.01)
    assert abs(np.log(STEP_DOWN / (spin_up.SLOWING * forecast(*label)))) < 1.2816 * spin_up.LOG_SD_RESPONSE
    # and even without the slowing factor it is inside
    assert abs(np.log(STEP_DOWN / forecast(*label))) < 1.2816 * spin_up.LOG_SD_RESPONSE


def test_motor_and_inertia_alone_are_too_quick():
    # what the lag is for: without it every published value is missed on the same side, by 19, 29 and 41 %
    for *label, measured in ROTORS.values():
        assert forecast(*label) - spin_up.CONTROLLER_LAG < 0.85 * measured
