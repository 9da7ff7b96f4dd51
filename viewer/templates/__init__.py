"""The page templates and their one door: everything is escaped unless a template says it is safe."""

from __future__ import annotations

from typing import Any


def rendered(template: str, **values: Any) -> str:
    """The page of ``template`` filled with ``values``; an undefined name raises."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("viewer", "templates"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    return environment.get_template(template).render(**values)
