"""Pages from templates: everything that is put into them is shown, never run."""

from __future__ import annotations

from base64 import b64encode
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jinja2 import Environment

PAGES = Path(__file__).parent / "pages"


def render(template: str, **facts: Any) -> str:
    """A page from ``training/pages``. A name that the template lacks is a mistake of ours."""
    return _environment().get_template(template).render(**facts)


def data_address(content: bytes, media_type: str) -> str:
    """Content as an address that needs no file and no network."""
    return f"data:{media_type};base64,{b64encode(content).decode()}"


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    return Environment(
        loader=FileSystemLoader(PAGES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
