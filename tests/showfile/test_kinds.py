"""Every kind of value comes back from its image as it went in. Truth: equality of the values themselves."""

from __future__ import annotations

import dataclasses
import json
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fallow.showfile import kinds
from showfile import invented

TAKEN = [*invented.VALUES]


@pytest.mark.parametrize("kind", TAKEN, ids=lambda kind: kind.name)
@given(data=st.data())
def test_a_value_comes_back_equal(kind: Any, data: st.DataObject) -> None:
    value = data.draw(invented.VALUES[kind])
    image = json.loads(kinds.written(kind.image(value)))
    back = kind.value(image)
    assert back == value
    assert getattr(back, "extra", None) == getattr(value, "extra", None)  # which links leave out when they compare
    assert kind.key(back) == kind.key(value)


def test_every_kind_is_tried() -> None:
    assert {*kinds.BY_NAME.values()} == {*TAKEN, kinds.CHAIN}


@pytest.mark.parametrize("part", invented.chain(), ids=lambda part: part.part)
def test_a_part_of_the_chain_comes_back_with_its_curves(part: Any) -> None:
    back = kinds.CHAIN.value(json.loads(kinds.written(kinds.CHAIN.image(part))))
    assert told(back) == told(part)


def told(value: object) -> object:
    """A value with arrays in it as plain data."""
    if dataclasses.is_dataclass(value):
        return {field.name: told(getattr(value, field.name)) for field in dataclasses.fields(value)}
    return value.tolist() if isinstance(value, np.ndarray) else value


def test_keys_of_several_parts_are_not_taken_for_each_other() -> None:
    assert kinds.joined("a", "b/c") != kinds.joined("a/b", "c")
    assert kinds.joined('a","b', "c") != kinds.joined("a", 'b","c')


def test_an_image_of_years_ago_has_defaults_for_what_it_lacks() -> None:
    link = kinds.LINKS.value({"link": "vox 1", "equipment": "hand", "a field of the future": 1})
    assert (link.name, link.priority, link.planned, link.fixed, link.frequency_hz) == ("vox 1", 3, True, False, None)
