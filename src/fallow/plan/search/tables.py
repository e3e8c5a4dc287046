"""The tables that tell, for every place on the raster, whether one more carrier may stand there.

Links that share equipment, area and scenes form a *class*. A *group* is a set of classes that are victims under the
same distances together with all classes that they hear in one scene. For each group two rows say, place by place,

* ``victim_row``: how many products of the group's senders would fall too near to one more victim there;
* ``sender_row``: how many products with one more sender there would fall too near to the group's victims.

A place is free for a class when the rows of all its groups, and its own ``spacing_row``, are zero there. Three-carrier
products come from histograms of the pairs placed so far, already as wide as the distance asked for: one more carrier
at x adds them to the rows shifted by x or mirrored at x. Two-carrier products, (f + 2) A − (f + 1) B for f of 0 to 2,
are marked one by one.

Where the victims of a group mind how wide products are, distances depend on the *grades* (widths, see ``groups``) of
the senders. Then a group has a ``sender_row`` for each grade that one more sender may have, and histograms for each
grade, or two grades, of the senders that are still missing from a product. Else it has one grade.

Carriers on the raster are positions (whole steps from ``base_hz``); others, such as strangers on odd frequencies, are
*odd*: their products are marked one by one in exact hertz.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["FORMS_OF_TWO", "NO_PLACE", "SENDS", "SUFFERS", "TABLE_NAMES", "Tables"]

NO_PLACE = 255  # in Tables.tier: the class has no place here
SENDS = 1  # in Tables.roles: the class is heard in the group
SUFFERS = 2  # in Tables.roles: the class is a victim of the group
FORMS_OF_TWO = 3  # 2A−B, 3A−2B, 4A−3B

TABLE_NAMES = (
    "victim_row",
    "sender_row",
    "spacing_row",
    "differences",
    "sums",
    "victim_less_sender",
    "sender_less_victim",
    "victim_and_sender",
)


class Tables(NamedTuple):
    """Fixed description and changing counts. K classes, G groups, M places, L = 2 M + 2 ``pad`` cells of a histogram.

    W: the most grades of a group; R: grades, P: pairs of grades, of all groups together.

    Counts are int32: a group of n carriers can't hold more than 2 n³ products, which fits for n up to 1,000
    (``Question`` checks it); rows of several groups are never summed but joined bit by bit.
    """

    base_hz: int
    step_hz: int
    size: int  # M
    pad: int
    tier: NDArray[np.uint8]  # (K, M): 2 × Worth.tier, + 1 where the margin is thin (see Standing); NO_PLACE: none
    extent: NDArray[np.int64]  # (K, 2): first place of the class, and one past its last
    segments: NDArray[np.int64]  # (segment, 2): stretches of the raster where any class has places
    victim_extent: NDArray[np.int64]  # (G, 2): first place of any of a group's victims, and one past the last
    sender_extent: NDArray[np.int64]  # (G, 2): the same of its senders; three-carrier counts are kept only inside
    group_start: NDArray[np.int64]  # (K + 1,): where the groups of a class begin in the next two
    groups: NDArray[np.int64]
    roles: NDArray[np.uint8]
    grades: NDArray[np.int64]  # of the class among the group's senders
    grade_count: NDArray[np.int64]  # (G,)
    grade_start: NDArray[np.int64]  # (G,): where the rows of a group's grades begin, in what has R rows
    pair_start: NDArray[np.int64]  # (G,): where those of its pairs of grades begin, (0, 0), (0, 1), (1, 1), (0, 2) …
    two_hz: NDArray[np.int64]  # (G, 3, W, W): distance of (f + 2) A − (f + 1) B by f and the grades of A and B; 0: not
    three_hz: NDArray[np.int64]  # (G, W, W, W): of A+B−C, by the grades of all three; 0 where not asked
    two_reach: NDArray[np.int64]  # the same, as the largest conflicting number of whole steps; −1 where not asked
    three_reach: NDArray[np.int64]
    spacing_hz: NDArray[np.int64]  # (K, K): between carriers of two classes; 0 where they never meet
    farthest_hz: NDArray[np.int64]  # (K, K): how far from each other at most; 0: as far as they like
    victim_row: NDArray[np.int32]  # (G, M)
    sender_row: NDArray[np.int32]  # (R, M): for one more sender of this grade
    spacing_row: NDArray[np.int32]  # (K, M)
    differences: NDArray[np.int32]  # (R, L): sender − other sender, cell = difference + M + pad; by the third's grade
    sums: NDArray[np.int32]  # (R, L): sender + other sender, cell = sum + pad
    victim_less_sender: NDArray[np.int32]  # (P, L): by the grades of the two other senders
    sender_less_victim: NDArray[np.int32]  # (P, L)
    victim_and_sender: NDArray[np.int32]  # (P, L): sums
    senders_hz: NDArray[np.int64]  # (G, n)
    senders_grade: NDArray[np.int64]  # (G, n)
    senders_at: NDArray[np.int64]  # (G, n): place on the raster, −1 when odd
    senders: NDArray[np.int64]  # (G, n): which carrier
    sender_count: NDArray[np.int64]  # (G,)
    victims_hz: NDArray[np.int64]
    victims_at: NDArray[np.int64]
    victims: NDArray[np.int64]
    victim_count: NDArray[np.int64]
    odd_count: NDArray[np.int64]  # (G,): placed carriers off the raster

    def position(self, frequency_hz: int) -> int:
        """Place of a carrier on the raster, or −1 when it is odd."""
        place, rest = divmod(frequency_hz - self.base_hz, self.step_hz)
        return place if rest == 0 and 0 <= place < self.size else -1
