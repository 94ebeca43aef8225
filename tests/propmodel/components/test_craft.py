"""The craft around the propulsion: drag with tilt, its default, refusals."""

import numpy as np
import pytest

from propmodel.components.craft import Craft, default_drag_area, drag_area

INCH = 0.0254


def test_drag_turns_from_front_to_top():
    tilt = np.radians([0.0, 30.0, 90.0])
    np.testing.assert_allclose(drag_area(0.01, 0.022, tilt), [0.01, 0.01 + 0.012 * 0.25, 0.022], rtol=1e-12)


def test_default_drag_grows_with_the_propeller():
    # common practice, from memory: 0.005, 0.010, 0.015, 0.030 m^2 for 3, 5, 7 and 10 inches, a factor 1.7 wide
    area = default_drag_area(np.array([3.0, 5.1, 7.0, 10.0]) * INCH)
    wanted = np.array([0.005, 0.010, 0.015, 0.030])
    assert np.all((area / wanted < 1.7) & (wanted / area < 1.7))
    assert np.all(np.diff(area) > 0.0)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"frame_mass": 0.0}, "frame_mass must be > 0 kg, got 0 kg"),
        ({"payload_mass": -0.1}, "payload_mass must be between 0 and 100 kg, got -0.1 kg"),
        ({"thrust_loss": 0.95}, "thrust_loss must be between 0 and 0.9, got 0.95"),
        ({"drag_area_front": -0.01}, r"drag_area_front must be > 0 m\^2, got -0.01 m\^2"),
        ({"capacitor_voltage": np.nan}, "capacitor_voltage must be a finite number, got nan"),
        ({"electronics_power": True}, "electronics_power must be a number, got True"),
    ],
)
def test_nonsense_is_refused(changes, message):
    with pytest.raises(ValueError, match=message):
        Craft(**({"frame_mass": 0.3} | changes))
