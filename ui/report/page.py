"""A page from its template: escaped, and broken where a name is missing."""

from __future__ import annotations

from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined


def page(template: str, **values: Any) -> str:
    """Return a page.

    Args:
        template: Name of a file in ``templates``.
        values: What it shows. One that it needs and is not there is an error.
    """
    environment = Environment(
        loader=PackageLoader("ui.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(template).render(**values)
