"""Six files as panels write them: proposed, confirmed, tried, imported, and what is kept is what truly was."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from historian import NS, EmbeddedStore
from historian.exchange import guess_mapping, import_csv, read_mapping
from tests.historian.exchange.panels import Panel, panels

NOW = 1_800_000_000 * NS
ALL = list(panels())


@pytest.mark.parametrize("panel", ALL, ids=[p.name.replace(" ", "-") for p in ALL])
def test_what_is_kept_is_what_truly_was(panel: Panel, tmp_path: Path) -> None:
    path = tmp_path / "panel.csv"
    path.write_bytes(panel.content)
    proposal = guess_mapping(path, zone=panel.zone)
    for part in panel.doubts:
        assert any(part in doubt for doubt in proposal.doubts), proposal.doubts
    text = proposal.text
    for old, new in panel.confirmed.items():
        text = text.replace(old, new, 1)
    mapping = read_mapping(text)
    with closing(EmbeddedStore.open(tmp_path / "store")) as store:
        dry = import_csv(store, path, mapping, now_ns=NOW, dry_run=True)
        assert store.span() is None and store.tags() == {}
        report = import_csv(store, path, mapping, now_ns=NOW)
        assert {**dry.to_json(), "dry_run": False} == report.to_json()
        assert [r.line for r in report.rejects] == sorted(panel.rejected)
        for reject in report.rejects:
            assert panel.rejected[reject.line] in reject.reason
        assert store.tags().keys() == panel.truth.keys()
        for tag, samples in panel.truth.items():
            kept = store.read([tag], 0, NOW)[tag]
            assert kept.time_ns.tolist() == [t for t, _, _ in samples]
            assert kept.quality.tolist() == [q for _, _, q in samples]
            value = [np.nan if v is None else v for _, v, _ in samples]
            np.testing.assert_allclose(kept.value, value, rtol=1e-12, err_msg=tag)
        again = import_csv(store, path, mapping, now_ns=NOW + 1)
        assert (again.new, again.replaced, again.samples) == (0, 0, report.samples)
