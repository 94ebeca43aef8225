"""Keys of the measured propellers: numbers of ours, with those of the source found again."""

from __future__ import annotations

import hashlib
import re

import pandas as pd
import pytest

from propmodel.components import propeller
from propmodel.components.propeller import current_name


@pytest.fixture(scope="module")
def keys(root):
    return pd.read_csv(root / "data" / "propellers" / "source_keys.csv")


def test_every_key_is_a_number_and_the_sources_key_leads_to_it(keys):
    assert keys["propeller"].tolist() == propeller.measured_names()
    assert all(re.fullmatch(r"m\d{3}", name) for name in keys["propeller"])
    assert [current_name(key) for key in keys["source_key"]] == keys["propeller"].tolist()


def test_digests_of_the_table_are_those_of_the_source(root, keys):
    table = pd.read_csv(root / "data" / "propellers" / "measured.csv")
    digests = [hashlib.sha256(key.encode()).hexdigest()[:12] for key in keys["source_key"]]
    assert table["source_key_digest"].tolist() == digests
    assert len(set(digests)) == len(digests)


def test_no_key_of_the_source_is_left_in_the_table(root, keys):
    text = (root / "data" / "propellers" / "measured.csv").read_text(encoding="utf-8")
    assert not [key for key in keys["source_key"] if key in text]


@pytest.mark.parametrize("name", ["m007", "nothing of the kind", "", "\udc80"])
def test_any_other_text_stays_as_it_is(name):
    assert current_name(name) == name
