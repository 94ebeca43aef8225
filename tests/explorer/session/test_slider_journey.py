"""One change of a slider: how often it is checked, how often it becomes a Build, and what stays the same object."""

import json
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

import explorer
from explorer.controls.page_frame import page_file
from explorer.forecasts import headlines
from explorer.inputs import Inputs, checks, conversion, measured_parts, to_build
from explorer.session import shelf

APP = Path(explorer.__file__).with_name("app.py")
HEAVY = replace(Inputs(), payload_g=120.0, name="Heavy")


@pytest.fixture
def counted(monkeypatch):
    """How often each craft was checked and converted, by its KV and payload."""
    found = {"check": Counter(), "from_record": Counter()}
    check, from_record = checks.check, conversion.from_record

    def checked(typed):
        found["check"][typed.kv, typed.payload_g] += 1
        return check(typed)

    def converted(record):
        found["from_record"][record["kv"], record["payload_g"]] += 1
        return from_record(record)

    monkeypatch.setattr(checks, "check", checked)
    monkeypatch.setattr(conversion, "from_record", converted)
    return found


@pytest.mark.parametrize("page", ["lift", "minutes", "margins", "dive"])
def test_a_change_of_kv_checks_and_converts_each_build_once(page, counted):
    at = AppTest.from_file(str(APP), default_timeout=60).run()
    at.session_state["pins"] = [HEAVY, Inputs()]
    at.session_state["pin_is_example"] = False
    at.switch_page(page_file(page)).run()
    # as on a server that has just started: nothing kept but what the session holds
    st.cache_data.clear()
    conversion._converted.cache_clear()
    for counter in counted.values():
        counter.clear()
    at.number_input(key="side-must:kv").set_value(2105).run()
    assert not at.exception
    crafts = {(2105.0, 70.0), (1950.0, 120.0), (1950.0, 70.0)}
    assert counted["from_record"][2105.0, 70.0] == 1
    assert counted["check"][2105.0, 70.0] == 1
    assert set(counted["from_record"]) <= crafts and max(counted["from_record"].values()) == 1
    assert set(counted["check"]) <= crafts and max(counted["check"].values()) == 1


def test_a_run_without_a_change_checks_and_converts_nothing(counted):
    at = AppTest.from_file(str(APP), default_timeout=60).run()
    for counter in counted.values():
        counter.clear()
    at.run()
    assert not at.exception
    assert not counted["check"] and not counted["from_record"]


def test_a_name_or_a_way_of_flying_is_no_new_conversion(counted):
    conversion._converted.cache_clear()
    first = to_build(Inputs())
    assert to_build(replace(Inputs(), name="", flying_style="race", drop_m=30.0)).motor.kv == first.motor.kv
    assert to_build(replace(Inputs(), charge_left_percent=60.0)) is first
    assert sum(counted["from_record"].values()) == 1
    assert to_build(replace(Inputs(), name="Other")).name == "Other"
    assert to_build(replace(Inputs(), kv=1800.0)).motor.kv == 1800.0


def test_measured_parts_are_put_in_once():
    made = to_build(Inputs())
    own = measured_parts.measured(
        Inputs(), "log", motor=replace(made.motor, kv=1900.0, log_sd_kv=0.01, log_sd_resistance=0.05)
    )
    mine = measured_parts.with_measured(Inputs(), own)
    again = measured_parts.with_measured(replace(Inputs(), hardest_pull_g=4.0), own)
    assert measured_parts.build_of(mine) is measured_parts.build_of(again)
    assert float(measured_parts.build_of(mine).motor.kv) == pytest.approx(
        1900.0 * float(made.motor.loaded_kv_ratio), rel=1e-12
    )


def test_a_measured_motor_stays_the_same_motor():
    """Measured, or read from a saved build: one `Motor` from there to the build of every answer."""
    made = to_build(Inputs())
    own = measured_parts.measured(
        Inputs(),
        "log",
        motor=replace(made.motor, kv=1900.0, log_sd_kv=0.01, log_sd_resistance=0.05),
        controller=replace(made.controller, log_sd_throttle_exponent=0.05),
    )
    inputs, back, words = shelf.inputs_of_record(json.loads(json.dumps(shelf.record_of(Inputs(), own))))
    assert (inputs, back, words) == (Inputs(), own, [])
    for one in (own, back):
        assert one is not None
        measured_parts._with_parts.cache_clear()  # an equal record would get the build of the first
        mine = measured_parts.with_measured(Inputs(), one)
        assert headlines.build(headlines.plain(mine)).motor is one.motor
        assert headlines.build(headlines.plain(mine)).controller is one.controller
        assert headlines.build(mine).motor == replace(one.motor, name=Inputs().motor_name)
        heavier = measured_parts.with_measured(replace(Inputs(), motor_mass_g=40.0), one)
        assert headlines.build(heavier).motor.mass == pytest.approx(0.040)
        assert headlines.build(heavier).motor.kv == one.motor.kv
