"""What an installation may lack, and which extra brings it: so that a small install says what to do and goes on."""

from __future__ import annotations

from importlib.util import find_spec

BROUGHT_BY = {
    "matplotlib": "figures", "pyvista": "figures", "vtk": "figures", "plotly": "figures", "reportlab": "figures",
    "ezdxf": "figures", "nicegui": "page", "pandas": "study", "pyarrow": "study", "statsmodels": "study",
    "dask": "cluster", "distributed": "cluster", "skimage": "study",
}  # fmt: skip
"""Import name of every optional library, and the extra of ``pip install 'bowtrue[...]'`` that brings it."""

FIGURES = ("matplotlib", "pyvista", "plotly")
PDF = ("reportlab", "matplotlib")


def lacking(*names: str) -> list[str]:
    """Those of the import ``names`` that are not installed."""
    return [name for name in names if find_spec(name) is None]


def told(name: str) -> str:
    """One line for a library that is not there."""
    root = name.split(".")[0]
    extra = BROUGHT_BY.get(root)
    if extra is None:
        return f"the library {root} is missing, though bowtrue needs it: install bowtrue again."
    return f"this needs {root}, which is not installed: pip install 'bowtrue[{extra}]'."
