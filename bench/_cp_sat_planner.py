"""The same planning question for a general constraint solver, OR-Tools CP-SAT, as well as we can put it.

Within each set of areas that all hear each other the carriers rise, f1 < f2 < …, neighbours at least the spacing
apart. That no A+B−C product comes nearer than its distance means that the differences of two pairs without a common
carrier differ by at least that much; for pairs with a common carrier the same holds with the distance of 2A−B. With
the smaller of the two, all differences become intervals that do not overlap, which CP-SAT knows as one constraint;
what is left of 2A−B, and 3A−2B, is stated pair by pair. The solver is asked for growing numbers of links, with half of
the time left for each attempt.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.crowd import cliques
from fallow.plan.search.question import Question


@dataclass(frozen=True)
class Clique:
    """Areas that all hear each other: places on the raster, how many links there are, and the distances in whole
    steps.
    """

    places: tuple[int, ...]
    links: int
    spacing: int
    two: int
    three: int
    fifth: int


def cliques_of(question: Question) -> list[Clique]:
    """The parts of a question whose groups hear nobody else. Raises ValueError where parts overlap."""
    found = []
    for heard, victims, distances in zip(
        question.groups.heard, question.groups.victims, question.groups.distance_hz.tolist(), strict=True
    ):
        if heard != victims:
            raise ValueError("this model is for areas that hear each other wholly or not at all")
        k = min(heard)
        equipment = question.classes[k].equipment
        links = sum(1 for carrier in question.links if carrier.class_index in heard)
        places = tuple(question.raster.positions(question.worths[k].frequencies_hz).tolist())
        steps = [-(-hz // question.raster.step_hz) for hz in (equipment.spacing_hz if equipment else 0, *distances[:3])]
        found.append(Clique(places, links, *steps))
    return found


def place_with_cp_sat(cliques: Sequence[Clique], seconds: float, workers: int = 2) -> int:
    """How many links CP-SAT places in all cliques within the time."""
    total = 0
    for i, clique in enumerate(cliques):
        deadline_s = time.perf_counter() + seconds / len(cliques)
        best, target = 1, min(8, clique.links)
        while target <= clique.links and (left_s := deadline_s - time.perf_counter()) > 0.05:
            limit_s = left_s if target == best + 1 else left_s / 2
            if _solve(clique, target, limit_s, workers, seed=i):
                best, target = target, target + max(1, (target + 2) // 6)
            elif target > best + 1:
                target = (best + target) // 2
            else:
                break
        total += best
    return total


def shortest_with_cp_sat(
    need: NDArray[np.int64], apart: NDArray[np.int64], low: int, high: int, seconds: float
) -> int | None:
    """The shortest span found by halving between a bound and a span that is long enough, with a third of the time left
    for each attempt; ``None`` where nothing is found at all.

    The textbook model: a boolean for each class and place; of classes that all keep w places from each other at most
    one carrier within w places.
    """
    deadline_s = time.perf_counter() + seconds
    best = None
    while low <= high and (left_s := deadline_s - time.perf_counter()) > 0.1:
        span = (low + high) // 2
        if _fits(need, apart, span + 1, left_s / 3):
            best, high = span, span - 1
        else:
            low = span + 1
    return best


def _fits(need: NDArray[np.int64], apart: NDArray[np.int64], places: int, seconds: float) -> bool:
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    on = [[model.new_bool_var(f"{k}_{f}") for f in range(places)] for k in range(need.size)]
    for k, number in enumerate(need.tolist()):
        model.add(sum(on[k]) == number)
    for width in np.unique(apart[apart > 0]).tolist():
        for members in cliques(apart >= width):
            for f in range(max(1, places - width + 1)):
                model.add_at_most_one(on[k][g] for k in members for g in range(f, min(f + width, places)))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 2
    return solver.solve(model) in (cp_model.OPTIMAL, cp_model.FEASIBLE)


def _solve(clique: Clique, n: int, seconds: float, workers: int, seed: int) -> bool:
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    domain = cp_model.Domain.from_values(list(clique.places))
    f = [model.new_int_var_from_domain(domain, f"f{i}") for i in range(n)]
    size = min(clique.two, clique.three)
    width = max(clique.places) - min(clique.places)
    intervals, difference = [], {}
    for i in range(n):
        for j in range(i + 1, n):
            difference[i, j] = model.new_int_var(clique.spacing * (j - i), width, f"d{i}_{j}")
            model.add(difference[i, j] == f[j] - f[i])
            intervals.append(model.new_fixed_size_interval_var(difference[i, j], size, f"i{i}_{j}"))
    model.add_no_overlap(intervals)
    for i in range(n):
        for j in range(i + 1, n):
            for k in range(j + 1, n):
                if clique.two > size:  # both gaps of three neighbours: 2B − A against C
                    _keep_apart(model, difference[i, j] - difference[j, k], clique.two, f"t{i}_{j}_{k}")
                if clique.fifth:  # 3A − 2B against C for each choice of A, B, C
                    for a, b, c in ((i, j, k), (i, k, j), (j, i, k), (j, k, i), (k, i, j), (k, j, i)):
                        _keep_apart(model, 3 * f[a] - 2 * f[b] - f[c], clique.fifth, f"v{a}_{b}_{c}")
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = workers
    solver.parameters.random_seed = seed
    return solver.solve(model) in (cp_model.OPTIMAL, cp_model.FEASIBLE)


def _keep_apart(model, expression, distance: int, name: str) -> None:  # type: ignore[no-untyped-def]  # OR-Tools' own types
    """|expression| ≥ distance."""
    above = model.new_bool_var(name)
    model.add(expression >= distance).only_enforce_if(above)
    model.add(expression <= -distance).only_enforce_if(above.negated())
