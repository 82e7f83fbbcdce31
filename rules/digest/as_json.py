"""A digest as JSON types, for a webhook and for other programs; times are UTC nanoseconds."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from rules.digest import words
from rules.digest.content import Digest, Seen
from rules.digest.period import Period
from rules.digest.places import machine_of, part_of
from rules.digest.told import Repair
from rules.digest.work import Item
from rules.entry import plain

FORM = 1


def as_json(digest: Digest) -> dict[str, Any]:
    """The digest; ``form`` rises when a key changes its meaning."""
    sight = digest.sight
    made: dict[str, Any] = plain(
        {
            "form": FORM,
            "line": digest.line,
            "zone": digest.zone,
            "simulated": digest.simulated,
            "period": _period(digest.period),
            "head_line": words.head_line(digest),
            "quiet": digest.is_quiet,
            "work": [_item(i) for i in digest.work],
            "further": [_item(i) for i in digest.further],
            "done": [{**_repair(d.repair), "still_found": d.stands} for d in digest.done],
            "found": [_seen(s) for s in digest.seen],
            "noted": [{"time_ns": d.time_ns, "text": d.text} for d in digest.deeds],
            "running_hours": [asdict(w) for w in digest.worn],
            "not_seen": {
                "rules_at_work": sight.judged,
                "unrecorded_s": sight.unrecorded_s,
                "rules": [
                    {"rule": u.rule, "s": u.s, "why": u.why, "subjects": u.subjects} for u in sight.unseen
                ],
                "not_judged": dict(sight.not_judged),
            },
            "in_doubt": list(digest.in_doubt),
        }
    )
    return made


def _period(period: Period) -> dict[str, Any]:
    return {
        "key": period.key,
        "kind": period.kind,
        "start_ns": period.start_ns,
        "end_ns": period.end_ns,
        "s": period.s,
    }


def _item(item: Item) -> dict[str, Any]:
    return {
        "part": item.part,
        "place": part_of(item.part),
        "machine": machine_of(item.part),
        "deadline": item.deadline.words,
        "priority": item.priority.name.lower(),
        "since_ns": item.since_ns,
        "times": item.times,
        "still_found": item.stands,
        "rules": item.rules,
        "sentence": item.leading.sentence,
        "advice": item.leading.advice,
        "evidence": item.leading.evidence,
        "part_number": item.number or None,
        "after_repair": None if item.after is None else _repair(item.after),
        "came_back": item.came_back,
    }


def _repair(repair: Repair) -> dict[str, Any]:
    return {"part": repair.part, "time_ns": repair.time_ns, "by": repair.by, "text": repair.text}


def _seen(row: Seen) -> dict[str, Any]:
    return {
        "machine": row.machine,
        "place": row.part,
        "rule": row.rule,
        "subject": row.subject,
        "priority": row.priority.name.lower(),
        "first_ns": row.first_ns,
        "last_ns": row.last_ns,
        "times": row.times,
        "sentence": row.sentence,
        "evidence": row.leading.evidence,
        "consequence_of": row.root,
    }
