"""The colours of pictures, for light and dark paper, and one colour a kind of signal on every page.

Signals use the Okabe–Ito set without vermilion, orange and yellow, which are kept for what needs a person.
Source: Okabe and Ito, Color Universal Design (2008).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Palette:
    """The colours of one paper.

    Attributes:
        kinds: kind of signal → line colour.
        bars: alarms by their number of bars, 0 to 3.
    """

    paper: str
    ink: str
    line: str
    quiet: str
    shade: str
    hatch: str
    kinds: dict[str, str]
    bars: tuple[str, str, str, str]


LIGHT = Palette(
    paper="#F6F4EF",
    ink="#22262B",
    line="#C9C5BB",
    quiet="#5B5F63",
    shade="#E3DFD5",
    hatch="rgba(34,38,43,0.28)",
    kinds={
        "inlet": "#0072B2",
        "outlet": "#3D93C6",
        "dp": "#22262B",
        "feed": "#007A5A",
        "torque": "#0072B2",
        "melt": "#A8527F",
        "plate": "#A8527F",
    },
    bars=("#8A8D90", "#4A4E53", "#A86400", "#B3261E"),
)

DARK = Palette(
    paper="#16191D",
    ink="#E6E3DC",
    line="#3A3F46",
    quiet="#A5A8AB",
    shade="#2A2F36",
    hatch="rgba(230,227,220,0.28)",
    kinds={
        "inlet": "#56B4E9",
        "outlet": "#8FCBEF",
        "dp": "#E6E3DC",
        "feed": "#1FBF92",
        "torque": "#56B4E9",
        "melt": "#D98DB5",
        "plate": "#D98DB5",
    },
    bars=("#8A8D90", "#B4B8BD", "#F0B445", "#FF8577"),
)


def palette(paper: str | None) -> Palette:
    """The colours for "dark" or (anything else) light paper."""
    return DARK if paper == "dark" else LIGHT
