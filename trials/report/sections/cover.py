"""Cover and verdict: what was asked, the answer in a sentence, key figures and their targets, open points."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from trials.figures import Figure
from trials.outcome.targets import (
    ENERGY,
    INTERVAL,
    LOSS,
    MELT,
    MOISTURE,
    THROUGHPUT,
    Key,
    Target,
    Verdict,
)
from trials.record.entries import What
from trials.report.content import Align, Block, Caution, Heading, Lines, Paragraph, Table
from trials.report.names import capital, name_of_figure
from trials.report.retold import retold
from trials.report.speech import NOTHING, marked
from trials.report.tables import window_words
from trials.report.targets import WORDS, words_of
from trials.report.view import View

TITLE: Final = marked("Result")
THROUGHPUTS: Final = THROUGHPUT.names
ENERGIES: Final = ENERGY.names
_KEYS: Final[tuple[tuple[str, Key], ...]] = (
    (marked("Throughput"), THROUGHPUT),
    (marked("Cleaning interval"), INTERVAL),
    (marked("Discharged, of the feed"), LOSS),
    (marked("Melt temperature"), MELT),
    (marked("Specific energy"), ENERGY),
    (marked("Pellet moisture"), MOISTURE),
)
_DP: Final = "pressure difference over the screen, {}"


def blocks(view: View) -> Iterator[Block]:
    """What stands in the section."""
    say, book = view.say, view.outcome.book
    yield Paragraph(answer(view), strong=True)
    yield Table((), tuple(_facts(view)), weights=(1.2, 3.8))
    targets = [Target.of(t) for t in book.only(What.PLAN).get("target", [])]
    caption = say("Key figures")
    if view.main is not None:
        caption = say("Key figures, {window}", window=window_words(view, view.main))
    head = (say("What"), say("Wanted"), say("Found"), say("n"), say("Verdict"))
    rows = tuple(_rows(view, targets))
    align = (Align.LEFT, Align.LEFT, Align.RIGHT, Align.RIGHT, Align.LEFT)
    yield Table(head, rows, caption, align, (2.3, 2, 2.3, 0.8, 3.1))
    points = tuple(_open_points(view))
    if points:
        yield Heading(say("Open points"))
        yield Lines(points)
    yield Caution(
        say(
            "This report tells what was measured. It is no statement on the safety of machine or material, "
            "nor that anything is cold or free of pressure. Melt, heated parts, pressure and knives can "
            "cause "
            "severe injury; what the maker's manual, local codes and licensed practice ask for comes first."
        )
    )


def answer(view: View) -> str:
    """The question's answer in a sentence, from what is known."""
    say, main = view.say, view.main
    if main is None:
        return say(
            "The line has not run in a steady condition so that figures could be told: the question is not "
            "answered by this trial."
        )
    flow, period = view.figure(*THROUGHPUTS), view.figure("cleaning period")
    loss, fineness = view.figure("discharge loss, gross"), view.fineness_um(main)
    told = view.outcome.book.only(What.MATERIAL)
    material = f"{told['polymer']}, {told['form']}," if told else say("The material")
    length = say.length(sum(w.s for w in main.windows))
    if fineness is None or flow.value is None:
        sentence = say("{material} ran for {length} in a steady condition", material=material, length=length)
    else:
        sentence = say(
            "{material} was filtered at {fineness} with {flow} for {length} in a steady condition",
            material=material,
            fineness=say.told(fineness, "um"),
            flow=say.number(flow.value, flow.unit),
            length=length,
        )
    more = []
    if period.value is not None:
        more.append(say("cleaned every {period}", period=say.number(period.value / 60, "min")))
    if loss.value is not None:
        more.append(say("{loss} of the feed discharged", loss=say.number(loss.value, "%")))
    sentence = capital(
        say("{sentence}; {more}", sentence=sentence, more=say.listed(more)) if more else sentence
    )
    if main.figures.indicative:
        return say("{sentence}. These figures are indicative.", sentence=sentence)
    return say.sentence(sentence)


def _facts(view: View) -> Iterator[tuple[str, str]]:
    say, outcome, book = view.say, view.outcome, view.outcome.book
    material, plan = book.only(What.MATERIAL), book.only(What.PLAN)
    yield say("Customer"), outcome.trial.customer or outcome.trial.code_name
    if material:
        yield (
            say("Material"),
            say("{polymer}, {form}, lot {lot}", **{k: material[k] for k in ("polymer", "form", "lot")}),
        )
    yield say("Trial"), say("{name} on line {line}", name=outcome.trial.name, line=outcome.line.name)
    yield say("Time"), say.span(outcome.trial.start_ns, outcome.end_ns)
    if len(outcome.sittings) > 1:
        yield say("Sittings"), "; ".join(say.span(s.start_ns, s.end_ns) for s in outcome.sittings)
    if view.wanted.site:
        yield say("Carried out by"), view.wanted.site
    yield say("Question"), str(plan.get("question", "")) or say("No question was written down.")


def _rows(view: View, targets: Sequence[Target]) -> Iterator[tuple[str, ...]]:
    say, plan = view.say, view.outcome.book.only(What.PLAN)
    met: set[str] = set()
    for number, (label, key) in enumerate(_KEYS):
        figure = view.figure(*key.names)
        target = next((t for t in targets if key.is_meant(t)), None)
        met.update(t.figure for t in targets if key.is_meant(t))
        wanted = NOTHING if target is None else words_of(target, figure.unit, say)
        if target is None and label == "Throughput" and plan.get("throughput"):
            wanted = say("planned {value}", value=view.told(plan["throughput"], "kg/h"))
        yield _row(view, say(label), figure, wanted, target)
        if number == 0:
            yield _fineness(view, plan.get("fineness", []))
        if number == 1:
            yield _difference(view)
    for target in targets:
        if target.figure not in met:
            yield _further(view, target)


def _row(view: View, label: str, figure: Figure, wanted: str, target: Target | None) -> tuple[str, ...]:
    say = view.say
    verdict = "" if target is None else say(WORDS[target.verdict(figure)])
    if figure.value is None:
        verdict = say("not shown in this trial: {why}", why=retold(figure.absent, say))
    elif (
        target is not None
        and figure.standard_uncertainty is None
        and target.verdict(figure)
        in (
            Verdict.REACHED,
            Verdict.NOT_REACHED,
        )
    ):
        verdict = say("{verdict}, without its uncertainty, which is not known", verdict=verdict)
    return label, wanted, say.figure(figure), view.count_shown(figure), verdict


def _fineness(view: View, wanted: Sequence[str]) -> tuple[str, ...]:
    say = view.say
    found = view.fineness_um(view.main)
    plan = say.listed(view.told(w, "um") for w in wanted) or NOTHING
    said = NOTHING if found is None else say.told(found, "um")
    verdict = (
        say("not shown in this trial: {why}", why=say("the screen is not told")) if found is None else ""
    )
    if found is not None and wanted:
        same = any(view.read(w, "um") == found for w in wanted)
        verdict = say("as planned") if same else say("other than planned")
    return say("Fineness of the screen"), plan, said, NOTHING, verdict


def _difference(view: View) -> tuple[str, ...]:
    """The pressure difference: what lay below and above it for most of the time."""
    say = view.say
    low, high = (view.figure(_DP.format(p)) for p in ("P5", "P95"))
    melt_filter = view.outcome.line.melt_filter
    trigger = None if melt_filter is None else melt_filter.trigger_dp_bar
    wanted = NOTHING if trigger is None else say("cleaning from {limit}", limit=say.told(trigger, "bar"))
    label = say("Pressure difference, P5 … P95")
    if low.value is None or high.value is None:
        return (
            label,
            wanted,
            NOTHING,
            NOTHING,
            say("not shown in this trial: {why}", why=retold(low.absent, say)),
        )
    return label, wanted, say.between(low.value, high.value, "bar"), view.count_shown(low), ""


def _further(view: View, target: Target) -> tuple[str, ...]:
    """A target for a figure that is not among the key figures."""
    say = view.say
    try:
        figure = view.figure(target.figure)
    except KeyError:
        verdict = say("not shown in this trial: {why}", why=say("there is no figure of this name"))
        return capital(target.figure), words_of(target, "1", say), NOTHING, NOTHING, verdict
    label = capital(name_of_figure(figure.name, say))
    return _row(view, label, figure, words_of(target, figure.unit, say), target)


def _open_points(view: View) -> Iterator[str]:
    say, main = view.say, view.main
    if main is not None:
        for why in main.figures.indicative:
            yield say("Indicative only: {why}", why=retold(why, say))
    if not view.outcome.judged:
        yield say("No rules judged this trial: whether there were alarms is not known.")
    lacking = [say(label) for label, key in _KEYS if view.figure(*key.names).value is None]
    if lacking:
        yield say("Not shown in this trial: {what}.", what="; ".join(lacking))
    if view.outcome.suspects:
        number = len({s.bag.name for s in view.outcome.suspects})
        yield say.several(
            "{count} bag may hold pellets of a doubtful time; see section 8.",
            "{count} bags may hold pellets of a doubtful time; see section 8.",
            number,
        )
