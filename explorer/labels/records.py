"""Result of reading labels: values, questions, and unread pieces."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from explorer.labels.words import sentence_of

__all__ = ["Found", "LabelQuestion", "LabelReading", "Option", "Unread", "Value", "Values", "answered"]

Value = float | int | str | bool
Values = tuple[tuple[str, Value], ...]


@dataclass(frozen=True)
class Found:
    """One field that was read: its name in `explorer.inputs.Inputs`, its value, the text it came from."""

    field: str
    value: Value
    source: str
    note: str = ""


@dataclass(frozen=True)
class Option:
    """One meaning, in words and as field values; no values means "leave as it is"."""

    text: str
    values: Values


@dataclass(frozen=True)
class LabelQuestion:
    """A piece with two meanings or more. ``assumed`` is the option in use until it is answered, if any."""

    source: str
    sentence: str
    options: tuple[Option, ...]
    assumed: int | None = None


@dataclass(frozen=True)
class Unread:
    """A piece that could not be read, and a possible correction."""

    source: str
    sentence: str
    suggestion: str | None = None


@dataclass(frozen=True)
class LabelReading:
    """Result of reading a text.

    Parameters
    ----------
    found : tuple of Found
        One for each field.
    questions : tuple of LabelQuestion
        To be answered by a choice each (see `answered`).
    unread : tuple of Unread
    left_out : tuple of str
        Words and sizes that no field takes.
    assumed : tuple of str
        Sentences about customary values that the labels do not state.
    """

    found: tuple[Found, ...] = ()
    questions: tuple[LabelQuestion, ...] = ()
    unread: tuple[Unread, ...] = ()
    left_out: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()

    def open_labels(self, answers: Mapping[int, int] = MappingProxyType({})) -> tuple[str, ...]:
        """Return the labels that are unread or have an unanswered question, as entered.

        Examples
        --------
        >>> from explorer.labels import read_labels
        >>> read_labels("6S2P 5000mAh, 22o7").open_labels(), read_labels("6S2P 5000mAh").open_labels({0: 1})
        (('5000mAh', '22o7'), ())
        """
        asked = [q.source for k, q in enumerate(self.questions) if q.assumed is None and k not in answers]
        return tuple(dict.fromkeys([*asked, *(u.source for u in self.unread)]))

    def open_fields(self, answers: Mapping[int, int] = MappingProxyType({})) -> frozenset[str]:
        """Return the fields with an unanswered question."""
        waiting = [q for k, q in enumerate(self.questions) if q.assumed is None and k not in answers]
        return frozenset(field for q in waiting for option in q.options for field, _ in option.values)

    @property
    def values(self) -> dict[str, Value]:
        """Field values, ready for `explorer.inputs.apply`."""
        return {found.field: found.value for found in self.found}

    @property
    def sentence(self) -> str:
        """One plain sentence.

        Examples
        --------
        >>> from explorer.labels import read_labels
        >>> read_labels("2207 1950KV, 5.1x4.3x3, 6S 1300").sentence
        'I read this as: motor 2207 (22 mm wide, 7 mm tall), 1950 KV; propeller 5.1 x 4.3 in, 3 blades; \
pack 6 cells, 1300 mAh.'
        """
        return sentence_of(self.values, asked=bool(self.questions))


def answered(reading: LabelReading, answers: Mapping[int, int]) -> dict[str, Value]:
    """Field values with the questions answered.

    Parameters
    ----------
    reading : LabelReading
    answers : mapping
        Number of a question to number of the chosen option; others are left out.

    Returns
    -------
    dict
        For `explorer.inputs.apply`.

    Examples
    --------
    >>> from explorer.labels import read_labels
    >>> answered(read_labels("51433"), {0: 0})
    {'diameter_in': 5.1, 'pitch_in': 4.3, 'blades': 3}
    """
    values = reading.values
    for number, choice in answers.items():
        if 0 <= number < len(reading.questions) and 0 <= choice < len(reading.questions[number].options):
            values.update(reading.questions[number].options[choice].values)
    return values
