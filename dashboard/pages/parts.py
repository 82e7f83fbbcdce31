"""The small parts that the pages are made of."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from dashboard.pages.aria import aria
from dashboard.views import AlarmView, MachineRow, MachineView, Mark, Reading, SourceView, Trust

UNTOUCHED = "the machine's own alarm is not touched"
NOT_SAFETY = "Read-only view. Not a safety function. Follow the machine's manual and local rules."


def bars(number: int, word: str) -> html.Div:
    """Three, two or one horizontal bars; the word is read out instead."""
    return html.Div(
        [html.I() for _ in range(max(1, number))], className="bars", role="img", **aria(label=word)
    )


def figure_tile(reading: Reading) -> html.Div:
    """One of the seven figures; hatched and without a number when there is nothing to trust."""
    shown: list[Any] = [html.Span(reading.title, className="title")]
    if reading.text:
        shown.append(
            html.Div(
                [html.Span(reading.text, className="value"), html.Span(reading.unit, className="unit")],
                className="digits",
            )
        )
    if reading.why and reading.trust is not Trust.UNCERTAIN:
        shown.append(html.Span(reading.why, className="why"))
    elif reading.why:
        shown.append(html.Span(f"uncertain: {reading.why}", className="note"))
    else:
        shown.append(html.Span(reading.note, className="note"))
    hatched = " hatched" if reading.trust is Trust.LOST else ""
    return html.Div(shown, className=f"figure {reading.trust}{hatched}", id=f"figure-{reading.key}")


def alarm_card(alarm: AlarmView) -> html.Li:
    """One alarm with its bars, words and buttons."""
    look = ["alarm", f"p{max(1, alarm.bars)}", "" if alarm.seen or alarm.shelved else "unseen"]
    look.append("shelved" if alarm.shelved else "")
    state = alarm.shelved or ("condition over" if alarm.returned else "")
    words: list[Any] = [
        html.Span(alarm.word, className="word"),
        f" · {alarm.place}" + (f" · {state}" if state else ""),
    ]
    return html.Li(
        [
            bars(alarm.bars, alarm.word),
            html.Div(
                [
                    html.P(words),
                    html.P(alarm.sentence, className="what"),
                    html.P(alarm.since, className="since"),
                    html.P(alarm.advice, className="advice") if alarm.advice else None,
                    html.Div(_alarm_buttons(alarm), className="doing"),
                ]
            ),
        ],
        className=" ".join(part for part in look if part),
        key=alarm.key,
    )


def _alarm_buttons(alarm: AlarmView) -> list[Any]:
    if alarm.asked:
        return [html.Span(alarm.asked, className="untouched")]
    buttons: list[Any] = []
    if not alarm.seen and not alarm.shelved:
        buttons.append(html.Button("Seen here", id={"act": "seen", "key": alarm.key}, n_clicks=0))
    if not alarm.shelved and not alarm.returned:
        buttons.append(
            html.Button("Shelve", id={"act": "shelve", "key": alarm.key}, n_clicks=0, className="plain")
        )
    return [*buttons, html.Span(UNTOUCHED, className="untouched")] if buttons else []


def alarm_list(alarms: Sequence[AlarmView]) -> Any:
    """Every alarm, or the sentence that says that there is none."""
    if not alarms:
        return html.P(
            "No rule of this program asks for a person now. The machines' own alarms stand on their panels.",
            className="empty",
        )
    return html.Ul([alarm_card(a) for a in alarms], className="alarms")


def own_alarm_list(lines: Sequence[str]) -> Any:
    """What stands on the machines' own lists; nothing when nothing does."""
    if not lines:
        return None
    return [
        html.H3("On the machines' own lists, to be seen to there", className="own-title"),
        html.Ul([html.Li(line) for line in lines], className="own-alarms"),
    ]


def mark_buttons(names: Sequence[str]) -> list[Any]:
    """One button a mark."""
    return [
        html.Button(name[:1].upper() + name[1:], id={"mark": name}, n_clicks=0, className="plain")
        for name in names
    ]


def marks_said(marks: Sequence[Mark]) -> list[Any]:
    """The marks of the last minutes, each with its undo."""
    return [
        html.Span(
            [
                html.Span(f"{mark.clock} {mark.text} ", className="said"),
                html.Button(
                    "Undo",
                    id={"undo": mark.id, "text": mark.text},
                    n_clicks=0,
                    className="plain",
                    **aria(label=f"Undo: {mark.text} at {mark.clock}"),
                ),
            ],
            key=str(mark.id),
        )
        for mark in marks
    ]


def source_facts(sources: Sequence[SourceView]) -> list[Any]:
    """Each source and how it does."""
    if not sources:
        return [html.Span("No source has been heard of yet.", className="source waits")]
    return [_source_line(s) for s in sources]


def _source_line(source: SourceView) -> html.Span:
    said: list[Any] = [source.sentence]
    if source.health:
        said.append(html.Span(f" · {source.health}", className="health"))
    return html.Span(said, className="source" if source.delivers else "source waits")


def machine_section(machine: MachineView) -> html.Section:
    """One machine's figures with their half hour."""
    return html.Section(
        [
            html.H2(machine.name),
            html.Table(
                [
                    html.Caption(f"{machine.name}: value now, last 30 minutes", className="offscreen"),
                    html.Colgroup(
                        [html.Col(className=f"col-{name}") for name in ("name", "value", "spark", "span")]
                    ),
                    html.Tbody([_machine_row(row) for row in machine.rows]),
                ]
            ),
        ],
        className="machine",
    )


def _machine_row(row: MachineRow) -> html.Tr:
    reading = row.reading
    lost = reading.trust is Trust.LOST
    value: list[Any] = (
        [html.Span(reading.why, className="why")]
        if lost
        else [f"{reading.text} ", html.Span(reading.unit, className="unit")]
    )
    name = html.Th(reading.title, scope="row", title=row.path)
    if lost or reading.small:
        look = "value words hatched" if lost else "value words"
        return html.Tr([name, html.Td(value, className=look, colSpan=3)])
    doubt = reading.why if reading.trust is Trust.UNCERTAIN else None
    return html.Tr(
        [
            name,
            html.Td(value, className="value", title=doubt),
            html.Td(sparkline(row), className="spark"),
            html.Td(row.span, className="span"),
        ]
    )


def sparkline(row: MachineRow) -> Any:
    """The last half hour; the browser draws the path in the page's own ink (assets/sparklines.js)."""
    if not any(row.spark):
        return None
    drawn: dict[str, Any] = {
        "data-path": spark_path(row),
        **aria(label=f"{row.reading.title}, last 30 minutes"),
    }
    return html.Div(className="sparkline", role="img", **drawn)


def spark_path(row: MachineRow) -> str:
    """A line in a box of 120 by 28, as an SVG path; gaps stay gaps."""
    path, pen_up = [], True
    for point in row.spark:
        if point is None:
            pen_up = True
            continue
        x, y = 120 * point[0], 26 - 24 * point[1]
        path.append(f"{'M' if pen_up else 'L'}{x:.1f} {y:.1f}")
        pen_up = False
    return "".join(path)
