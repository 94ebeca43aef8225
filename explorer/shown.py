"""temporary until format.py lands"""
from __future__ import annotations
from dataclasses import dataclass
from typing import Any
import math

NNBSP = "\u202f"

@dataclass(frozen=True)
class Units:
    pull: str = "g"
    propeller: str = "in"
    temperature: str = "C"

PROPELLER = {"diameter_in", "pitch_in", "frame_propeller_in"}

def shown_unit(name, unit, units):
    if name in PROPELLER and units.propeller == "mm":
        return "mm"
    if unit == "C":
        return "°" + units.temperature
    if unit == "cm2":
        return "cm²"
    return {"mohm": "mΩ", "uF": "µF"}.get(unit, unit)

def to_shown(name, value, units, span=False):
    if value is None: return None
    if name in PROPELLER and units.propeller == "mm":
        return round(value*25.4, 1)
    return value

def from_shown(name, value, units):
    if value is None: return None
    if name in PROPELLER and units.propeller == "mm":
        return round(value/25.4, 3)
    return value


def mass(kg: float) -> str:
    g = kg * 1000
    if g >= 2000: return f"{kg:.2f}{NNBSP}kg"
    return f"{5 * round(g / 5):.0f}{NNBSP}g" if g >= 100 else f"{g:.0f}{NNBSP}g"

def minutes(seconds: float) -> str:
    m = seconds / 60
    return f"{m:.1f}" if m < 10 else f"{m:.0f}"

def ratio(x): return f"{x:.1f}"
def percent(x): return f"{100*x:.0f}"
def amps(x): return f"{x:.1f}" if x < 10 else f"{x:,.0f}"
def watts(x): return f"{x:,.0f}" if x >= 9.5 else f"{x:.1f}"

def pull(newton, units):
    if units.pull == "N":
        return f"{newton:.0f}{NNBSP}N" if newton >= 10 else f"{newton:.1f}{NNBSP}N"
    g = newton / 9.80665 * 1000
    return f"{g/1000:.2f}{NNBSP}kg" if g >= 2000 else f"{5*round(g/5):.0f}{NNBSP}g"
def between(low, high): return f"{low} to {high}"
