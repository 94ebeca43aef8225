"""From the text of a label to values."""

from explorer.labels.reader import (
    Found,
    Option,
    Question,
    Reading,
    Unread,
    Value,
    answered,
    read_labels,
)

__all__ = [
    "Found",
    "Option",
    "Question",
    "Reading",
    "Unread",
    "Value",
    "answered",
    "read_labels",
]
