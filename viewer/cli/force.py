"""A force as people write it: 4, 4N or 400gf."""

from __future__ import annotations

from mesh_tools.errors import BadValueError


def force_key(text: str, *, option: str) -> dict[str, float]:
    """``force_n`` or ``force_gf`` with the number of ``text``; raises BadValueError naming ``option``."""
    plain = text.strip().lower().replace(" ", "")
    key, number = ("force_gf", plain[:-2]) if plain.endswith("gf") else ("force_n", plain.removesuffix("n"))
    try:
        value = float(number)
    except ValueError:
        raise BadValueError(f"{option} must be a force such as 4, 4N or 400gf; got {text!r}.") from None
    _check_most(key, value, option)
    return {key: value}


def _check_most(key: str, value: float, option: str) -> None:
    from casework.case_file import MOST_FORCE_N, N_PER_GF, too_strong

    if key == "force_n" and value > MOST_FORCE_N:
        raise BadValueError(f"{option} {too_strong(value, write='{:g}gf')}")
    if key == "force_gf" and value * N_PER_GF > MOST_FORCE_N:
        raise BadValueError(
            f"{option} must be at most {MOST_FORCE_N:g} N; got {value:g} gf, which is {value * N_PER_GF:.1f} N."
        )


def newtons(text: str, *, option: str) -> float:
    """The force of ``text`` in N; raises BadValueError naming ``option``."""
    from casework.case_file import N_PER_GF

    table = force_key(text, option=option)
    return table["force_n"] if "force_n" in table else table["force_gf"] * N_PER_GF
