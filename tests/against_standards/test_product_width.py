"""How wide products are, and where those of order 7 fall, against simulated signals.

Truth: band-limited noise through x³, x⁵ and x⁷, its spectrum estimated by ``scipy.signal.welch``; tones through x⁷,
their spectrum by FFT. The rule itself: the spectrum of a product in time is the convolution of the spectra (convolution
theorem), and widths of supports add up under convolution.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.signal import welch

from fallow.plan.judge.audit import audit
from fallow.plan.judge.products import FIFTH, FORMS, SEVENTH, TWO_CARRIERS, Form, Neighbourhood, products_of
from fallow.show.link import ForeignCarrier
from plan.shows import equipment, row, wanted

MHZ = 1_000_000
RATE_HZ = 2048 * MHZ  # above twice the 7th harmonic of the upper carrier: nothing folds back
A_HZ, B_HZ = 100 * MHZ, 120 * MHZ  # products near the band stand 20 MHz apart, wider than any of them
BIN_HZ = RATE_HZ / 32_768
EDGE = 1e-6  # of the highest density of a product: so far down it is told from nothing


def noise_of(centre_hz: int, width_hz: int, random: np.random.Generator) -> np.ndarray:
    """Real Gaussian noise that fills a band evenly and has nothing outside it."""
    samples = 1 << 20
    hz = np.fft.rfftfreq(samples, 1 / RATE_HZ)
    inside = np.abs(hz - centre_hz) <= width_hz / 2
    spectrum = np.zeros(len(hz), dtype=np.complex128)
    spectrum[inside] = random.standard_normal(inside.sum()) + 1j * random.standard_normal(inside.sum())
    noise = np.fft.irfft(spectrum, samples)
    return noise / noise.std()


def extent_hz(signal: np.ndarray, around_hz: int) -> tuple[float, float]:
    """The lowest and highest frequency, within 10 MHz of a place, where the density is above ``EDGE`` of its most."""
    hz, density = welch(signal, RATE_HZ, window="blackmanharris", nperseg=32_768)
    near = np.abs(hz - around_hz) < 10 * MHZ
    hz, density = hz[near], density[near]
    filled = hz[density > EDGE * density.max()]
    return float(filled[0]), float(filled[-1])


@pytest.mark.parametrize("widths_hz", [(2 * MHZ, 2 * MHZ), (1 * MHZ, 2_500_000)])
@pytest.mark.parametrize("form", [TWO_CARRIERS, FIFTH, SEVENTH])
def test_a_product_is_as_wide_as_its_carriers_together_each_as_often_as_it_takes_part(form: Form, widths_hz) -> None:
    if form == SEVENTH:
        widths_hz = tuple(hz // 2 for hz in widths_hz)
    random = np.random.default_rng(7)
    two = noise_of(A_HZ, widths_hz[0], random) + noise_of(B_HZ, widths_hz[1], random)
    at_hz, half_hz = form.at_hz([A_HZ, B_HZ]), form.half_width_hz(widths_hz)
    low_hz, high_hz = extent_hz(two**form.order, at_hz)
    blur_hz = 4 * BIN_HZ  # half the main lobe of the window
    assert at_hz - half_hz - blur_hz <= low_hz <= at_hz - 0.8 * half_hz
    assert at_hz + 0.8 * half_hz <= high_hz <= at_hz + half_hz + blur_hz


def test_a_line_makes_products_as_wide_as_the_other_carrier_alone() -> None:
    random = np.random.default_rng(3)
    line = np.cos(2 * np.pi * A_HZ / RATE_HZ * np.arange(1 << 20))
    low_hz, high_hz = extent_hz((line + noise_of(B_HZ, 3 * MHZ, random)) ** 3, 2 * A_HZ - B_HZ)
    half_hz = TWO_CARRIERS.half_width_hz([0, 3 * MHZ])
    assert half_hz == 1_500_000
    assert (low_hz, high_hz) == pytest.approx((80 * MHZ - half_hz, 80 * MHZ + half_hz), abs=4 * BIN_HZ)


def test_two_links_of_two_megahertz_keep_a_third_more_than_three_megahertz_from_the_middle_of_their_product() -> None:
    """2A−B of 500 and 510 MHz falls on 490 MHz and reaches from 487 to 493."""
    camera = equipment("camera", spacing_khz=0, three_khz=None, bandwidth_khz=2000)
    mic = equipment("mic", spacing_khz=0, three_khz=None, product_width=True)
    for victim_mhz, hit in ((493.0999, True), (493.1, False), (486.9001, True), (486.9, False)):
        rows = [row("a", 500, "camera"), row("b", 510, "camera"), row("v", victim_mhz)]
        found = audit(rows, wanted(kinds=[camera, mic])).conflicts
        assert [(one.kind, one.victim, one.needed_hz) for one in found] == [("2A-B", "v", 3_100_000)] * hit
        lines = audit(rows, wanted(kinds=[camera, replace(mic, product_width=False)])).conflicts
        assert lines == ()
    assert (
        "3.1 MHz are needed, 3 MHz of them because it is up to 6 MHz wide: move"
        in audit([row("a", 500, "camera"), row("b", 510, "camera"), row("v", 492)], wanted(kinds=[camera, mic]))
        .conflicts[0]
        .text
    )


def test_a_protected_stranger_may_ask_for_edges_too() -> None:
    kinds = [equipment(spacing_khz=0, im3_khz=None, three_khz=None, bandwidth_khz=200)]
    rows = [row("a", 500), row("b", 501)]
    guest = ForeignCarrier("guest", 498_599_999, spacing_hz=100_000, protect=True)
    assert audit(rows, wanted(kinds=kinds, foreign=[guest])).conflicts == ()
    (found,) = audit(rows, wanted(kinds=kinds, foreign=[replace(guest, product_width=True)])).conflicts
    assert (found.kind, found.distance_hz, found.needed_hz) == ("3A-2B", 599_999, 600_000)


# Order 7

BINS = 1 << 14


def seventh_power(tones: list[int]) -> np.ndarray:
    """Amplitude in each bin of x⁷ for tones on whole bins: exact, for 7 times the highest tone does not fold back onto
    the band."""
    signal = sum(np.cos(2 * np.pi * tone * np.arange(BINS) / BINS) for tone in tones)
    return np.abs(np.fft.rfft(signal**7)) / BINS * 2


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(900, 1000), min_size=2, max_size=2, unique=True))
def test_a_device_of_order_7_puts_two_carriers_products_where_they_are_said_to_fall(tones) -> None:
    filled = {i for i in np.flatnonzero(seventh_power(tones) > 1e-6).tolist() if 400 < i < 1500}
    said = {at for form in FORMS if len(form.coefficients) == 2 for _, at in products_of(form, tones)} | set(tones)
    assert filled == said


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(900, 1000), min_size=3, max_size=4, unique=True))
def test_a_link_is_told_of_4a_3b_only_where_a_device_of_order_7_puts_something_beside_it(tones) -> None:
    guard = 4
    assume(all(abs(a - b) >= guard for a, b in combinations(tones, 2)))
    kind = replace(equipment(spacing_khz=0, im3_khz=None, three_khz=None), im7_hz=guard)
    rows = [row(f"link {i}", tone / MHZ) for i, tone in enumerate(tones)]
    found = {(one.victim, frozenset(one.carriers)) for one in audit(rows, wanted(kinds=[kind])).conflicts}
    for victim, at in enumerate(tones):
        window = slice(at - guard + 1, at + guard)
        for one, other in combinations([i for i in range(len(tones)) if i != victim], 2):
            pair = [tones[one], tones[other]]
            lower = {hz for form in (TWO_CARRIERS, FIFTH) for _, hz in products_of(form, pair)}
            assume(all(abs(hz - at) >= guard for hz in lower))
            is_hit = seventh_power(pair)[window].max() > 1e-6
            assert ((f"link {victim}", frozenset((f"link {one}", f"link {other}"))) in found) == is_hit


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 300), st.integers(0, 40)), min_size=0, max_size=7),
    st.integers(-50, 350),
    st.integers(0, 12),
    st.sampled_from(FORMS),
)
def test_edges_near_a_frequency_are_those_of_the_plain_list(carriers, frequency, within, form: Form) -> None:
    hz, widths = [hz for hz, _ in carriers], [width for _, width in carriers]
    near = Neighbourhood(hz, np.array(widths, dtype=np.int64)).edges_near(form, frequency, within)
    said = sorted(
        makers
        for makers, at in products_of(form, hz)
        if abs(at - frequency) < within + form.half_width_hz([widths[i] for i in makers])
    )
    assert sorted(map(tuple, near.tolist())) == said
