"""A plan's estimate to an offer: amounts that add up to the cent, and what they rest on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal

from disc.errors import BadInput
from disc.offer.workshop import Workshop
from disc.repin.records import Estimate, Plan

CENT = Decimal("0.01")
Amounts = tuple[Decimal, Decimal, Decimal]  # least, expected, most


@dataclass(frozen=True, slots=True)
class OfferLine:
    """One kind of work. what: the estimate's word for it; count, hours: expected."""

    what: str
    count: float
    hours: float
    amounts: Amounts


@dataclass(frozen=True, slots=True)
class Offer:
    """All that stands on the paper, in no language yet. Amounts: least, expected, most, rounded to the cent.

    in_doubt: places still undecided; may_break: pins that may break when straightened; draft: rates or the workshop's
    data are still the shipped samples.
    """

    made: str
    valid_until: str
    currency: str
    lines: tuple[OfferLine, ...]
    net: Amounts
    rebate: Amounts
    tax: Amounts
    total: Amounts
    in_doubt: int
    may_break: int
    thickness_known: bool
    checked: bool
    draft: bool


def make_offer(plan: Plan, workshop: Workshop, today: str, checked: bool) -> Offer:
    """The offer of a plan. today: ISO date. checked: whether findings were weighed. Raises BadInput.

    Lines are rounded first and then added, so that a reader who adds them up finds the same sum.
    """
    made = plan.estimate
    if made is None or not made.lines:
        raise BadInput("there is no work to offer: the plan proposes none. Run disc check and disc repin first.")
    if made.currency != workshop.currency:
        raise BadInput(
            f"rates.toml reckons in {made.currency}, workshop.toml in {workshop.currency}. Write the same in both, "
            "then run disc repin again."
        )
    lines = _lines(made)
    net = _sum([line.amounts for line in lines])
    rebate = _share(net, workshop.rebate_percent)
    after = _less(net, rebate)
    tax = _share(after, workshop.tax_percent)
    until = (date.fromisoformat(today) + timedelta(days=workshop.valid_days)).isoformat()
    return Offer(
        made=today,
        valid_until=until,
        currency=made.currency,
        lines=lines,
        net=net,
        rebate=rebate,
        tax=tax,
        total=_sum([after, tax]),
        in_doubt=made.in_doubt,
        may_break=sum(station.may_break for station in plan.stations),
        thickness_known=plan.plate.thickness_mm is not None,
        checked=checked,
        draft=made.sample or workshop.sample,
    )


def _lines(made: Estimate) -> tuple[OfferLine, ...]:
    return tuple(OfferLine(x.what, x.count[1], x.hours[1], _rounded(x.cost)) for x in made.lines if x.count[2] > 0)


def _rounded(values: tuple[float, float, float]) -> Amounts:
    least, expected, most = (Decimal(repr(float(v))).quantize(CENT, ROUND_HALF_UP) for v in values)
    return least, expected, most


def _sum(parts: list[Amounts]) -> Amounts:
    least, expected, most = (sum((p[i] for p in parts), Decimal(0)) for i in range(3))
    return least, expected, most


def _less(one: Amounts, other: Amounts) -> Amounts:
    return one[0] - other[0], one[1] - other[1], one[2] - other[2]


def _share(amounts: Amounts, per_cent: float) -> Amounts:
    factor = Decimal(repr(per_cent)) / 100
    least, expected, most = ((amount * factor).quantize(CENT, ROUND_HALF_UP) for amount in amounts)
    return least, expected, most
