"""Every engine test runs over every back end; the card's ones are skipped without a card."""

import pytest


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


@pytest.fixture(
    params=[
        pytest.param(("cpu", "float64"), id="cpu"),
        pytest.param(("cuda", "float32"), id="cuda-float32", marks=pytest.mark.gpu),
        pytest.param(("cuda", "float16"), id="cuda-float16", marks=pytest.mark.gpu),
    ]
)
def backend(request: pytest.FixtureRequest) -> tuple[str, str]:
    """Name of the back end and its storage."""
    if request.param[0] == "cuda" and (reason := card_missing()):
        pytest.skip(reason)
    return request.param
