"""Ctrl-C, or a request of the system, that lets a run reach a sample and keep a checkpoint."""

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import current_thread, main_thread
from types import FrameType

from tuftwork.errors import Cancelled


@contextmanager
def gently(
    ask_to_stop: Callable[[], None], has_begun: Callable[[], bool] = lambda: True
) -> Iterator[None]:
    """Turn the first Ctrl-C into a request; a second one stops at once.

    A request of the system to end (SIGTERM, as before a machine is taken away) counts alike.

    Parameters
    ----------
    ask_to_stop
        Asks the work to stop at its next good moment by raising ``Cancelled`` there.
    has_begun
        Whether there is anything to keep yet; before that the first one stops at once.

    Raises
    ------
    KeyboardInterrupt
        Once the work has stopped on request, so that whatever comes after it stops too.
    """
    if current_thread() is not main_thread():
        yield
        return
    asked: list[int] = []

    def answer(number: int, frame: FrameType | None) -> None:
        if asked or not has_begun():
            raise KeyboardInterrupt
        asked.append(number)
        ask_to_stop()

    before = {number: signal.signal(number, answer) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    except Cancelled as error:
        if asked:
            raise KeyboardInterrupt(
                f"{error}. It goes on from there when it is run again."
            ) from None
        raise
    finally:
        for number, old in before.items():
            if old is not None:
                signal.signal(number, old)
