"""Build files that somebody spoiled: values of every wrong kind in every field, odd frames, odd bytes.

A file is refused in one sentence, or gives a valid build and a sentence for each value that was not taken. JSON: RFC
8259; UTF-16 and byte order marks: common practice.
"""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

import pytest

import propmodel
from explorer.inputs import FIELDS, check, demo_inputs
from explorer.inputs.measured_parts import RANGES, build_of
from explorer.saved import build_file
from explorer.saved.build_file import StoreError
from explorer.saved.store import MemoryStore
from explorer.session.shelf import inputs_of_record, record_of

SCREE = demo_inputs("scree")
RECORD = record_of(SCREE, None)
NUMBERS = [name for name, field in FIELDS.items() if field.kind in ("number", "whole")]


def document(record: Any, **frame: Any) -> bytes:
    """A build file as it is downloaded, with some of its frame changed."""
    whole = {"format": build_file.FORMAT, "format_version": 1, "name": "Mine", "saved": "", "record": record}
    return json.dumps(whole | frame).encode()


GOOD = document(RECORD)


def words_of(data: bytes) -> tuple[Any, list[str]]:
    """Build of a file with one build, and what is said of it."""
    ((_, record),) = build_file.decode_many(data)
    inputs, _, words = inputs_of_record(record)
    assert check(inputs) == []
    for text in words:
        assert (
            (text[0].isupper() or text[0].isdigit()) and text.endswith(".") and len(text) < 500 and text.isprintable()
        )
    return inputs, words


NO_NUMBER = {
    "text": "fast", "digits as text": "1950", "nothing": "", "true": True, "false": False, "nan as text": "nan",
    "comma": "1,5", "superscript": "\u00b2", "full width": "\uff11", "NUL": "\x00", "half a character": "\ud83d",
    "too large": 1e300, "too small": -1e300, "largest integer": 2**53,
}  # fmt: skip


@pytest.mark.parametrize("kind", NO_NUMBER)
def test_a_wrong_value_in_any_number_field_is_named_and_left_out(kind):
    for name in NUMBERS:
        inputs, words = words_of(document(RECORD | {name: NO_NUMBER[kind]}))
        assert getattr(inputs, name) == getattr(SCREE, name)
        assert any(FIELDS[name].label in text and "must be" in text for text in words), (name, words)


@pytest.mark.parametrize("value", [[1], {}, [[]], {"a": 1}])
def test_a_value_that_is_no_single_one_refuses_the_file_by_field(value):
    for name in FIELDS:
        with pytest.raises(StoreError, match=f"^Field '{name}' must be text, a number, yes/no or empty, not a "):
            build_file.decode(document(RECORD | {name: value}))


@pytest.mark.parametrize("value", [None, 5, 1.5, True, "nickel", "LIPO", ""])
def test_a_wrong_choice_or_text_is_named_and_left_out(value):
    for name, field in FIELDS.items():
        fits = (field.kind == "text" and isinstance(value, str)) or (field.kind == "switch" and isinstance(value, bool))
        if field.kind in ("number", "whole") or fits or (value is None and field.optional):
            continue
        inputs, words = words_of(document(RECORD | {name: value}))
        assert getattr(inputs, name) == getattr(SCREE, name) or name == "name"
        assert any(field.label in text and "must be" in text for text in words), (name, words)


MIDDLE = {
    f"own.{part}.{name}": low + 0.1 * (high - low)
    for part, told in RANGES.items() for name, (_, low, high, _) in told.items()
} | {"own.motor.no_load_current": 1.0, "own.motor.no_load_voltage": 20.0, "own.motor.resistance": 0.1,
     "own.motor.kv": 1900.0}  # fmt: skip
BAD_MEASURED = {
    "below": None, "above": None, "minus one": -3.0, "far": 1e300, "text": "fast", "digits": "1", "true": True,
    "not there": None,
}  # fmt: skip


@pytest.mark.parametrize("kind", BAD_MEASURED)
def test_a_measured_part_with_a_wrong_value_is_left_out_and_said(kind):
    """``own.motor.kv = -1`` was taken once, and every page failed then."""
    for part, told in RANGES.items():
        for name, (label, low, high, _) in told.items():
            value: Any = {"below": low - 1.0, "above": high * 1.01 + 1.0}.get(kind, BAD_MEASURED[kind])
            if value == -3.0 and low <= -3.0:
                continue
            record = RECORD | {key: v for key, v in MIDDLE.items() if key.startswith(f"own.{part}.")}
            record |= {f"own.{part}.of.{key}": RECORD[key] for key in ("kv",)} if part == "motor" else {}
            if kind == "not there" and name == "log_sd_throttle_exponent":
                continue  # files of before say nothing of it
            inputs, words = words_of(document(record | {f"own.{part}.{name}": value}))
            assert any(text.startswith(f"The measured {part} of this build is left out") for text in words), name
            assert any(label in text for text in words), name
            assert float(propmodel.performance(build_of(inputs)).mass) > 0.0


# What the file is, and the sentence (or the words of a build that was taken; "" for none).
FRAMES: dict[str, tuple[bytes, str]] = {
    "nothing": (b"", "The file is empty."),
    "blanks": (b" \r\n\t ", "The file is empty."),
    "byte order mark only": (b"\xef\xbb\xbf", "The file is empty."),
    "UTF-16 mark only": (b"\xff\xfe", "The file is empty."),
    "null": (b"null", "This is not a saved build."),
    "a number": (b"1", "This is not a saved build."),
    "a text": (b'"x"', "This is not a saved build."),
    "a list": (b"[]", "This is not a saved build."),
    "no fields": (b"{}", "The saved build holds no fields."),
    "empty record": (document({}), "The saved build holds no fields."),
    "record is a list": (document([1]), "The build must be a set of named fields."),
    "record is nothing": (document(None), "The build must be a set of named fields."),
    "500 fields": (document({f"f{k}": 1 for k in range(500)}), "The build has 500 fields; at most 400 are read."),
    "field name of markup": (document(RECORD | {"<b>": 1}), "'<b>' is not a field name."),
    "field name of 100 letters": (document(RECORD | {"a" * 100: 1}), f"'{'a' * 80}' is not a field name."),
    "no field name": (document(RECORD | {"": 1}), "'Unnamed build' is not a field name."),
    "text of 3,000 letters": (document(RECORD | {"name": "x" * 3000}), "Field 'name' holds 3000 letters; at most 2000"),
    "integer beyond floats": (document(RECORD | {"kv": 10**400}), "Field 'kv' is too large a number."),
    "integer of 5,000 digits": (GOOD.replace(b"1950.0", b"1" * 5000), "This is not a saved build."),
    "NaN": (GOOD.replace(b"1950.0", b"NaN"), "The file holds NaN where a finite number belongs."),
    "Infinity": (GOOD.replace(b"1950.0", b"-Infinity"), "The file holds -Infinity where a finite number belongs."),
    "beyond floats": (GOOD.replace(b"1950.0", b"1e999"), "Field 'kv' must be a finite number, got inf."),
    "hexadecimal": (GOOD.replace(b"1950.0", b"0x10"), "This is not a whole saved build"),
    "decimal comma": (GOOD.replace(b"1950.0", b"1950,0"), "This is not a whole saved build"),
    "a field twice": (GOOD.replace(b'"kv"', b'"cells": 5, "kv"'), "The file names one field twice."),
    "100,000 lists": (b"[" * 100_000, "This is not a saved build."),
    "100,000 objects": (b'{"a":' * 100_000 + b"1" + b"}" * 100_000, "This is not a saved build."),
    "60 MB of blanks": (b" " * (60 * 2**20), "The file is too large (61440 kB, at most 16384 kB are read)."),
    "60 MB of text": (b'{"a":"' + b"x" * (60 * 2**20) + b'"}', "The file is too large (61440 kB"),
    "half": (GOOD[: len(GOOD) // 2], "This is not a whole saved build"),
    "without its last byte": (GOOD[:-1], "This is not a whole saved build"),
    "without its first byte": (GOOD[1:], "This is not a whole saved build"),
    "twice": (GOOD + GOOD, "This is not a whole saved build"),
    "NUL behind": (GOOD + b"\x00", "This is not a whole saved build"),
    "NUL inside": (GOOD.replace(b"Scree", b"Sc\x00ree"), "This is not a whole saved build"),
    "comma too many": (GOOD[:-1] + b",}", "This is not a whole saved build"),
    "comment": (b"// mine\n" + GOOD, "This is not a whole saved build"),
    "single quotes": (GOOD.replace(b'"', b"'"), "This is not a whole saved build"),
    "CSV": (b"kv,cells\n1950,6\n", "This is not a whole saved build"),
    "web page": (b"<!DOCTYPE html><html></html>", "This is not a whole saved build"),
    "archive": (b"PK\x03\x04" + bytes(range(256)), "This is not a saved build: the file is not text."),
    "picture": (b"\x89PNG\r\n\x1a\n" + bytes(100), "This is not a saved build: the file is not text."),
    "Latin letters": (GOOD.replace(b"Scree", b"Scr\xe9e"), "This is not a saved build: the file is not text."),
    "UTF-16 without a mark": (GOOD.decode().encode("utf-16-le"), "This is not a whole saved build"),
    "UTF-16 cut in a letter": (GOOD.decode().encode("utf-16")[:-1], "This is not a saved build: the file is not text."),
    "UTF-32": (GOOD.decode().encode("utf-32"), "This is not a whole saved build"),
    "version true": (document(RECORD, format_version=True), "The file does not say which version it has."),
    "version as text": (document(RECORD, format_version="1"), "The file does not say which version it has."),
    "version 1.5": (document(RECORD, format_version=1.5), "The file does not say which version it has."),
    "version -1": (document(RECORD, format_version=-1), "The file does not say which version it has."),
    "no version": (document(RECORD, format_version=None), "The file does not say which version it has."),
    "version 2": (document(RECORD, format_version=2), "This build was saved by a later version (format 2;"),
    "version of 30 digits": (document(RECORD, format_version=10**30), "saved by a later version (a format of many"),
    "another format": (document(RECORD, format="something else"), "its heading names something else."),
    "format is a number": (document(RECORD, format=5), "its heading names something else."),
    "a list of none": (document(None, format=build_file.FORMAT_MANY, builds=[]), "The file holds no builds."),
    "a list that is none": (document(None, format=build_file.FORMAT_MANY, builds=5), "The file must list its builds"),
    "a list of numbers": (document(None, format=build_file.FORMAT_MANY, builds=[5]), "This is not a saved build."),
    "a list of 1,001": (document(None, format=build_file.FORMAT_MANY, builds=[{}] * 1001), "at most 1000."),
    "a list of a later version": (
        document(None, format=build_file.FORMAT_MANY, format_version=9, builds=[json.loads(GOOD)]),
        "This build was saved by a later version (format 9;",
    ),
    "one of a list is spoiled": (
        document(None, format=build_file.FORMAT_MANY, builds=[json.loads(GOOD), json.loads(document({"kv": [1]}))]),
        "Field 'kv' must be text",
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", FRAMES)
def test_what_is_no_build_file_is_refused_in_a_sentence(kind):
    data, told = FRAMES[kind]
    with pytest.raises(StoreError) as refused:
        build_file.decode_many(data)
    text = str(refused.value)
    assert told in text and text.endswith(".") and len(text) < 250 and text.isprintable()
    shelf = MemoryStore()
    with pytest.raises(StoreError):
        shelf.upload(data)
    assert shelf.builds().builds == []


TAKEN: dict[str, tuple[bytes, str | None]] = {
    "as it went out": (GOOD, None),
    "byte order mark": (b"\xef\xbb\xbf" + GOOD, None),
    "UTF-16": (GOOD.decode().encode("utf-16"), None),
    "UTF-16, other order": (b"\xfe\xff" + GOOD.decode().encode("utf-16-be"), None),
    "line ends of Windows": (GOOD.replace(b", ", b",\r\n"), None),
    "line ends of old": (GOOD.replace(b", ", b",\r"), None),
    "a stranger's field": (document(RECORD | {"wing": 5}), "One value (wing) is not known here and left out."),
    "a stranger's part": (document(RECORD | {"own.wing.kv": 5}), "One value (own.wing.kv) is not known here"),
    "six strange fields": (document(RECORD | {f"w{k}": 5 for k in range(6)}), "6 values (w0, w1, w2, w3 and 2 more)"),
    "a field of Python": (document(RECORD | {"__class__": "x"}), "One value (__class__) is not known here"),
    "one field only": (document({"kv": 1950.0, "model_edition": 2}), "values (frame_g, payload_g, rotors, coaxial and"),
    "without cells": (
        document({k: v for k, v in RECORD.items() if k != "cells"}),
        "One value (cells) is not in the file: what Scree has stands there.",
    ),
    "the name is an object": (document(RECORD, name={"a": 1}), None),
    "the time is a list": (document(RECORD, saved=[1]), None),
    "a later edition": (document(RECORD | {"model_edition": 9}), "a later edition of the model"),
    "an edition of text": (document(RECORD | {"model_edition": "x"}), None),
    "shares beyond 100 %": (
        document(RECORD | {"mix_hover_percent": 90, "mix_cruise_percent": 90, "mix_hard_percent": 0,
                           "mix_full_percent": 0}),
        "must add up to 100 %, got 180 %.",
    ),
    "bare record of version 0": (json.dumps(RECORD).encode(), None),
}  # fmt: skip


@pytest.mark.parametrize("kind", TAKEN)
def test_what_is_a_build_file_gives_the_build_and_says_what_was_left(kind):
    data, told = TAKEN[kind]
    inputs, words = words_of(data)
    assert (inputs.kv, inputs.cells, inputs.pitch_in) == (SCREE.kv, SCREE.cells, SCREE.pitch_in)
    assert words == [] if told is None else any(told in text for text in words), words


@pytest.mark.parametrize("text", ["Sc\ud83dree", "a\x00b", "a\u202eb", "a\nb", "a\u2028b", "\ud83d\ude00 \ud83d"])
def test_a_text_comes_in_as_one_line_that_a_page_can_show(text):
    record = RECORD | {name: text for name, field in FIELDS.items() if field.kind == "text" and not field.optional}
    data = document(record | {"own.name": text}, name=text)
    ((named, held),) = build_file.decode_many(data)
    inputs, _, words = inputs_of_record(held)
    for shown in (named, inputs.name, inputs.motor_name):
        assert shown.encode("utf-8") and shown.isprintable() and "\u202e" not in shown
    assert words == []


def test_every_field_goes_out_and_comes_back():
    for name in propmodel.demo_names():
        craft = demo_inputs(name)
        ((_, record),) = build_file.decode_many(build_file.encode(craft.name, record_of(craft, None)))
        assert asdict(inputs_of_record(record)[0]) == asdict(craft)
