"""The invented molars of a study: known anatomy, faults of the stated size, the same for the same seed."""

import numpy as np
import pytest

from demo_meshes.invented import invented, meshes_of, noisy, write_invented
from mesh_tools.surface import Surface
from mesh_tools.topology import boundary_loops


@pytest.fixture(scope="module")
def tooth():
    return {(fault, size): (surface, truth) for fault, size, surface, truth in
            meshes_of(invented(4), (("noise_mm", 0.1), ("apex_cut_mm", 2.0), ("step_mm", 0.7)))}  # fmt: skip


def test_the_same_seed_gives_the_same_tooth_and_another_seed_another():
    assert invented(3, seed=5) == invented(3, seed=5)
    assert invented(3, seed=5).shape != invented(3, seed=6).shape


def test_the_population_has_the_spread_it_states():
    teeth = [invented(k) for k in range(400)]
    length = np.array([t.length for t in teeth])
    assert length.mean() == pytest.approx(1.0, abs=0.02)
    assert length.std() == pytest.approx(0.08, abs=0.012)
    assert np.mean([t.fused > 0.0 for t in teeth]) == pytest.approx(0.2, abs=0.06)
    assert 0.0 <= min(t.crest_below_cej_mm for t in teeth) <= max(t.crest_below_cej_mm for t in teeth) <= 1.5


def test_faults_have_their_size(tooth):
    good, truth = tooth["none", 0.0]
    noise = np.linalg.norm(tooth["noise_mm", 0.1][0].points_mm - good.points_mm, axis=1)
    assert np.sqrt((noise**2).mean()) == pytest.approx(0.1, rel=0.15)
    apex = max(p[2] for p in truth.apices_mm.values())
    assert tooth["apex_cut_mm", 2.0][0].points_mm[:, 2].max() == pytest.approx(apex - 2.0, abs=1e-6)
    assert len(boundary_loops(tooth["apex_cut_mm", 2.0][0])) >= 1
    faces = {k: len(v[0].faces) for k, v in tooth.items()}
    assert faces["step_mm", 0.7] == pytest.approx(faces["none", 0.0] * (0.34 / 0.7) ** 2, rel=0.1)


def test_noise_is_alike_over_a_millimetre_and_not_over_five():
    line = np.column_stack([np.linspace(0.0, 40.0, 801), np.zeros(801), np.zeros(801)])
    sheet = Surface(np.concatenate([line, line + np.array([0.0, 0.05, 0.0])]),
                    np.array([[k, k + 1, k + 801] for k in range(800)]))  # fmt: skip
    moved = (noisy(sheet, sd_mm=1.0, seed=2).points_mm - sheet.points_mm)[:801, 2]
    near = np.corrcoef(moved[:-2], moved[2:])[0, 1]
    far = np.corrcoef(moved[:-100], moved[100:])[0, 1]
    assert near > 0.8
    assert abs(far) < 0.35


def test_a_table_for_a_study_names_every_file_it_wrote(tmp_path):
    table = write_invented(tmp_path, teeth=1, faults=(("apex_cut_mm", 1.0),)).read_text("utf-8").splitlines()
    assert table[0].startswith("id,mesh,tooth,axes,unit,crest_below_cej_mm,base,fault,size")
    for line in table[1:]:
        assert (tmp_path / line.split(",")[1]).stat().st_size > 1000
