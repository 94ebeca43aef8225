"""Bands: repeatable, physical, as wide as what was drawn, and attributed to what they come from."""

from dataclasses import fields, replace

import numpy as np
import pytest

import propmodel
from propmodel.assess.assessment import Assessment
from propmodel.assess.performance import OUTPUTS, Performance, performance
from propmodel.studies import spread

SCREE = propmodel.demo("scree")
WEIGHED = ("mass",)


def test_the_same_build_always_shows_the_same_band():
    one, two = spread.bands(SCREE, draws=64), spread.bands(SCREE, draws=64)
    for a, b in zip(one, two, strict=True):
        for field in fields(Performance):
            np.testing.assert_array_equal(getattr(a, field.name), getattr(b, field.name))


@pytest.mark.parametrize("name", propmodel.demo_names())
def test_the_forecast_lies_in_its_band_and_is_the_performance(name):
    build = propmodel.demo(name)
    low, mid, high = spread.bands(build)
    plain = performance(build)
    for output in OUTPUTS:
        assert getattr(mid, output) == pytest.approx(getattr(plain, output), rel=1e-9, nan_ok=True), output
        a, b = getattr(low, output), getattr(high, output)
        if np.isfinite(a) and np.isfinite(b):
            assert a <= b, output
    for output in ("thrust_to_weight", "hover_time", "hover_current", "full_throttle_current", "top_speed"):
        assert getattr(low, output) < getattr(mid, output) < getattr(high, output), output


def test_mass_band_is_what_was_drawn():
    # every mass of the demo craft is given: 1 % (1 sd), so 80 % lie within 1.2816 sd (normal table)
    low, mid, high = spread.bands(SCREE, draws=2048)
    assert np.log(high.mass / mid.mass) == pytest.approx(1.2816 * 0.01, rel=0.03)
    assert np.log(mid.mass / low.mass) == pytest.approx(1.2816 * 0.01, rel=0.03)
    wide = spread.bands(SCREE, draws=2048, coverage=0.95)
    assert np.log(wide[2].mass / mid.mass) == pytest.approx(1.96 * 0.01, rel=0.05)


def test_coverage_is_the_share_of_draws_inside():
    low, _, high = spread.bands(SCREE, draws=512, coverage=0.8)
    drawn = spread.draw(SCREE, draws=512)
    values, _ = spread._answers(drawn, ["thrust_to_weight"])
    inside = np.mean(
        (values["thrust_to_weight"] >= low.thrust_to_weight) & (values["thrust_to_weight"] <= high.thrust_to_weight)
    )
    assert inside == pytest.approx(0.8, abs=0.01)


def test_draws_are_joint_and_stay_physical():
    drawn = spread.draw(SCREE, draws=1024).build
    # K_m does not depend on the winding: R KV^2 is independent of KV
    corr = np.corrcoef(np.log(drawn.motor.kv), np.log(drawn.motor.resistance * drawn.motor.kv**2))[0, 1]
    assert abs(corr) < 0.1
    # C_T and C_P move together (0.8 between the measured propellers): look at the drawn coefficients
    ready = propmodel.propeller.prepare(drawn.propeller, SCREE.air)
    c_t, c_p = ready.static(183.0)
    assert 0.5 < np.corrcoef(np.log(c_t), np.log(c_p))[0, 1] < 0.95
    wanted = propmodel.propeller.spread(SCREE.propeller)
    assert np.std(np.log(c_t)) == pytest.approx(wanted.log_sd_c_t, rel=0.05)
    assert np.all(drawn.motor.no_load_current * drawn.motor.resistance < drawn.motor.no_load_voltage)


def test_what_is_known_better_spreads_less():
    def width(build, output):
        low, _, high = spread.bands(build, draws=256)
        return float(np.log(getattr(high, output) / getattr(low, output)))

    read = replace(
        SCREE, pack=replace(SCREE.pack, cell_resistance=float(propmodel.battery.cell_resistance_new(SCREE.pack)))
    )
    assert width(read, "full_throttle_voltage") < 0.9 * width(SCREE, "full_throttle_voltage")
    # the pack's label alone leaves a third of the width: a calibrated stand comes with a charger's reading
    calibrated = replace(
        read,
        propeller=replace(SCREE.propeller, log_sd_c_t=0.02, log_sd_c_p=0.02, spread_correlation=0.5),
        motor=replace(SCREE.motor, log_sd_kv=0.005, log_sd_resistance=0.05),
    )
    assert width(calibrated, "thrust_to_weight") < 0.7 * width(SCREE, "thrust_to_weight")


def test_contributions_add_up_and_name_the_right_input():
    for output, expected in (("mass", "mass"), ("top_speed", "drag")):
        rows = spread.contributions(SCREE, output)
        assert sum(r.share for r in rows) == pytest.approx(1.0)
        assert rows[0].group == expected and {r.group for r in rows} == set(spread.GROUPS)
    assert spread.contributions(SCREE, "mass")[0].share > 0.999
    # variances of nearly independent inputs add up to the whole
    rows = spread.contributions(SCREE, "hover_power", draws=512)
    values, _ = spread._answers(spread.draw(SCREE, draws=512), ["hover_power"])
    total = float(np.var(np.log(values["hover_power"])))
    assert sum(r.log_sd**2 for r in rows) == pytest.approx(total, rel=0.15)


def test_a_reading_gains_what_it_reads():
    gains = spread.reading_gains(SCREE, "top_speed")
    assert max(gains, key=gains.get) == "top" and all(0.0 <= g <= 1.0 for g in gains.values())
    assert spread.reading_gains(SCREE, "thrust_to_weight")["full"] > 0.5
    # one's own weighing of an untold mass removes its spread
    guessed = replace(SCREE, pack=replace(SCREE.pack, mass=None))
    assert spread.reading_gains(guessed, "mass")["weigh"] > 0.8


def test_a_band_of_an_array_is_the_band_of_each():
    many = propmodel.with_fields(SCREE, {"motor.kv": np.array([1700.0, 2100.0])})
    low, _, high = spread.bands(many, draws=64)
    for i, kv in enumerate((1700.0, 2100.0)):
        one = spread.bands(propmodel.with_fields(SCREE, {"motor.kv": kv}), draws=64)
        assert low.hover_time[i] == pytest.approx(one[0].hover_time, rel=2e-3)
        assert high.top_speed[i] == pytest.approx(one[2].top_speed, rel=2e-3)


def test_curve_bands_wrap_the_curve():
    low, mid, high = spread.curve_bands(SCREE)
    for name in ("thrust", "pack_current"):
        a, m, b = (getattr(c, name)[5:] for c in (low, mid, high))
        assert np.all((a <= m) & (m <= b)), name
    np.testing.assert_array_equal(mid.thrust, propmodel.throttle_curve(SCREE, np.linspace(0, 1, 41)).thrust)


def test_winding_temperatures_that_may_never_settle_are_above_every_number():
    low, _, high = spread.bands(SCREE)
    assert np.isnan(high.full_throttle_winding_temperature)
    assert np.isfinite(low.hover_winding_temperature) and np.isfinite(high.hover_winding_temperature)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: spread.bands(SCREE, coverage=1.5), "coverage must be between 0.01 and 0.999, got 1.5"),
        (lambda: spread.bands(SCREE, draws=2), "draws must be between 16 and 65536, got 2"),
        (lambda: spread.curve_bands(SCREE, coverage=0.0), "coverage must be between 0.01 and 0.999, got 0"),
        (lambda: spread.contributions(SCREE, "minutes"), "output 'minutes' is not known; nearest"),
        (lambda: spread.reading_gains(SCREE, "lift"), "output 'lift' is not known; nearest"),
        (lambda: spread.curve_bands(propmodel.with_fields(SCREE, {"rotors": np.array([4, 6])})), "plain numbers"),
        (lambda: spread.contributions(propmodel.with_fields(SCREE, {"rotors": np.array([4, 6])}), "mass"), "plain"),
    ],
)
def test_nonsense_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()


ACROSS = {
    "motor.kv": SCREE.motor.kv * np.array([1.0, 0.85, 1.2, 1.0, 1.0, 1.0]),
    "propeller.diameter": SCREE.propeller.diameter * np.array([1.0, 1.0, 1.0, 0.9, 1.1, 1.0]),
    "craft.payload_mass": np.array([0.0, 0.0, 0.1, 0.0, 0.0, 0.3]),
}
MIDDLE = {"full_throttle_seconds": 0.2, "pull_out_height": 0.3}
"""Outputs that go to infinity within their band, or whose best is cut by a limit (the most load a pull-out may have,
which a craft with larger propellers reaches near its forecast): their middle is looked at on the scale of the band. [-]
"""


@pytest.mark.parametrize("name", [*propmodel.demo_names(), "changed"])
def test_the_forecast_is_in_the_middle_of_its_draws(name):
    build = propmodel.with_fields(SCREE, ACROSS) if name == "changed" else propmodel.demo(name)
    low, mid, high = spread.bands(build)
    values, _ = spread._answers(spread.draw(build), list(OUTPUTS))
    for output in OUTPUTS:
        forecast = np.atleast_1d(getattr(mid, output))
        middle = np.nanmedian(np.broadcast_to(values[output], (*np.shape(mid.mass), 512)), axis=-1)
        with np.errstate(invalid="ignore"):
            half = 0.5 * np.log(np.atleast_1d(getattr(high, output) / getattr(low, output)))
            off = np.abs(np.log(np.atleast_1d(middle) / forecast))
        told = np.isfinite(off) & np.isfinite(half)
        # within 1 %; where the band is wide, within a tenth of its half
        most = np.maximum(0.01, MIDDLE.get(output, 0.1) * half)
        assert np.all(off[told] <= most[told]), output
        inside = (forecast >= getattr(low, output)) & (forecast <= getattr(high, output))
        assert np.all(inside[told]), output


@pytest.mark.parametrize("name", propmodel.demo_names())
def test_minutes_pull_and_hover_sit_within_a_hundredth_of_the_middle(name):
    build = propmodel.demo(name)
    outputs = ["hover_time", "hover_power", "hover_throttle", "top_speed", "endurance_speed", "figure_of_merit"]
    values, _ = spread._answers(spread.draw(build, draws=4096), [*outputs, "thrust_to_weight"])
    forecast = performance(build)
    for output in [*outputs, "thrust_to_weight"]:
        assert np.nanmedian(values[output]) == pytest.approx(float(getattr(forecast, output)), rel=0.01), output


def test_a_blade_width_by_eye_narrows_the_band():
    def width(**told):
        low, _, high = spread.bands(propmodel.with_fields(SCREE, {f"propeller.{k}": v for k, v in told.items()}))
        return float(np.log(high.hover_rev_per_s / low.hover_rev_per_s))  # of C_T alone, and of the mass

    assert width(chord_ratio=0.155) < width(blade_width="middle") < 0.8 * width(blade_width="unknown")


def pull_of_draws(ratio, **more):
    """Logarithm of the largest to the least pull, eight in ten, where only the stall of the blade is drawn."""
    prop = replace(SCREE.propeller, pitch=ratio * SCREE.propeller.diameter, **more)
    many = spread.draw(replace(SCREE, propeller=prop), draws=256, only=("unstalled",)).build
    out = propmodel.pull_out(many, 60.0, load_limit=99.0)
    low, high = np.quantile(out.peak_load, (0.1, 0.9))
    assert np.quantile(out.height_lost, 0.9) > np.quantile(out.height_lost, 0.1) or low == high
    return float(np.log(high / low))


def test_the_stall_of_steep_blades_is_in_the_band_of_the_pull_out():
    steep, gentle, aeroplane = pull_of_draws(0.85), pull_of_draws(0.45), pull_of_draws(0.85, multirotor=False, blades=2)
    assert steep > 1.7 * gentle > 0.1
    assert aeroplane < 0.6 * steep
    # a propeller with its own measured curve has no such doubt
    own = replace(SCREE, propeller=propmodel.propeller.measured("m062"))
    many = spread.draw(own, draws=64, only=("unstalled",)).build
    assert np.ptp(propmodel.pull_out(many, 60.0, load_limit=99.0).peak_load) == 0.0


@pytest.mark.parametrize("quick", [True, False])
def test_the_pull_out_keeps_the_middle_and_widens(quick):
    heavy = propmodel.with_fields(SCREE, {"craft.payload_mass": 0.25})  # its motors, not the limit, set the pull
    all_drawn = spread.draw(heavy, draws=512)
    bare = replace(
        all_drawn.build, propeller=replace(all_drawn.build.propeller, unstalled_offset=SCREE.propeller.unstalled_offset)
    )

    def heights(build):
        return (
            Assessment(build, quick=True).pull_out_estimate().height_lost
            if quick
            else (propmodel.pull_out(build, 40.0).height_lost)
        )

    with_it, without, forecast = heights(all_drawn.build), heights(bare), heights(heavy)
    spans = [np.log(np.nanquantile(h, 0.9) / np.nanquantile(h, 0.1)) for h in (with_it, without)]
    assert spans[0] > 1.1 * spans[1]
    assert np.nanmedian(with_it) == pytest.approx(float(forecast), rel=0.02)
    assert "unstalled" in spread.GROUPS["propeller"]
