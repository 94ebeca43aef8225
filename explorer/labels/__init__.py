"""Parser of part labels: from text to field values."""

from explorer.labels.reader import read_labels
from explorer.labels.records import Found, LabelQuestion, LabelReading, Option, Unread, Value, answered

__all__ = [
    "Found",
    "LabelQuestion",
    "LabelReading",
    "Option",
    "Unread",
    "Value",
    "answered",
    "read_labels",
]
