"""Every engine test runs over every back end; the card's ones are skipped without a card.

Without a card its kernels are compiled by the host's compiler and run there, in single precision.
"""

import shutil
import sys

import pytest

from card_on_host import as_cupy


def card_missing() -> str:
    """Reason why the card cannot be used, or nothing."""
    try:
        import cupy
    except ImportError:
        return "CuPy is not installed"
    try:
        cupy.cuda.Device().compute_capability  # noqa: B018
    except cupy.cuda.runtime.CUDARuntimeError as error:
        return f"no graphics card: {error}"
    return ""


@pytest.fixture
def card_on_host(monkeypatch: pytest.MonkeyPatch) -> None:
    """The host stands for a card."""
    if shutil.which("g++") is None:
        pytest.skip("there is no g++ on this host")
    for name, module in as_cupy().items():
        monkeypatch.setitem(sys.modules, name, module)


@pytest.fixture(
    params=[
        pytest.param(("cpu", "float64"), id="cpu"),
        pytest.param(("cpu", "float32"), id="cpu-float32"),
        pytest.param(("host", "float32"), id="card-on-host"),
        pytest.param(("cuda", "float32"), id="cuda-float32", marks=pytest.mark.gpu),
        pytest.param(("cuda", "float16"), id="cuda-float16", marks=pytest.mark.gpu),
    ]
)
def backend(request: pytest.FixtureRequest) -> tuple[str, str]:
    """Name of the back end and its storage."""
    name, precision = request.param
    if name == "host":
        request.getfixturevalue("card_on_host")
        return "cuda", precision
    if name == "cuda" and (reason := card_missing()):
        pytest.skip(reason)
    return name, precision
