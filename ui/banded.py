"""What to know of a band of experts before anybody is held against it, in plain sentences."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.reference.arc_curves import QUANTITIES, Quantity
from analysis.reference.model import Apart, QuantityBand, Reference
from ui.numbers import shown


def amount(value: float | None, quantity: Quantity) -> str:
    """Return a value of a quantity with its unit."""
    space = "" if quantity.unit.startswith("°") else " "
    return f"{shown(value, quantity.decimals)}{space}{quantity.unit}"


def doubts(reference: Reference) -> Iterator[str]:
    """Yield which bands are too wide to judge by and why, and which experts stand apart."""
    for quantity in QUANTITIES:
        band = reference.bands[quantity.key]
        if band.too_wide:
            yield (
                f"The band of the {quantity.label} is too wide to judge by: ± "
                f"{amount(band.half_width, quantity)} on average, more than "
                f"{amount(band.limit, quantity)}, so that {quantity.beyond}. {_why(band, quantity)}"
            )
        for one in band.apart:
            yield stands_apart(one, quantity)


def too_wide_in_words(quantity: Quantity, band: QuantityBand) -> str:
    """Return why lying in a band that is too wide tells nothing."""
    apart = "".join(f"; {one.code} stands apart from the other experts" for one in band.apart)
    if not apart and band.furthest is not None:
        apart = f"; furthest from the other experts is {band.furthest.code}"
    return (
        f"the experts’ band is too wide to judge by (± {amount(band.half_width, quantity)} on "
        f"average{apart})"
    )


def _why(band: QuantityBand, quantity: Quantity) -> str:
    if band.apart:
        return "Find out what sets apart who is named below, or leave that expert out."
    if band.furthest is None:
        return "The repetitions are too uneven to show one way of pushing."
    return (
        "The experts differ too much, or repeat too unevenly, to show one way of pushing; "
        f"furthest from the others is {band.furthest.code}, {_by(band.furthest, quantity)}."
    )


def stands_apart(one: Apart, quantity: Quantity) -> str:
    """Return in which direction an expert stands apart, and by how much."""
    return (
        f"{one.code} stands apart from the other experts: {_by(one, quantity)} on average over "
        f"the arc ({quantity.label})."
    )


def _by(one: Apart, quantity: Quantity) -> str:
    way = quantity.more if one.difference > 0.0 else quantity.less
    return f"{way} by {amount(abs(one.difference), quantity)}"
