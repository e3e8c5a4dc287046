"""The show's tables: equipment, links, areas, groups, foreign carriers, stations, plans, chains as delimited text."""

from fallow.files.tables.chain_table import read_chain
from fallow.files.tables.group_table import read_groups, stated_rules
from fallow.files.tables.level_table import read_measured
from fallow.files.tables.plan_table import read_plan, write_plan
from fallow.files.tables.show_tables import (
    check_links_against_equipment,
    read_areas,
    read_equipment,
    read_foreign,
    read_links,
    read_stations,
    unused_areas,
)

__all__ = [
    "check_links_against_equipment",
    "read_areas",
    "read_chain",
    "read_equipment",
    "read_foreign",
    "read_groups",
    "read_links",
    "read_measured",
    "read_plan",
    "read_stations",
    "stated_rules",
    "unused_areas",
    "write_plan",
]
