"""From what a trial has shown to the area that a production line needs. Pure; one seed, one answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from process.scale_up import DRAWS, Drawn, Harder, Saw, Scatter, spread
from trials.scale_up.answer import Answer, SizeRow
from trials.scale_up.seen import FEW_CLEANINGS, SHORT_S, Seen
from trials.scale_up.sizes import Size
from trials.scale_up.wanted import Wanted

_SAME_FINENESS = 0.005
"""Less than this share is rounding between units, not another screen."""
_SLACK = 1 + 1e-9


def scale_up(
    seen: Seen, wanted: Wanted, sizes: Sequence[Size] = (), *, seed: int = 1, draws: int = DRAWS
) -> Answer:
    """The area for a throughput, and what each machine of a table would do.

    Args:
        seen: see ``seen_of``.
        sizes: the user's table; empty: only the area is told.

    Source: process.scale_up; the exponents are derived there, not validated by a publication.
    """
    refused = _refused(seen, wanted)
    exponent = wanted.exponent if wanted.exponent is not None else seen.exponent
    if refused or exponent is None:
        return Answer(seen, wanted, tuple(refused))
    harder = Harder(wanted.viscosity_ratio, wanted.dirt_ratio, exponent)
    drawn = Drawn.of(seen.specific_kg_h_cm2, harder, seen.scatter, seed=seed, draws=draws)
    longer = _rise_s(wanted.interval or seen.saw.period_s, seen.saw) / _rise_s(seen.saw.period_s, seen.saw)
    areas = drawn.areas_cm2(wanted.throughput, wanted.service_factor, longer)
    area = spread(areas)
    if not np.all(np.isfinite(areas)):
        return Answer(seen, wanted, ("These figures give no area.",))
    if area[1] > wanted.most_times * seen.area_cm2 * _SLACK:
        return Answer(seen, wanted, (_too_far("The area", area[1] / seen.area_cm2, wanted),))
    rows = tuple(
        _row(s, areas, drawn, seen, wanted) for s in sorted(sizes, key=lambda s: (s.area_cm2, s.name))
    )
    enough = [r for r in rows if r.chance * 100 >= wanted.least_chance and not (r.outside or r.beyond)]
    ratio = drawn.viscosity * drawn.dirt * longer
    by_pressure = drawn.viscosity ** (-1 / drawn.exponent) < ratio ** (-1 / (1 + drawn.exponent))
    answer = Answer(
        seen,
        wanted,
        (),
        area,
        float(np.mean(by_pressure)),
        rows,
        enough[0] if enough else None,
        _assumptions(seen, wanted, exponent, seen.scatter, draws, seed),
    )
    return replace(answer, doubts=_doubts(answer))


def _rise_s(period_s: float, saw: Saw) -> float:
    return period_s - saw.wipe_s


def _row(size: Size, areas: np.ndarray, drawn: Drawn, seen: Seen, wanted: Wanted) -> SizeRow:
    specific = wanted.throughput / size.area_cm2
    after, period = drawn.at(specific, seen.saw)
    return SizeRow(
        size,
        specific,
        float(np.mean(areas <= size.area_cm2)),
        spread(after),
        spread(period),
        wanted.most_specific is not None and specific > wanted.most_specific * _SLACK,
        size.area_cm2 > wanted.most_times * seen.area_cm2 * _SLACK,
    )


def _refused(seen: Seen, wanted: Wanted) -> list[str]:
    """Why the trial does not support an answer, each a sentence."""
    if seen.refused:
        return list(seen.refused)
    told = []
    if wanted.fineness < seen.fineness_um * (1 - _SAME_FINENESS):
        told.append(
            f"The trial ran at {seen.fineness_um:.4g} µm: nothing is told of a finer screen "
            f"({wanted.fineness:.4g} µm); try that one."
        )
    if wanted.exponent is None and seen.exponent is None:
        told.append(
            "The power-law exponent of the melt is not told: measure its melt flow rate at two loads and one "
            "temperature, or write it down as exponent."
        )
    times = {"The throughput": wanted.throughput / seen.flow_kg_h}
    for name, ratio in (
        ("The stiffness of the melt", wanted.viscosity_ratio),
        ("The dirt", wanted.dirt_ratio),
    ):
        times[name] = max(ratio, 1 / ratio)
    if wanted.interval is not None:
        rise_s = _rise_s(wanted.interval, seen.saw)
        if not rise_s > 0:
            told.append(
                f"A cleaning took {seen.saw.wipe_s:.0f} s in the trial: cleanings cannot be "
                f"{wanted.interval:.0f} s apart."
            )
        else:
            longer = rise_s / _rise_s(seen.saw.period_s, seen.saw)
            times["The time between cleanings"] = max(longer, 1 / longer)
    told += [_too_far(name, n, wanted) for name, n in times.items() if n > wanted.most_times * _SLACK]
    return told


def _too_far(what: str, times: float, wanted: Wanted) -> str:
    return (
        f"{what} would be {times:.2g} times as far as the trial went, or that much below it; the site lets "
        f"{wanted.most_times:g} times be gone beyond. A trial nearer to it would tell."
    )


def _assumptions(
    seen: Seen, wanted: Wanted, exponent: float, scatter: Scatter, draws: int, seed: int
) -> tuple[str, ...]:
    whence = "as written down" if wanted.exponent is not None else "from melt flow rates at two loads"
    warm = "" if seen.melt_cel is None else f", the melt at about {seen.melt_cel:.0f} °C"
    return (
        f"The trial ran {seen.flow_kg_h:.0f} kg/h through {seen.area_cm2:.0f} cm² at "
        f"{seen.fineness_um:.4g} µm: {seen.specific_kg_h_cm2:.3g} kg/h on each cm²{warm}.",
        f"The same kind of plate and holes, cleaned at the same pressure difference (about "
        f"{seen.saw.peak_bar:.2g} bar), with a wiper that cleans as well.",
        f"The production melt is {_times(wanted.viscosity_ratio)} stiff and its feed "
        f"{_times(wanted.dirt_ratio)} dirty as in the trial.",
        f"The melt follows a power law with n = {exponent:.3g} ({whence}); its dirt lies on the screen.",
        f"Of the area {100 * wanted.service_factor:.3g} % may be counted on.",
        f"Scatter, as one standard deviation: specific throughput {100 * scatter.specific:.2g} %, stiffness "
        f"{100 * scatter.viscosity:.2g} %, dirt {100 * scatter.dirt:.2g} %, this rule "
        f"{100 * scatter.model:.2g} %, n {scatter.exponent:.2g} (common practice, no source); {draws} draws, "
        f"seed {seed}.",
        "The rule is derived from the flow of a power-law melt through a cake; no publication validates it.",
    )


def _times(ratio: float) -> str:
    return "as" if ratio == 1 else f"{ratio:.3g} times as"


def _doubts(answer: Answer) -> tuple[str, ...]:
    seen, wanted, most = answer.seen, answer.wanted, answer.wanted.most_specific
    told = []
    if seen.short:
        told.append(
            f"The trial was short ({seen.steady_s / 3600:.2g} h steady, {seen.cleanings} cleanings; "
            f"{SHORT_S / 3600:.0f} h and {FEW_CLEANINGS} are asked for): the scatter of the dirt is doubled."
        )
    if seen.specific_share is None:
        told.append("How certain the trial's throughput is, is not known; the usual scatter stands for it.")
    if wanted.fineness > seen.fineness_um * (1 + _SAME_FINENESS):
        told.append(
            f"The trial ran at {seen.fineness_um:.4g} µm, finer than {wanted.fineness:.4g} µm: the area is "
            "rather too large, and what the coarser screen lets through was not shown."
        )
    told += [f"Of the trial: {why}" for why in seen.doubts]
    if "not told apart" in seen.law:
        told.append("Whether the dirt lies on the screen or in its holes was not told apart.")
    if most is not None and seen.specific_kg_h_cm2 > most * _SLACK:
        told.append(
            f"The trial itself ran above the site's limit of {most:.3g} kg/h on each cm²: such a throughput "
            "is outside of what these filters reach, so look at its feed and its area first."
        )
    told.append("How long a screen lasts was not shown: what cleanings leave in its holes is not scaled up.")
    return tuple(told)
