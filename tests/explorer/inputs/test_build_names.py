"""Builds of one name are told apart wherever several are shown."""

import pytest

from explorer.inputs import Inputs
from explorer.inputs.build_names import distinct_names

BUILD = Inputs(name="Your build", kv=1950.0)


@pytest.mark.parametrize(
    ("pins", "beside", "names"),
    [
        ([BUILD], None, ["Your build"]),
        ([BUILD], Inputs(name="Scree", kv=1750.0), ["Your build"]),
        ([BUILD], BUILD, ["Your build"]),
        ([BUILD], Inputs(name="Your build", kv=1750.0), ["Your build, 1950 KV"]),
        ([BUILD, BUILD], BUILD, ["Your build, no. 1", "Your build, no. 2"]),
        ([BUILD, Inputs(name="", kv=1.0)], None, ["Your build", "unnamed"]),
        # nothing parts all three: the KV parts the two that are pinned
        ([BUILD, Inputs(name="Your build", kv=1750.0)], BUILD, ["Your build, 1950 KV", "Your build, 1750 KV"]),
    ],
)
def test_pinned_builds_are_told_apart_by_what_differs(pins, beside, names):
    assert distinct_names(pins, beside) == names
