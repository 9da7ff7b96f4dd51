"""A force as people write it: 4, 4N or 400gf."""

from __future__ import annotations

from mesh_tools.errors import BadValueError


def force_key(text: str, *, option: str) -> dict[str, float]:
    """``force_n`` or ``force_gf`` with the number of ``text``; raises BadValueError naming ``option``."""
    plain = text.strip().lower().replace(" ", "")
    key, number = ("force_gf", plain[:-2]) if plain.endswith("gf") else ("force_n", plain.removesuffix("n"))
    try:
        return {key: float(number)}
    except ValueError:
        raise BadValueError(f"{option} must be a force such as 4, 4N or 400gf; got {text!r}.") from None


def newtons(text: str, *, option: str) -> float:
    """The force of ``text`` in N; raises BadValueError naming ``option``."""
    from casework.case_file import N_PER_GF

    table = force_key(text, option=option)
    return table["force_n"] if "force_n" in table else table["force_gf"] * N_PER_GF
