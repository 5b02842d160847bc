"""Numbers that stand for a thickness: number drills and the two wire gauges, each with its standard.

A bare "26 gauge" is refused: the American and the British wire of that number differ by a tenth.
"""

from __future__ import annotations

MM_PER_INCH = 25.4  # exact; NIST SP 811, appendix B

# Number drills, inches, sizes 1 to 97 (ANSI B94.11M; from memory, compared with an independent table by a test).
# fmt: off
NUMBER_DRILL_INCH = (
    0.2280, 0.2210, 0.2130, 0.2090, 0.2055, 0.2040, 0.2010, 0.1990, 0.1960, 0.1935,  # 1-10
    0.1910, 0.1890, 0.1850, 0.1820, 0.1800, 0.1770, 0.1730, 0.1695, 0.1660, 0.1610,  # 11-20
    0.1590, 0.1570, 0.1540, 0.1520, 0.1495, 0.1470, 0.1440, 0.1405, 0.1360, 0.1285,  # 21-30
    0.1200, 0.1160, 0.1130, 0.1110, 0.1100, 0.1065, 0.1040, 0.1015, 0.0995, 0.0980,  # 31-40
    0.0960, 0.0935, 0.0890, 0.0860, 0.0820, 0.0810, 0.0785, 0.0760, 0.0730, 0.0700,  # 41-50
    0.0670, 0.0635, 0.0595, 0.0550, 0.0520, 0.0465, 0.0430, 0.0420, 0.0410, 0.0400,  # 51-60
    0.0390, 0.0380, 0.0370, 0.0360, 0.0350, 0.0330, 0.0320, 0.0310, 0.0292, 0.0280,  # 61-70
    0.0260, 0.0250, 0.0240, 0.0225, 0.0210, 0.0200, 0.0180, 0.0160, 0.0145, 0.0135,  # 71-80
    0.0130, 0.0125, 0.0120, 0.0115, 0.0110, 0.0105, 0.0100, 0.0095, 0.0091, 0.0087,  # 81-90
    0.0083, 0.0079, 0.0075, 0.0071, 0.0067, 0.0063, 0.0059,                          # 91-97
)
# British Standard Wire Gauge (Imperial, Order in Council of 1883; BS 3737), inches, sizes 0 to 50; from memory.
STANDARD_WIRE_INCH = (
    0.324, 0.300, 0.276, 0.252, 0.232, 0.212, 0.192, 0.176, 0.160, 0.144,            # 0-9
    0.128, 0.116, 0.104, 0.092, 0.080, 0.072, 0.064, 0.056, 0.048, 0.040,            # 10-19
    0.036, 0.032, 0.028, 0.024, 0.022, 0.020, 0.018, 0.0164, 0.0148, 0.0136,         # 20-29
    0.0124, 0.0116, 0.0108, 0.0100, 0.0092, 0.0084, 0.0076, 0.0068, 0.0060, 0.0052,  # 30-39
    0.0048, 0.0044, 0.0040, 0.0036, 0.0032, 0.0028, 0.0024, 0.0020, 0.0016, 0.0012,  # 40-49
    0.0010,                                                                          # 50
)
# fmt: on
AMERICAN_WIRE = (0, 40)  # ASTM B258 defines 0000 to 56; those from 0 to 40 are in use


def number_drill_mm(number: int) -> float | None:
    """Diameter of a number drill, 1 to 97; None for a number that is none."""
    return NUMBER_DRILL_INCH[number - 1] * MM_PER_INCH if 1 <= number <= len(NUMBER_DRILL_INCH) else None


def standard_wire_mm(number: int) -> float | None:
    """Diameter of wire by the British Standard Wire Gauge, 0 to 50; None for a number that is none."""
    return STANDARD_WIRE_INCH[number] * MM_PER_INCH if 0 <= number < len(STANDARD_WIRE_INCH) else None


def american_wire_mm(number: int) -> float | None:
    """Diameter of wire by the American gauge, 0 to 40: 0.005 inch at 36, the 39th root of 92 a step (ASTM B258)."""
    low, high = AMERICAN_WIRE
    return 0.005 * MM_PER_INCH * 92.0 ** ((36 - number) / 39.0) if low <= number <= high else None
