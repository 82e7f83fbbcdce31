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
        parameters={
            "bad_s": Parameter(5, "s", "how long all signals are without data", 0, 3600),
            "silent_s": Parameter(30, "s", "how long nothing arrives", 2, 3600),
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
