"""A whole simulated trial as a user has it: line file, store, journal, register and a closed, sealed record."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace
from pathlib import Path

from historian.embedded.store import EmbeddedStore
from historian.frame import NS
from meltledger.config import LineConfig, load
from meltledger.demoline import write_line_file
from meltledger.demotrial import by_whom, forms_of
from meltledger.sealing import seal_trial
from meltledger.stores import open_store
from rules.detectors import detectors_for
from rules.journal import Journal
from rules.replay import replay
from rules.table.settings import latching_rules
from simulator.batch import batch
from simulator.chronicle import chronicle
from simulator.run import published_tags
from simulator.scenarios.file import load_scenario
from trials.record import TrialRecord, What

T0_NS = 1_759_993_200 * NS
NAME = "Film 110"
CODE = "Bluebell"
QUESTION = "Can the film agglomerate be filtered at 110 um with 780 kg/h?"


def whole_trial(
    folder: Path,
    *,
    scenario: str = "film_agglomerate",
    seed: int | None = None,
    until_s: int | None = None,
    faults: bool = True,
    judged: bool = True,
    closed: bool = True,
    aux_channels: int = 0,
) -> LineConfig:
    """Make it in a folder, and give the line's configuration.

    Args:
        until_s: the day is cut here.
        aux_channels: more tags that nobody looks at.
    """
    played = load_scenario(scenario)
    played = played if faults else played.without_faults()
    played = played if seed is None else replace(played, seed=seed)
    file = folder / "line.toml"
    folder.mkdir(parents=True, exist_ok=True)
    write_line_file(
        file, played, "opc.tcp://127.0.0.1:1", port=8050, zone="Europe/Berlin", aux_channels=aux_channels
    )
    config = load(file)
    end_s = int(played.duration_s) if until_s is None else until_s
    with closing(EmbeddedStore.open(config.folder)) as store:
        tags = store.register(
            [replace(t, source="simulated-line") for t in published_tags(played, aux_channels=aux_channels)]
        )
        chunk_s = 1 if judged else 60  # rules must hear each second when it came
        frames = list(batch(played, tags, T0_NS, 0, end_s, chunk_s=chunk_s, aux_channels=aux_channels))
        store.append(*frames)
    if judged:
        entries = list(
            replay(
                enumerate(frames),
                tags,
                lambda: detectors_for(config.facts, tags),
                latching=latching_rules(config.facts),
            )
        )
        with closing(Journal.open(config.journal)) as journal:
            journal.append(entries, None)
    told = chronicle(played, T0_NS, end_s)
    with closing(TrialRecord.open(config.trials, clock=lambda: T0_NS + 100_000 * NS)) as record:
        trial = record.open_trial(NAME, customer="Hill Street", code_name=CODE, start_ns=T0_NS, plan={})
        plan = {"question": QUESTION, "throughput": "780 kg/h", "fineness": ["110 um"], "steady": "60 min"}
        record.write(trial.id, What.PLAN, plan, time_ns=T0_NS, by="trial engineer")
        material = {
            "polymer": "PE-LD",
            "form": "film agglomerate",
            "lot": "1",
            "melt_density": "740 kg/m3",
            "activation_energy": "45 kJ/mol",
            "heat_capacity": "2.5 kJ/(kg.K)",
            "melting": "100 kJ/kg",
            "pellet_temperature": "62 Cel",
        }
        record.write(trial.id, What.MATERIAL, material, time_ns=T0_NS, by="trial engineer")
        die = {"holes": 120, "hole": "2.6 mm", "knives": 4}
        record.write(trial.id, What.DIE, die, time_ns=T0_NS, by="operator")
        for form, by in by_whom(forms_of(played, told, T0_NS)):
            record.write(trial.id, form.what, form.data, time_ns=form.time_ns or T0_NS, by=by)
        if closed:
            trial = record.close_trial(trial.id, T0_NS + end_s * NS, "trial engineer")
            with closing(open_store(config, mode="read")) as store:
                seal_trial(record, store, trial, by="trial engineer")
    return config
