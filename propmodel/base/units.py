"""Plain unit factors: multiply to go into SI, divide to come out (``5 * INCH`` is 0.127 m)."""

INCH = 0.0254
MM = 1e-3
FOOT = 0.3048
GRAM = 1e-3
GRAM_FORCE = 9.80665e-3
POUND_FORCE = 4.4482216152605
RPM = 1.0 / 60.0
KMH = 1.0 / 3.6
MAH = 1e-3
MILLIOHM = 1e-3
MINUTE = 60.0
CELSIUS_ZERO = 273.15

__all__ = [
    "CELSIUS_ZERO",
    "FOOT",
    "GRAM",
    "GRAM_FORCE",
    "INCH",
    "KMH",
    "MAH",
    "MILLIOHM",
    "MINUTE",
    "MM",
    "POUND_FORCE",
    "RPM",
]
