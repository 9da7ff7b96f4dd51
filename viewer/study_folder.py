"""What a study's results come to: agreement tables, pictures and one page that needs nothing else."""

from __future__ import annotations

import base64
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from casework.writing import filled_folder

if TYPE_CHECKING:
    import pandas as pd

    from casework.study.agreement import Agreement, StudyAgreement

NEEDS = "agreement, pictures and study.html need pandas, statsmodels and matplotlib (pip install 'bowtrue[study]')."
REFERENCE = "rule_of_thumb"


def write_study_pages(out: Path) -> list[str]:
    """Read ``results.csv`` in ``out`` and write agreement, pictures and ``study.html`` beside it; returns notes."""
    try:
        import matplotlib  # noqa: F401
        import pandas as pd
        import statsmodels  # noqa: F401
    except ImportError:
        return [NEEDS]
    from casework.study.agreement import study_agreement
    from casework.study.agreement_tables import agreement_csv

    results = pd.read_csv(out / "results.csv", keep_default_na=False, na_values={c: [""] for c in _NUMBERS})
    outline = pd.read_csv(out / "mean_teeth.csv")
    faults = {"cov_base", "cov_fault", "cov_size"} <= set(results.columns)
    found = study_agreement(results[results["cov_fault"] == "none"] if faults else results)
    with filled_folder(out) as folder:
        if faults:
            _write_errors(results, folder)
        for name, text in agreement_csv(found).items():
            (folder / name).write_text(text, "utf-8")
        pictures = {"errors": "", **_pictures(results, outline, found, folder)}
        pictures = {k: v for k, v in pictures.items() if (folder / f"{k}.png").exists()}
        page = _page(out, results, found, {k: folder / f"{k}.png" for k in pictures})
        (folder / "study.html").write_text(page, "utf-8")
    return list(found.notes[:6])


_NUMBERS = (
    "tooth", "x_mm", "y_mm", "z_mm", "centre_apical_mm", "centre_distal_mm", "centre_buccal_mm", "root_length_mm",
    "divergence_deg", "crest_below_cej_mm", "band_mm", "from_rule_of_thumb_mm", "from_furcation_mm", "roots",
)  # fmt: skip


def _pictures(
    results: pd.DataFrame, outline: pd.DataFrame, found: StudyAgreement, folder: Path
) -> dict[str, str]:
    """Pictures of the place in the arch with the most teeth: their names and captions."""
    from casework.study.rows import group_name
    from viewer.study_png import write_cloud_png, write_differences_png

    good = results[(results["status"] == "ok") & results["centre_apical_mm"].notna()].copy()
    good["group"] = [group_name(int(t)) for t in good["tooth"]]
    if good.empty:
        return {}
    group = str(good.groupby("group")["line"].nunique().idxmax())
    teeth, count = good[good["group"] == group], good[good["group"] == group]["line"].nunique()
    made = {"cloud": f"Centres of {count} teeth ({group}) in the mean tooth's outline"}
    write_cloud_png(teeth, outline[outline["group"] == group], folder / "cloud.png", title=made["cloud"])
    own = [a for a in found.agreements if a.group == group]
    if any(REFERENCE in (a.method, a.reference) for a in own):
        made["differences"] = f"Differences from the rule of thumb ({group}, {count} teeth)"
        write_differences_png(
            teeth, own, folder / "differences.png", reference=REFERENCE, title=made["differences"]
        )
    return made


def _write_errors(results: pd.DataFrame, folder: Path) -> None:
    """What bad scans cost, for a study of the same teeth scanned well and badly."""
    from casework.study.agreement_tables import errors_csv
    from casework.study.scan_errors import scan_errors
    from viewer.study_errors_png import write_errors_png

    found = scan_errors(results)
    (folder / "scan_errors.csv").write_text(errors_csv(found), "utf-8")
    write_errors_png(found, folder / "errors.png", title="What a bad scan costs each method")


def _page(out: Path, results: pd.DataFrame, found: StudyAgreement, pictures: dict[str, Path]) -> str:
    from casework.cautions import CAUTIONS, SHORT_CAUTION
    from viewer.templates import rendered
    from viewer.words import method_name

    study = json.loads((out / "study.json").read_text("utf-8"))
    failed = results[results["status"] == "failed"].drop_duplicates(["line", "reason"])
    return rendered(
        "study.html.j2", study=study, short_caution=SHORT_CAUTION, cautions=CAUTIONS,
        teeth=int(results["line"].nunique()), agreements=[_row(a, method_name) for a in found.agreements],
        dependences=[d for d in found.dependences if d.p < 0.05], outliers=found.outliers[:60],
        more_outliers=max(0, len(found.outliers) - 60), notes=found.notes, name=method_name,
        failures=[(int(r.line), str(r.id), str(r.mesh), str(r.reason)) for r in failed.head(60).itertuples()],
        more_failures=max(0, len(failed) - 60),
        pictures=[(k, base64.b64encode(p.read_bytes()).decode("ascii")) for k, p in pictures.items()],
    )  # fmt: skip


def _row(a: Agreement, name: Any) -> dict[str, Any]:
    icc = "-" if a.icc is None else f"{a.icc.value:.2f} ({a.icc.low:.2f} to {a.icc.high:.2f})"
    ends = "" if a.mean.low is None else f" ({a.mean.low:+.2f} to {a.mean.high:+.2f})"
    return {
        "group": a.group, "method": name(a.method), "reference": name(a.reference), "way": a.way, "teeth": a.teeth,
        "fallbacks": a.fallbacks, "mean": f"{a.mean.value:+.2f}{ends}", "sd": f"{a.sd_mm:.2f}",
        "limits": f"{a.lower.value:+.2f} to {a.upper.value:+.2f}", "icc": icc,
    }  # fmt: skip
