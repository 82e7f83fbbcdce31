"""What is written about the rules of sources, clocks and the record."""

from __future__ import annotations

from collections.abc import Mapping

from rules.finding import Priority
from rules.table.rule import RECORD, Parameter, Rule

ABOUT: Mapping[str, Rule] = {
    "source-silent": Rule(
        cause="The machine's server, broker, network or cable does not answer, or is switched off.",
        consequence="Rules that need these signals are not judged; the record has a gap.",
        advice="Someone with access to the network looks whether the machine is on and reachable.",
        priority=Priority.MEDIUM,
        machine="recording",
        alarm_class=RECORD,
        respond_s=600,
        on_delay="silent_s",
        signal_fault=True,
        parameters={
            "bad_s": Parameter(5, "s", "how long all signals are without data", 0, 3600),
            "silent_s": Parameter(30, "s", "how long nothing arrives", 2, 3600),
        },
    ),
    "samples-missing": Rule(
        cause="A signal loses samples on the way: a gateway, a queue or a network that cannot keep up.",
        consequence="Peaks are missed, and figures rest on less than they seem to.",
        advice="Someone with access looks at the gateway's load and queue, and at the sampling asked for.",
        priority=Priority.LOW,
        machine="recording",
        alarm_class=RECORD,
        respond_s=3600,
        set_point="share_percent",
        off_delay="whole_s",
        masks=("its source is silent", "a signal that is sent only when it changes"),
        parameters={
            "share_percent": Parameter(75, "%", "share of the usual samples that is too few", 5, 99),
            "whole_s": Parameter(60, "s", "how long it is whole again before it is over", 10, 3600),
        },
    ),
    "clock-off": Rule(
        cause="The clock of a machine's controller is not set, or takes summer time for UTC.",
        consequence="Values of different machines do not belong together, and the order of causes is wrong.",
        advice="Have the machine's clock set, best by a time server. "
        "A stretch that is already recorded is put right by a fix on the record, never by altering it.",
        priority=Priority.LOW,
        machine="recording",
        alarm_class=RECORD,
        respond_s=3600,
        set_point="ahead_s",
        on_delay="held_s",
        off_delay="held_s",
        parameters={
            "ahead_s": Parameter(1, "s", "how far ahead it is", 0.5, 3600),
            "behind_s": Parameter(5, "s", "how far behind: less cannot be told from late", 1, 3600),
            "far_s": Parameter(5, "s", "from here on it is of medium priority", 1, 3600),
            "held_s": Parameter(20, "s", "how long it is so", 1, 3600),
        },
    ),
    "recording-gap": Rule(
        cause="Power or the recorder was gone, or the recorder was stopped.",
        consequence="What happened meanwhile is known only where a source kept its own history.",
        advice="Note in the trial record what happened meanwhile; nobody can judge it from the data.",
        priority=Priority.LOW,
        machine="recording",
        alarm_class=RECORD,
        respond_s=3600,
        set_point="gap_s",
        parameters={"gap_s": Parameter(5, "s", "pause between two heartbeats that counts", 2, 3600)},
    ),
}
