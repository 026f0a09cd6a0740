"""What is installed here, and what each thing is needed for."""

import platform
import shutil
from importlib.metadata import PackageNotFoundError, version

_NEEDED = {
    "numpy": "everything",
    "scipy": "everything",
    "numba": "maps and loops at speed",
    "matplotlib": "figures",
    "typst": "documents as PDF",
    "fastapi": "the app",
}
_EXTRAS = {
    "distributed": "extra cluster: sweeps past one machine",
    "cupy-cuda13x": "extra gpu: lattice flow on a graphics card",
    "asammdf": "extra logs: measurement files of the open standard MDF 4",
}
_BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome", "firefox")


def findings() -> list[dict[str, str]]:
    """Return what was found, one row each: what, found, for."""
    return [
        _row("tuftwork", _version("tuftwork"), "this program"),
        _row("python", platform.python_version(), "3.11 or newer"),
        *(_row(name, _version(name), why) for name, why in _NEEDED.items()),
        *(_row(name, _version(name), why) for name, why in _EXTRAS.items()),
        _row("graphics card", _graphics_card(), "lattice flow of the whole car"),
        _row("browser", _browser(), "the app's pages, and the browser tests"),
    ]


def browser_path() -> str | None:
    """Return the path of a browser on this machine, Chromium first, or None."""
    return next((path for name in _BROWSERS if (path := shutil.which(name))), None)


def _row(what: str, found: str, why: str) -> dict[str, str]:
    return {"what": what, "found": found, "for": why}


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "not installed"


def _graphics_card() -> str:
    try:
        import cupy
    except ImportError:
        return "not looked for (extra gpu is not installed)"
    try:
        properties = cupy.cuda.runtime.getDeviceProperties(0)
    except cupy.cuda.runtime.CUDARuntimeError as error:
        return f"none ({error})"
    return f"{properties['name'].decode()}, {properties['totalGlobalMem'] / 2**30:.0f} GiB"


def _browser() -> str:
    return browser_path() or "none found (Debian: apt-get install chromium)"
