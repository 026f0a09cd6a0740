"""The only reader of a user's pictures: size, lens and tiles, with bombs and rubbish refused."""

import warnings
from dataclasses import dataclass
from functools import cache, lru_cache
from io import BytesIO
from pathlib import Path
from typing import Any

from tuftwork.errors import Fault, FileFault

MOST_PIXELS = 120_000_000
"""Largest picture read; a small file can unfold to more memory than the machine has."""
MOST_BYTES = 200_000_000
TILE = 512
"""Side of a tile. [pixel]"""
KINDS = ("JPEG", "PNG", "WEBP", "TIFF", "MPO", "HEIF")
_NEEDS_HEIC = "A HEIC file needs Pillow's plug-in for it: pip install 'tuftwork[heic]'."
_ORIENTATION, _EXIF, _FOCAL, _FOCAL_35 = 0x0112, 0x8769, 0x920A, 0xA405


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureFile:
    """What a picture's file says.

    Attributes
    ----------
    width, height
        As shown, turned upright. [pixel]
    focal_35mm
        Focal length as on 36 mm film, None where the file does not say it or says nonsense. [mm]
    notices
        What a reader must be told.
    """

    width: int
    height: int
    focal_35mm: float | None
    notices: tuple[str, ...] = ()


def picture_file(path: Path) -> PictureFile:
    """Return size and lens of a picture without unfolding it.

    Raises
    ------
    FileFault
        If it is missing, empty, broken, of an unknown kind or larger than ``MOST_PIXELS``.
    """
    with _opened(path) as image:
        header = image.getexif()
        width, height = image.size
        if header.get(_ORIENTATION) in (5, 6, 7, 8):
            width, height = height, width
        focal, notices = _focal(header)
    return PictureFile(width=width, height=height, focal_35mm=focal, notices=notices)


def picture_tile(path: Path, level: int, column: int, row: int) -> bytes:
    """Return one tile of a picture as JPEG.

    Parameters
    ----------
    level
        0 is full size, each further one half of the one before.
    column, row
        Tile of ``TILE`` pixels a side at that level.

    Raises
    ------
    FileFault
        If the picture cannot be read or has no such tile.
    """
    image = _level(path, path.stat().st_mtime_ns, level)
    box = (column * TILE, row * TILE, (column + 1) * TILE, (row + 1) * TILE)
    box = (box[0], box[1], min(box[2], image.width), min(box[3], image.height))
    if level < 0 or column < 0 or row < 0 or box[0] >= box[2] or box[1] >= box[3]:
        raise FileFault([Fault(what="has no such tile", file=path.name)])
    buffer = BytesIO()
    image.crop(box).save(buffer, format="JPEG", quality=88)
    return buffer.getvalue()


def whole_picture(path: Path, most: int = 2400) -> Any:
    """Return a picture upright in colour, no side longer than ``most`` pixels."""
    image = _level(path, path.stat().st_mtime_ns, 0).copy()
    image.thumbnail((most, most))
    return image


@lru_cache(maxsize=12)
def _level(path: Path, stamp: int, level: int) -> Any:
    """Return the picture at a level of its pyramid; ``stamp`` tells a changed file."""
    from PIL import Image, ImageOps

    if level > 0:
        above = _level(path, stamp, level - 1)
        size = (max(1, (above.width + 1) // 2), max(1, (above.height + 1) // 2))
        return above.resize(size, Image.Resampling.BOX)
    with _opened(path) as image:
        try:
            return ImageOps.exif_transpose(image).convert("RGB")
        except (OSError, ValueError, SyntaxError, MemoryError) as error:
            raise _fault(path, "is broken", str(error)) from error


def _opened(path: Path) -> Any:
    from PIL import Image, UnidentifiedImageError

    if not path.is_file():
        raise _fault(path, "is not there", "", "Put the file back into evidence/.")
    if path.stat().st_size > MOST_BYTES:
        raise _fault(path, "is too large to be read", f"{path.stat().st_size / 1e6:.0f} MB")
    if path.suffix.lower() in (".heic", ".heif"):
        _learn_heif()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            image = Image.open(path)
    except UnidentifiedImageError as error:
        is_heic = path.suffix.lower() in (".heic", ".heif")
        more = _NEEDS_HEIC if is_heic else "Save it as JPEG, PNG or WebP."
        raise _fault(path, "is not a picture this program reads", "", more) from error
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise _fault(path, "cannot be read as a picture", str(error)[:120]) from error
    pixels = image.width * image.height
    if pixels > MOST_PIXELS or image.format not in KINDS:
        found = f"{image.width} × {image.height} pixels, {image.format}"
        image.close()
        what = "is larger than this program unfolds" if pixels > MOST_PIXELS else (
            "is of a kind that is not read")  # fmt: skip
        raise _fault(
            path, what, found, f"At most {MOST_PIXELS / 1e6:.0f} megapixels; save smaller."
        )
    if min(image.size) < 16:
        image.close()
        raise _fault(path, "is too small to mark", f"{image.width} × {image.height} pixels")
    return image


@cache
def _learn_heif() -> None:
    """Let Pillow read HEIC where its plug-in is there; elsewhere such a file is refused."""
    try:
        from pillow_heif import register_heif_opener
    except ImportError:
        return
    register_heif_opener()


def _focal(header: Any) -> tuple[float | None, tuple[str, ...]]:
    """Return the focal length on film, or why what stands there is not used."""
    own = header.get_ifd(_EXIF)
    for key in (_FOCAL_35,):
        if key not in own:
            continue
        try:
            value = float(own[key])
        except (TypeError, ValueError, ZeroDivisionError):
            value = 0.0
        if 4.0 < value <= 3000.0:
            return value, ()
        if value != 0.0 or _FOCAL in own:
            note = (
                f"The file says a focal length of {value:g} mm on film; that cannot be, not used."
            )
            return None, (note,)
    return None, ()


def _fault(path: Path, what: str, found: str = "", cure: str = "") -> FileFault:
    return FileFault([Fault(what=what, file=path.name, found=found, cure=cure)])
