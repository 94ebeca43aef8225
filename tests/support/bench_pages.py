"""Pages of the bench and the shelf run without a browser, and measured parts for them."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from streamlit.testing.v1 import AppTest

import explorer
from explorer.controls.page_frame import page_file
from explorer.inputs import Inputs, measured_parts, to_build

APP = Path(explorer.__file__).with_name("app.py")


def opened(page: str) -> AppTest:
    at = AppTest.from_file(str(APP), default_timeout=60)
    at.run()
    at.switch_page(page_file(page))
    return run(at)


def run(at: AppTest) -> AppTest:
    at.run()
    assert not at.exception
    assert not at.error
    return at


def body(at: AppTest) -> str:
    text = " ".join(node.proto.body for node in at.get("html") if "<style>" not in node.proto.body)
    return re.sub(r"\s+", " ", re.sub("[\u00a0\u202f]", " ", re.sub(r"<[^>]+>", " ", text)))


def own_of(inputs: Inputs, **changes: float) -> measured_parts.OwnParts:
    made = to_build(inputs)
    motor = replace(made.motor, kv=1800.0, loaded_kv_ratio=1.0, log_sd_kv=0.01, log_sd_resistance=0.05, **changes)
    blades = replace(made.propeller, log_c_t_offset=0.05, log_sd_c_t=0.02, log_sd_c_p=0.02, spread_correlation=0.5)
    return measured_parts.measured(inputs, "stand.csv", motor=motor, propeller=blades)
