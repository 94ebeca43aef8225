"""From the text of a label to values."""

from explorer.labels.reader import read_labels
from explorer.labels.records import Found, Option, Question, Reading, Unread, Value, answered

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
