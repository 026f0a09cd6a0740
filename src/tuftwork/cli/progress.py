"""A bar with the time left, on the screen while a long work goes on."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def progress_bar(*, quiet: bool) -> Iterator[Callable[[float, str, float | None], None]]:
    """Show a bar with the time left while a long work goes on."""
    if quiet:
        yield lambda share, step, left_s: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    columns = (TextColumn("{task.description:<40}"), BarColumn(), TextColumn("{task.fields[left]}"))
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Starting", total=1.0, left="")

        def watch(share: float, step: str, left_s: float | None) -> None:
            left = "" if left_s is None else f"{left_s:4.0f} s left"
            bar.update(task, completed=share, description=step, left=left)

        yield watch
