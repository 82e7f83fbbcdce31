"""What is written about the rules of sensors."""

from __future__ import annotations

from collections.abc import Mapping

from rules.finding import Priority
from rules.table.rule import QUALITY, RECORD, Parameter, Rule

ABOUT: Mapping[str, Rule] = {
    "sensor-failed": Rule(
        cause="A sensor, its cable or its input is broken, or it shows what it cannot measure.",
        consequence="What depends on it is not judged, and the record has no value there.",
        advice="A qualified electrician checks sensor, cable and input. "
        "Until then go by another reading of the same thing, and say so in the record.",
        priority=Priority.MEDIUM,
        machine="sensors",
        alarm_class=RECORD,
        respond_s=600,
        on_delay="held_s",
        off_delay="good_s",
        signal_fault=True,
        masks=("its source is lost", "probes of heated zones: they have a rule of their own"),
        parameters={
            "held_s": Parameter(2, "s", "how long its samples are bad", 0, 600),
            "good_s": Parameter(30, "s", "how long they are good again before it is over", 0, 3600),
        },
    ),
    "sensor-frozen": Rule(
        cause="A sensor, its transmitter or the program that reads it holds its last value.",
        consequence="Whatever is controlled or judged by it goes by what is no longer so.",
        advice="Compare with another reading of the same thing; have the sensor and its channel checked.",
        priority=Priority.LOW,
        machine="sensors",
        alarm_class=RECORD,
        respond_s=3600,
        on_delay="least_s",
        signal_fault=True,
        masks=("melt stands", "a signal that stands still in sound running too", "a value at its end stop"),
        parameters={
            "least_s": Parameter(120, "s", "shortest time without any change that counts", 30, 3600),
            "longest_s": Parameter(
                780, "s", "a signal that may stand still for longer is not judged", 60, 7200
            ),
        },
    ),
    "pressure-zero": Rule(
        cause="The zero of a pressure transducer has moved, or melt still stands in front of it.",
        consequence="Every pressure that it showed, and each difference with it, is off by about as much.",
        advice="Show it to whoever looks after the sensors; a correction is recorded, never applied unseen. "
        "A reading near zero is no proof: pressure may be trapped. Opening is for trained people, by the "
        "maker's procedure and local rules.",
        priority=Priority.LOW,
        machine="sensors",
        alarm_class=RECORD,
        respond_s=86_400,
        set_point="zero_bar",
        on_delay="held_s",
        masks=("no person has confirmed the zero state", "the screw has stood for less than ten minutes"),
        parameters={
            "zero_bar": Parameter(
                2, "bar", "reading that counts: 1 % of the transducer's range, or 2 bar", 0.1, 100
            ),
            "held_s": Parameter(60, "s", "how long it is read after the confirmation", 10, 600),
        },
    ),
    "sensor-drift": Rule(
        cause="Two pressures along the melt contradict each other: the one downstream reads higher, or what "
        "is lost between them has left its share of what is lost elsewhere; or one follows late; or a melt "
        "temperature has leapt.",
        consequence="Pressure differences and the state of the screen are misjudged.",
        advice="Read the zeros of both at the next stop, once a person has confirmed that state; "
        "compare with the maker's limits.",
        priority=Priority.LOW,
        machine="sensors",
        alarm_class=QUALITY,
        respond_s=3600,
        set_point="reverse_bar",
        on_delay="held_s",
        masks=("melt stands or has just begun to run", "cleaning"),
        parameters={
            "reverse_bar": Parameter(1, "bar", "by how much it reads higher downstream", 0.1, 50),
            "off_bar": Parameter(1.5, "bar", "by how much a loss differs from what the others say", 0.2, 50),
            "off_share": Parameter(0.4, "1", "and by what share of that", 0.05, 10),
            "moves_bar": Parameter(
                0.3, "bar", "how much its neighbour must move from ten seconds to the next", 0.05, 50
            ),
            "slow_share": Parameter(
                0.5, "1", "share of its usual movement: who moves less follows late", 0.05, 0.6
            ),
            "leap_k": Parameter(8, "K", "by how much a melt temperature leaps", 2, 100),
            "held_s": Parameter(300, "s", "how long", 60, 3600),
        },
    ),
}
