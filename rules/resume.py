"""How the rules go on after a stop: from the saved state, with each act where it was taken before."""

from __future__ import annotations

from rules.engine import Engine
from rules.journal import Journal


def resume(engine: Engine, journal: Journal) -> int:
    """Bring a fresh engine to where the journal stands.

    The frames after the returned number are then to be fed from the store, before any new one; new acts are
    handed over by ``follow_acts`` and taken no earlier than after what the journal tells already.

    Returns:
        number of the last frame that need not be fed again.
    """
    saved = journal.snapshot()
    if saved is not None:
        engine.restore(saved[2])
    last = journal.last_second()
    if last is not None:
        engine.hold_acts(last + 1)
    taken = journal.taken()
    for act in journal.acts_after(0):
        if act.id in taken:
            engine.schedule(act, taken[act.id])
    return engine.seq


def follow_acts(engine: Engine, journal: Journal, after_id: int) -> int:
    """Hand the engine the acts that were recorded since; those that it knows are passed over.

    Returns:
        number of the last act, for the next call.
    """
    for act in journal.acts_after(after_id):
        engine.act(act)
        after_id = act.id
    return after_id
