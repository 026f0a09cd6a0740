"""Pictures a user may bring: good ones, broken ones, bombs, and lenses that lie."""

import struct
import zlib
from pathlib import Path
from time import perf_counter

import pytest
from PIL import Image

from tuftwork.errors import FileFault
from tuftwork.files.picture import TILE, picture_file, picture_tile, whole_picture


def save(path: Path, size: tuple[int, int] = (1200, 800), **more: object) -> Path:
    Image.linear_gradient("L").resize(size).convert("RGB").save(path, **more)
    return path


def header_with(focal: object, orientation: int | None = None) -> Image.Exif:
    header = Image.Exif()
    if orientation:
        header[0x0112] = orientation
    header.get_ifd(0x8769)[0xA405] = focal
    return header


@pytest.mark.parametrize("kind", ["jpg", "png", "webp"])
def test_usual_kinds_are_read(tmp_path: Path, kind: str) -> None:
    found = picture_file(save(tmp_path / f"p.{kind}"))
    assert (found.width, found.height) == (1200, 800)
    assert found.focal_35mm is None


def test_the_lens_is_read_from_the_header(tmp_path: Path) -> None:
    path = save(tmp_path / "p.jpg", exif=header_with(85))
    assert picture_file(path).focal_35mm == 85


@pytest.mark.parametrize("focal", [0, 2, 30000])
def test_a_lens_that_cannot_be_is_not_used(tmp_path: Path, focal: int) -> None:
    found = picture_file(save(tmp_path / "p.jpg", exif=header_with(focal)))
    assert found.focal_35mm is None
    assert bool(found.notices) == (focal != 0)


def test_a_picture_on_its_side_is_turned_upright(tmp_path: Path) -> None:
    path = save(tmp_path / "p.jpg", exif=header_with(50, orientation=6))
    found = picture_file(path)
    assert (found.width, found.height) == (800, 1200)
    assert whole_picture(path).size == (800, 1200)


def test_tiles_cover_the_picture_at_every_level(tmp_path: Path) -> None:
    path = save(tmp_path / "p.jpg")
    for level, size in ((0, (1200, 800)), (1, (600, 400))):
        area = 0
        for column in range(-(-size[0] // TILE)):
            for row in range(-(-size[1] // TILE)):
                (tmp_path / "tile.jpg").write_bytes(picture_tile(path, level, column, row))
                with Image.open(tmp_path / "tile.jpg") as tile:
                    area += tile.width * tile.height
        assert area == size[0] * size[1]


def test_a_tile_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileFault, match="no such tile"):
        picture_tile(save(tmp_path / "p.jpg"), 0, 9, 0)


def test_rubbish_and_missing_files_are_refused(tmp_path: Path) -> None:
    (tmp_path / "p.jpg").write_bytes(b"not a picture at all")
    with pytest.raises(FileFault, match="not a picture"):
        picture_file(tmp_path / "p.jpg")
    with pytest.raises(FileFault, match="not there"):
        picture_file(tmp_path / "q.jpg")
    (tmp_path / "empty.png").write_bytes(b"")
    with pytest.raises(FileFault):
        picture_file(tmp_path / "empty.png")


def test_a_torn_file_is_refused_when_it_is_unfolded(tmp_path: Path) -> None:
    path = save(tmp_path / "p.png")
    path.write_bytes(path.read_bytes()[:1500])
    with pytest.raises(FileFault, match=r"broken|cannot be read"):
        picture_tile(path, 0, 0, 0)


def test_a_bomb_is_refused_by_its_header(tmp_path: Path) -> None:
    """A few bytes that would unfold to 3.6 thousand megapixels."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        body = kind + data
        return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))

    header = struct.pack(">IIBBBBB", 60000, 60000, 8, 2, 0, 0, 0)
    data = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header)
    data += chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")
    (tmp_path / "bomb.png").write_bytes(data)
    with pytest.raises(FileFault, match=r"larger|cannot be read"):
        picture_file(tmp_path / "bomb.png")


def test_a_picture_too_small_to_mark_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileFault, match="too small"):
        picture_file(save(tmp_path / "p.png", size=(8, 8)))


def test_a_heic_picture_is_read_where_the_plug_in_is(tmp_path: Path) -> None:
    pillow_heif = pytest.importorskip("pillow_heif", reason="the extra for HEIC is not installed")
    image = Image.linear_gradient("L").resize((1200, 800)).convert("RGB")
    path = tmp_path / "p.heic"
    pillow_heif.from_pillow(image).save(path, quality=90, exif=header_with(77).tobytes())
    found = picture_file(path)
    assert (found.width, found.height) == (1200, 800)
    assert found.focal_35mm == 77
    tile = tmp_path / "tile.jpg"
    tile.write_bytes(picture_tile(path, 0, 1, 0))
    with Image.open(tile) as opened:
        assert opened.size == (TILE, TILE)


def test_forty_megapixels_are_unfolded_once_and_then_served_in_tiles(tmp_path: Path) -> None:
    path = save(tmp_path / "big.jpg", size=(7752, 5168), quality=80)
    assert picture_file(path).width == 7752
    begun = perf_counter()
    picture_tile(path, 0, 0, 0)
    first = perf_counter() - begun
    begun = perf_counter()
    for place in range(16):
        picture_tile(path, place % 3, place % 4, place // 8)
    later = (perf_counter() - begun) / 16
    # what a drag costs: tiles of a picture already in memory, against unfolding it
    assert later < 0.25 * first
