"""Every kind of value comes back from its image as it went in. Truth: equality of the values themselves."""

from __future__ import annotations

import dataclasses
import json
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fallow.show.equipment import Equipment
from fallow.show.link import Link
from fallow.showfile import kinds
from fallow.showfile.images import NOT_KEPT, image_of, value_from, written
from fallow.spectrum.chain import ChainPart
from showfile import invented

TAKEN = [*invented.VALUES]


@pytest.mark.parametrize("kind", TAKEN, ids=lambda kind: kind.name)
@given(data=st.data())
def test_a_value_comes_back_equal(kind: Any, data: st.DataObject) -> None:
    value = data.draw(invented.VALUES[kind])
    image = json.loads(written(image_of(value)))
    back = value_from(kind.type, image)
    assert back == value
    assert getattr(back, "extra", None) == getattr(value, "extra", None)  # which links leave out when they compare
    assert kind.key(back) == kind.key(value)


def test_every_kind_is_tried() -> None:
    assert {*kinds.BY_NAME.values()} == {*TAKEN, kinds.CHAIN}


@pytest.mark.parametrize("part", invented.chain(), ids=lambda part: part.part)
def test_a_part_of_the_chain_comes_back_with_its_curves(part: Any) -> None:
    back = value_from(ChainPart, json.loads(written(image_of(part))))
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
    link = value_from(Link, {"name": "vox 1", "equipment": "hand", "a field of the future": 1})
    assert (link.name, link.priority, link.planned, link.fixed, link.frequency_hz) == ("vox 1", 3, True, False, None)


@given(data=st.data())
def test_every_field_of_a_value_is_kept(data: st.DataObject) -> None:
    for kind, values in ({kinds.CHAIN: st.sampled_from(invented.chain())} | invented.VALUES).items():
        named = {field.name for field in dataclasses.fields(kind.type)} - {*NOT_KEPT}
        assert set(image_of(data.draw(values))) == named


@pytest.mark.parametrize(
    "image",
    [
        {"name": "vox 1"},
        {"name": 1, "equipment": "hand"},
        {"name": "vox 1", "equipment": "hand", "frequency_hz": "470 MHz"},
        {"name": "vox 1", "equipment": "hand", "frequency_hz": 470.5},
        {"name": "vox 1", "equipment": "hand", "priority": True},
        {"name": "vox 1", "equipment": "hand", "scenes": 7},
        {"name": "vox 1", "equipment": "hand", "extra": "text"},
        {"name": "vox 1", "equipment": "hand", "scenes": "act 1"},
        [],
    ],
)
def test_what_shows_no_link_is_refused(image: Any) -> None:
    with pytest.raises((TypeError, ValueError)):
        value_from(Link, image)


def test_a_radio_of_years_ago_is_understood() -> None:
    radio = value_from(Equipment, json.loads(written(image_of(invented.HAND))) | {"what came later": {}})
    assert radio == invented.HAND
