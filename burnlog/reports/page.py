"""The frame of every page: templates with escaping on, chart scripts once, tables, the line of data at the end."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Any

from burnlog.charts.theme import plain, spec

if TYPE_CHECKING:
    from jinja2 import Environment

__all__ = ["Head", "Page", "Table", "counted_words", "inline", "page", "page_of"]


@dataclass(frozen=True)
class Head:
    """Where a page comes from.

    Attributes
    ----------
    db_id : str
        The log.
    made_on : str
        Day, ISO.
    by : str
        Who asked for it.
    asked : str
        The filter in words.
    version : str
        Of burnlog.
    made_up : str or None
        The mark of an invented record.
    closed_space : bool
        A piece of the record is closed or could hold gas, or nobody said.
    """

    db_id: str
    made_on: str
    by: str
    asked: str
    version: str
    made_up: str | None = None
    closed_space: bool = False


@dataclass(frozen=True)
class Table:
    """A table: what it shows, its columns, and its rows of text. The first column heads the row.

    `numeric` holds the places of columns set flush right.
    """

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: frozenset[int] = frozenset()

    @classmethod
    def of(
        cls, caption: str, columns: Sequence[str], rows: Sequence[Sequence[str]], *, numeric: Sequence[int] = ()
    ) -> Table:
        """A table from any sequences."""
        return cls(caption, tuple(columns), tuple(tuple(row) for row in rows), frozenset(numeric))


@dataclass(frozen=True, eq=False)
class Page:
    """A page as HTML, its charts by their element id, and its first finding in words."""

    html: str
    charts: Mapping[str, Any] = field(default_factory=dict)
    answer: str = ""


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader("burnlog.reports", "pages"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=plain,
        trim_blocks=True,
        lstrip_blocks=True,
    )


@cache
def _scripts() -> str:
    """The chart libraries, once, from the package that ships them; no script of a page is fetched."""
    import altair as alt
    import vl_convert

    version = ".".join(alt.SCHEMA_VERSION.removeprefix("v").split(".")[:2])
    bundle: str = vl_convert.javascript_bundle("window.vegaEmbed = vegaEmbed;", vl_version=version)
    return bundle.replace("</script", "<\\/script")


def inline(value: Any) -> str:
    """JSON that can stand in a script element: no tag can end it.

    Examples
    --------
    >>> inline("</script>")
    '"\\\\u003c/script\\\\u003e"'
    """
    text = json.dumps(value, allow_nan=False)
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


def page(template: str, *, charts: Mapping[str, Any], **values: Any) -> str:
    """Fill a template of `pages/`.

    Parameters
    ----------
    template : str
        File name.
    charts : mapping of element id to altair chart
    **values
        What the template names.

    Returns
    -------
    str
        The whole HTML file.
    """
    from markupsafe import Markup

    specs = {name: spec(chart) for name, chart in charts.items()}
    return (
        _environment()
        .get_template(template)
        .render(specs=Markup(inline(specs)), scripts=Markup(_scripts() if specs else ""), **values)
    )


def page_of(
    template: str,
    head: Head,
    *,
    charts: Mapping[str, Any],
    cautions: Sequence[str],
    used: str,
    left_out: Mapping[str, int],
    answer: str,
    **values: Any,
) -> Page:
    """A page about the record: the template filled, with its head, cautions and line of data.

    Parameters
    ----------
    used : str
        How many rows the figures come from, in words.
    left_out : mapping of reason to int
        What was left out.
    answer : str
        What the page says first.
    """
    out = counted_words(left_out) or "none"
    data = (
        f"Made on {head.made_on} for {head.by}, burnlog {head.version}. Log {head.db_id}. Asked: {head.asked}. "
        f"Used: {used}. Left out: {out}."
    )
    html = page(
        template,
        charts=charts,
        head=head,
        made_up=head.made_up,
        cautions=cautions,
        data_line=data,
        answer=answer,
        **values,
    )
    return Page(html, charts, answer)


def counted_words(counts: Mapping[str, int]) -> str:
    """Reasons with their numbers, in one phrase.

    Examples
    --------
    >>> counted_words({"no rod count": 3, "job": 2})
    'no rod count (3), job (2)'
    """
    return ", ".join(f"{reason} ({number})" for reason, number in counts.items())
