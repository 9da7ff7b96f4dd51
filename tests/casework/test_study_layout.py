"""The published layout: published values in, published values out; the notebook runs on a study."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from casework.study.layout import PUBLISHED, laid_out
from mesh_tools.errors import BadValueError

NOTEBOOK = Path(__file__).resolve().parents[2] / "docs" / "notebooks" / "centres_laid_out.ipynb"


def results(count=200, *, methods=("elastic_foundation", "rule_of_thumb"), seed=4):
    """Teeth drawn about the means and spreads of Gandhi V et al. 2021 AJODO 160:442-450."""
    rng = np.random.default_rng(seed)
    rows = []
    for k in range(count):
        for method in methods:
            row = {
                "line": k,
                "tooth": (16, 26)[k % 2],
                "method": method,
                "status": "ok",
                "origin": "furcation",
            }
            for way, column, sign in (
                ("apical", "apical", 1),
                ("distal", "distal", 1),
                ("lingual", "buccal", -1),
            ):
                centre = rng.normal(*PUBLISHED["trifurcation", way])
                row[f"centre_{column}_mm"] = sign * centre
                row[f"buccal_face_{column}_mm"] = sign * (centre - rng.normal(*PUBLISHED["buccal face", way]))
            rows.append(row)
    return pd.DataFrame(rows)


def test_teeth_drawn_from_the_published_figures_come_out_as_published():
    for line in laid_out(results()):
        assert line.mean_mm == pytest.approx(
            line.published_mean_mm, abs=4.0 * line.published_sd_mm / np.sqrt(200)
        )
        assert line.sd_mm == pytest.approx(line.published_sd_mm, rel=0.2)
        assert line.p > 0.001


def test_a_shifted_population_is_told_apart():
    shifted = results()
    shifted["centre_apical_mm"] += 3.0
    assert laid_out(shifted)[0].p < 1e-6


def test_too_few_molars_are_refused():
    with pytest.raises(BadValueError, match="2 upper first molars with a furcation are too few"):
        laid_out(results(2))


def test_the_notebook_runs_on_a_study(tmp_path, monkeypatch):
    results(30).to_csv(tmp_path / "results.csv", index=False)
    monkeypatch.setenv("BOWTRUE_STUDY", str(tmp_path))
    monkeypatch.setenv("MPLBACKEND", "Agg")
    space = {}
    for cell in json.loads(NOTEBOOK.read_text("utf-8"))["cells"]:
        if cell["cell_type"] == "code":
            assert cell["outputs"] == []
            exec("".join(cell["source"]), space)
    assert (tmp_path / "laid_out.png").stat().st_size > 10_000
    assert len(space["table"]) == len(PUBLISHED)
