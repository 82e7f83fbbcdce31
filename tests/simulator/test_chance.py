from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from simulator.chance import BLOCK_STEPS, Stream, normals


@given(st.lists(st.integers(0, 4 * BLOCK_STEPS), min_size=1, max_size=20), st.integers(0, 2**31))
def test_a_number_depends_on_its_step_only(steps: list[int], seed: int) -> None:
    stream = Stream(seed, "a")
    jumping = [stream.at(k) for k in steps]
    assert jumping == [Stream(seed, "a").at(k) for k in steps]


def test_streams_of_other_names_and_seeds_are_others() -> None:
    one = normals(1, "a", 0)
    assert not np.any(one == normals(1, "b", 0))
    assert not np.any(one == normals(2, "a", 0))
    assert not np.any(one == normals(1, "a", 1))


def test_they_are_standard_normal() -> None:
    many = np.concatenate([normals(7, "a", block) for block in range(40)])
    # 20 480 numbers: the mean's standard error is 0.007.
    assert abs(many.mean()) < 0.03
    assert abs(many.std() - 1.0) < 0.03
