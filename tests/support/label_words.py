"""What the label reader makes of a text, for its tests."""

from __future__ import annotations

from explorer.labels import read_labels

MOTOR = {"stator_d_mm": 22.0, "stator_h_mm": 7.0}


def options(text: str, question: int = 0) -> list[dict]:
    """Field values of each option of a question."""
    return [dict(option.values) for option in read_labels(text).questions[question].options]


def settled(text: str) -> dict:
    """Values of a text that leaves no doubt at all."""
    reading = read_labels(text)
    assert reading.questions == () and reading.unread == ()
    return reading.values
