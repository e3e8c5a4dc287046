"""Units against the definitions of the SI (prefixes) and the decibel (IEC 60027-3: L = 10 lg(P / 1 mW) dB)."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fallow.errors import UsageError
from fallow.units import (
    Span,
    dbm_from_mw,
    format_mhz,
    format_width,
    mw_from_dbm,
    parse_frequency_hz,
    parse_span_hz,
)


@pytest.mark.parametrize(
    ("text", "hz"),
    [
        ("470M", 470_000_000),
        ("470.125 MHz", 470_125_000),
        ("470125 kHz", 470_125_000),
        ("1.9G", 1_900_000_000),
        ("470125000", 470_125_000),
        ("25k", 25_000),
        (" 12.5 khz ", 12_500),
        ("863.0000004 MHz", 863_000_000),
    ],
)
def test_frequencies_as_people_write_them(text: str, hz: int) -> None:
    assert parse_frequency_hz(text) == hz


@pytest.mark.parametrize(
    "text", ["", "abc", "470 furlongs", "-5M", "470,125 MHz", "1e9", "nan", "5 THz", "999999999 MHz"]
)
def test_what_is_no_frequency_is_refused(text: str) -> None:
    with pytest.raises(UsageError) as caught:
        parse_frequency_hz(text)
    assert repr(text) in str(caught.value)
    assert caught.value.hint


@given(st.integers(0, 10**10))
def test_what_is_shown_in_megahertz_reads_back_to_the_hertz(frequency_hz: int) -> None:
    assert parse_frequency_hz(f"{format_mhz(frequency_hz)} MHz") == frequency_hz


def test_spans() -> None:
    span = parse_span_hz("470M..608 MHz")
    assert span == Span(470_000_000, 608_000_000)
    assert (span.width_hz, span.centre_hz) == (138_000_000, 539_000_000)
    assert span.touches(607e6, 700e6)
    assert not span.touches(608e6, 700e6)
    assert span.contains(470e6, 608e6)
    assert not span.contains(469e6, 608e6)


@pytest.mark.parametrize("text", ["470M", "608M..470M", "470M..470M", "470M-608M", "..470M"])
def test_what_is_no_span_is_refused(text: str) -> None:
    with pytest.raises(UsageError):
        parse_span_hz(text)


@pytest.mark.parametrize(
    ("level_dbm", "power_mw"), [(0, 1), (10, 10), (-30, 0.001), (16.9897, 50), (23.9794, 250)]
)  # IEC 60027-3; 50 and 250 mW are the figures of 47 CFR 74.861(e)
def test_levels(level_dbm: float, power_mw: float) -> None:
    assert mw_from_dbm(level_dbm) == pytest.approx(power_mw, rel=1e-5)
    assert dbm_from_mw(power_mw) == pytest.approx(level_dbm, abs=1e-4)


def test_no_power_and_negative_power() -> None:
    assert dbm_from_mw(0) == -math.inf
    with pytest.raises(ValueError, match="negative"):
        dbm_from_mw(-1)


@pytest.mark.parametrize(
    ("width_hz", "text"),
    [(25_000, "25 kHz"), (7_607_143, "7.607 MHz"), (300, "300 Hz"), (float(Fraction(12_500)), "12.5 kHz")],
)
def test_widths_for_people(width_hz: float, text: str) -> None:
    assert format_width(width_hz) == text


def test_a_span_may_be_one_frequency_and_never_falls() -> None:
    one = Span(500_000_000, 500_000_000)
    assert (one.width_hz, one.centre_hz) == (0, 500e6)
    assert one.touches(499e6, 501e6)
    assert one.contains(500e6, 500e6)
    assert not one.touches(500e6, 501e6)
    with pytest.raises(UsageError, match="must rise"):
        Span(500_000_000, 499_999_999)
