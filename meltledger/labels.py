"""What a person scans from a label or types: the name of a sample or bag, or the code that stands for it."""

from __future__ import annotations

from historian.errors import WrongInput
from trials.paper.code import read_code
from trials.record import Trial


def named(trial: Trial, told: str) -> str:
    """The name of a sample or bag: as told, or as the code says.

    Raises:
        WrongInput: the code was read wrongly, or is of another trial.
    """
    code = read_code(told)
    if code is None or not code.name:
        return told
    if code.trial != trial.id:
        raise WrongInput(f"'{told}' is the label of another trial ({code.trial}), not of '{trial.name}'")
    return code.name
