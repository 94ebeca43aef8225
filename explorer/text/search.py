"""Search for words in questions, troubleshooting entries and glossary terms."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

__all__ = ["holding"]

Item = TypeVar("Item")
_ENDINGS = ("ing", "ed", "es", "s")
"""Endings of English plurals and tenses, longest first."""
_SMALL = """
after again an and are at be by can do does for from get gets got how if in into
is it its me my of on or so than that the there to too says
was what when why will with your
"""


def _forms(word: str) -> tuple[str, ...]:
    """Return a word and the word without the ending of a plural or a tense.

    Examples
    --------
    >>> _forms("twitches"), _forms("cell")
    (('twitches', 'twitch'), ('cell',))
    """
    stem = next((word[: -len(end)] for end in _ENDINGS if word.endswith(end) and len(word) - len(end) > 2), word)
    return (word,) if stem == word else (word, stem)


def holding(words: str, items: Sequence[Item], text: Callable[[Item], str]) -> list[Item]:
    """Return the items that contain the most search words, if that is at least half of the words.

    Parameters
    ----------
    words : str
        Search text as typed; stop words and single letters are ignored.
    items : sequence
        Items to search.
    text : callable
        Returns the text of an item.

    Returns
    -------
    list
        In the order of ``items``; all items if there is no search word.

    Examples
    --------
    >>> holding("motor gets hot in hover", ["a hot motor", "hover", "a spark"], str)
    ['a hot motor']
    >>> holding("smoke", ["a hot motor"], str)
    []
    """
    small = _SMALL.split()
    cleaned = "".join(c if c.isalnum() or c in "-." else " " for c in words.lower())
    asked = [w for w in cleaned.split() if len(w) > 1 and w not in small]
    if not asked:
        return list(items)
    forms = [_forms(word) for word in asked]
    held = [sum(any(form in text(item).lower() for form in each) for each in forms) for item in items]
    most = max(held, default=0)
    return [item for item, count in zip(items, held, strict=True) if count == most and 2 * most >= len(asked)]
