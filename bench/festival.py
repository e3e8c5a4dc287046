"""A whole festival through the command line: 1,000 links in 20 areas and 10 scenes, six kinds of radios with rules,
tuning ranges and presets of their own, and foreign carriers. All of it is invented.

Run: python bench/festival.py [--links N] [--seconds S] [--seed N]

Printed are the wall time of ``fallow plan`` and ``fallow audit`` with reading, answer and audit, how many links and
spares stand, and the most memory that the process used.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Sequence
from pathlib import Path

from _instances import areas

ROOT = Path(__file__).resolve().parent.parent
SCENES = 10
STRANGERS = 12
EQUIPMENT_HEADER = [
    *("equipment", "kind", "tuning_mhz", "step_khz", "presets_mhz", "bandwidth_khz", "power_mw", "power_kind"),
    *("spacing_khz", "im3_khz", "im3_three_khz", "im5_khz"),
]
PRESETS = ";".join(f"{630 + 0.8 * i:.3f}" for i in range(64))
EQUIPMENT = (
    ("hand-held", "microphone", "470-526", 25, "", 200, 30, "erp", 350, 100, 50, 50),
    ("body-worn", "microphone", "518-566", 25, "", 200, 30, "erp", 350, 100, 50, ""),
    ("digital", "microphone", "566-608", 25, "", 200, 20, "erp", 300, 50, 25, ""),
    (
        "guests",
        "microphone",
        "",
        25,
        PRESETS,
        200,
        30,
        "erp",
        400,
        100,
        "",
        "",
    ),
    ("in-ear", "in-ear", "608-630", 25, "", 200, 50, "erp", 400, 100, 50, ""),
    ("talkback", "intercom", "174-230", 25, "", 50, 10, "erp", 125, 25, "", ""),
)
SHARES = (0.25, 0.2, 0.2, 0.1, 0.1, 0.15)


def main() -> None:
    """Make the festival, plan it, audit the plan."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--links", type=int, default=1000)
    options.add_argument("--areas", type=int, default=20)
    options.add_argument("--seconds", type=float, default=50.0)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--folder", type=Path, help="keep the tables and the plan here")
    asked = options.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        folder = asked.folder or Path(temporary)
        folder.mkdir(exist_ok=True)
        write_tables(folder, asked.links, asked.areas)
        around = ["--equipment", folder / "equipment.csv", "--areas", folder / "areas.csv"]
        around += ["--foreign", folder / "foreign.csv"]
        plan = [folder / "links.csv", *around, "--seconds", asked.seconds, "--seed", asked.seed]
        plan_s, found, megabytes = run_fallow("plan", *plan, "--out", folder / "plan.csv")
        placed = sum(link["frequency_hz"] is not None for link in found["links"])
        print(
            f"plan: {placed} of {asked.links} links and {len(found['spares'])} spares in {plan_s}, "
            f"{len(found['conflicts'])} conflicts, most {found['most'] and found['most']['links']}, {megabytes} MB"
        )
        for note in found["notes"]:
            print("  ", note)
        audit_s, judged, megabytes = run_fallow("audit", folder / "plan.csv", *around)
        checked = judged["checked"]
        print(
            f"audit: {audit_s}, {len(judged['conflicts'])} conflicts, {checked['pairs']:,} pairs and "
            f"{checked['products']:,} products compared, {megabytes} MB"
        )


def run_fallow(*arguments: object) -> tuple[str, dict, int]:  # type: ignore[type-arg]  # a document of any shape
    """Seconds, document and megabytes of a call of fallow with ``--json``."""
    command = [sys.executable, "-m", "fallow", *map(str, arguments), "--json"]
    environment = os.environ | {"PYTHONPATH": str(ROOT / "src")}
    started = time.perf_counter()
    with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as process:
        text = process.stdout.read() if process.stdout else b""
        _, _, usage = os.wait4(process.pid, 0)
    wall_s, work_s = time.perf_counter() - started, usage.ru_utime + usage.ru_stime
    return f"{wall_s:.1f} s ({work_s:.1f} s of work)", json.loads(text), usage.ru_maxrss // 1024


def write_tables(folder: Path, n_links: int, n_areas: int) -> None:
    """The tables of the festival."""
    dice = random.Random(1)
    names, losses = areas(n_areas)
    kinds = [row[0] for row in EQUIPMENT]
    scenes = [f"act {i + 1}" for i in range(SCENES)]
    links = []
    for i in range(n_links):
        kind = dice.choices(kinds, SHARES)[0]
        on = dice.choice(scenes) if kind != "talkback" or dice.random() < 0.9 else ""
        links.append((f"link {i + 1:04}", kind, names[i % n_areas], on, dice.choice((1, 2, 3, 3, 3, 4, 5))))
    bands = [(174, 230), (470, 608), (608, 682)]
    foreign = [
        (f"stranger {i + 1}", f"{dice.uniform(*bands[i % 3]):.4f}", "", 300, dice.choice(("yes", "")))
        for i in range(STRANGERS)
    ]
    write_csv(folder / "equipment.csv", EQUIPMENT_HEADER, EQUIPMENT)
    write_csv(folder / "links.csv", ("link", "equipment", "area", "scenes", "priority"), links)
    apart = [(*sorted(pair), "apart") for pair in sorted(losses.apart, key=sorted)]
    write_csv(folder / "areas.csv", ("area", "other", "loss_db"), apart)
    write_csv(folder / "foreign.csv", ("name", "frequency_mhz", "area", "spacing_khz", "products"), foreign)


def write_csv(path: Path, header: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """A table with a header."""
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([header, *rows])


if __name__ == "__main__":
    main()
