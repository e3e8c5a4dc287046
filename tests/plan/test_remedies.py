"""Remedies against the audit of the whole plan under the failure, which shares nothing with how they are found."""

from __future__ import annotations

import datetime
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.plan.advice.failures import AreasHear, ChannelUp, FrequencyGone, RangeLost, failures_of
from fallow.plan.advice.remedies import Remedies, Remedy
from fallow.plan.judge.audit import audit
from fallow.plan.places import Ground
from fallow.plan.search.engine import NumpyKernels
from fallow.plan.search.question import Question
from fallow.plan.search.search import Solution, improve
from fallow.plan.surveys import AreaAir
from fallow.rules.territory import Circumstances, Grade, Raster, Territory
from fallow.show.assignment import Assignment
from fallow.show.duplex import unfolded
from fallow.show.equipment import Duplex, Equipment, Kind
from fallow.show.grouping import Apart, Groupings
from fallow.show.link import AreaLosses, ForeignCarrier, Link
from fallow.show.wanted import Wanted
from fallow.spectrum.verdict import Verdict
from fallow.units import Channel, Span
from plan.plain_conflicts import random_show
from plan.shows import Air, rule
from plan.test_repair import radio

MHZ = 1_000_000


def planned(show: Wanted, ground: Ground, spares: int | None = None, steps: int = 8) -> tuple[Solution, Question]:
    question = Question.build(show, ground, spares=spares)
    left = iter(range(steps))
    plans = improve(question, seed=1, should_stop=lambda: next(left, None) is None)
    return list(plans)[-1], question


def remedies(show: Wanted, ground: Ground, spares: int | None = None) -> list[Remedy]:
    best, question = planned(show, ground, spares)
    looking = Remedies(best, question, show, ground, NumpyKernels)
    return [looking.against(failure) for failure in failures_of(best.frequencies_hz, show, ground)]


@given(st.integers(0, 10**6))
@settings(max_examples=12)
def test_after_the_moves_the_audit_finds_nothing_new(seed: int) -> None:
    show, ground = random_show(seed), Ground()
    best, question = planned(show, ground)
    looking = Remedies(best, question, show, ground, NumpyKernels)
    listed = {link.name: link for link in show.links}

    def problems(at_hz: dict[str, int], show: Wanted) -> set[tuple[object, ...]]:
        rows = [Assignment(n, listed[n].equipment, listed[n].area, listed[n].scenes, hz) for n, hz in at_hz.items()]
        return {(c.kind, c.victim, c.carriers) for c in audit(rows, show, ground).conflicts}

    before = problems(dict(best.frequencies_hz), show)
    for failure in failures_of(best.frequencies_hz, show, ground):
        remedy = looking.against(failure)
        at_hz = dict(best.frequencies_hz) | {move.link: move.to_hz for move in remedy.moves if move.to_hz is not None}
        gone = {name for name in remedy.lost if not listed[name].fixed}
        after = problems({name: hz for name, hz in at_hz.items() if name not in gone}, failure.strikes(show, ground)[0])
        if remedy.survives:
            assert after <= before
        assert all(not listed[move.link].fixed for move in remedy.moves)


def test_a_frequency_that_is_gone_is_left_for_a_spare() -> None:
    e = radio(*(500 * MHZ + 400_000 * i for i in range(4)))
    show = Wanted((Link("a", e.name), Link("b", e.name)), {e.name: e})
    best, question = planned(show, Ground(), spares=1)
    looking = Remedies(best, question, show, Ground(), NumpyKernels)
    (first, second) = [looking.against(failure) for failure in failures_of(best.frequencies_hz, show, Ground())]
    assert [move.to_hz for move in first.moves + second.moves] == [best.spares[0].frequency_hz] * 2
    assert first.survives
    assert first.by_spares
    assert first.failure.name == "500.000 MHz is gone (a)"


def test_where_nothing_is_left_the_link_is_named() -> None:
    e = radio(500 * MHZ, 500_400_000)
    (first, second) = remedies(Wanted((Link("a", e.name), Link("b", e.name)), {e.name: e}), Ground(), 0)
    assert (first.lost, second.lost) == (("a",), ("b",))
    assert not first.survives


def test_a_fixed_link_on_a_frequency_that_is_gone_is_lost() -> None:
    e = radio(*(500 * MHZ + 400_000 * i for i in range(4)))
    guest = Link("guest", e.name, frequency_hz=500 * MHZ, fixed=True)
    (only,) = remedies(Wanted((guest,), {e.name: e}), Ground(), 1)
    assert only.lost == ("guest",)


def channels() -> Ground:
    """Two TV channels where everything is allowed."""
    raster = Raster(
        (Channel("21", 470 * MHZ, 478 * MHZ), Channel("22", 478 * MHZ, 486 * MHZ)), "invented", "2026-01", Grade.SEEN
    )
    territory = Territory("xx", "Nowhere", (rule(470, 486),), (raster,), {"general": "for all"}, (), ())
    return Ground(territory, Circumstances(None, None, datetime.date(2026, 7, 1)))


def test_a_channel_that_comes_up_is_left() -> None:
    e = wide()
    show = Wanted(tuple(Link(f"l{i}", e.name) for i in range(3)), {e.name: e})
    found = [one for one in remedies(show, channels()) if one.failure.kind == "channel"]
    assert [one.failure.name for one in found] == ["TV channel 21 comes up"]
    assert found[0].survives
    assert len(found[0].moves) == 3
    assert all(move.to_hz is not None and move.to_hz >= 478_100_000 for move in found[0].moves)


def wide(name: str = "wide") -> Equipment:
    spans = (Span(470_200_000, 477_800_000), Span(478_200_000, 485_800_000))
    return Equipment(name, Kind.MICROPHONE, spans, 25_000, (), 200_000, 10.0, None, 350_000, 100_000, 50_000, None)


def test_ranges_and_areas_are_named_and_survived() -> None:
    e = wide()
    losses = AreaLosses(frozenset({frozenset(("hall", "yard"))}))
    links = tuple(Link(f"l{i}", e.name, area) for i, area in enumerate(("hall", "hall", "yard")))
    found = remedies(Wanted(links, {e.name: e}, losses), Ground())
    by_kind = {kind: [one for one in found if one.failure.kind == kind] for kind in ("range", "areas", "frequency")}
    assert [one.failure.name for one in by_kind["range"]] == ["wide loses 470.200 to 477.800 MHz"]
    assert [one.failure.name for one in by_kind["areas"]] == ["hall and yard hear each other"]
    assert len(by_kind["frequency"]) == 3
    assert all(one.survives for one in found)
    assert all(move.to_hz is not None and move.to_hz > 478 * MHZ for move in by_kind["range"][0].moves)


def test_what_a_failure_takes_away() -> None:
    e = wide()
    up = ChannelUp(Channel("21", 470 * MHZ, 478 * MHZ))
    assert up.loses(e, "", 478_099_999)
    assert not up.loses(e, "", 478_100_000)
    apart = AreaLosses(frozenset({frozenset(("hall", "yard"))}))
    gone = FrequencyGone("a", ForeignCarrier("s", 480 * MHZ, 0, "hall", 350_000), apart)
    assert gone.loses(e, "hall", 480_349_999)
    assert not gone.loses(e, "hall", 480_350_000)
    assert not gone.loses(e, "yard", 480 * MHZ)
    lost = RangeLost(e, e.tuning[0])
    assert lost.loses(e, "", 477_800_000)
    assert not lost.loses(e, "", 478_200_000)
    assert not lost.loses(wide("another"), "", 477_800_000)
    assert not AreasHear("hall", "yard").loses(e, "hall", 480 * MHZ)


def test_a_whole_festival_of_failures_leaves_the_plan_as_it_was() -> None:
    e = wide()
    links = tuple(Link(f"l{i}", e.name) for i in range(6))
    show = Wanted(links, {e.name: e})
    best, question = planned(show, Ground())
    looking = Remedies(best, question, show, Ground(), NumpyKernels)
    failures = list(failures_of(best.frequencies_hz, show, Ground()))
    once = [looking.against(failure) for failure in failures]
    assert once == [looking.against(failure) for failure in failures]


def hall_and_yard(*hall: int, yard: int) -> tuple[Wanted, Ground]:
    """A link of the hall that can stand on some carriers, of which the yard's survey has those above 506 MHz occupied,
    and one of the yard that stands on one; the areas are apart.
    """
    mine, yours = radio(*hall, name="mine"), radio(yard, name="yours")
    losses = AreaLosses(frozenset({frozenset(("hall", "yard"))}))
    clean = Air(lambda _: Verdict.CLEAN)
    above = Air(lambda hz: Verdict.OCCUPIED if hz > 506 * MHZ else Verdict.CLEAN)
    airs = (AreaAir(clean, "hall"), AreaAir(above, "yard"))  # type: ignore[arg-type]  # invented airs
    links = (Link("h", mine.name, "hall", frequency_hz=507 * MHZ), Link("y", yours.name, "yard"))
    return Wanted(links, {kind.name: kind for kind in (mine, yours)}, losses), Ground(airs=airs, losses=losses)


def heard(show: Wanted, ground: Ground, spares: int) -> tuple[Remedy, Solution, set[str | None]]:
    """The remedy for areas that hear each other, the plan, and whom the audit finds on occupied places after it."""
    best, question = planned(show, ground, spares)
    assert best.frequencies_hz["h"] == 507 * MHZ
    failure = next(one for one in failures_of(best.frequencies_hz, show, ground) if one.kind == "areas")
    remedy = Remedies(best, question, show, ground, NumpyKernels).against(failure)
    at_hz = {name: hz for name, hz in best.frequencies_hz.items() if name not in remedy.lost}
    at_hz |= {move.link: move.to_hz for move in remedy.moves if move.to_hz is not None}
    listed = {link.name: link for link in show.links}
    rows = [Assignment(n, listed[n].equipment, listed[n].area, frozenset(), hz) for n, hz in at_hz.items()]
    then = AreaLosses()
    found = audit(rows, replace(show, losses=then), replace(ground, losses=then)).conflicts
    return remedy, best, {conflict.victim for conflict in found if conflict.kind in ("air", "spacing")}


def test_who_hears_another_area_has_its_survey_as_well() -> None:
    """The spare at 502 MHz is a place in the other area's survey too."""
    remedy, _, bad = heard(*hall_and_yard(502 * MHZ, 507 * MHZ, yard=500 * MHZ), 1)
    assert [(move.link, move.to_hz) for move in remedy.moves] == [("h", 502 * MHZ)]
    assert remedy.survives
    assert remedy.by_spares
    assert bad == set()


def test_a_spare_in_the_way_of_the_other_area_is_none() -> None:
    """The only spare is where the other area's link stands; the search finds the place that is left."""
    remedy, best, bad = heard(*hall_and_yard(501 * MHZ, 502 * MHZ, 507 * MHZ, yard=501 * MHZ), 1)
    assert [spare.frequency_hz for spare in best.spares if spare.area == "hall"] == [501 * MHZ]
    assert [(move.link, move.to_hz) for move in remedy.moves] == [("h", 502 * MHZ)]
    assert remedy.survives
    assert not remedy.by_spares
    assert bad == set()


def test_without_a_place_in_both_surveys_the_link_is_lost() -> None:
    remedy, _, bad = heard(*hall_and_yard(507 * MHZ, 508 * MHZ, yard=501 * MHZ), 0)
    assert remedy.lost == ("h",)
    assert not remedy.survives
    assert bad == set()


def applied(remedy: Remedy, best: Solution, show: Wanted) -> list[Assignment]:
    """The rows of the whole plan after the moves."""
    at_hz = dict(best.frequencies_hz) | {move.link: move.to_hz for move in remedy.moves if move.to_hz is not None}
    return [
        Assignment(link.name, link.equipment, link.area, link.scenes, at_hz[link.name])
        for link in show.links
        if link.name in at_hz
    ]


def test_a_way_back_may_move_alone_although_its_way_there_stays() -> None:
    """The whole plan is audited, in which the direction that stays is there as well."""
    duplex = Duplex(None, (Span(486 * MHZ, 494 * MHZ),), 10 * MHZ)
    desk = Equipment(
        "desk", Kind.INTERCOM, (Span(470 * MHZ, 476 * MHZ),), 25_000, (), 200_000, None, None, 400_000,
        100_000, None, None, duplex=duplex,
    )  # fmt: skip
    show = unfolded(Wanted((Link("a", "desk"), Link("b", "desk")), {"desk": desk}))
    best, question = planned(show, Ground(), spares=0)
    looking = Remedies(best, question, show, Ground(), NumpyKernels)
    alone = 0
    for failure in failures_of(best.frequencies_hz, show, Ground()):
        remedy = looking.against(failure)
        assert remedy is not None
        assert not audit(applied(remedy, best, show), failure.strikes(show, Ground())[0]).conflicts
        assert remedy.survives
        alone += [move.link.endswith(" return") for move in remedy.moves] == [True]
    assert alone


def test_where_a_spare_breaks_a_rule_about_groups_free_places_are_tried() -> None:
    """A spare is in no group: whoever takes it may stand where the own group must not. Four links in 8 MHz, of which
    two keep 3 MHz from the others: many places are left that do.
    """
    vox = Equipment(
        "vox", Kind.MICROPHONE, (Span(500 * MHZ, 508 * MHZ),), 25_000, (), 200_000, None, None, 350_000, 100_000,
        None, None,
    )  # fmt: skip
    links = tuple(Link(name, "vox", groups=frozenset({group})) for name, group in zip("abcd", "1212", strict=True))
    show = Wanted(links, {"vox": vox}, groupings=Groupings((Apart("1", "2", 3 * MHZ, hard=True),)))
    best, question = planned(show, Ground(), spares=1)
    looking = Remedies(best, question, show, Ground(), NumpyKernels)
    found = [looking.against(failure) for failure in failures_of(best.frequencies_hz, show, Ground())]
    assert len(found) == 4
    for remedy in found:
        assert remedy is not None
        assert remedy.survives
        rows = applied(remedy, best, show)
        assert not audit(rows, show).conflicts
        at_hz = {row.link: row.frequency_hz or 0 for row in rows}
        assert min(abs(at_hz[one] - at_hz[other]) for one in "ac" for other in "bd") >= 3 * MHZ
