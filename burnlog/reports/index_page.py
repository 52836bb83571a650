"""The page in front of a folder of pages: which page answers which question."""

from __future__ import annotations

from collections.abc import Sequence

from burnlog.reports.cautions import cautions
from burnlog.reports.page import Head, Page, page_of

__all__ = ["index_page"]


def index_page(title: str, told: str, links: Sequence[tuple[str, str, str]], head: Head, *, used: str) -> Page:
    """Links to pages in the same folder, by question.

    Parameters
    ----------
    title : str
    told : str
        What the folder holds, in a sentence.
    links : sequence of (file name, question, answer)
        The file stands beside this page; the answer is the page's own first finding, in words.
    head : Head
    used : str
        What the pages come from, in words.
    """
    return page_of(
        "index.html",
        head,
        charts={},
        cautions=cautions("report", closed_space=head.closed_space),
        used=used,
        left_out={},
        answer=told,
        title=title,
        links=links,
    )
