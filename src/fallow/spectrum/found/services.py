"""What the signals of other services look like: widths, edges, pilots and bands, each with its source.

Television: ETSI EN 300 744 (DVB-T), ATSC A/53, ARIB STD-B31 (ISDB-T). Mobile: 3GPP TS 36.101 tables 5.5-1 and 5.6-1,
TS 38.101-1 table 5.3.2-1. DECT: ETSI EN 300 175-2.
"""

from __future__ import annotations

from dataclasses import dataclass

from fallow.units import Channel

__all__ = [
    "ATSC_PILOT_HZ",
    "DOWNLINKS",
    "DUPLEX",
    "MOBILE_WIDTHS",
    "NARROW_DIGITAL",
    "TELEVISION",
    "UPLINKS",
    "Television",
    "dect_carrier_hz",
    "usual_rasters",
]

ATSC_PILOT_HZ = 309_440.559  # above the channel's lower edge: (6 MHz - 684·4.5/286 MHz)/2. ATSC A/53 part 2


@dataclass(frozen=True)
class Television:
    """A television standard in a channel of ``channel_hz``: occupied width, where the spectrum is flat, offset of its
    centre.
    """

    name: str
    channel_hz: int
    width_hz: float
    slope_hz: float
    offset_hz: float = 0.0
    pilot_hz: float | None = None


TELEVISION = (
    Television("DVB-T", 8_000_000, 7_607_143.0, 0.0),  # (K-1)/Tu = 6816/896 µs, EN 300 744
    Television("DVB-T", 7_000_000, 6_656_250.0, 0.0),
    Television(
        "ATSC", 6_000_000, 5_381_119.0, 309_441.0, 0.0, ATSC_PILOT_HZ
    ),  # 3 dB width; roll-off of 309 kHz to each side
    Television("ISDB-T", 6_000_000, 5_572_421.0, 0.0, 142_857.0),  # 5617 x 0.992063 kHz; 1/7 MHz up: from memory
    Television("DVB-T", 6_000_000, 5_705_357.0, 0.0),
)


def usual_rasters() -> tuple[Channel, ...]:
    """Channels of the usual rasters, for when no region is known. Source: GE06 (8 MHz, 7 MHz in band III), 47 CFR
    73.603.
    """
    rasters = (
        (174e6, 230e6, 7e6),
        (174e6, 216e6, 6e6),
        (470e6, 862e6, 8e6),
        (470e6, 698e6, 6e6),
        (526e6, 694e6, 7e6),  # Australia: from memory
    )
    channels = []
    for low, high, width in rasters:
        for index in range(int((high - low) // width)):
            edge = int(low + index * width)
            channels.append(Channel("", edge, edge + int(width)))
    return tuple(channels)


MOBILE_WIDTHS = (  # blocks of 180 kHz at 15 kHz: TS 36.101 table 5.6-1, TS 38.101-1 table 5.3.2-1
    ("LTE 5 MHz", 4_500_000.0),
    ("LTE 10 MHz", 9_000_000.0),
    ("LTE 15 MHz", 13_500_000.0),
    ("LTE 20 MHz", 18_000_000.0),
    ("NR 10 MHz", 9_360_000.0),
    ("NR 15 MHz", 14_220_000.0),
    ("NR 20 MHz", 19_080_000.0),
    ("NR 25 MHz", 23_940_000.0),
    ("NR 30 MHz", 28_800_000.0),
    ("NR 40 MHz", 38_880_000.0),
    ("NR 50 MHz", 48_600_000.0),
)

DOWNLINKS = (  # TS 36.101 table 5.5-1, from memory
    (617e6, 652e6),
    (729e6, 768e6),
    (758e6, 803e6),
    (791e6, 821e6),
    (859e6, 894e6),
    (925e6, 960e6),
    (1452e6, 1517e6),
    (1805e6, 1880e6),
    (1930e6, 1995e6),
    (2110e6, 2200e6),
    (2620e6, 2690e6),
)

UPLINKS = (  # TS 36.101 table 5.5-1, from memory
    (663e6, 716e6),
    (777e6, 787e6),
    (824e6, 862e6),
    (880e6, 915e6),
    (1710e6, 1785e6),
    (1850e6, 1915e6),
    (1920e6, 1980e6),
    (2500e6, 2570e6),
)

DUPLEX = (  # uplink and downlink of a band: TS 36.101 table 5.5-1, from memory
    ((663e6, 698e6), (617e6, 652e6)),  # 71
    ((699e6, 716e6), (729e6, 746e6)),  # 12, 17
    ((703e6, 748e6), (758e6, 803e6)),  # 28
    ((777e6, 787e6), (746e6, 756e6)),  # 13
    ((788e6, 798e6), (758e6, 768e6)),  # 14
    ((814e6, 849e6), (859e6, 894e6)),  # 26, 5
    ((832e6, 862e6), (791e6, 821e6)),  # 20
    ((880e6, 915e6), (925e6, 960e6)),  # 8
    ((1710e6, 1785e6), (1805e6, 1880e6)),  # 3
    ((1850e6, 1915e6), (1930e6, 1995e6)),  # 25, 2
    ((1920e6, 1980e6), (2110e6, 2170e6)),  # 1
    ((2500e6, 2570e6), (2620e6, 2690e6)),  # 7
)

NARROW_DIGITAL = (  # flat tops: width 3 dB down
    ("narrow-band IoT", 180_000.0),  # 12 carriers of 15 kHz: 3GPP TS 36.211, 10.1
    ("TETRA", 18_000.0),  # 36 kbit/s, two bits a symbol, root-raised cosine: ETSI EN 300 392-2, 5
    ("12.5 kHz digital speech", 9_600.0),  # 4800 symbols/s, four levels: ETSI TS 102 361-1; its width from memory
    ("6.25 kHz digital speech", 4_800.0),  # 2400 symbols/s, four levels: ETSI TS 102 658; its width from memory
)

DECT_RASTER_HZ = 1.728e6  # ETSI EN 300 175-2: carriers at 1897.344 MHz - c x 1.728 MHz, c = 0..9
DECT_FIRST_HZ = 1897.344e6
DECT_LOWEST, DECT_HIGHEST, DECT_US = -9, 0, range(14, 19)  # steps up from 1897.344 MHz; 1921.536 to 1928.448 MHz


def dect_carrier_hz(frequency_hz: float) -> float | None:
    """The nearest carrier of cordless telephones, None outside their bands. Source: ETSI EN 300 175-2, table 1; the
    US carriers (47 CFR 15 subpart D) from memory.
    """
    steps = round((frequency_hz - DECT_FIRST_HZ) / DECT_RASTER_HZ)
    known = DECT_LOWEST <= steps <= DECT_HIGHEST or steps in DECT_US
    return DECT_FIRST_HZ + steps * DECT_RASTER_HZ if known else None
