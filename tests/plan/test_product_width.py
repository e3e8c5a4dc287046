"""Plans in which products keep their distance with their edges; the audit is the judge. Everything here is invented."""

from __future__ import annotations

from dataclasses import replace
from itertools import count

import numpy as np
import pytest

from fallow.plan.advice.relaxing import ideas_for
from fallow.plan.judge.audit import audit
from fallow.plan.places import Ground
from fallow.plan.search.bounds import most
from fallow.plan.search.engine import NumpyKernels
from fallow.plan.search.groups import MOST_GRADES, class_of_ours, group_classes
from fallow.plan.search.question import Question
from fallow.plan.search.search import improve
from fallow.plan.search.standing import Standing
from fallow.show.assignment import Assignment
from fallow.show.link import AreaLosses, Link
from fallow.show.wanted import Wanted
from fallow.units import Span
from plan.shows import equipment

BAND = (Span(470_000_000, 608_000_000),)


def mixed(**more) -> Wanted:
    """Six microphones and two cameras."""
    mic = equipment("mic", tuning=BAND, step_hz=25_000, im5_khz=50, im7_khz=25, **more)
    camera = equipment("camera", tuning=BAND, step_hz=100_000, three_khz=None, bandwidth_khz=2000, spacing_khz=2000)
    links = [Link(f"mic {i}", "mic") for i in range(6)] + [Link(f"camera {i}", "camera") for i in range(2)]
    return Wanted(tuple(links), {"mic": mic, "camera": camera})


def planned(show: Wanted, steps: int = 40) -> list[Assignment]:
    taken = count(1)
    question = Question.build(show, Ground(), spares=0)
    *_, last = improve(question, seed=1, should_stop=lambda: next(taken) >= steps)
    kinds = {link.name: link.equipment for link in show.links}
    return [Assignment(name, kinds[name], frequency_hz=hz) for name, hz in last.frequencies_hz.items()]


def test_a_plan_keeps_the_edges_of_products_away_as_the_audit_asks() -> None:
    show = mixed(product_width=True)
    rows = planned(show)
    assert len(rows) == 8
    assert audit(rows, show).conflicts == ()


def test_a_plan_made_for_lines_does_not() -> None:
    rows = planned(mixed())
    assert audit(rows, mixed()).conflicts == ()
    found = audit(rows, mixed().with_product_width()).conflicts
    assert any(one.needed_hz and one.needed_hz > 1_000_000 for one in found)
    assert all("wide: move" in one.text for one in found)


def test_links_without_width_are_planned_as_if_nobody_asked() -> None:
    """A width of nothing adds nothing: the same plan, step by step."""
    show = mixed()
    narrow = replace(show, equipment={name: replace(each, bandwidth_hz=0) for name, each in show.equipment.items()})
    assert planned(narrow) == planned(narrow.with_product_width())


def test_widths_beyond_those_told_apart_are_never_taken_for_narrower_ones() -> None:
    kinds = [
        equipment(f"kind {i}", bandwidth_khz=khz, spacing_khz=100, tuning=BAND, step_hz=25_000, product_width=True)
        for i, khz in enumerate((25, 150, 180, 200, 900, 2000))
    ]
    groups = group_classes([class_of_ours(kind, "", frozenset()) for kind in kinds], AreaLosses())
    assert groups.widths_hz.shape[1] == groups.grade_count.max() == MOST_GRADES
    assert groups.widths_hz[0].tolist() == [25_000, 200_000, 900_000, 2_000_000]
    for entry, kind in zip(groups.grades.tolist(), kinds, strict=False):
        assert groups.widths_hz[0, entry] >= kind.bandwidth_hz
    show = Wanted(tuple(Link(f"link {i}", kind.name) for i, kind in enumerate(kinds)), {k.name: k for k in kinds})
    assert audit(planned(show), show).conflicts == ()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_what_a_bound_says_no_plan_exceeds(seed: int) -> None:
    """In 4 MHz, where few links fit: plans of the search stay at or below the bound, and edges tighten it."""
    random = np.random.default_rng(seed)
    tuning = (Span(500_000_000, 504_000_000),)
    khz = int(random.choice([25, 100, 200]))
    kind = equipment("mic", tuning=tuning, step_hz=25_000, bandwidth_khz=khz, product_width=True)
    show = Wanted(tuple(Link(f"link {i}", "mic") for i in range(20)), {"mic": kind})
    bound = most(Question.build(show, Ground(), spares=0))
    of_lines = replace(show, equipment={"mic": replace(kind, product_width=False)})
    lines = most(Question.build(of_lines, Ground(), spares=0))
    assert bound is not None
    assert lines is not None
    assert len(planned(show, 60)) <= bound.links <= lines.links


def test_what_would_help_is_to_take_products_as_lines_and_to_leave_order_7_out() -> None:
    show = mixed(product_width=True)
    ideas = {idea.text: idea for idea in ideas_for(show.links[:1], show, Ground())}
    lines = ideas["products taken as lines, without their own width"].wanted
    assert not any(kind.product_width for kind in lines.equipment.values())
    without = ideas["4A−3B products of no account to mic"].wanted
    assert without.equipment["mic"] == replace(show.equipment["mic"], im7_hz=None)
    plain = replace(show, equipment={"mic": equipment("mic", tuning=BAND, step_hz=25_000)}, links=show.links[:1])
    assert not any("lines" in idea.text or "4A" in idea.text for idea in ideas_for(plain.links, plain, Ground()))


def test_grades_are_one_where_nobody_minds_edges() -> None:
    question = Question.build(mixed(), Ground(), spares=0)
    tables = Standing(question, NumpyKernels).tables
    assert tables.grade_count.tolist() == [1] * len(tables.grade_count)
    assert tables.sender_row.shape == tables.victim_row.shape
    wide = Question.build(mixed(product_width=True), Ground(), spares=0)
    assert wide.bytes_of_tables > question.bytes_of_tables
