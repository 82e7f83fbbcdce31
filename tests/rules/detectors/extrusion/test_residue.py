"""Residue of another material comes at once and goes within minutes; other rises are not taken for it."""

from __future__ import annotations

import numpy as np

from rules.detectors.extrusion.residue import MaterialResidue
from rules.seen.told import MATERIAL_CHANGED
from tests.rules.detectors.extrusion.days import AT_S, residue
from tests.rules.detectors.extrusion.made import EvenLine, begun_s, judged
from tests.rules.detectors.pelletizing.days import frozen


def test_is_found_within_five_minutes():
    began, ended = judged(MaterialResidue, residue())
    assert AT_S < begun_s([began]) <= AT_S + 300
    assert "is falling again" in began.sentence and "noted" not in began.sentence
    assert began.evidence.figures["highest rise"][0] > 10
    assert not ended.active and "dead corners" in ended.sentence


def test_tells_of_a_lot_that_was_noted():
    found = judged(MaterialResidue, residue(), told=[(AT_S - 60.0, MATERIAL_CHANGED, float("nan"))])
    assert "Another lot was noted shortly before" in found[0].sentence


def test_a_stiffer_lot_stays_stiff():
    line = EvenLine()
    since = line.time_s[AT_S:] - AT_S
    line.pressures(1 + 0.25 * (1 - np.exp(-since / 180)), AT_S)
    assert judged(MaterialResidue, line) == []


def test_frozen_holes_that_thaw_leave_the_loss_before_the_filter_as_it_was():
    assert judged(MaterialResidue, frozen()) == []


def test_a_bridge_that_breaks_pushes_too():
    line = residue()
    line.scale("doser.rate.pv", 1.4, AT_S - 60, AT_S)
    assert judged(MaterialResidue, line) == []


def test_an_even_day_says_nothing():
    assert judged(MaterialResidue, EvenLine()) == []
