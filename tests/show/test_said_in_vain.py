"""Notes on what tables say of nobody. All names are invented."""

from __future__ import annotations

from fallow.show.equipment import Duplex, Equipment, Kind
from fallow.show.grouping import USUAL, Apart, Groupings, Together
from fallow.show.link import Link
from fallow.show.names import notes_on_names
from fallow.show.wanted import Wanted
from fallow.units import Span

MHZ = 1_000_000


def radio(duplex: Duplex | None = None) -> Equipment:
    span = (Span(500 * MHZ, 508 * MHZ),)
    return Equipment(
        "vox", Kind.MICROPHONE, span, 25_000, (), 200_000, None, None, 350_000, None, None, None, duplex=duplex
    )


def test_a_way_back_that_the_equipment_lacks_is_noted() -> None:
    links = (Link("a", "vox", return_hz=520 * MHZ), Link("b", "vox"))
    note = "return_mhz of 'a' counts for nothing: vox has no way back"
    assert notes_on_names(Wanted(links, {"vox": radio()})) == (note,)
    assert notes_on_names(Wanted(links, {"vox": radio(Duplex(10 * MHZ))})) == ()


def test_a_rule_about_nobody_is_noted_and_the_usual_ones_are_not() -> None:
    rules = Groupings((Apart("camera", "vox", MHZ), *USUAL.apart), (Together("microphone", 8 * MHZ),))
    note = "a rule is about 'camera', and no link of the show is that: it asks for nothing"
    assert notes_on_names(Wanted((Link("a", "vox"),), {"vox": radio()}, groupings=rules)) == (note,)
    assert notes_on_names(Wanted((), {"vox": radio()}, groupings=rules)) == ()
