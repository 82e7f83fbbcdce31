"""What a source itself says of a tag's unit, and whether the line's file agrees."""

from __future__ import annotations

from dataclasses import dataclass, replace

from collector.reading.mapping import TagMapping, scaling_of
from historian.errors import UnitMismatch, UnknownUnit
from historian.tags import Tag
from historian.units import ABSOLUTE, UNECE, conversion, unece_number, unit_and_reference

_PSI_ABSOLUTE = unece_number("80")
"""The one UNECE code that says so. Source: UNECE Recommendation 20, pound per square inch absolute."""


@dataclass(frozen=True, slots=True)
class ToldUnit:
    """A unit as a source tells it.

    Attributes:
        number: UNECE code as a number; -1 when only the text counts.
        text: what the source displays.
    """

    number: int
    text: str

    @property
    def code(self) -> str | None:
        """Its UCUM code; None when it is not known."""
        if self.number in UNECE:
            return UNECE[self.number]
        return self._written[0]

    @property
    def reference(self) -> str:
        """``gauge`` or ``absolute`` where it is told what a pressure counts from; empty otherwise."""
        return ABSOLUTE if self.number == _PSI_ABSOLUTE else self._written[1]

    @property
    def _written(self) -> tuple[str | None, str]:
        try:
            return unit_and_reference(self.text) if self.text else (None, "")
        except UnknownUnit:
            return None, ""


def settled(mapping: TagMapping, tag: Tag, told: ToldUnit) -> TagMapping:
    """The mapping to go by, now that the source has told its unit.

    Where nobody said the unit, the source's own counts. A unit of the source that is not known changes
    nothing: the line's file was written by someone who knew. Nor does a "1", which sources also tell where
    nobody set a unit (common practice, no source).

    Raises:
        UnitMismatch: the source and the line's file say different units, the source's cannot become the
            tag's, or one means gauge and the other absolute pressure; or nobody said more than "1".

    Example:
        >>> from historian.catalogue import canonical_tag
        >>> tag = canonical_tag("die.pressure.pv")
        >>> settled(TagMapping(tag.path, "P3", "bar", unit_assumed=True), tag, ToldUnit(5067841, "MPa")).unit
        'MPa'
    """
    if told.reference and tag.reference and told.reference != tag.reference:
        raise UnitMismatch(
            f"the source says {told.text}, which is {told.reference} pressure, and the tag is "
            f"{tag.reference} pressure; the two are never mixed"
        )
    # Counts have no unit, whatever stands beside them.
    is_counts = mapping.channel is not None and mapping.channel.raw is not None
    if told.code is None or is_counts or told.code == mapping.unit:
        return mapping
    if told.code == "1":
        if mapping.unit_assumed:
            raise UnitMismatch(
                f"the source tells no unit but 1, and nobody says that it delivers {mapping.unit}; write the "
                "unit into the line's file"
            )
        return mapping
    if mapping.unit_assumed:
        by_source = replace(mapping, unit=told.code)
        scaling_of(by_source, tag)
        return by_source
    try:
        same = conversion(told.code, mapping.unit) == (1.0, 0.0)
    except UnitMismatch:
        same = False
    if not same:
        raise UnitMismatch(f"the source says {told.text or told.code}, the line's file says {mapping.unit}")
    return mapping
