"""A scale-up in words and as a table, as a verb or a report prints them."""

from __future__ import annotations

from math import floor, log10

from trials.scale_up.answer import Answer, SizeRow, Spread

HEADER = (
    "machine",
    "area, cm²",
    "kg/h on a cm²",
    "enough in",
    "bar after a cleaning",
    "min between cleanings",
    "remark",
)


def about(value: float) -> str:
    """A positive number with two significant digits, its thousands apart.

    Example:
        >>> about(4260), about(412.0), about(0.0)
        ('4 300', '410', '0')
    """
    if not value > 0:
        return "0"
    digits = 1 - floor(log10(value))
    rounded = round(value, digits)
    return f"{rounded:,.{max(0, digits)}f}".replace(",", " ")


def sentences_of(answer: Answer) -> list[str]:
    """The answer, then what it rests on, then what limits it."""
    if answer.area_cm2 is None:
        return ["Not scaled up.", *answer.refused]
    wanted = answer.wanted
    low, middle, high = answer.area_cm2
    what = "the pressure" if answer.by_pressure > 0.5 else "the time between cleanings"
    told = [
        f"Expected: {_whole(wanted.throughput)} kg/h at {wanted.fineness:.4g} µm needs a screen of about "
        f"{about(middle)} cm², 90 % range {about(low)} to {about(high)} cm². Mostly {what} asks for it."
    ]
    told.append(
        f"That is about {about(wanted.throughput / middle)} kg/h on each cm², from "
        f"{about(wanted.throughput / high)} to {about(wanted.throughput / low)}; the trial had "
        f"{about(answer.seen.specific_kg_h_cm2)}."
    )
    told += _limit(answer)
    if answer.rows:
        told += _machine(answer)
    told += [f"Assumed: {one}" for one in answer.assumptions]
    told += [f"Mind: {one}" for one in answer.doubts]
    told.append("This is a calculation from one trial, no promise; the process lead decides on a size.")
    return told


def rows_of(answer: Answer) -> list[tuple[str, ...]]:
    """A row for each machine of the table, below ``HEADER``."""
    return [
        (
            row.size.name,
            f"{row.size.area_cm2:.5g}",
            f"{row.specific_kg_h_cm2:.3g}",
            f"{_of_hundred(row.chance)} of 100",
            _range(row.after_bar),
            _range((row.period_s[0] / 60, row.period_s[1] / 60, row.period_s[2] / 60)),
            _remark(answer, row),
        )
        for row in answer.rows
    ]


def _whole(value: float) -> str:
    return f"{value:,.0f}".replace(",", " ")


def _limit(answer: Answer) -> list[str]:
    most, specific = answer.wanted.most_specific, answer.specific_kg_h_cm2
    if most is None or specific is None or not answer.outside:
        return []
    return [
        f"{specific:.3g} kg/h on each cm² are above the site's limit of {most:.3g}: outside of what "
        f"such filters reach. {about(answer.wanted.throughput / most)} cm² is the least by that limit."
    ]


def _machine(answer: Answer) -> list[str]:
    sure = f"{answer.wanted.least_chance:g} of 100"
    chosen = answer.chosen
    if chosen is None:
        usable = [r for r in answer.rows if not (r.outside or r.beyond)]
        if not usable:
            return ["No machine of the table: each is above the site's limit or too far from the trial."]
        best = usable[-1]
        return [
            f"No machine of the table is enough in {sure} cases; the largest of those that count, "
            f"{best.size.name}, is in {_of_hundred(best.chance)} of 100."
        ]
    told = [
        f"The smallest machine of the table that is enough in {sure} cases: {chosen.size.name} "
        f"({chosen.size.area_cm2:.5g} cm²). Expected there, with the whole area in use: about "
        f"{about(chosen.after_bar[1])} bar after a cleaning ({_range(chosen.after_bar)}), "
        f"{about(chosen.period_s[1] / 60)} min from one cleaning to the next "
        f"({about(chosen.period_s[0] / 60)} to {about(chosen.period_s[2] / 60)})."
    ]
    smaller = [
        r for r in answer.rows if r.chance >= 0.5 and r.size.area_cm2 < chosen.size.area_cm2 and not r.outside
    ]
    if smaller:
        one = smaller[0]
        told.append(
            f"{one.size.name} is enough in {_of_hundred(one.chance)} of 100: only where the quality of the "
            "bales is controlled."
        )
    return told


def _remark(answer: Answer, row: SizeRow) -> str:
    told = []
    if row.outside:
        told.append("above the site's limit")
    if row.beyond:
        told.append("too far from the trial's area")
    if row.period_s[0] == 0:
        told.append("may clean without a pause")
    if row is answer.chosen:
        told.append("smallest that is enough")
    return ", ".join(told)


def _range(values: Spread) -> str:
    return f"{about(values[0])} to {about(values[2])}"


def _of_hundred(chance: float) -> int:
    """Never a hundred, and never none: neither is known."""
    return min(99, max(1, round(100 * chance)))
