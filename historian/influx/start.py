"""How a writer starts: its numbers go on from what the server holds."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from pathlib import Path

from historian.embedded.newest import Newest
from historian.errors import WrongInput
from historian.influx import answers, questions
from historian.influx.server import Server, ServerAway
from historian.influx.waiting import Waiting
from historian.tags import Tag


def go_on(waiting: Waiting, server: Server) -> None:
    """Let numbers, tags and newest samples go on from what the server holds, if it answers or must.

    Raises:
        ServerAway, WrongInput: it does not answer as it should, and this is the very first start.
        WrongInput: the waiting room and the server do not belong together.
    """
    line = server.place.line
    newest: Newest | None = None
    try:
        theirs = answers.tags_in(server.ask(questions.all_tags(line)))
        number, key_ns = last_frame(server)
        if waiting.newest() is None or number > waiting.last_number():
            found = answers.newest_in(server.ask(questions.last_samples(line)))
            newest = Newest.of(number, {theirs[p].id: s for p, s in found.items() if p in theirs})
    except (ServerAway, WrongInput):
        if not waiting.knows_server():
            raise
        # Samples must be kept, also where a token has expired; delivery tells the reason.
        return
    tags = tags_of(waiting)
    _same_numbers(tags, theirs, waiting.path)
    if newest is not None:
        waiting.put_newest(newest.to_bytes())
    waiting.put_tags(rows_of(tag for path, tag in theirs.items() if path not in tags))
    waiting.go_on_from(number, key_ns)


def newest_of(waiting: Waiting, *, all_frames: bool) -> Newest:
    """The newest sample of each tag in what was delivered; with what waits, too, if asked for."""
    delivered = waiting.delivered_number()
    found = Newest.from_bytes(delivered, waiting.newest() or b"", where=str(waiting.path))
    if all_frames:
        for number, _, frame in waiting.readable_after(delivered):
            found.take(number, frame)
    return found


def rows_of(tags: Iterable[Tag]) -> list[tuple[int, str, str]]:
    """Number, path and JSON body of each tag."""
    return [(t.id, t.path, json.dumps(t.to_json(), ensure_ascii=False)) for t in tags]


def _same_numbers(own: Mapping[str, Tag], theirs: Mapping[str, Tag], path: Path) -> None:
    """Complain where a tag's number here is not its number on the server."""
    names = {tag.id: tag.path for tag in own.values()}
    for tag in theirs.values():
        if names.get(tag.id, tag.path) != tag.path or own.get(tag.path, tag).id != tag.id:
            raise WrongInput(
                f"{path}: tag {tag.path} has the number {tag.id} on the server and another one here. Is this "
                "an old copy, or does another host write this line? Move the file away to go on from the "
                "server; what waits in it has not been delivered"
            )


def last_frame(server: Server) -> tuple[int, int]:
    """Number and time of the last frame on the server; 0 and the beginning of time when it has none."""
    found = list(server.ask(questions.last_frame(server.place.line)))
    if not found:
        return 0, -(2**62)
    return int(found[0].columns["number"][0]), int(found[0].columns["time"][0])


def tags_of(waiting: Waiting) -> dict[str, Tag]:
    """What the waiting room knows of tags, by path."""
    tags = [Tag.from_json(json.loads(body), id=number) for number, body in waiting.tag_rows()]
    return {tag.path: tag for tag in tags}
