"""Propeller: scaling, caps, floors, joints, broadcasting, ranges and bad input."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from propmodel.components import momentum, propeller
from propmodel.components.air import STANDARD, atmosphere
from propmodel.components.propeller import OwnFit, Propeller, RangeFlag, coefficients, label_fit, prepare
from propmodel.components.propeller.prepared import smooth_cap

INCH = 0.0254

labels = st.builds(
    lambda d, ratio, blades, chord: Propeller(d, ratio * d, blades, chord),
    st.floats(0.03, 0.9),
    st.floats(0.1, 2.4),
    st.integers(2, 8),
    st.one_of(st.none(), st.floats(0.03, 0.6)),
)


def merit(c_t, c_p):
    return np.sqrt(2 / np.pi) * c_t**1.5 / c_p


def zoo(count, seed=7):
    """Extreme labels, half of them with a chord, with draws of four standard deviations."""
    rng = np.random.default_rng(seed)
    d = rng.uniform(0.03, 0.9, count)
    chord = np.where(rng.random(count) < 0.5, rng.uniform(0.03, 0.6, count), np.nan)
    return Propeller(
        d,
        d * rng.uniform(0.1, 2.4, count),
        rng.integers(2, 9, count),
        chord,
        log_c_t_offset=rng.normal(0, 0.8, count),
        figure_of_merit_offset=rng.normal(0, 1.6, count),
        log_zero_thrust_offset=rng.normal(0, 0.4, count),
    ), rng


@given(labels, st.floats(-0.5, 3.0), st.floats(1.0, 600.0))
def test_thrust_and_power_scale_with_density_speed_and_size(prop, advance, n):
    # At one Reynolds and Mach number the coefficients are one pair, so T ~ rho n^2 D^4 and P ~ rho n^3 D^5.
    # Air twice as dense and twice as viscous keeps both numbers.
    thick = dataclasses.replace(STANDARD, density=2 * STANDARD.density, viscosity=2 * STANDARD.viscosity)
    thin, dense = coefficients(prop, advance, n, STANDARD), coefficients(prop, advance, n, thick)
    np.testing.assert_allclose(thin, dense, rtol=1e-12)
    # Half the diameter at four times n is the same Reynolds number; Mach kept by a doubled speed of sound. The
    # label's own trend with diameter is taken out by an own fit.
    own = OwnFit(-2.0, 0.1, -2.8, -0.05, 0.7, (0.8, -0.2, -0.1), (0.3, -2.3, 6.5, -9.3, 4.1), 1e4, 1e5, 16)
    big = Propeller(0.4, 0.24, chord_ratio=0.15, own_fit=own)
    small = Propeller(0.2, 0.12, chord_ratio=0.15, own_fit=own)
    fast_sound = dataclasses.replace(STANDARD, speed_of_sound=2 * STANDARD.speed_of_sound)
    np.testing.assert_allclose(
        coefficients(big, advance, n, STANDARD), coefficients(small, advance, 4 * n, fast_sound), rtol=1e-12
    )


def test_no_draw_passes_the_figure_of_merit_ceiling():
    prop, rng = zoo(10_000)
    c_t, c_p = coefficients(prop, 0.0, rng.uniform(5, 700, 10_000), STANDARD)
    assert np.isfinite(c_t).all() and np.isfinite(c_p).all()
    assert (c_t > 0).all() and (c_p > 0).all()
    assert merit(c_t, c_p).max() < 0.85
    undrawn = dataclasses.replace(prop, log_c_t_offset=0.0, figure_of_merit_offset=0.0)
    assert merit(*coefficients(undrawn, 0.0, 200.0, STANDARD)).max() < 0.821


def test_cap_raises_power_and_leaves_measured_figures_of_merit_alone():
    assert smooth_cap(0.74) == 0.74
    assert smooth_cap(0.79) == pytest.approx(0.79, abs=0.006)
    assert smooth_cap(3.0) < 0.82
    grid = smooth_cap(np.linspace(0.5, 2, 1501))
    assert (np.diff(grid) > 0).all()
    # The cap works on C_P alone: C_T of a propeller with an impossible own fit stays.
    own = OwnFit(np.log(0.1), 0.0, np.log(0.02), 0.0, 0.7, (0.8, -0.2, -0.1), (0.3, -2.3, 6.5, -9.3, 4.1), 1e4, 1e5)
    c_t, c_p = coefficients(Propeller(0.3, 0.15, own_fit=own), 0.0, 50.0, STANDARD)
    assert c_t == pytest.approx(0.1, rel=1e-12)
    assert 0.80 < merit(c_t, c_p) < 0.82


def test_offsets_shift_thrust_and_merit_as_they_say():
    base = Propeller(0.254, 0.14)
    c_t, c_p = coefficients(base, 0.0, 80.0, STANDARD)
    moved = dataclasses.replace(base, log_c_t_offset=0.2, figure_of_merit_offset=-0.5, log_zero_thrust_offset=0.1)
    m_t, m_p = coefficients(moved, 0.0, 80.0, STANDARD)
    assert np.log(m_t / c_t) == pytest.approx(0.2, rel=1e-12)
    logit = [np.log(f / (0.85 - f)) for f in (merit(c_t, c_p), merit(m_t, m_p))]
    assert logit[1] - logit[0] == pytest.approx(-0.5, rel=1e-9)
    j0 = [prepare(q, STANDARD).zero_thrust_advance_ratio for q in (base, moved)]
    assert np.log(j0[1] / j0[0]) == pytest.approx(0.1, rel=1e-12)


def test_shaft_power_covers_induced_and_climb_power_in_every_draw():
    prop, rng = zoo(4_000, seed=3)
    n, air = rng.uniform(5, 700, 4_000), atmosphere(420.0)
    ready = prepare(prop, air)
    d = np.asarray(prop.diameter)
    for share in (0.0, 0.05, 0.2, 0.4, 0.55, 0.8, 0.95):
        j = share * ready.zero_thrust_advance_ratio
        c_t, c_p = ready.at(j, n)
        thrust, power = c_t * air.density * n**2 * d**4, c_p * air.density * n**3 * d**5
        speed = j * n * d
        induced = momentum.induced_velocity_axial(thrust, speed, disc_area=np.pi / 4 * d**2, air_density=air.density)
        assert (power >= 1.0299 * thrust * (speed + induced)).all()


@given(labels, st.floats(5.0, 600.0))
def test_exact_at_rest_and_at_zero_thrust(prop, n):
    ready = prepare(prop, STANDARD)
    still = ready.static(n)
    assert ready.at(0.0, n) == still
    assert ready.at(-0.7, n) == still
    assert ready.static_c_t(n) == still[0]
    c_t, c_p = ready.at(ready.zero_thrust_advance_ratio, n)
    assert c_t == 0.0 and c_p > 0.0
    assert ready.at(1.001 * ready.zero_thrust_advance_ratio, n)[0] < 0.0


def test_continuous_over_every_joint():
    ready = prepare(propeller.stack([Propeller(0.127, 0.1, 3), propeller.measured("m200")]), STANDARD)
    j0 = ready.zero_thrust_advance_ratio
    for joint in (0.0, 1.0, 1.1, 1.5, 2.0):
        below, above = (np.array(ready.at((joint + e) * j0, 150.0)) for e in (-1e-9, 1e-9))
        np.testing.assert_allclose(below, above, atol=1e-7)
    # Over Mach 0.5 and over both clamps of the Reynolds number.
    for n in (
        0.5 / ready.mach_factor,
        ready.reynolds_low / ready.reynolds_factor,
        ready.reynolds_high / ready.reynolds_factor,
    ):
        np.testing.assert_allclose(ready.static(n * (1 - 1e-9)), ready.static(n * (1 + 1e-9)), rtol=1e-7)


def test_windmill_beyond_the_measurements_is_constant_disc_drag():
    ready = prepare(Propeller(0.127, 0.1, 3), STANDARD)
    j = np.array([1.5, 2.5, 5.0, 50.0]) * ready.zero_thrust_advance_ratio
    c_t, c_p = ready.at(j, 100.0)
    drag = -8 / np.pi * c_t / j**2
    np.testing.assert_allclose(drag, drag[0], rtol=1e-12)
    assert 0.1 < drag[0] < 0.6
    assert (c_p[1:] == 0).all()
    assert np.isfinite(ready.at(np.inf, 0.0)).all()


def test_thrust_falls_with_advance_for_usual_pitch():
    ready = prepare(Propeller(0.2, 0.2 * np.array([0.3, 0.5, 0.65, 0.8])), STANDARD)
    u = np.linspace(0, 3, 400)[:, None]
    assert (np.diff(ready.at(u * ready.zero_thrust_advance_ratio, 120.0)[0], axis=0) < 0).all()


def test_every_measured_propeller_is_sane_all_the_way():
    ready = prepare(propeller.stack([propeller.measured(k) for k in propeller.measured_names()]), STANDARD)
    u = np.linspace(0, 6, 301)[:, None]
    c_t, c_p = ready.at(u * ready.zero_thrust_advance_ratio, 100.0)
    assert np.isfinite(c_t).all() and (c_p >= 0).all()
    assert (c_t[0] > 0.03).all() and (c_t[0] < 0.3).all()
    past = u[:, 0] > 1.0001
    assert (c_t[past] < 0).all() and (c_t[~past & (u[:, 0] < 0.98)] > 0).all()


def test_scalar_equals_array_element_and_shapes_broadcast():
    d, ratio = np.array([0.08, 0.127, 0.254]), np.array([0.4, 0.8, 1.3])
    chord = np.array([np.nan, 0.18, 0.12])
    table = Propeller(d, d * ratio, np.array([2, 3, 5]), chord)
    j, n = np.array([[0.0], [0.3], [2.0]]), np.array([[120.0], [80.0], [300.0]])
    c_t, c_p = coefficients(table, j, n, STANDARD)
    assert c_t.shape == c_p.shape == (3, 3)
    for i in range(3):
        one = Propeller(d[i], d[i] * ratio[i], (2, 3, 5)[i], None if i == 0 else chord[i])
        for k in range(3):
            single = coefficients(one, j[k, 0], n[k, 0], STANDARD)
            assert isinstance(single[0], np.floating)
            np.testing.assert_allclose(single, (c_t[k, i], c_p[k, i]), rtol=1e-13)
        np.testing.assert_allclose(propeller.spread(one).log_sd_c_t, propeller.spread(table).log_sd_c_t[i])


def test_stack_mixes_measured_calibrated_and_labels():
    parts = [
        Propeller(0.127, 0.11, 3, mass=0.004),
        propeller.measured("m204"),
        Propeller(0.254, 0.12, log_c_t_offset=0.1, log_sd_c_t=0.03, log_sd_c_p=0.04, spread_correlation=0.5),
    ]
    table = propeller.stack(parts)
    for i, part in enumerate(parts):
        np.testing.assert_allclose(
            coefficients(part, 0.2, 90.0, STANDARD),
            [c[i] for c in coefficients(table, 0.2, 90.0, STANDARD)],
            rtol=1e-13,
        )
        alone, together = propeller.spread(part), propeller.spread(table)
        for field in dataclasses.fields(alone):
            np.testing.assert_allclose(
                getattr(alone, field.name), np.asarray(getattr(together, field.name))[i], rtol=1e-12
            )
        np.testing.assert_allclose(propeller.mass(part), propeller.mass(table)[i])
    with pytest.raises(ValueError, match="got an array in diameter"):
        propeller.stack([Propeller(np.array([0.1, 0.2]), 0.1)])
    with pytest.raises(ValueError, match="at least one"):
        propeller.stack([])


def test_spread_is_wider_where_less_is_known():
    sd = lambda **k: propeller.spread(Propeller(**k)).log_sd_c_t  # noqa: E731
    usual = {"diameter": 10 * INCH, "pitch": 6 * INCH}
    assert sd(**usual, chord_ratio=0.15) < sd(**usual)
    assert sd(**usual) < sd(diameter=4 * INCH, pitch=2.4 * INCH)
    assert sd(**usual) < sd(diameter=10 * INCH, pitch=4.2 * INCH)
    assert sd(**usual) < sd(**usual, blades=6) and sd(**usual) < sd(diameter=20 * INCH, pitch=12 * INCH)
    assert sd(**usual, chord_ratio=0.15) < sd(**usual, chord_ratio=0.4)
    own = propeller.spread(propeller.measured("m062"))
    assert own.log_sd_c_t < 0.06 and own.log_sd_zero_thrust == 0.02
    fast = propeller.spread(Propeller(**usual), tip_mach=0.82)
    assert fast.log_sd_c_p**2 - propeller.spread(Propeller(**usual)).log_sd_c_p ** 2 == pytest.approx(0.15**2)


@pytest.mark.parametrize("multirotor", [None, False, True])
def test_a_wider_blade_never_takes_less_power(multirotor):
    # Blade element: profile torque goes with the chord, thrust does not fall with it; so at one speed C_P and C_T rise.
    chord = np.geomspace(0.10, 0.28, 145)
    inch, ratio, blades, n = (
        v[..., None]
        for v in np.meshgrid(np.linspace(3, 15, 25), np.linspace(0.3, 1.2, 10), [2, 3, 4], [30.0, 90.0, 400.0])
    )
    prop = Propeller(inch * INCH, inch * INCH * ratio, blades, chord, multirotor=multirotor)
    c_t, c_p = coefficients(prop, 0.0, n, STANDARD)
    for c in (c_t, c_p):
        slope = np.diff(np.log(c), axis=-1) / np.diff(np.log(chord))
        assert c.shape[-1] == 145 and slope.min() > 0.1


@pytest.mark.parametrize("multirotor", [None, False, True])
def test_a_broader_blade_by_eye_gives_more_thrust_and_takes_more_power(multirotor):
    # the same as of the chord, which a width stands for: blade element theory
    inch, ratio, blades, n = (
        v[..., None]
        for v in np.meshgrid(np.linspace(3, 15, 13), np.linspace(0.3, 1.2, 10), [2, 3, 4], [60.0, 200.0, 450.0])
    )
    prop = Propeller(
        inch * INCH,
        inch * INCH * ratio,
        blades,
        multirotor=multirotor,
        blade_width=np.array(["slim", "middle", "broad"]),
    )
    c_t, c_p = coefficients(prop, 0.0, n, STANDARD)
    assert c_t.shape[-1] == 3
    assert np.diff(np.log(c_t)).min() > 0.08 and np.diff(np.log(c_p)).min() > 0.05


@pytest.mark.parametrize("width", ["slim", "middle", "broad"])
def test_a_width_by_eye_says_more_than_a_label_and_less_than_a_measured_chord(width):
    for inch, ratio in ((5, 0.85), (10, 0.47), (10, 0.7), (15, 0.4)):
        usual = {"diameter": inch * INCH, "pitch": inch * INCH * ratio}
        known = propeller.spread(Propeller(**usual, chord_ratio=0.155))
        seen = propeller.spread(Propeller(**usual, blade_width=width))
        label = propeller.spread(Propeller(**usual))
        assert known.log_sd_c_t < seen.log_sd_c_t < label.log_sd_c_t
        assert known.log_sd_c_p <= seen.log_sd_c_p < label.log_sd_c_p
        # a blade broader than it looked pulls more and takes more: drawn together
        assert seen.correlation > 0.6


def test_a_measured_chord_wins_over_the_width_by_eye():
    at = lambda **k: np.array(coefficients(Propeller(0.13, 0.109, 3, **k), 0.0, 300.0, STANDARD))  # noqa: E731
    np.testing.assert_array_equal(at(chord_ratio=0.17, blade_width="slim"), at(chord_ratio=0.17))
    np.testing.assert_array_equal(at(blade_width="broad"), at(chord_ratio=0.20))
    np.testing.assert_array_equal(at(blade_width="unknown"), at())
    rows = Propeller(0.13, 0.109, 3, [np.nan, 0.17, np.nan], blade_width=["broad", "broad", "unknown"])
    together = np.array(coefficients(rows, 0.0, 300.0, STANDARD))
    alone = [at(blade_width="broad"), at(chord_ratio=0.17), at()]
    np.testing.assert_allclose(together, np.transpose(alone), rtol=1e-13)
    sd = propeller.spread(rows).log_sd_c_t
    assert sd[1] < sd[0] < sd[2]


def test_widths_are_those_of_the_fit_and_a_ruler_finds_them():
    fit = label_fit.label_fit()
    assert {k: v for k, v in propeller.BLADE_WIDTHS.items() if v is not None} == fit["blade_width"]
    assert tuple(0.5 * b for b in fit["blade_width_bounds"]) == propeller.WIDTH_BOUNDS
    share = np.array([np.nan, 0.0699, 0.07, 0.0899, 0.09, 0.2])
    np.testing.assert_array_equal(propeller.width_by_ruler(share * 130.0, 130.0), [0, 1, 2, 2, 3, 3])
    for name, chord in fit["blade_width"].items():
        assert list(propeller.BLADE_WIDTHS)[int(propeller.width_by_ruler(0.5 * chord, 1.0))] == name


def test_left_out_propellers_of_each_width_lie_inside_the_stated_band(root):
    # table of data/propellers/SOURCE.md, written by the fit: propeller or family left out; asked are 70 to 92 % inside.
    # The slim ones lie closer than that, but no width by eye is taken for better known than a measured chord.
    text = (root / "data" / "propellers" / "SOURCE.md").read_text(encoding="utf-8")
    rows = {}
    for line in text.splitlines():
        cells = [c.strip() for c in line.strip("|").split("|")]
        if cells[0] in ("slim", "middle", "broad", "all") and len(cells) == 14:
            rows[cells[0]] = [float(c) for c in cells[1:]]
    assert set(rows) == {"slim", "middle", "broad", "all"}
    for name, row in rows.items():
        inside = row[3::3]
        assert len(inside) == 4 and min(inside) >= 0.70 and max(inside) <= (0.98 if name == "slim" else 0.92), name
    thrust, power = rows["all"][1], rows["all"][7]
    assert thrust < 0.08 and power < 0.11  # a label alone: 0.108 and 0.146 on the same propellers


def test_stack_keeps_widths():
    parts = [Propeller(0.127, 0.11, 3, blade_width="slim"), Propeller(0.127, 0.11, 3)]
    table = propeller.stack(parts)
    for i, part in enumerate(parts):
        alone, together = (np.array(coefficients(q, 0.0, 300.0, STANDARD)) for q in (part, table))
        np.testing.assert_allclose(together[:, i], alone, rtol=1e-13)
    with pytest.raises(ValueError, match="array in blade_width"):
        propeller.stack([Propeller(0.127, 0.11, blade_width=["slim", "broad"])])


@pytest.mark.parametrize(("chord", "width"), [(None, "unknown"), (0.17, "unknown"), (None, "middle")])
def test_drawing_in_the_stated_coordinates_gives_the_stated_spread(chord, width):
    # C_T and logit(FM/0.85) drawn together must give back the stated C_P spread and correlation, roughly: both
    # are fitted to the same left-out errors, each in its own way.
    rng = np.random.default_rng(11)
    prop = Propeller(10 * INCH, 6 * INCH, 2, chord, blade_width=width)
    s = propeller.spread(prop)
    a, b = rng.normal(size=(2, 20_000))
    rho = s.correlation_c_t_figure_of_merit
    drawn = dataclasses.replace(
        prop,
        log_c_t_offset=s.log_sd_c_t * a,
        figure_of_merit_offset=s.logit_sd_figure_of_merit * (rho * a + np.sqrt(1 - rho**2) * b),
    )
    c_t, c_p = (np.log(c) for c in coefficients(drawn, 0.0, 80.0, STANDARD))
    assert c_t.std() == pytest.approx(s.log_sd_c_t, rel=0.02)
    assert c_p.std() == pytest.approx(s.log_sd_c_p, rel=0.25)
    assert np.corrcoef(c_t, c_p)[0, 1] == pytest.approx(s.correlation, abs=0.15)


def test_range_bits():
    def bits(prop, n=90.0, j=0.0):
        return int(prepare(prop, STANDARD).range_status(n, j))

    assert bits(Propeller(0.254, 0.15)) == RangeFlag.INSIDE
    assert bits(Propeller(0.254, 0.05)) == RangeFlag.PITCH
    assert bits(Propeller(0.254, 0.15, 6)) == RangeFlag.BLADES
    assert bits(Propeller(0.254, 0.15, 2, 0.05)) & RangeFlag.CHORD
    assert bits(Propeller(0.5, 0.3), n=30.0) & RangeFlag.DIAMETER
    assert bits(Propeller(0.254, 0.15), n=5.0) == RangeFlag.REYNOLDS
    assert bits(Propeller(0.127, 0.1), n=560.0) & RangeFlag.MACH
    assert bits(Propeller(0.254, 0.15), j=-0.1) == RangeFlag.ADVANCE
    assert bits(Propeller(0.254, 0.15), j=2.0) == RangeFlag.ADVANCE
    assert bits(Propeller(3 * INCH, 2.5 * INCH, 3), n=300.0) == RangeFlag.INSIDE
    both = prepare(Propeller(np.array([0.254, 0.9]), 0.15), STANDARD).range_status(np.array([90.0, 30.0]))
    assert both[0] == 0 and both[1] & RangeFlag.DIAMETER and both[1] & RangeFlag.PITCH


def test_reynolds_clamp_holds_the_coefficients():
    # Notes: nothing is carried past Re75 1.2e5 or under 8e3.
    # A large propeller: at these Reynolds numbers its tips stay below Mach 0.4, where C_P would rise.
    ready = prepare(Propeller(0.38, 0.225), STANDARD)
    at = lambda re: np.array(ready.static(re / ready.reynolds_factor))  # noqa: E731
    np.testing.assert_array_equal(at(1.2e5), at(1.4e5))
    np.testing.assert_allclose(at(8e3), at(4e3), rtol=1e-12)
    assert (at(1.0e5) != at(1.2e5)).all()


def test_default_chord_is_used_and_said():
    known = Propeller(0.254, 0.15, 2, float(label_fit.default_chord_ratio(0.254)))
    unknown = Propeller(0.254, 0.15)
    a, b = (prepare(q, STANDARD).reynolds_75(100.0) for q in (known, unknown))
    assert a == pytest.approx(b, rel=1e-12)


def test_names():
    names = propeller.measured_names()
    assert len(names) == 211 and names == sorted(names)
    prop = propeller.measured(names[0])
    assert prop.name == names[0] and prop.own_fit is not None
    no_static = [k for k in names if propeller.measured(k).own_fit.static_rows == 0]
    assert len(no_static) == 3 and all(propeller.measured(k).log_sd_c_t == 0.08 for k in no_static)
    with pytest.raises(ValueError, match="nearest: m062"):
        propeller.measured("m0621")


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("diameter", 0.0, "diameter must be between 0.02 and 1.5 m, got 0 m"),
        ("diameter", 10, "diameter must be between 0.02 and 1.5 m, got 10 m"),
        ("diameter", "ten", "diameter must be a number, got 'ten'"),
        ("diameter", np.nan, "diameter must be a finite number, got nan"),
        ("pitch", -0.1, "pitch must be between"),
        ("pitch", np.inf, "pitch must be a finite number, got inf"),
        ("pitch", 1.0, "pitch over diameter must be between 0.1 and 2.5"),
        ("blades", 1, "blades must be between 2 and 8, got 1"),
        ("blades", 30, "blades must be between 2 and 8, got 30"),
        ("chord_ratio", 2.0, "chord_ratio must be between 0.03 and 0.6, got 2"),
        ("chord_ratio", "wide", "chord_ratio must be a number"),
        ("blade_width", "wide", "blade_width 'wide' is not known"),
        ("blade_width", ["slim", "wide"], "blade_width 'wide' is not known"),
        ("blade_width", [0, 4], "blade_width positions run from 0 to 3"),
        ("blade_width", [0.5], "blade_width '0.5' is not known"),
        ("mass", -1.0, "mass must be between"),
        ("mass", 5.0, "mass must be between 0 and 2 kg, got 5 kg"),
        ("log_c_t_offset", np.nan, "log_c_t_offset must be a finite number"),
        ("spread_correlation", 1.5, "spread_correlation must be between -1 and 1"),
    ],
)
def test_nonsense_is_refused_in_one_sentence(field, value, words):
    fields = {"diameter": 0.254, "pitch": 0.12, field: value}
    with pytest.raises(ValueError, match="^" + words):
        Propeller(**fields)


def test_one_bad_element_of_many_is_named():
    with pytest.raises(ValueError, match=r"1 of 3 values, first at index 1"):
        Propeller(np.array([0.1, -0.2, 0.3]), 0.1)


def test_mass_inertia_and_pitch_speed():
    # Two-blade 10 inch: 0.057 g x 100 x 2 = 11.4 g by the estimate's own definition.
    assert propeller.mass(Propeller(0.254, 0.12)) == pytest.approx(11.4e-3, rel=1e-12)
    assert propeller.mass(Propeller(0.254, 0.12, mass=0.02)) == 0.02
    mixed = Propeller(np.array([0.254, 0.127]), 0.1, mass=np.array([np.nan, 0.004]))
    np.testing.assert_allclose(propeller.mass(mixed), [11.4e-3, 0.004])
    # Less than two uniform rods (m R^2/3), more than nothing.
    heavy = Propeller(0.254, 0.12, mass=0.012)
    assert 0 < propeller.inertia(heavy) < 0.012 * 0.127**2 / 3
    np.testing.assert_allclose(propeller.pitch_speed(heavy, np.array([0.0, 100.0])), [0.0, 12.0])


def test_a_build_without_an_answer_leaves_its_neighbours_alone():
    ready = prepare(Propeller(diameter=0.127, pitch=0.109), STANDARD)
    far = 1.7 * float(ready.zero_thrust_advance_ratio)  # where C_T goes with J^2
    for solve in (ready.at, ready.thrust_with_slope):
        alone, beside = solve([far], [300.0]), solve([far, np.nan], [300.0, np.nan])
        assert [float(x[0]) for x in beside] == [float(x[0]) for x in alone]
        assert np.isnan([float(x[1]) for x in beside]).all()
