"""Links that somebody spoiled: every odd value in every field, odd frames, odd ways to write a link.

A link gives a valid build whatever it holds. A value that cannot be read leaves the default and is named; a value that
can be read is the right one. Percent-encoding: RFC 3986 section 2.1; the rest is common practice, from memory.
"""

from __future__ import annotations

import time
from dataclasses import replace
from urllib.parse import parse_qsl, quote, quote_plus

import pytest

from explorer.inputs import FIELDS, Inputs, check, demo_inputs
from explorer.inputs.link import MAX_LENGTH, decode, encode, from_params

SCREE = Inputs()
NUMBERS = [name for name, field in FIELDS.items() if field.kind in ("number", "whole")]
CHOICES = [name for name, field in FIELDS.items() if field.kind in ("choice", "switch")]

NO_NUMBER = {
    "not a number": "nan", "signed not a number": "-NaN", "infinite": "inf", "minus infinite": "-Infinity",
    "nothing": "", "blank": " ", "sign only": "-", "point only": ".", "two points": "1.2.3", "two commas": "1,2,3",
    "exponent": "1e3", "exponent beyond floats": "1e999", "hexadecimal": "0x10", "underscore": "1_0",
    "two signs": "--5", "plus": "+5", "unit": "5 g", "percent sign": "5%", "fraction": "1/2", "sum": "=1+1",
    "full-width digits": "\uff11\uff12", "superscript": "\u00b2", "arabic digits": "\u0661\u0662", "half": "\u00bd",
    "roman": "\u2166", "NUL": "1\x00", "line break": "1\n2", "direction mark": "1\u202e2", "no-break space": "1\u00a02",
    "markup": "<b>5</b>", "null": "null", "None": "None", "true": "true", "list": "[5]", "two values": "5;6",
    "eight digits": "12345678", "400 digits": "9" * 400, "7 decimals": "1.1234567", "half a character": "\ud83d",
    "too large": "9999999", "too small": "-9999999", "point for thousands": "1.234.567", "apostrophe": "1'234",
}  # fmt: skip
"""Texts that stand for no number that a field takes."""


@pytest.mark.parametrize("kind", NO_NUMBER)
def test_what_is_no_number_leaves_the_default_in_every_field(kind):
    for name in NUMBERS:
        link = decode(f"v=1&m=3&craft=scree&{name}={quote_plus(NO_NUMBER[kind], errors='surrogatepass')}&end=1")
        assert link.inputs == SCREE, name
        assert link.bad == (name,), name
        (told,) = link.messages
        assert told.startswith("The value in this link could not be read (") and told.endswith(
            "); the default stands there."
        ), told


@pytest.mark.parametrize("which", ["low", "high"])
def test_the_ends_of_every_range_are_read_and_a_step_beyond_is_not(which):
    """As far as the other values of the craft allow it: a clash is named, and never changes a third value."""
    for name in NUMBERS:
        field = FIELDS[name]
        end, out = (field.low, -1.0) if which == "low" else (field.high, 1.0)
        assert end is not None
        read = decode(f"v=1&m=3&craft=scree&{name}={end:g}&end=1")
        if read.bad:
            assert name in read.bad and read.inputs == SCREE, name
        else:
            assert read.inputs == replace(SCREE, **{name: type(end)(end) if field.kind == "number" else int(end)}), name
        beyond = decode(f"v=1&m=3&craft=scree&{name}={end + out:.6f}&end=1")
        assert beyond.inputs == SCREE and beyond.bad == (name,), name


@pytest.mark.parametrize(
    "text", ["", "Yes", "YES", "1", "true", "none", "lipo\x00", "LIPO", "' or 1=1", "../x", "9" * 300]
)
def test_what_is_no_choice_leaves_the_default(text):
    for name in CHOICES:
        if text in (FIELDS[name].options or ()):
            continue
        link = decode(f"v=1&m=3&craft=scree&{name}={quote_plus(text)}&end=1")
        assert link.inputs == SCREE and link.bad == (name,), name


# A query, what differs from Scree in the build that it gives, and a piece of the one message (None: no message).
FRAMES: dict[str, tuple[str, dict, str | None]] = {
    "count is a superscript": ("v=1&m=3&kv=1750&end=\u00b2", {"kv": 1750.0}, "cut short; its last value (end)"),
    "count is full-width": ("v=1&m=3&kv=1750&end=\uff11", {"kv": 1750.0}, "cut short"),
    "count is empty": ("v=1&m=3&kv=1750&end=", {"kv": 1750.0}, "cut short"),
    "count is negative": ("v=1&m=3&kv=1750&end=-1", {"kv": 1750.0}, "cut short"),
    "count of 400 digits": (f"v=1&m=3&kv=1750&end={'9' * 400}", {"kv": 1750.0}, "were lost on the way"),
    "count too low": ("v=1&m=3&kv=1750&end=0", {"kv": 1750.0}, None),
    "version is a superscript": ("v=\u00b2&m=3&kv=1750&end=1", {"kv": 1750.0}, "could not be read; I took it"),
    "version is negative": ("v=-1&m=3&kv=1750&end=1", {"kv": 1750.0}, "version of this link could not be read"),
    "version of 400 digits": (f"v={'9' * 400}&m=3&kv=1750&end=1", {"kv": 1750.0}, "version of this link could not be"),
    "version is empty": ("v=&m=3&kv=1750&end=1", {"kv": 1750.0}, "version of this link could not be read"),
    "version zero": ("v=0&m=3&kv=1750&end=1", {"kv": 1750.0}, None),
    "later version": ("v=7&m=3&kv=1750&end=1", {"kv": 1750.0}, "comes from a later version"),
    "edition is no number": ("v=1&m=x&kv=1750&end=1", {"kv": 1750.0}, None),
    "edition is a superscript": ("v=1&m=\u00b2&kv=1750&end=1", {"kv": 1750.0}, None),
    "edition of 400 digits": (f"v=1&m={'9' * 400}&kv=1750&end=1", {"kv": 1750.0}, None),
    "edition is negative": ("v=1&m=-3&kv=1750&end=1", {"kv": 1750.0}, None),
    "no version": ("kv=1750", {"kv": 1750.0}, None),
    "frame only": ("v=1&m=3&end=0", {}, None),
    "value twice": ("v=1&m=3&kv=1750&kv=2400&end=1", {"kv": 2400.0}, "gives kv more than once; the last value stands"),
    "value twice and the same": ("v=1&m=3&kv=1750&kv=1750&end=1", {"kv": 1750.0}, None),
    "value twice, the last is none": ("v=1&m=3&kv=1750&kv=nan&end=1", {}, "gives kv more than once"),
    "craft twice": ("v=1&m=3&craft=tarn&craft=scree&kv=1750&end=1", {"kv": 1750.0}, "gives craft more than once"),
    "version twice": ("v=1&v=2&m=3&kv=1750&end=1", {"kv": 1750.0}, "gives v more than once"),
    "three keys twice": (
        "v=1&m=3&kv=1&kv=1750&cells=1&cells=5&pitch_in=1&pitch_in=4&end=3",
        {"kv": 1750.0, "cells": 5, "pitch_in": 4.0}, "gives kv, cells, pitch more than once",
    ),
    "unknown craft": ("v=1&m=3&craft=nosuch&kv=1750&end=1", {"kv": 1750.0}, "could not be read (craft)"),
    "empty craft": ("v=1&m=3&craft=&kv=1750&end=1", {"kv": 1750.0}, "could not be read (craft)"),
    "craft in capitals": ("v=1&m=3&craft=SCREE&kv=1750&end=1", {"kv": 1750.0}, None),
    "path as craft": ("v=1&m=3&craft=../../x&kv=1750&end=1", {"kv": 1750.0}, "could not be read (craft)"),
    "unknown propeller": (
        "v=1&m=3&measured_propeller=no_such&end=1", {}, "could not be read (measured propeller)",
    ),
    "semicolons": ("v=1;m=2;kv=1750;end=3", {}, "cut short"),
    "key in capitals": ("v=1&m=3&KV=1750&end=1", {}, "could not be read (KV)"),
    "key with a blank": ("v=1&m=3&kv%20=1750&end=1", {}, "could not be read (kv)"),
    "empty key": ("v=1&m=3&=1750&kv=1750&end=2", {"kv": 1750.0}, "could not be read (no name)"),
    "key of markup": ("v=1&m=3&%3Cscript%3E=1&end=1", {}, "could not be read (script)"),
    "key of a method": ("v=1&m=3&__init__=1&end=1", {}, "could not be read"),
    "fourth pin": ("v=1&m=3&p4.kv=1750&end=1", {}, "could not be read (p4.kv)"),
    "pin of a pin": ("v=1&m=3&p.p.kv=1750&end=1", {}, "could not be read (p.kv)"),
    "pin without a key": ("v=1&m=3&p.=1&end=1", {}, "could not be read (no name)"),
    "value without a sign": ("v=1&m=3&kv&end=1", {}, "could not be read (kv)"),
    "two signs": ("v=1&m=3&kv==1750&end=1", {}, "could not be read (kv)"),
    "half an escape": ("v=1&m=3&kv=17%5&end=1", {}, "could not be read (kv)"),
    "escape of no letters": ("v=1&m=3&kv=%ZZ&end=1", {}, "could not be read (kv)"),
    "bytes that are no text": ("v=1&m=3&kv=%F1%80%FF&end=1", {}, "could not be read (kv)"),
    "overlong form of a sign": ("v=1&m=3&kv=%C0%AF&end=1", {}, "could not be read (kv)"),
    "escaped twice": ("v=1&m=3&kv=%2531%2537&end=1", {}, "could not be read (kv)"),
    "escaped digits": ("v=1&m=3&kv=%31%37%35%30&end=1", {"kv": 1750.0}, None),
    "escaped frame": (quote("v=1&m=3&kv=1750&end=1", safe=""), {}, "could not be read"),
    "base64 of a link": ("dj0xJm09MiZrdj0xNzUwJmVuZD0x", {}, "could not be read"),
    "base64 cut short": ("b=dj0xJm09MiZrdj0xNzU", {}, "could not be read (b)"),
    "a whole address": ("http://localhost:8501/?v=1&m=3&kv=1750&end=1", {"kv": 1750.0}, None),
    "mark first": ("?v=1&m=3&kv=1750&end=1", {"kv": 1750.0}, None),
    "blanks round a number": ("v=1&m=3&kv=+1750+&end=1", {"kv": 1750.0}, None),
    "decimal comma": ("v=1&m=3&pitch_in=4,5&end=1", {"pitch_in": 4.5}, None),
    "comma that may part thousands": ("v=1&m=3&altitude_m=1,200&end=1", {}, "could not be read (altitude)"),
    "three decimals after a comma": ("v=1&m=3&no_load_a=0,525&end=1", {"no_load_a": 0.525}, None),
    "minus of type-setters": ("v=1&m=3&air_temperature_c=%E2%88%925&end=1", {"air_temperature_c": -5.0}, None),
    "minus zero": ("v=1&m=3&altitude_m=-0&end=1", {"altitude_m": 0.0}, None),
    "zeros first": ("v=1&m=3&kv=0001750&end=1", {"kv": 1750.0}, None),
    "half a cell": ("v=1&m=3&cells=5.5&end=1", {}, "could not be read (cells)"),
    "cells with a zero decimal": ("v=1&m=3&cells=5.0&end=1", {"cells": 5}, None),
    "none where a value must be": ("v=1&m=3&kv=none&end=1", {}, "could not be read (kv)"),
    "none in capitals": ("v=1&m=3&pack_g=NONE&end=1", {}, "could not be read (pack)"),
    "burst below what lasts": ("v=1&m=3&esc_a=80&esc_burst_a=60&end=2", {}, "could not be read (esc, esc burst)"),
    "shares beyond 100 %": (
        "v=1&m=3&mix_hover_percent=90&mix_cruise_percent=90&mix_hard_percent=0&mix_full_percent=0&end=4", {},
        "could not be read",
    ),
    "keys of the page": ("story=inch&step=ask&class=1&units=si&embed=true&page=lift", {}, None),
    "story twice": ("v=1&m=3&kv=1750&story=a&story=b&end=1", {"kv": 1750.0}, None),
    "a name of blanks": ("v=1&m=3&name=+++&kv=1750&end=2", {"name": "", "kv": 1750.0}, None),
}  # fmt: skip


@pytest.mark.parametrize("kind", FRAMES)
def test_an_odd_link_gives_the_right_build_and_says_what_was_left(kind):
    query, different, told = FRAMES[kind]
    link = decode(query)
    assert link.inputs == replace(SCREE, **different)
    assert check(link.inputs) == [] and all(check(one) == [] for one in link.pinned)
    mine = [text for text in link.messages if "refitted" not in text and "later edition" not in text]
    if told is None:
        assert mine == []
    else:
        assert any(told in text for text in mine), mine
    for text in link.messages:
        assert len(text) < 400 and text[0].isupper() and text.endswith(".") and not set(text) & set('<>&"`\x00')


@pytest.mark.parametrize(
    "query",
    [
        "v=1&" + "kv=1750&" * 50_000, "a" * 1_000_000, "&" * 1_000_000, "=" * 1_000_000, "%" * 300_000, "%F1" * 300_000,
        "?" * 300_000, "v=1&" + "&".join(f"k{n}=1" for n in range(100_000)), "p." * 300_000 + "kv=1",
        "v=1&name=" + "\u0301" * 300_000, "v=1&name=" + "\ufdfa" * 100_000, "v=1&kv=" + "1" * 1_000_000,
        "v=1&kv=" + "," * 300_000, "v=1&kv=1" + "," * 8000 + "x&end=1", "\x00" * 300_000,
    ],
    ids=range(15),
)  # fmt: skip
def test_a_link_of_a_million_letters_is_answered_at_once(query):
    begun = time.process_time()
    link = decode(query)
    assert time.process_time() - begun < 2.0
    assert check(link.inputs) == [] and link.messages and len(" ".join(link.messages)) < 2000
    assert len(query) < MAX_LENGTH or any("too long" in text for text in link.messages)


@pytest.mark.parametrize("kind", FRAMES)
def test_values_that_a_server_took_apart_are_read_in_the_same_way(kind):
    query = FRAMES[kind][0].split("?")[-1]
    params: dict[str, list[str]] = {}
    for key, value in parse_qsl(query, keep_blank_values=True):
        params.setdefault(key, []).append(value)
    assert from_params(params).inputs == decode(query).inputs


def test_minus_zero_is_zero():
    assert str(decode("v=1&m=3&altitude_m=-0&end=1").inputs.altitude_m) == "0.0"


@pytest.mark.parametrize("name", ["scree", "tarn", "moor", "fell"])
def test_every_field_goes_out_and_comes_back(name):
    """One field at a time away from the craft's value: what is sent is what is read."""
    base = demo_inputs(name)
    for field in FIELDS.values():
        for value in _others(field, getattr(base, field.name)):
            changed = replace(base, **{field.name: value})
            if not check(changed):
                link = decode(encode(changed))
                assert link.inputs == changed and link.messages == (), field.name


def _others(field, value):
    """Other values of a field."""
    if field.kind == "choice":
        return [option for option in field.options if option != value]
    if field.kind == "switch":
        return [not value]
    if field.kind == "text":
        return ["Another one"] if field.name != "measured_propeller" else []
    span = [field.low, field.high, (field.low + field.high) / 2.0, field.low + (field.high - field.low) / 7.0]
    if field.kind == "whole":
        return [int(one) for one in span]
    return [*(round(one, 6) for one in span), *([None] if field.optional else [])]
