"""The tables against plain loops over all carriers, and the kernels against each other."""

from __future__ import annotations

import sys
from dataclasses import replace
from itertools import count

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.errors import UsageError
from fallow.plan.places import Ground
from fallow.plan.search import crowd_loops, loops
from fallow.plan.search.engine import NumpyKernels
from fallow.plan.search.question import Question, empty_tables, whole
from fallow.plan.search.search import improve
from fallow.plan.search.standing import Standing
from fallow.plan.search.tables import TABLE_NAMES, Tables
from fallow.show.link import Link
from fallow.show.wanted import Wanted
from plan.plain_conflicts import of_ours, of_stranger, plain_conflicts, random_show


class LoopKernels:
    """The loops as they stand, interpreted."""

    fill_upwards = staticmethod(crowd_loops.fill_upwards)
    settle = staticmethod(crowd_loops.settle)

    def place(self, t, classes, carriers, homes, picks):
        found_hz = np.empty(classes.shape, dtype=np.int64)
        loops.work(loops.PLACE, t, classes, carriers, found_hz, homes, picks)
        return found_hz

    def put(self, t, classes, carriers, at_hz):
        loops.work(loops.PUT, t, classes, carriers, at_hz, carriers[:0], np.zeros(0))

    def take(self, t, classes, carriers, at_hz):
        loops.work(loops.TAKE, t, classes, carriers, at_hz, carriers[:0], np.zeros(0))

    def wander(self, t, classes, at_hz, moves, picks, waiting):
        return loops.work(loops.WANDER, t, classes, moves, at_hz, waiting, picks)

    def busy(self, t, k):
        busy = np.zeros(t.size, dtype=np.int32)
        loops.busy_row(t, k, busy)
        return busy


def planned(wanted: Wanted, steps: int, seed: int = 1) -> tuple[Question, Standing]:
    """A question and the plan after some steps, standing in fresh tables."""
    question = Question.build(wanted, Ground())
    taken = count(1)
    *_, last = improve(question, seed=seed, should_stop=lambda: next(taken) >= steps)
    standing = Standing(question, NumpyKernels)
    at_hz = dict(last.frequencies_hz) | {spare.name: spare.frequency_hz for spare in last.spares}
    movable = [i for i, carrier in enumerate(question.carriers) if carrier.fixed_hz is None and carrier.name in at_hz]
    standing.put(movable, [at_hz[question.carriers[i].name] for i in movable])
    return question, standing


def counts(t: Tables) -> dict[str, np.ndarray]:
    return {name: getattr(t, name).copy() for name in TABLE_NAMES}


def same(one: dict[str, np.ndarray], other: dict[str, np.ndarray]) -> bool:
    return all(np.array_equal(one[name], other[name]) for name in TABLE_NAMES)


@given(st.integers(0, 10**6))
@settings(max_examples=60)
def test_a_place_is_free_exactly_where_plain_loops_find_no_conflict(seed: int) -> None:
    wanted = random_show(seed)
    question, standing = planned(wanted, steps=3)
    here = [carrier for carrier, hz in zip(question.carriers, standing.at_hz, strict=True) if hz >= 0]
    scenes = {link.name: link.scenes for link in wanted.links}
    ours = [
        of_ours(c.name, int(standing.at_hz[i]), c.area, scenes.get(c.name, frozenset()), c.equipment, fixed=True)
        for i, c in enumerate(question.carriers)
        if c in here
    ]
    others = ours + [of_stranger(foreign) for foreign in wanted.foreign]
    random = np.random.default_rng(seed)
    for k, worth in enumerate(question.worths):
        if not worth.frequencies_hz.size:
            continue
        class_ = question.classes[k]
        some_hz = np.unique(random.choice(worth.frequencies_hz, 12))
        position = question.raster.positions(some_hz)
        busy = NumpyKernels().busy(standing.tables, k)
        exact = standing._free(k, some_hz)
        for hz, place, exactly in zip(some_hz.tolist(), position.tolist(), exact.tolist(), strict=True):
            newcomer = of_ours("newcomer", hz, class_.area, class_.scenes, class_.equipment, fixed=False)
            free = not plain_conflicts([newcomer, *others], wanted.losses)
            assert exactly == free
            assert place < 0 or (busy[place] == 0) == free


@given(st.integers(0, 10**6))
@settings(max_examples=30)
def test_taking_undoes_putting_bit_for_bit(seed: int) -> None:
    question, standing = planned(random_show(seed), steps=2)
    before = counts(standing.tables)
    movable = [i for i, carrier in enumerate(question.carriers) if carrier.fixed_hz is None]
    at_hz = standing.at_hz.copy()
    standing.take(movable)
    assert same(counts(standing.tables), counts(question.tables()))
    for i in np.random.default_rng(seed).permutation(movable).tolist():
        standing.put([i], [int(at_hz[i])])
    assert same(counts(standing.tables), before)


def test_tables_start_at_nothing_and_return_to_it() -> None:
    question, standing = planned(random_show(4), steps=2)
    empty = counts(empty_tables(question))
    assert not any(table.any() for table in empty.values())
    strangers = whole(k for k, _ in question.strangers)
    names = len(question.carriers) + np.arange(strangers.size)
    fresh = empty_tables(question)
    NumpyKernels().put(fresh, strangers, names, whole(hz for _, hz in question.strangers))
    NumpyKernels().take(fresh, strangers, names, whole(hz for _, hz in question.strangers))
    assert same(counts(fresh), empty)
    assert not fresh.sender_count.any()
    assert standing.tables.sender_count.any()


def all_kernels():
    yield "loops", LoopKernels()
    if "numba" in sys.modules or pytest.importorskip("numba"):
        from fallow.plan.search.compiled import CompiledKernels

        yield "compiled", CompiledKernels()


@pytest.mark.parametrize("name", ["loops", "compiled"])
def test_all_kernels_leave_the_same_counts(name: str) -> None:
    if name == "compiled":
        pytest.importorskip("numba")
    kernels = dict(all_kernels())[name]
    for seed in range(12 if name == "loops" else 60):
        wanted = random_show(seed)
        question, standing = planned(wanted, steps=1)
        tables = question.tables(kernels)
        assert same(counts(tables), counts(question.tables()))
        random = np.random.default_rng(seed)
        plain = [
            i
            for i, c in enumerate(question.carriers)
            if c.fixed_hz is None and c.class_index not in question.odd_classes
        ]
        who = whole(random.permutation(plain))
        classes, homes = standing.classes[who], whole([-1] * len(who))
        picks = random.choice([-1.0, 0.0, 0.37, 0.999, 1.5, -2.0], len(who))
        twin = question.tables()
        found_hz = NumpyKernels().place(twin, classes, who, homes, picks)
        assert np.array_equal(kernels.place(tables, classes, who, homes, picks), found_hz)
        assert same(counts(tables), counts(twin))
        assert all(
            np.array_equal(
                kernels.busy(tables, k)[slice(*tables.extent[k])], NumpyKernels().busy(twin, k)[slice(*twin.extent[k])]
            )
            for k in range(len(question.worths))
        )
        placed = found_hz >= 0
        kernels.take(tables, classes[placed], who[placed], found_hz[placed])
        assert same(counts(tables), counts(question.tables()))


def test_the_search_is_the_same_whichever_kernels_do_the_work() -> None:
    pytest.importorskip("numba")
    from fallow.plan.search.compiled import CompiledKernels

    question = Question.build(random_show(11), Ground())
    found = []
    for kernels in (NumpyKernels, CompiledKernels):
        taken = count(1)
        found.append(
            list(improve(question, seed=5, should_stop=lambda taken=taken: next(taken) >= 40, kernels=kernels))
        )
    assert found[0] == found[1]


def test_wide_counts_do_not_overflow() -> None:
    """Counts at the most carriers that a group may hold stay below 2³¹: 1,000 senders that are all victims."""
    n = 1_000
    products_on_a_victim = n * (n - 1) * (n - 2) // 2 + 3 * n * (n - 1)
    products_of_a_sender = n * (n - 1) * (n - 2) + n * (n - 1) * (n - 2) // 2 + 6 * n * (n - 1)
    assert max(products_on_a_victim, products_of_a_sender) < 2**31
    wanted = random_show(3)
    name, equipment = next(iter(wanted.equipment.items()))
    equipment = replace(equipment, im3_three_hz=50_000)
    crowd = Wanted(tuple(Link(f"link {i}", name) for i in range(1001)), {name: equipment})
    with pytest.raises(UsageError, match="1,001 carriers"):
        Question.build(crowd, Ground(), spares=0)
