"""Flight logs: layouts, and what is learned from them, on an invented flight whose truth is known."""

from __future__ import annotations

import flight_files
import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from propmodel import bench, demo, performance

RESISTANCE = 0.045  # ohm
HOVER = 14.0  # A
HOVER_THROTTLE = 0.28


def flight(rate: float = 100.0, *, scale: float = 1.0, seed: int = 0) -> dict[str, np.ndarray]:
    """Two minutes: on the ground, hover with short climbs, on the ground; the sensor shows ``scale`` of the truth."""
    rng = np.random.default_rng(seed)
    t = np.arange(0.0, 120.0, 1.0 / rate)
    flying = (t > 10) & (t < 110)
    punch = flying & (t % 12 > 8) & (t % 12 < 9.5 if rate > 5 else t % 12 < 11) & (t > 20)
    true = np.where(flying, HOVER, 1.5) + 45.0 * punch
    if rate > 5:
        true = np.convolve(np.pad(true, 5, "edge"), np.ones(11) / 11, "valid")
    throttle = np.where(punch, 0.8, np.where(flying, HOVER_THROTTLE, 0.05))
    charge = np.cumsum(true) / rate / 3600.0
    volts = 25.0 - 2.0 * charge - RESISTANCE * true + 0.02 * rng.normal(size=t.size)
    shown = scale * true * (1 + 0.01 * rng.normal(size=t.size))
    return {"t": t, "v": volts, "i": shown, "throttle": throttle, "q": scale * charge, "true_q": charge}


def controller_export(f: dict[str, np.ndarray], *, pulse: bool = False, hundredths: bool = False) -> str:
    """Comma and space separated, microseconds, four outputs, a state as text."""
    unit = ("", "") if hundredths else (" (V)", " (A)")
    times = 100.0 if hundredths else 1.0
    outputs = ", ".join(f"motor output {k}" for k in range(4))
    out = [
        f"count, time (us), vbat of pack{unit[0]}, amperage of pack{unit[1]}, {outputs}, energy (mAh), state (words)"
    ]
    for k in range(f["t"].size):
        signal = 1000 + 1000 * f["throttle"][k] if pulse else 48 + 1999 * f["throttle"][k]
        motors = ", ".join(f"{signal:.0f}" for _ in range(4))
        power = f"{f['v'][k] * times:.2f}, {f['i'][k] * times:.2f}"
        out.append(f"{k}, {f['t'][k] * 1e6:.0f}, {power}, {motors}, {1000 * f['q'][k]:.1f}, FLY|LEVEL")
    return "\n".join(out)


def telemetry(f: dict[str, np.ndarray], *, start: int = 10 * 3600) -> str:
    """Date, time of day, pack voltage, current, mAh: a row a second."""
    out = ["Date,Time,Volt of batt(V),Curr of batt(A),Capa used(mAh),Link(dB)"]
    for k in range(f["t"].size):
        s = start + f["t"][k]
        clock = f"{int(s // 3600) % 24:02d}:{int(s // 60) % 60:02d}:{s % 60:06.3f}"
        out.append(f"2025-11-20,{clock},{f['v'][k]:.2f},{f['i'][k]:.2f},{1000 * f['q'][k]:.0f},{-60}")
    return "\n".join(out)


@pytest.mark.parametrize("pulse", [False, True])
def test_controller_export(pulse: bool) -> None:
    f = flight()
    log = bench.read(controller_export(f, pulse=pulse).encode())
    assert log.kind == "flight"
    assert_allclose(log.frame["time_s"], f["t"], atol=1e-6)
    assert_allclose(log.frame["voltage_v"], f["v"], atol=0.006)
    assert_allclose(log.frame["charge_ah"], f["q"], atol=1e-4)
    assert_allclose(log.frame[[f"motor_{k}_share" for k in (1, 2, 3, 4)]].mean(axis=1), f["throttle"], atol=1e-3)
    assert [g.meaning for g in log.guesses if g.column == "state (words)"] == ["not used"]
    assert log.doubts == []


def test_key_and_value_block_and_hundredths() -> None:
    f = flight(50.0)
    block = "\n".join(f'"setting{k}","{k * 7}"' for k in range(150))
    log = bench.read((block + "\n" + controller_export(f, hundredths=True)).encode())
    assert log.kind == "flight"
    assert_allclose(log.frame["voltage_v"], f["v"], atol=0.006)
    assert_allclose(log.frame["current_a"], f["i"], atol=0.006)


def test_radio_telemetry_over_midnight() -> None:
    f = flight(1.0)
    log = bench.read(telemetry(f, start=24 * 3600 - 50).encode())
    assert log.kind == "flight"
    assert_allclose(np.diff(log.frame["time_s"]), 1.0, atol=1e-6)
    assert_allclose(log.frame["current_a"], f["i"], atol=0.006)


def test_electrical_speed_in_hundreds() -> None:
    f = flight(20.0)
    text = controller_export(f).splitlines()
    text[0] += ", eRPM 0, eRPM 1"
    rpm = 20000 * np.sqrt(f["throttle"])
    lines = [text[0], *(f"{line}, {n * 7 / 100:.0f}, {n * 7 / 100:.0f}" for line, n in zip(text[1:], rpm, strict=True))]
    log = bench.read("\n".join(lines).encode(), poles=14)
    assert_allclose(log.frame["motor_1_rev_per_s"] * 60, rpm, rtol=0.01)


def test_hover_resistance_charge_and_sensor_scale() -> None:
    f = flight(scale=0.8)
    log = bench.read(controller_export(f).encode())
    found = bench.calibrate_flight(log, charge_put_back=f["true_q"][-1])
    assert found.sensor_scale == pytest.approx(1.25, rel=0.01)
    assert found.hover_current == pytest.approx(HOVER, rel=0.02)
    assert found.hover_throttle == pytest.approx(HOVER_THROTTLE, abs=0.005)
    assert found.pack_resistance == pytest.approx(RESISTANCE, rel=0.05)
    assert found.charge_used == pytest.approx(f["true_q"][-1], rel=0.01)
    assert found.flight_time == pytest.approx(100.0, abs=1.0)
    assert any("1.25 times" in note for note in found.notes)
    trusting = bench.calibrate_flight(log)
    assert trusting.hover_current == pytest.approx(0.8 * HOVER, rel=0.02)
    assert any("on trust" in note for note in trusting.notes)


def test_a_row_a_second_still_tells_hover_and_resistance() -> None:
    f = flight(1.0)
    found = bench.calibrate_flight(bench.read(telemetry(f).encode()))
    assert found.hover_current == pytest.approx(HOVER, rel=0.03)
    assert found.pack_resistance == pytest.approx(RESISTANCE, rel=0.1)
    assert np.isnan(found.hover_throttle)


def test_the_counter_that_is_far_off() -> None:
    """Case told by a user: the counter says 520 mAh, the charger 4,500."""
    f = flight(10.0)
    shrink = 0.52 / f["q"][-1]
    f["q"] = f["q"] * shrink
    f["i"] = f["i"] * shrink
    found = bench.calibrate_flight(bench.read(controller_export(f).encode()), charge_put_back=4.5)
    assert found.sensor_scale == pytest.approx(4500 / 520, rel=0.01)
    assert found.charge_used == pytest.approx(4.5, rel=0.01)


def test_charge_that_is_not_the_sum_of_the_current() -> None:
    f = flight(10.0)
    f["q"] = f["q"] * 3.0
    log = bench.read(controller_export(f).encode())
    assert [doubt.kind for doubt in log.doubts] == ["sensor_scale"]


def test_no_steady_stretch_and_no_steps_say_so() -> None:
    f = flight(20.0)
    wild = 20 + 15 * np.sin(f["t"] * 3)
    f["i"], f["throttle"] = wild, np.clip(wild / 50, 0, 1)
    found = bench.calibrate_flight(bench.read(controller_export(f).encode()))
    assert np.isnan(found.hover_current)
    assert any("No steady stretch" in note for note in found.notes)
    calm = flight(20.0)
    calm["i"] = np.full_like(calm["t"], 14.0)
    found = bench.calibrate_flight(bench.read(controller_export(calm).encode()))
    assert np.isnan(found.pack_resistance)
    assert any("No load steps" in note for note in found.notes)


def test_forecast_against_flown() -> None:
    found = bench.calibrate_flight(bench.read(controller_export(flight(20.0)).encode()), demo("scree"))
    c = found.comparison
    assert c.loc["hover current", "flown"] == pytest.approx(HOVER, rel=0.02)
    assert_allclose(c["flown over forecast"], c["flown"] / c["forecast"])
    assert np.isfinite(c["forecast"]).all()
    assert 0.0 < c.loc["pack resistance", "forecast"] < 0.3


def test_wrong_kind_of_log() -> None:
    text = "Throttle (%),Voltage (V),Current (A),Thrust (g)\n10,12,1,50\n20,12,2,90\n30,12,3,140\n40,12,4,200\n"
    with pytest.raises(ValueError, match="thrust-stand log"):
        bench.calibrate_flight(bench.read(text.encode()))
    log = bench.read(b"Time (s),Voltage (V),Altitude (m)\n0,16,0\n1,15.9,1\n2,15.8,2\n")
    assert "no_current" in [doubt.kind for doubt in log.doubts]
    with pytest.raises(ValueError, match="current column"):
        bench.calibrate_flight(log)


def test_frames_of_two_flights_can_be_joined():
    logs = [bench.read(controller_export(flight(seed=k)).encode()) for k in (1, 2)]
    for log in logs:
        bench.calibrate_flight(log, charge_put_back=0.4)
    assert len(pd.concat([log.frame for log in logs])) == sum(len(log.frame) for log in logs)


@pytest.mark.parametrize("write", [flight_files.motors_log, flight_files.telemetry_log])
@pytest.mark.parametrize("legs", [flight_files.IN_PIECES, flight_files.THEN_CRUISE])
def test_hover_in_pieces_and_beside_a_cruise(write, legs) -> None:
    """Told by users: hover, play, hover; and a flight that is mostly a steady cruise."""
    f = flight_files.flown(legs)
    found = bench.calibrate_flight(bench.read(write(f).encode()))
    still = f["kind"] == "hover"
    assert found.hover_current == pytest.approx(np.median(f["i"][still]), rel=0.03)
    if found.of_motors:
        assert found.hover_throttle == pytest.approx(np.median(f["throttle"][still]), abs=0.006)
    hover = found.steady[found.steady["taken_as"] == "hover"].iloc[0]
    assert hover["pieces"] == sum(what == "hover" for what, _ in legs)
    cruise = found.steady[(found.steady["taken_as"] == "cruise") & (found.steady["seconds"] > 5)]
    if legs is flight_files.THEN_CRUISE:
        assert cruise["seconds"].sum() > 60
        assert any("taken as cruise" in note for note in found.notes)
    else:
        assert not len(cruise)
    assert any(f"{hover['pieces']} pieces" in note for note in found.notes)


def test_a_slow_cruise_below_the_hover_is_told_apart_by_the_forecast() -> None:
    """At the speed of longest endurance level flight takes less than the hover (momentum theory)."""
    build = demo("scree")
    said = float(performance(build).hover_power)
    f = flight_files.flown(flight_files.THEN_CRUISE)
    slow = f["kind"] == "cruise"
    f["i"][slow] = 0.82 * flight_files.HOVER_WATTS / f["v"][slow]
    # the forecast is that of the hover, but for a tenth
    share = 1.1 * said / flight_files.HOVER_WATTS
    f["i"] = f["i"] * share
    log = bench.read(flight_files.motors_log(f).encode())
    still = np.median(f["i"][f["kind"] == "hover"])
    assert bench.calibrate_flight(log, build).hover_current == pytest.approx(still, rel=0.03)


def test_a_log_of_the_stick_is_set_against_the_stick() -> None:
    """Radio logs show the stick, which counts above idle; motor outputs show the command with idle."""
    f = flight(20.0)
    text = "Time (s),Voltage (V),Current (A),Throttle (%)\n" + "\n".join(
        f"{t:.2f},{v:.2f},{i:.2f},{100 * s:.1f}"
        for t, v, i, s in zip(f["t"], f["v"], f["i"], f["throttle"], strict=True)
    )
    build = demo("scree")
    by_stick = bench.calibrate_flight(bench.read(text.encode()), build)
    by_motors = bench.calibrate_flight(bench.read(controller_export(f).encode()), build)
    assert by_motors.of_motors and not by_stick.of_motors
    stick = by_stick.comparison.loc["throttle stick in hover, middle of the pack", "forecast"]
    command = by_motors.comparison.loc["hover command, middle of the pack", "forecast"]
    idle = build.controller.idle_duty
    exponent = build.controller.exponent
    assert command**exponent == pytest.approx(idle + (1 - idle) * stick**exponent, rel=0.02)
    assert stick < command - 0.02


# ---- joined logs ------------------------------------------------------------------------------------------


def rows(f: dict[str, np.ndarray], *, counter: bool = True) -> list[str]:
    """Rows of a log with time, voltage, current and perhaps the charge counted."""
    n = range(f["t"].size)
    return [
        f"{f['t'][k]:.3f},{f['v'][k]:.3f},{f['i'][k]:.3f}" + (f",{1000 * f['q'][k]:.2f}" if counter else "") for k in n
    ]


HEAD = {True: "Time (s),Voltage (V),Current (A),Charge (mAh)", False: "Time (s),Voltage (V),Current (A)"}


@pytest.mark.parametrize("counter", [True, False], ids=["with counter", "current only"])
@pytest.mark.parametrize("logs", [2, 3])
def test_joined_logs_count_each_by_itself(logs: int, counter: bool) -> None:
    """Flights put end to end in one file: charge, time and the sensor's scale are those of all of them."""
    flights = [flight(10.0, seed=k) for k in range(logs)]
    alone = [
        bench.calibrate_flight(bench.read("\n".join([HEAD[counter], *rows(f, counter=counter)]).encode()))
        for f in flights
    ]
    text = "\n".join([HEAD[counter], *(row for f in flights for row in rows(f, counter=counter))])
    log = bench.read(text.encode())
    put_back = sum(float(f["true_q"][-1]) for f in flights)
    found = bench.calibrate_flight(log, charge_put_back=put_back)
    assert_allclose(found.charge_used, put_back, rtol=1e-9)
    assert_allclose(found.sensor_scale, 1.0, atol=0.01)
    assert_allclose(found.flight_time, sum(one.flight_time for one in alone), rtol=0.02)
    assert_allclose(found.hover_current, HOVER, rtol=0.03)
    assert_allclose(found.pack_resistance, RESISTANCE, rtol=0.1)
    assert any(f"{logs} logs are joined" in note for note in found.notes)
    assert [doubt.kind for doubt in log.doubts] == ["joined"]
    firsts = np.cumsum([f["t"].size for f in flights])[:-1]
    assert log.doubts[0].rows == tuple(int(k) for k in firsts)


@pytest.mark.parametrize("again", [False, True], ids=["one heading", "heading of its own"])
def test_a_joined_log_that_begins_late_is_told_apart_too(again: bool) -> None:
    """The second clock starts at 40 s, inside the span of the first: sorted by time both would be mixed."""
    first, second = flight(10.0), flight(10.0, seed=1)
    late = {**second, "t": second["t"] + 40.0}
    heading = [HEAD[False]] if again else []
    text = "\n".join([HEAD[False], *rows(first, counter=False), *heading, *rows(late, counter=False)])
    found = bench.calibrate_flight(bench.read(text.encode()))
    assert_allclose(found.charge_used, float(first["true_q"][-1] + second["true_q"][-1]), rtol=0.01)


def test_rows_out_of_order_are_one_flight() -> None:
    """Late rows, a file that runs backwards and a shuffled one are no joined logs."""
    f = flight(10.0)
    told = rows(f, counter=False)
    late = told.copy()
    late[500], late[503] = late[503], late[500]
    shuffled = [told[k] for k in np.random.default_rng(3).permutation(len(told))]
    for order in (told, late, told[::-1], shuffled):
        log = bench.read("\n".join([HEAD[False], *order]).encode())
        found = bench.calibrate_flight(log)
        assert_allclose(found.charge_used, float(f["true_q"][-1]), rtol=0.01)
        assert "joined" not in [doubt.kind for doubt in log.doubts]


def test_a_current_that_is_negative_everywhere_is_a_doubt() -> None:
    f = flight(10.0)
    backwards = {**f, "i": -f["i"]}
    log = bench.read("\n".join([HEAD[False], *rows(backwards, counter=False)]).encode())
    (doubt,) = [doubt for doubt in log.doubts if doubt.kind == "negative_current"]
    assert doubt.severity == "wrong" and "wrong way round" in doubt.sentence
    with pytest.raises(ValueError, match="wrong way round"):
        bench.calibrate_flight(log)
    # a charger's or a glider's moments of negative current are no such thing
    some = {**f, "i": np.where(f["t"] < 5.0, -2.0, f["i"])}
    log = bench.read("\n".join([HEAD[False], *rows(some, counter=False)]).encode())
    assert "negative_current" not in [doubt.kind for doubt in log.doubts]


def test_a_stand_whose_current_is_negative_is_a_doubt() -> None:
    lines = [f"{k / 10:.1f},{24.0 - k / 10:.2f},{-(k**2) / 3:.2f},{40.0 * k:.0f}" for k in range(1, 10)]
    log = bench.read("\n".join(["Throttle (share),Voltage (V),Current (A),Thrust (g)", *lines]).encode())
    assert log.kind == "stand"
    assert "negative_current" in [doubt.kind for doubt in log.doubts]


def test_a_flight_that_is_all_cruise_is_not_called_a_hover_against_the_forecast() -> None:
    """Told by users: a log of a cruise alone, which takes half as much power again as the forecast hover."""
    build = demo("scree")
    f = flight()
    f["i"] = f["i"] * 1.5 * float(performance(build).hover_current) / HOVER
    log = bench.read(controller_export(f).encode())
    found = bench.calibrate_flight(log, build)
    assert found.hover_in_doubt and any("it was a cruise or a climb, or the craft is heavier" in n for n in found.notes)
    assert not bench.calibrate_flight(log).hover_in_doubt  # nothing to compare it with
    f["i"] = f["i"] / 1.5
    assert not bench.calibrate_flight(bench.read(controller_export(f).encode()), build).hover_in_doubt


def _unnamed(f: dict[str, np.ndarray], *, clock: float) -> bytes:
    out = ["p,q,r,s"]
    rows = zip(f["t"], f["v"], f["i"], f["throttle"], strict=True)
    out += [f"{t * clock:.3f},{v:.2f},{i:.2f},{100 * c:.1f}" for t, v, i, c in rows]
    return "\n".join(out).encode()


@pytest.mark.parametrize("clock", [1.0, 1000.0], ids=["s", "ms"])
def test_a_flight_without_a_known_word_in_its_heading_is_still_a_flight(clock) -> None:
    f = flight(10.0)
    log = bench.read(_unnamed(f, clock=clock))
    assert log.kind == "flight" and {g.column for g in log.guesses} >= {"p", "q", "r"}
    assert any(d.kind == "guessed_columns" for d in log.doubts)
    found = bench.calibrate_flight(log)
    assert found.hover_current == pytest.approx(HOVER, rel=0.03)
    assert found.flight_time == pytest.approx(100.0, rel=0.02)
    named = bench.read(_unnamed(f, clock=clock), columns={"motor_output_1": "s"}, kind="flight")
    assert "motor_1_share" in named.frame


def test_a_table_that_cannot_be_told_apart_names_its_columns_for_a_choice() -> None:
    rng = np.random.default_rng(1)
    rows = ["p,q,r"] + [f"{a:.0f},{b:.1f},{c:.0f}" for a, b, c in rng.normal((1e6, -5, 3e4), (1e5, 900, 1e4), (300, 3))]
    with pytest.raises(bench.BenchFileError, match="choose what they are") as refused:
        bench.read("\n".join(rows).encode())
    assert refused.value.headings == ("p", "q", "r")
    with pytest.raises(bench.BenchFileError) as words:
        bench.read(b"pilot,field\nme,hill\nyou,dale\n")
    assert words.value.headings == ()
