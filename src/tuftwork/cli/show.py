"""Answers as tables for people."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

ORIGIN_MARKS = {
    "measured": "■",
    "computed": "□",
    "published": "●",
    "digitised": "○",
    "claimed": "▰",
    "assumed": "◌",
}
"""A small mark beside a number says how it came to be known."""

VERDICT_STYLES = {
    "consistent": "green",
    "needs an assumption": "yellow",
    "contradicts": "red",
    "below noise": "yellow",
    "unknown": "dim",
}


def show_table(
    title: str, columns: Sequence[str], rows: Iterable[Sequence[Any]], caption: str = ""
) -> None:
    """Print a table; numbers (dicts with ``text``) carry the mark of their origin."""
    from rich.console import Console
    from rich.table import Table

    table = Table(title=title, caption=caption or None, title_justify="left", show_edge=False)
    for i, name in enumerate(columns):
        table.add_column(name, justify="left" if i == 0 else "right", overflow="fold")
    for row in rows:
        table.add_row(*(cell_text(cell) for cell in row))
    Console(highlight=False).print(table)


def show_lines(lines: Iterable[str]) -> None:
    """Print plain lines; Rich wraps them at the window's width."""
    from rich.console import Console

    console = Console(highlight=False)
    for line in lines:
        console.print(line, markup=False)


def cell_text(cell: Any) -> str:
    """Return what a table shows for a number, a verdict or a word."""
    if isinstance(cell, Mapping):
        mark = ORIGIN_MARKS.get(str(cell.get("origin", "")), "")
        return f"{mark} {cell['text']}".strip()
    if cell is None:
        return "–"
    text = str(cell)
    style = VERDICT_STYLES.get(text)
    return f"[{style}]{text}[/{style}]" if style else text
