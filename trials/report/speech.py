"""How a report speaks: its language, its numbers with units, its times. Pure."""

from __future__ import annotations

import gettext
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Any, Final
from zoneinfo import ZoneInfo

from historian.frame import NS
from rules.review import Window
from trials.figures import Figure
from trials.report.numbers import as_set, power_of_ten, shown
from trials.report.units import System
from trials.report.units import shown as unit_shown

THIN: Final = "\u202f"
"""A narrow space that no line breaks at: between digits, and between a number and its unit."""
_DAYS: Final[Mapping[str, str]] = {"en": "%Y-%m-%d", "de": "%d.%m.%Y", "es": "%d/%m/%Y"}
_SUPERSCRIPT: Final = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
NOTHING: Final = "–"


def marked(text: str) -> str:
    """The text itself; it is translated where it is used."""
    return text


@dataclass(frozen=True)
class Speech:
    """One language, one system of units, one clock.

    Attributes:
        language: ISO 639-1 code.
        catalogue: translations; without, English.
        system: of units.
        zone: of the site.
    """

    language: str = "en"
    catalogue: gettext.NullTranslations = field(default_factory=gettext.NullTranslations)
    system: System = System.METRIC
    zone: ZoneInfo = field(default_factory=lambda: ZoneInfo("UTC"))

    def __call__(self, text: str, /, **parts: Any) -> str:
        """The text in this language, with its parts filled in."""
        said = self.catalogue.gettext(text) if text else ""
        return said.format(**parts) if parts else said

    def several(self, one: str, many: str, count: int, /, **parts: Any) -> str:
        """The form for one or for many; ``count`` is among the parts."""
        return self.catalogue.ngettext(one, many, count).format(count=self.count(count), **parts)

    def sentence(self, text: str) -> str:
        """A clause as a sentence: a capital at its start, a full stop at its end."""
        text = text.strip()
        return text if not text else text[0].upper() + text[1:] + ("" if text[-1] in ".!?" else ".")

    def listed(self, items: Iterable[str]) -> str:
        """Some words, one after the other."""
        return ", ".join(items)

    @property
    def comma(self) -> str:
        """The decimal sign."""
        return "." if self.language == "en" else ","

    def count(self, number: int) -> str:
        """A whole number in full."""
        return _grouped(str(number))

    def digits(self, text: str) -> str:
        """A decimal number as it is written in this language."""
        mantissa, exponent = power_of_ten(text)
        whole, point, rest = mantissa.partition(".")
        sign, whole = ("−", whole[1:]) if whole.startswith("-") else ("", whole)
        return f"{sign}{_grouped(whole)}{self.comma if point else ''}{rest}{_power(exponent)}"

    def number(self, value: float, unit: str = "1", *, difference: bool = False, digits: int = 3) -> str:
        """A value with its unit.

        Args:
            unit: UCUM code as it is kept.
            difference: whether it is a difference of two values.
        """
        how = unit_shown(unit, self.system, difference=difference)
        return self._with_unit(self.digits(shown(value * how.scale + how.offset, None, digits)[0]), how.text)

    def told(self, value: float, unit: str = "1") -> str:
        """A value that somebody set or told, not rounded where it stays in its unit."""
        how = unit_shown(unit, self.system)
        if (how.scale, how.offset) == (1.0, 0.0):
            return self._with_unit(self.digits(as_set(value)), how.text)
        return self._with_unit(self.digits(as_set(float(f"{value * how.scale + how.offset:.4g}"))), how.text)

    def unit(self, unit: str, *, difference: bool = False) -> str:
        """A unit as it is shown."""
        return unit_shown(unit, self.system, difference=difference).text

    def between(self, low: float, high: float, unit: str) -> str:
        """Two values with one unit."""
        how = unit_shown(unit, self.system)
        two = (self.digits(shown(v * how.scale + how.offset)[0]) for v in (low, high))
        return self._with_unit(" … ".join(two), how.text)

    def figure(self, figure: Figure, *, with_unit: bool = True) -> str:
        """A figure's value with its expanded uncertainty; a dash where it has none."""
        if figure.value is None:
            return NOTHING
        how = unit_shown(figure.unit, self.system)
        if figure.unit == "1" and figure.standard_uncertainty is None and figure.value == int(figure.value):
            return self.count(int(figure.value))
        expanded = None if figure.expanded is None else figure.expanded * how.scale
        value, around = shown(figure.value * how.scale + how.offset, expanded)
        if not around:
            return self._with_unit(self.digits(value), how.text if with_unit else "")
        _, exponent = power_of_ten(value)
        both = [self.digits(t) for t in _scaled((value, around), exponent)]
        text = f"{THIN}±{THIN}".join(both)
        power = _power(exponent)
        unit = how.text if with_unit else ""
        return self._with_unit(f"({text}){power}" if power or unit else text, unit)

    def found(self, value: float, uncertain: float | None, unit: str) -> str:
        """What a laboratory found, with its expanded uncertainty; else with the digits that were written."""
        how = unit_shown(unit, self.system)
        if uncertain is None:
            return self._with_unit(
                self.digits(as_set(float(f"{value * how.scale + how.offset:.3g}"))), how.text
            )
        two = shown(value * how.scale + how.offset, uncertain * how.scale)
        both = f"{THIN}±{THIN}".join(self.digits(t) for t in two if t)
        return self._with_unit(f"({both})" if how.text and two[1] else both, how.text)

    def day(self, time_ns: int) -> str:
        """The day on the site."""
        return self._local(time_ns).strftime(_DAYS.get(self.language, _DAYS["en"]))

    def clock(self, time_ns: int, *, seconds: bool = False) -> str:
        """The clock on the site."""
        return self._local(time_ns).strftime("%H:%M:%S" if seconds else "%H:%M")

    def offset(self, time_ns: int) -> str:
        """How far the site's clock is from UTC."""
        return f"UTC{self._local(time_ns).isoformat()[19:]}"

    def moment(self, time_ns: int) -> str:
        """Day, clock and offset."""
        return f"{self.day(time_ns)} {self.clock(time_ns)} {self.offset(time_ns)}"

    def span(self, start_ns: int, end_ns: int) -> str:
        """From when to when, with the offset."""
        if self.day(start_ns) == self.day(end_ns) and self.offset(start_ns) == self.offset(end_ns):
            return f"{self.day(start_ns)} {self.clock(start_ns)}–{self.clock(end_ns)} {self.offset(end_ns)}"
        return f"{self.moment(start_ns)} – {self.moment(end_ns)}"

    def windows(self, windows: Iterable[Window]) -> str:
        """From when to when each: the day and the offset once where they are the same."""
        each = list(windows)
        if not each:
            return NOTHING
        same = {(self.day(t), self.offset(t)) for w in each for t in (w.start_ns, w.end_ns)}
        if len(same) > 1:
            return "; ".join(self.span(w.start_ns, w.end_ns) for w in each)
        clocks = ", ".join(f"{self.clock(w.start_ns)}–{self.clock(w.end_ns)}" for w in each)
        return f"{self.day(each[0].start_ns)} {clocks} {self.offset(each[0].start_ns)}"

    def length(self, seconds: float) -> str:
        """A stretch of time, as coarse as people speak."""
        if seconds < 90:
            return f"{seconds:.0f}{THIN}s"
        minutes = round(seconds / 60)
        if minutes < 180:
            return f"{minutes}{THIN}min"
        hours, rest = divmod(minutes, 60)
        return f"{hours}{THIN}h {rest}{THIN}min" if rest else f"{hours}{THIN}h"

    def _with_unit(self, text: str, unit: str) -> str:
        return f"{text}{THIN}{unit}" if unit else text

    def _local(self, time_ns: int) -> datetime:
        return datetime.fromtimestamp(time_ns // NS, self.zone)


def _grouped(whole: str) -> str:
    """A whole number, from five digits on in groups of three."""
    return whole if len(whole) < 5 else f"{int(whole):,}".replace(",", THIN)


def _power(exponent: int) -> str:
    return f"{THIN}·{THIN}10{str(exponent).translate(_SUPERSCRIPT)}" if exponent else ""


def _scaled(texts: tuple[str, str], exponent: int) -> list[str]:
    """Two decimal numbers less a power of ten, both to the same place."""
    if not exponent:
        return list(texts)
    numbers = [Decimal(t).scaleb(-exponent).normalize() for t in texts]
    place = min(0, *(int(n.as_tuple().exponent) for n in numbers))
    return [format(n.quantize(Decimal(1).scaleb(place)), "f") for n in numbers]
