"""A build and its pinned builds as the query string of a link.

A link names a demo craft and contains only the values that differ from it:
``v=1&m=3&craft=scree&kv=1750&cells=5&end=2``.
The keys of the latest pinned build have the prefix ``p.``, those of earlier ones ``p2.`` and ``p3.``. ``v`` is the
version of the link, ``m`` the edition of the model. ``end`` is the number of values, so that a truncated link is
detected. Reading never raises an error and never returns text that could be code: one sentence lists the values that
cannot be read, and the demo craft's value is used in their place.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import Any
from urllib.parse import parse_qsl, urlencode

from explorer.inputs.checks import with_defaults_for_bad
from explorer.inputs.editions import edition_of, said
from explorer.inputs.fields import Field, short_text
from explorer.inputs.inputs import FIELDS, Inputs, demo_inputs
from propmodel import MODEL_EDITION
from propmodel.assembly.demo import demo_names
from propmodel.components.propeller import current_name

__all__ = ["MAX_LENGTH", "OTHER_KEYS", "VERSION", "Link", "clean_text", "decode", "encode", "from_params", "to_params"]

VERSION = 1
MAX_LENGTH = 9000
"""Length at which a query string is truncated; a full link with three pinned builds takes about 5,000. [characters]"""
MAX_VALUES = 400

OTHER_KEYS = frozenset({"story", "step", "class", "page", "units", "embed", "embed_options"})
"""Keys of the query string that do not belong to a build; they are ignored here."""

_PINS = ("p.", "p2.", "p3.")
"""Prefixes of the keys of pinned builds, the latest first."""
_ANY_PIN = re.compile(r"^p[23]?\.")
_MIGRATIONS: dict[int, Callable[[dict[str, str]], dict[str, str]]] = {}
"""Version n -> function that converts its keys and values to version n + 1."""

_NUMBER = re.compile(r"[-\u2212]?\d{1,7}(?:[.,]\d{1,6})?", re.ASCII)
_THOUSANDS = re.compile(r"[-\u2212]?[1-9]\d{0,2},\d{3}", re.ASCII)
"""Number with a comma that may separate thousands or decimals; it is ambiguous, so it is not read."""
_TEXT_SIGNS = frozenset(" .,-+_/()'\u00b0%#")
_SUFFIX = re.compile(r"_(g|w|mm|in|mah|mohm|a|v|c|percent|m|s|kmh|awg|uf|cm2)$")
_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


@dataclass(frozen=True)
class Link:
    """Result of reading a link.

    Parameters
    ----------
    inputs : Inputs
        The build; always valid.
    pinned : tuple of Inputs
        The pinned builds, the latest first.
    messages : tuple of str
        One sentence for each value or key that could not be used.
    bad : tuple of str
        Names of the fields that could not be read.
    lent : frozenset of str
        Fields whose values nobody told; see `to_params`.
    nothing : bool
        Whether none of the keys belongs to this program: the visitor comes as to the bare address.
    """

    inputs: Inputs
    pinned: tuple[Inputs, ...] = ()
    messages: tuple[str, ...] = ()
    bad: tuple[str, ...] = ()
    lent: frozenset[str] = frozenset()
    nothing: bool = False


def clean_text(text: str) -> str:
    """Return letters, digits, spaces and a few signs of a text, at most 60 characters: no tag, entity or link.

    Examples
    --------
    >>> clean_text("My <b>Scree</b> & co")
    'My bScree/b co'
    """
    clean = "".join(ch for ch in text[:400] if ch.isalnum() or ch in _TEXT_SIGNS)
    return " ".join(clean.split())[:60].rstrip()


# --- writing


def _written(field: Field, value: Any) -> str:
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return f"{value:.6f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)
    return clean_text(value)


def _differences(inputs: Inputs, base: Inputs) -> dict[str, str]:
    found = {}
    for field in fields(Inputs):
        value, default = getattr(inputs, field.name), getattr(base, field.name)
        if value != default:
            text = _written(FIELDS[field.name], value)
            if text != _written(FIELDS[field.name], default):
                found[field.name] = text
    return found


@lru_cache(maxsize=64)
def _nearest(inputs: Inputs) -> tuple[str, dict[str, str]]:
    """Return the demo craft with the fewest differences, the first of equals, and these differences."""
    tries = [(name, _differences(inputs, demo_inputs(name))) for name in demo_names()]
    return min(tries, key=lambda pair: len(pair[1]))


def to_params(inputs: Inputs, *pinned: Inputs, lent: Iterable[str] = ()) -> dict[str, str]:
    """Return the keys and values of a link, in order.

    Parameters
    ----------
    inputs : Inputs
        The current build; numbers have six decimals, text is as returned by `clean_text`.
    *pinned : Inputs
        The pinned builds, the latest first; at most three.
    lent : iterable of str
        Fields whose values nobody told: they were lent by a demo craft.

    Returns
    -------
    dict
        Key to value, both text.

    Examples
    --------
    >>> to_params(replace(Inputs(), kv=1750.0))
    {'v': '1', 'm': '3', 'craft': 'scree', 'kv': '1750', 'end': '1'}
    """
    craft, values = _nearest(inputs)
    telling = sorted(name for name in lent if getattr(inputs, name) not in (None, ""))  # a blank is a guess anyway
    names = {"lent": ".".join(telling)} if telling else {}
    params = {"v": str(VERSION), "m": str(MODEL_EDITION), **names, "craft": craft, **values}
    count = len(values)
    for before, other in zip(_PINS, pinned, strict=False):
        craft, values = _nearest(other)
        params |= {before + "craft": craft, **{before + name: text for name, text in values.items()}}
        count += len(values)
    return {**params, "end": str(count)}


def encode(inputs: Inputs, *pinned: Inputs, lent: Iterable[str] = ()) -> str:
    """Return the query string of a build and the pinned builds, without the question mark.

    Examples
    --------
    >>> encode(replace(Inputs(), cells=5, pack_g=None))
    'v=1&m=3&craft=scree&cells=5&pack_g=none&end=2'
    """
    return urlencode(to_params(inputs, *pinned, lent=lent))


# --- reading


def decode(query: str) -> Link:
    """Read a query string.

    Parameters
    ----------
    query : str
        Any text, with or without the question mark.

    Returns
    -------
    Link
        The builds and the messages.

    Examples
    --------
    >>> decode("v=1&m=3&craft=scree&cells=99&pitch_in=abc&kv=1750&end=3").messages
    ('Two of three values in this link could not be read (cells, pitch); the defaults stand there.',)
    """
    query = str(query)
    query = query[query.find("?") + 1 :] if "?" in query[:200] else query
    long = len(query) > MAX_LENGTH
    pairs = parse_qsl(query[:MAX_LENGTH], keep_blank_values=True, errors="replace")
    return _read(pairs, too_long=long)


def from_params(params: Mapping[str, str | list[str]]) -> Link:
    """Read keys and values that the server has already split, as `decode` does; repeated keys have a list."""
    pairs = [
        (str(key), str(value))
        for key, values in params.items()
        for value in (values if isinstance(values, list) else [values])
    ]
    size = 0
    for number, (key, value) in enumerate(pairs):
        size += len(key) + len(value) + 2
        if size > MAX_LENGTH:
            return _read(pairs[:number], too_long=True)
    return _read(pairs, too_long=False)


def _read(pairs: Iterable[tuple[str, str]], *, too_long: bool) -> Link:
    pairs = [(key, value) for key, value in pairs if key not in OTHER_KEYS]
    too_long = too_long or len(pairs) > MAX_VALUES
    params = dict(pairs[:MAX_VALUES])
    twice = _said_twice(pairs[:MAX_VALUES])
    messages: list[str] = []
    version = params.pop("v", None)
    if version is not None:
        params = _to_this_version(version, params, messages)
    edition = params.pop("m", None)
    lent = frozenset(params.pop("lent", "").split(".")) & FIELDS.keys()
    last = _cut_at(version, params)
    if too_long:
        messages.append(f"This link is too long; I read its first {MAX_LENGTH} characters.")
    elif last is not None:
        params.pop(last, None)
        named = _shown(last) or "the craft"
        messages.append(f"This link was cut short; its last value ({named}) is left out.")
    if twice:
        messages.append(f"This link gives {_named(twice)} more than once; the last value stands.")
    end = params.pop("end", "")
    counted = sum(_ANY_PIN.sub("", key) != "craft" for key in params)
    if _is_count(end) and int(end[:6]) > len(params):
        messages.append("Some values of this link were lost on the way; theirs are those of the craft it names.")
    if version is None and params and not any(_ANY_PIN.sub("", key) in (*FIELDS, "craft") for key in params):
        said_so = (
            f"This link could not be read ({_named(list(params))}); what you see is the invented craft to begin with."
        )
        return Link(Inputs(), messages=(*messages, said_so), nothing=True)
    inputs, bad = _build_of({k: v for k, v in params.items() if not _ANY_PIN.match(k)})
    pinned: list[Inputs] = []
    for before in _PINS:
        beside = {k.removeprefix(before): v for k, v in params.items() if k.startswith(before)}
        if beside:
            other, bad_pinned = _build_of(beside)
            pinned.append(other)
            bad = bad + [before + name for name in bad_pinned]
    if bad:
        messages.append(_sentence(bad, counted))
    if version is not None and last is None and not too_long:
        # only for a complete link written by this program: whoever typed a link by hand has seen no earlier results
        end = said("link", edition_of(edition), reading=inputs.cell_mohm is not None)
        messages += [end] if end else []
    unread = tuple(name for name in bad if _ANY_PIN.sub("", name) in FIELDS)
    return Link(inputs, tuple(pinned), tuple(messages), unread, frozenset(lent))


def _to_this_version(version: str, params: dict[str, str], messages: list[str]) -> dict[str, str]:
    if not re.fullmatch(r"\d{1,4}", version, re.ASCII):
        messages.append("The version of this link could not be read; I took it for one of today.")
        return params
    number = int(version)
    if number > VERSION:
        messages.append("This link comes from a later version; I read what I know of it.")
    while number < VERSION:
        params = _MIGRATIONS.get(number, dict)(params)
        number += 1
    return params


def _cut_at(version: str | None, params: Mapping[str, str]) -> str | None:
    """Return the last key of a truncated link; None if it is complete or was written by hand."""
    if version is None or "end" in params:
        end = params.get("end", "0")
        return None if _is_count(end) else "end"
    return next(reversed(list(params)), "craft")


def _is_count(text: str) -> bool:
    return text.isascii() and text.isdigit()


def _said_twice(pairs: Iterable[tuple[str, str]]) -> list[str]:
    """Return the keys that have two different values."""
    first: dict[str, str] = {}
    return [key for key, value in pairs if first.setdefault(key, value) != value]


def _build_of(params: Mapping[str, str]) -> tuple[Inputs, list[str]]:
    """Return valid inputs of one build, and the keys that could not be read."""
    bad = []
    craft = params.get("craft", demo_names()[0]).lower()
    if craft not in demo_names():
        bad.append("craft")
        craft = demo_names()[0]
    base = demo_inputs(craft)
    values: dict[str, Any] = {}
    for key, text in params.items():
        if key == "craft":
            continue
        if key not in FIELDS:
            bad.append(key)
            continue
        known, value = _parsed(FIELDS[key], text)
        if known:
            values[key] = current_name(value) if key == "measured_propeller" and value else value
        else:
            bad.append(key)
    inputs, problems = with_defaults_for_bad(replace(base, **values), base)
    wrong = {name for name, _ in problems}
    # two fields that contradict each other are both reset: name those that the link had set
    put_back = [name for name in values if getattr(inputs, name) != values[name] or name in wrong]
    unread = {*bad, *put_back}
    return inputs, [key for key in params if key in unread]


def _parsed(field: Field, text: str) -> tuple[bool, Any]:
    text = text.strip()
    if text == "none" and field.optional:
        return True, None
    if field.kind in ("number", "whole"):
        if not _NUMBER.fullmatch(text) or not text.isprintable() or _THOUSANDS.fullmatch(text):
            return False, None
        number = float(text.replace(",", ".").replace("\u2212", "-")) + 0.0  # changes -0 to 0
        if field.kind == "whole":
            return number == int(number), int(number)
        return True, number
    if field.kind == "switch":
        return text in ("yes", "no"), text == "yes"
    if field.kind == "choice":
        return text in field.options, text
    return True, clean_text(text)


def _shown(key: str) -> str:
    """Return the name of a value for a sentence: without unit, underscore or characters that could be code."""
    name = _SUFFIX.sub("", _ANY_PIN.sub("", key)).replace("_", " ")
    return clean_text(short_text(name))


def _count(number: int) -> str:
    return _WORDS[number] if number < len(_WORDS) else str(number)


def _named(keys: list[str]) -> str:
    """Return the first four keys as names."""
    names = list(dict.fromkeys(_shown(key) or "no name" for key in keys))
    return ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")


def _sentence(bad: list[str], counted: int) -> str:
    names = _named(bad)
    total = max(counted, len(bad))
    if total == 1:
        return f"The value in this link could not be read ({names}); the default stands there."
    first = _count(len(bad)).capitalize()
    stand = "the default stands there" if len(bad) == 1 else "the defaults stand there"
    return f"{first} of {_count(total)} values in this link could not be read ({names}); {stand}."
