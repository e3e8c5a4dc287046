"""Answers for people in 80 columns: the answer on top, the reason below; told by word and mark, colour last."""

from fallow.cli.screens.air import show_air
from fallow.cli.screens.case import show_case, show_taken_over
from fallow.cli.screens.comparison import show_comparison
from fallow.cli.screens.paper import complain_of, narrator, show_story
from fallow.cli.screens.plan import show_audit, show_plan
from fallow.cli.screens.readings import ask_about, show_readings
from fallow.cli.screens.rules import show_regions, show_rules

__all__ = [
    "ask_about",
    "complain_of",
    "narrator",
    "show_air",
    "show_audit",
    "show_case",
    "show_comparison",
    "show_plan",
    "show_readings",
    "show_regions",
    "show_rules",
    "show_story",
    "show_taken_over",
]
